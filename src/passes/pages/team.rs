//! The team's page of an event's passes: the sheet to hang up, who used it, and its end.

use askama::Template;
use axum::extract::State;
use axum::response::Response;
use serde::Deserialize;

use crate::app::App;
use crate::error::{AppError, NotDone};
use crate::events::{self, Event};
use crate::ids::{EventId, FormId, PassId, TeamId};
use crate::passes::rules::Refused;
use crate::passes::{self, Pass, store};
use crate::people::Viewer;
use crate::receipts::Outcome;
use crate::web::extract::{Form, Nothing, Path};
use crate::web::flash;
use crate::web::form::{self, Choice, Wrong};
use crate::web::frame::Frame;
use crate::web::page::{self, Page};
use crate::web::qr::{self, Qr};

/// A pass as the team sees it.
struct Shown {
    pass: Pass,
    holds: bool,
    qr: Option<Qr>,
    /// "Sam, since 4 Mar 2027, 18:00".
    helpers: Vec<String>,
}

#[derive(Template)]
#[template(path = "passes/show.html")]
pub(super) struct ShowPage {
    frame: Frame,
    event: Event,
    /// Where a helper types the code.
    address: String,
    passes: Vec<Shown>,
    /// Teams of the viewer whose kits go and that have no pass.
    teams: Vec<Choice>,
    wrongs: Vec<Wrong>,
}

impl ShowPage {
    fn form_id(&self) -> FormId {
        self.frame.form_id()
    }

    fn wrong(&self, field: &str) -> Option<&str> {
        form::at(&self.wrongs, field)
    }

    fn error(&self) -> &'static str {
        form::title_prefix(&self.wrongs)
    }
}

pub(super) async fn show(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(event): Path<EventId>,
) -> Result<Page<ShowPage>, AppError> {
    show_page(&app, &viewer, frame, event, Vec::new())
        .await
        .map(Page)
}

async fn show_page(
    app: &App,
    viewer: &Viewer,
    frame: Frame,
    event: EventId,
    wrongs: Vec<Wrong>,
) -> Result<ShowPage, AppError> {
    let mut db = app.db.read().await?;
    let event = events::find(&mut db, event)
        .await?
        .ok_or(AppError::NotFound("event"))?;
    let now = app.clock.now();
    let mut shown = Vec::new();
    for pass in passes::of_event(&mut db, event.id).await? {
        // Teams do not see each other's helpers.
        if viewer.role_in(pass.team).is_none() {
            continue;
        }
        let helpers = store::helpers(&mut db, pass.id)
            .await?
            .into_iter()
            .map(|(name, since)| format!("{name}, since {}", since.words(viewer.zone())))
            .collect();
        shown.push(Shown {
            holds: pass.holds(now),
            qr: qr::of_address(&format!("{}/pass/{}", app.public_url(), pass.code.plain())),
            helpers,
            pass,
        });
    }
    let mut teams: Vec<Choice> = Vec::new();
    for kit in events::kits_of(&mut db, event.id).await? {
        let has_one = |one: &Shown| one.pass.team == kit.team && one.pass.ended_at.is_none();
        if viewer.role_in(kit.team).is_some()
            && !shown.iter().any(has_one)
            && !event.is_called_off
            && teams.iter().all(|one| one.value != kit.team.to_string())
        {
            teams.push(Choice::new(kit.team, &kit.team_name, teams.is_empty()));
        }
    }
    Ok(ShowPage {
        frame,
        event,
        address: format!("{}/pass", app.public_url()),
        passes: shown,
        teams,
        wrongs,
    })
}

#[derive(Deserialize)]
pub(super) struct MakeForm {
    #[serde(default)]
    team: String,
}

pub(super) async fn make(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(event): Path<EventId>,
    form: Form<MakeForm>,
) -> Result<Response, AppError> {
    let team: TeamId = form
        .fields
        .team
        .parse()
        .map_err(|_| AppError::NotFound("team"))?;
    let done = passes::make(&app, &viewer, &form.sent, event, team).await;
    answer(&app, &viewer, frame, event, done, "The pass holds.").await
}

pub(super) async fn end(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path((event, pass)): Path<(EventId, PassId)>,
    form: Form<Nothing>,
) -> Result<Response, AppError> {
    let done = passes::end(&app, &viewer, &form.sent, event, pass).await;
    answer(&app, &viewer, frame, event, done, "The pass has ended.").await
}

async fn answer(
    app: &App,
    viewer: &Viewer,
    frame: Frame,
    event: EventId,
    done: Result<Outcome, NotDone<Refused>>,
    told: &str,
) -> Result<Response, AppError> {
    match done {
        Ok(outcome) => Ok(flash::told(&outcome, told, viewer.zone())),
        Err(NotDone::Failed(error)) => Err(error),
        Err(NotDone::Refused(why)) => {
            let wrongs = vec![Wrong::at("", why)];
            let page = show_page(app, viewer, frame, event, wrongs).await?;
            Ok(page::again(page))
        }
    }
}
