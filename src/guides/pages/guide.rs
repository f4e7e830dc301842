//! Guides, their revisions and sizes.

use askama::Template;
use axum::extract::State;
use axum::response::Response;
use serde::Deserialize;

use crate::app::App;
use crate::clock::Day;
use crate::error::{AppError, NotDone};
use crate::guides::{self, Guide, GuideWanted, Revision, Size};
use crate::ids::{FormId, GuideId, RevisionId};
use crate::people::Viewer;
use crate::people::access::{Rule, allowed};
use crate::seasons;
use crate::web::extract::{Form, Path, Query};
use crate::web::flash;
use crate::web::form::{self, Choice, Wrong};
use crate::web::frame::Frame;
use crate::web::page::{self, Page};

pub(super) fn may_keep(viewer: &Viewer) -> bool {
    allowed(Rule::KeepsGuides, Some(viewer.standing(None)))
}

#[derive(Template)]
#[template(path = "guides/index.html")]
pub(super) struct IndexPage {
    frame: Frame,
    may_keep: bool,
    guides: Vec<(Guide, Vec<Revision>)>,
}

pub(super) async fn index(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
) -> Result<Page<IndexPage>, AppError> {
    let mut db = app.db.read().await?;
    let mut found = Vec::new();
    for guide in guides::guides(&mut db).await? {
        let revisions = guides::revisions(&mut db, guide.id).await?;
        found.push((guide, revisions));
    }
    Ok(Page(IndexPage {
        frame,
        may_keep: may_keep(&viewer),
        guides: found,
    }))
}

#[derive(Template)]
#[template(path = "guides/new.html")]
struct NewPage {
    frame: Frame,
    form_id: FormId,
    fields: GuideForm,
    seasons: Vec<Choice>,
    wrongs: Vec<Wrong>,
}

impl NewPage {
    fn wrong(&self, field: &str) -> Option<&str> {
        form::at(&self.wrongs, field)
    }

    fn error(&self) -> &'static str {
        form::title_prefix(&self.wrongs)
    }
}

#[derive(Deserialize)]
pub(super) struct GuideForm {
    #[serde(default)]
    season: String,
    #[serde(default)]
    name: String,
    #[serde(default)]
    maker: String,
    #[serde(default)]
    sizes: String,
    #[serde(default)]
    label: String,
    #[serde(default)]
    issued_on: String,
}

#[derive(Deserialize)]
pub(super) struct NewQuery {
    #[serde(default)]
    season: String,
}

async fn season_choices(app: &App, chosen: &str) -> Result<Vec<Choice>, AppError> {
    let mut db = app.db.read().await?;
    let mut choices = vec![Choice::new(
        "",
        "None: a list of our own (tools, perimeter)",
        chosen.is_empty(),
    )];
    for season in seasons::all(&mut db).await? {
        let value = season.id.to_string();
        let is_chosen = value == chosen;
        choices.push(Choice::new(value, season.name, is_chosen));
    }
    Ok(choices)
}

pub(super) async fn new(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Query(query): Query<NewQuery>,
) -> Result<Response, AppError> {
    let mut fields = GuideForm {
        season: query.season,
        name: String::new(),
        maker: String::new(),
        sizes: "half, full".into(),
        label: String::new(),
        issued_on: viewer.today(&app).to_string(),
    };
    if fields.season.is_empty() {
        let mut db = app.db.read().await?;
        if let Some(newest) = seasons::all(&mut db).await?.first() {
            fields.season = newest.id.to_string();
        }
    }
    let seasons = season_choices(&app, &fields.season).await?;
    let form_id = frame.form_id();
    let page = NewPage {
        frame,
        form_id,
        fields,
        seasons,
        wrongs: Vec::new(),
    };
    Ok(axum::response::IntoResponse::into_response(Page(page)))
}

pub(super) async fn publish(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    form: Form<GuideForm>,
) -> Result<Response, AppError> {
    let (sent, fields) = (form.sent, form.fields);
    let mut wrongs = Vec::new();
    let issued_on = read_day(&fields.issued_on, "issued_on", &mut wrongs);
    let season = if fields.season.is_empty() {
        None
    } else {
        let found = fields.season.parse().ok();
        if found.is_none() {
            wrongs.push(Wrong::at("season", "choose a season from the list"));
        }
        found
    };
    if let (true, Some(issued_on)) = (wrongs.is_empty(), issued_on) {
        let wanted = GuideWanted {
            season,
            name: fields.name.clone(),
            maker: fields.maker.clone(),
            sizes: fields.sizes.clone(),
            label: fields.label.clone(),
            issued_on,
        };
        match guides::publish(&app, &viewer, &sent, &wanted).await {
            Ok(outcome) => {
                let text = "Guide added. Its parts list is still empty: read one in.";
                return Ok(flash::told(&outcome, text, viewer.zone()));
            }
            Err(NotDone::Refused((field, refused))) => wrongs.push(Wrong::at(field, refused)),
            Err(NotDone::Failed(error)) => return Err(error),
        }
    }
    let seasons = season_choices(&app, &fields.season).await?;
    let form_id = frame.form_id();
    Ok(page::again(NewPage {
        frame,
        form_id,
        fields,
        seasons,
        wrongs,
    }))
}

