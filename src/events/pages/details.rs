//! Planning an event, and changing what is written about it.

use askama::Template;
use axum::extract::State;
use axum::response::Response;
use serde::Deserialize;

use crate::app::App;
use crate::error::{AppError, NotDone};
use crate::events::rules::{Refused, Typed};
use crate::events::{self, ChangeRefused, Event};
use crate::ids::{EventId, FormId, TeamId};
use crate::people::Viewer;
use crate::web::extract::{Form, Path};
use crate::web::flash;
use crate::web::form::{self, Choice, Wrong};
use crate::web::frame::Frame;
use crate::web::page::{self, Page};

#[derive(Deserialize, Default)]
pub(super) struct EventForm {
    #[serde(default)]
    team: Option<TeamId>,
    #[serde(default)]
    version: i64,
    #[serde(default)]
    name: String,
    #[serde(default)]
    venue: String,
    #[serde(default)]
    first_on: String,
    #[serde(default)]
    last_on: String,
    #[serde(default)]
    note: String,
}

impl EventForm {
    fn typed(self) -> Typed {
        Typed {
            name: self.name,
            venue: self.venue,
            first_on: self.first_on,
            last_on: self.last_on,
            note: self.note,
        }
    }
}

#[derive(Template)]
#[template(path = "events/details.html")]
pub(super) struct DetailsPage {
    frame: Frame,
    form_id: FormId,
    /// None for a new one. After a conflict: as somebody else saved it.
    event: Option<Event>,
    version: i64,
    typed: Typed,
    teams: Vec<Choice>,
    /// Somebody else changed it while this was written.
    is_conflict: bool,
    wrongs: Vec<Wrong>,
}

impl DetailsPage {
    fn wrong(&self, field: &str) -> Option<&str> {
        form::at(&self.wrongs, field)
    }

    fn error(&self) -> &'static str {
        form::title_prefix(&self.wrongs)
    }

    fn asks_team(&self) -> bool {
        self.teams.len() > 1
    }

    fn the_team(&self) -> &str {
        self.teams.first().map_or("", |team| team.value.as_str())
    }
}

fn new_page(
    viewer: &Viewer,
    frame: Frame,
    team: Option<TeamId>,
    typed: Typed,
    wrongs: Vec<Wrong>,
) -> DetailsPage {
    let keeps = viewer
        .memberships()
        .iter()
        .filter(|membership| membership.role.keeps());
    DetailsPage {
        form_id: frame.form_id(),
        frame,
        event: None,
        version: 0,
        typed,
        teams: keeps
            .map(|one| Choice::new(one.team, &one.team_name, Some(one.team) == team))
            .collect(),
        is_conflict: false,
        wrongs,
    }
}

pub(super) async fn new(State(app): State<App>, viewer: Viewer, frame: Frame) -> Page<DetailsPage> {
    let typed = Typed {
        first_on: viewer.today(&app).to_string(),
        ..Typed::default()
    };
    Page(new_page(&viewer, frame, None, typed, Vec::new()))
}

pub(super) async fn plan(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    form: Form<EventForm>,
) -> Result<Response, AppError> {
    let (sent, fields) = (form.sent, form.fields);
    let team = fields
        .team
        .ok_or_else(|| AppError::BadRequest("The form came without its team.".into()))?;
    let typed = fields.typed();
    match events::plan(&app, &viewer, &sent, team, &typed).await {
        Ok(outcome) => Ok(flash::told(&outcome, "Event added.", viewer.zone())),
        Err(NotDone::Refused(wrongs)) => Ok(page::again(new_page(
            &viewer,
            frame,
            Some(team),
            typed,
            wrongs,
        ))),
        Err(NotDone::Failed(error)) => Err(error),
    }
}

async fn edit_page(
    app: &App,
    frame: Frame,
    event: EventId,
    typed: Option<(i64, Typed)>,
    wrongs: Vec<Wrong>,
    is_conflict: bool,
) -> Result<DetailsPage, AppError> {
    let mut db = app.db.read().await?;
    let event = events::find(&mut db, event)
        .await?
        .ok_or(AppError::NotFound("event"))?;
    // After a conflict the form carries the new version: sending it again says that its words are to stand.
    let (version, typed) = match typed {
        Some((version, typed)) if !is_conflict => (version, typed),
        Some((_, typed)) => (event.version, typed),
        None => {
            let typed = Typed {
                name: event.name.clone(),
                venue: event.venue.clone(),
                first_on: event.first_on.to_string(),
                last_on: event.last_on.to_string(),
                note: event.note.clone(),
            };
            (event.version, typed)
        }
    };
    Ok(DetailsPage {
        form_id: frame.form_id(),
        frame,
        event: Some(event),
        version,
        typed,
        teams: Vec::new(),
        is_conflict,
        wrongs,
    })
}

pub(super) async fn edit(
    State(app): State<App>,
    frame: Frame,
    Path(event): Path<EventId>,
) -> Result<Page<DetailsPage>, AppError> {
    Ok(Page(
        edit_page(&app, frame, event, None, Vec::new(), false).await?,
    ))
}

pub(super) async fn change(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(event): Path<EventId>,
    form: Form<EventForm>,
) -> Result<Response, AppError> {
    let (sent, fields) = (form.sent, form.fields);
    let version = fields.version;
    let typed = fields.typed();
    let done = events::change(&app, &viewer, &sent, event, version, &typed).await;
    let (wrongs, is_conflict) = match done {
        Ok(outcome) => return Ok(flash::told(&outcome, "Changed.", viewer.zone())),
        Err(NotDone::Refused(ChangeRefused::Wrong(wrongs))) => (wrongs, false),
        Err(NotDone::Refused(ChangeRefused::Changed)) => {
            (vec![Wrong::at("", Refused::Changed)], true)
        }
        Err(NotDone::Failed(error)) => return Err(error),
    };
    let typed = Some((version, typed));
    Ok(page::again(
        edit_page(&app, frame, event, typed, wrongs, is_conflict).await?,
    ))
}
