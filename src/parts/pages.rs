//! The pages of parts.

mod prices;
mod stand_ins;

use askama::Template;
use axum::extract::State;
use axum::response::{IntoResponse, Response};
use serde::Deserialize;

use super::rules::{CountedBy, Described};
use super::stand_ins::Allowed;
use super::{Listed, NotDescribed, Part, StandIn};
use crate::app::App;
use crate::error::{AppError, NotDone};
use crate::ids::{FormId, PartId, TeamId};
use crate::people::Viewer;
use crate::people::access::{Routes, Rule, allowed};
use crate::pictures;
use crate::web::extract::{Form, Path};
use crate::web::flash;
use crate::web::form::{self, Choice, Wrong};
use crate::web::frame::Frame;
use crate::web::page::{self, Page};
use stand_ins::StandInForm;

pub fn routes() -> Routes {
    Routes::new()
        .get("/parts/{part}", Rule::SignedIn, show)
        .get("/parts/{part}/edit", Rule::KeepsGuides, edit)
        .post("/parts/{part}/edit", Rule::KeepsGuides, describe)
        .post(
            "/parts/{part}/stand-ins",
            Rule::KeepsGuides,
            stand_ins::let_stand_in,
        )
        .post(
            "/parts/{part}/stand-ins/end",
            Rule::KeepsGuides,
            stand_ins::end,
        )
        .get("/teams/{team}/money", Rule::Works, prices::money)
        .post("/teams/{team}/money", Rule::Keeps, prices::decide)
        .get("/teams/{team}/prices/{part}", Rule::Works, prices::price)
        .post("/teams/{team}/prices/{part}", Rule::Keeps, prices::say)
}

#[derive(Template)]
#[template(path = "parts/show.html")]
struct ShowPage {
    frame: Frame,
    may_keep: bool,
    may_add: bool,
    may_order: bool,
    part: Part,
    listed: Vec<Listed>,
    pictures: pictures::Gallery,
    stand_ins: Vec<StandIn>,
    /// What it costs each of the viewer's teams: team, its name, the price in words.
    costs: Vec<(TeamId, String, String)>,
    zone: String,
    /// What was typed about another part.
    typed: StandInForm,
    wrongs: Vec<Wrong>,
}

impl ShowPage {
    fn form_id(&self) -> FormId {
        self.frame.form_id()
    }

    fn wrong(&self, field: &str) -> Option<&str> {
        form::at(&self.wrongs, field)
    }

    fn title_prefix(&self) -> &'static str {
        form::title_prefix(&self.wrongs)
    }

    fn uses(&self) -> Vec<Choice> {
        Allowed::ALL
            .into_iter()
            .map(|one| Choice::one_of(one.word(), one.words(), &self.typed.allowed))
            .collect()
    }

    /// What holds: parts that may stand in for this one, and the other way round.
    fn holding(&self) -> impl Iterator<Item = &StandIn> {
        self.stand_ins.iter().filter(|one| one.ended_at.is_none())
    }

    fn ended(&self) -> Vec<String> {
        let ended = self.stand_ins.iter().filter(|one| one.ended_at.is_some());
        ended
            .map(|one| {
                let at = one
                    .ended_at
                    .map_or(String::new(), |at| at.words(&self.zone));
                format!("{}; ended {at}", self.says(one))
            })
            .collect()
    }

    /// "B-5 Peg, grey may stand in for B-4 Peg, black, for practice only".
    fn says(&self, one: &StandIn) -> String {
        format!(
            "{} may stand in for {}, {}",
            one.part_words,
            one.for_words,
            one.allowed.words()
        )
    }

    fn said(&self, one: &StandIn) -> String {
        let who = crate::people::shown_name(&one.said_by);
        format!("{who}, {}", one.said_at.words(&self.zone))
    }

    fn add_picture(&self) -> String {
        format!("/parts/{}/pictures/new", self.part.id)
    }

    /// What to look for: the number, or the name where there is none.
    fn sought(&self) -> String {
        let text = if self.part.number.is_empty() {
            &self.part.name
        } else {
            &self.part.number
        };
        crate::people::viewer::form_encode(text)
    }
}

async fn show(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(part): Path<PartId>,
) -> Result<Page<ShowPage>, AppError> {
    show_page(&app, &viewer, frame, part).await.map(Page)
}