fn read_day(text: &str, field: &'static str, wrongs: &mut Vec<Wrong>) -> Option<Day> {
    let day = text.trim().parse().ok();
    if day.is_none() {
        wrongs.push(Wrong::at(
            field,
            "give the day as year-month-day, like 2027-03-04",
        ));
    }
    day
}

#[derive(Template)]
#[template(path = "guides/show.html")]
struct ShowPage {
    frame: Frame,
    may_keep: bool,
    revision_form: FormId,
    size_form: FormId,
    guide: Guide,
    revisions: Vec<Revision>,
    sizes: Vec<Size>,
    copies: Vec<Choice>,
    new_label: String,
    issued_on: String,
    size: String,
    wrongs: Vec<Wrong>,
}

impl ShowPage {
    fn wrong(&self, field: &str) -> Option<&str> {
        form::at(&self.wrongs, field)
    }

    fn error(&self) -> &'static str {
        form::title_prefix(&self.wrongs)
    }
}

#[derive(Deserialize, Default)]
pub(super) struct RevisionForm {
    #[serde(default)]
    label: String,
    #[serde(default)]
    issued_on: String,
    #[serde(default)]
    copy_of: String,
    #[serde(default)]
    size: String,
}

async fn show_page(
    app: &App,
    viewer: &Viewer,
    frame: Frame,
    guide: GuideId,
    fields: RevisionForm,
    wrongs: Vec<Wrong>,
) -> Result<ShowPage, AppError> {
    let mut db = app.db.read().await?;
    let guide = guides::guide(&mut db, guide)
        .await?
        .ok_or(AppError::NotFound("guide"))?;
    let revisions = guides::revisions(&mut db, guide.id).await?;
    let sizes = guides::sizes(&mut db, guide.id).await?;
    let mut copies: Vec<Choice> = revisions
        .iter()
        .enumerate()
        .map(|(at, revision)| {
            let value = revision.id.to_string();
            let chosen = value == fields.copy_of || (fields.copy_of.is_empty() && at == 0);
            Choice::new(value, format!("the list of {}", revision.label), chosen)
        })
        .collect();
    copies.push(Choice::new(
        "empty",
        "an empty list",
        fields.copy_of == "empty",
    ));
    Ok(ShowPage {
        may_keep: may_keep(viewer),
        revision_form: frame.form_id(),
        size_form: frame.form_id(),
        frame,
        guide,
        revisions,
        sizes,
        copies,
        new_label: fields.label,
        issued_on: fields.issued_on,
        size: fields.size,
        wrongs,
    })
}

pub(super) async fn show(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(guide): Path<GuideId>,
) -> Result<Response, AppError> {
    let fields = RevisionForm {
        issued_on: viewer.today(&app).to_string(),
        ..RevisionForm::default()
    };
    let page = show_page(&app, &viewer, frame, guide, fields, Vec::new()).await?;
    Ok(axum::response::IntoResponse::into_response(Page(page)))
}

pub(super) async fn revise(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(guide): Path<GuideId>,
    form: Form<RevisionForm>,
) -> Result<Response, AppError> {
    let (sent, fields) = (form.sent, form.fields);
    let mut wrongs = Vec::new();
    let copy_of: Option<RevisionId> = fields.copy_of.parse().ok();
    if let Some(issued_on) = read_day(&fields.issued_on, "issued_on", &mut wrongs) {
        match guides::revise(
            &app,
            &viewer,
            &sent,
            guide,
            &fields.label,
            issued_on,
            copy_of,
        )
        .await
        {
            Ok(outcome) => return Ok(flash::told(&outcome, "Revision added.", viewer.zone())),
            Err(NotDone::Refused((field, refused))) => wrongs.push(Wrong::at(field, refused)),
            Err(NotDone::Failed(error)) => return Err(error),
        }
    }
    Ok(page::again(
        show_page(&app, &viewer, frame, guide, fields, wrongs).await?,
    ))
}

pub(super) async fn enlarge(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(guide): Path<GuideId>,
    form: Form<RevisionForm>,
) -> Result<Response, AppError> {
    let (sent, mut fields) = (form.sent, form.fields);
    match guides::enlarge(&app, &viewer, &sent, guide, &fields.size).await {
        Ok(outcome) => Ok(flash::told(&outcome, "Size added.", viewer.zone())),
        Err(NotDone::Refused((field, refused))) => {
            fields.issued_on = viewer.today(&app).to_string();
            let wrongs = vec![Wrong::at(field, refused)];
            Ok(page::again(
                show_page(&app, &viewer, frame, guide, fields, wrongs).await?,
            ))
        }
        Err(NotDone::Failed(error)) => Err(error),
    }
}