async fn show_page(
    app: &App,
    viewer: &Viewer,
    frame: Frame,
    part: PartId,
) -> Result<ShowPage, AppError> {
    let mut db = app.db.read().await?;
    let part = super::find(&mut db, part)
        .await?
        .ok_or(AppError::NotFound("part"))?;
    let listed = super::listed_in(&mut db, part.id).await?;
    let pictures = pictures::of_part(&mut db, part.id, viewer).await?;
    let standing = viewer.standing(None);
    let mut costs = Vec::new();
    for of in viewer.memberships() {
        let price = super::prices::price(&mut db, of.team, part.id).await?;
        let words = price.map_or("not known".into(), super::prices::words);
        costs.push((of.team, of.team_name.clone(), words));
    }
    Ok(ShowPage {
        frame,
        may_keep: allowed(Rule::KeepsGuides, Some(standing)),
        may_add: allowed(Rule::WorksSomewhere, Some(standing)),
        may_order: allowed(Rule::KeepsSomeTeam, Some(standing)),
        stand_ins: super::stand_ins::stand_ins(&mut db, part.id).await?,
        zone: viewer.zone().to_owned(),
        typed: StandInForm::default(),
        wrongs: Vec::new(),
        costs,
        part,
        listed,
        pictures,
    })
}

#[derive(Template)]
#[template(path = "parts/edit.html")]
struct EditPage {
    frame: Frame,
    form_id: FormId,
    part: Part,
    fields: DescriptionForm,
    ways: Vec<Choice>,
    wrongs: Vec<Wrong>,
    /// What somebody else wrote meanwhile, beside what was typed here.
    meanwhile: Option<Box<Part>>,
}

impl EditPage {
    fn wrong(&self, field: &str) -> Option<&str> {
        form::at(&self.wrongs, field)
    }

    fn error(&self) -> &'static str {
        form::title_prefix(&self.wrongs)
    }
}

#[derive(Deserialize)]
struct DescriptionForm {
    version: i64,
    #[serde(default)]
    name: String,
    #[serde(default)]
    mass: String,
    #[serde(default)]
    how_to_know: String,
    #[serde(default)]
    hazard: String,
    #[serde(default)]
    counted_by: String,
    #[serde(default)]
    group_of: String,
    #[serde(default)]
    essential: String,
}

impl DescriptionForm {
    fn of(part: &Part) -> Self {
        Self {
            version: part.version,
            name: part.name.clone(),
            mass: part.mass_g.map(|mass| mass.to_string()).unwrap_or_default(),
            how_to_know: part.how_to_know.clone(),
            hazard: part.hazard.clone(),
            counted_by: part.counted_by.word().into(),
            group_of: part
                .group_of
                .map(|size| size.to_string())
                .unwrap_or_default(),
            essential: if part.essential { "yes" } else { "" }.into(),
        }
    }
}

fn edit_page(
    frame: Frame,
    part: Part,
    fields: DescriptionForm,
    wrongs: Vec<Wrong>,
    meanwhile: Option<Box<Part>>,
) -> EditPage {
    let ways = CountedBy::ALL
        .into_iter()
        .map(|way| Choice::new(way.word(), way.sentence(), way.word() == fields.counted_by))
        .collect();
    EditPage {
        form_id: frame.form_id(),
        frame,
        part,
        fields,
        ways,
        wrongs,
        meanwhile,
    }
}

async fn edit(
    State(app): State<App>,
    frame: Frame,
    Path(part): Path<PartId>,
) -> Result<Response, AppError> {
    let mut db = app.db.read().await?;
    let part = super::find(&mut db, part)
        .await?
        .ok_or(AppError::NotFound("part"))?;
    let fields = DescriptionForm::of(&part);
    Ok(Page(edit_page(frame, part, fields, Vec::new(), None)).into_response())
}

async fn describe(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(id): Path<PartId>,
    form: Form<DescriptionForm>,
) -> Result<Response, AppError> {
    let (sent, mut fields) = (form.sent, form.fields);
    let described = Described {
        name: fields.name.clone(),
        mass: fields.mass.clone(),
        how_to_know: fields.how_to_know.clone(),
        hazard: fields.hazard.clone(),
        counted_by: fields.counted_by.clone(),
        group_of: fields.group_of.clone(),
        essential: fields.essential.clone(),
    };
    let (wrongs, meanwhile) =
        match super::describe(&app, &viewer, &sent, id, fields.version, &described).await {
            Ok(outcome) => return Ok(flash::told(&outcome, "Part described.", viewer.zone())),
            Err(NotDone::Refused(NotDescribed::Refused(wrongs))) => (
                wrongs
                    .into_iter()
                    .map(|(field, refused)| Wrong::at(field, refused))
                    .collect(),
                None,
            ),
            Err(NotDone::Refused(NotDescribed::ChangedMeanwhile(now))) => {
                // Sending again now means: keep what is in the form.
                fields.version = now.version;
                let text = "somebody else changed this part since you opened the page";
                (vec![Wrong::at("", text)], Some(now))
            }
            Err(NotDone::Failed(error)) => return Err(error),
        };
    let mut db = app.db.read().await?;
    let part = super::find(&mut db, id)
        .await?
        .ok_or(AppError::NotFound("part"))?;
    Ok(page::again(edit_page(
        frame, part, fields, wrongs, meanwhile,
    )))
}
