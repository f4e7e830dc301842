//! The league: its name and its coordinators.

use askama::Template;
use axum::extract::State;
use axum::response::Response;
use serde::Deserialize;

use super::form::{Wrongs, refused, unstored};
use crate::app::App;
use crate::error::{AppError, NotDone};
use crate::ids::PersonId;
use crate::people::rules::PeopleRefused;
use crate::people::teams::{self, Coordinator};
use crate::people::{Viewer, memory};
use crate::receipts::Outcome;
use crate::web::extract::{Form, Nothing, Path};
use crate::web::flash;
use crate::web::frame::Frame;
use crate::web::page::Page;

#[derive(Template)]
#[template(path = "people/league.html")]
struct LeaguePage {
    frame: Frame,
    league: String,
    email: String,
    coordinators: Vec<Coordinator>,
    wrongs: Wrongs,
}

#[derive(Deserialize)]
pub struct LeagueForm {
    #[serde(default)]
    league: String,
}

#[derive(Deserialize)]
pub struct EmailForm {
    #[serde(default)]
    email: String,
}

async fn page(
    app: &App,
    frame: Frame,
    league: Option<String>,
    email: String,
    wrongs: Wrongs,
) -> Result<LeaguePage, AppError> {
    let league = match league {
        Some(typed) => typed,
        None => memory::league(app).await?,
    };
    let mut db = app.db.read().await?;
    let coordinators = teams::coordinators(&mut db).await?;
    Ok(LeaguePage {
        frame,
        league,
        email,
        coordinators,
        wrongs,
    })
}

pub async fn show(State(app): State<App>, frame: Frame) -> Result<Response, AppError> {
    let page = page(&app, frame, None, String::new(), Wrongs::default()).await?;
    Ok(unstored(Page(page)))
}

/// The answer to one of the page's forms.
async fn answer(
    app: &App,
    viewer: &Viewer,
    frame: Frame,
    done: Result<Outcome, NotDone<PeopleRefused>>,
    text: &str,
    (league, email): (Option<String>, String),
) -> Result<Response, AppError> {
    match done {
        Ok(outcome) => Ok(flash::told(&outcome, text, viewer.zone())),
        Err(NotDone::Refused(wrong)) => {
            let page = page(app, frame, league, email, wrong.into()).await?;
            Ok(refused(Page(page)))
        }
        Err(NotDone::Failed(error)) => Err(error),
    }
}

pub async fn rename(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    form: Form<LeagueForm>,
) -> Result<Response, AppError> {
    let league = form.fields.league;
    let done = teams::name_league(&app, &viewer, &form.sent, &league).await;
    let typed = (Some(league), String::new());
    answer(&app, &viewer, frame, done, "Name changed.", typed).await
}

pub async fn give(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    form: Form<EmailForm>,
) -> Result<Response, AppError> {
    let email = form.fields.email;
    let done = teams::give_coordinator(&app, &viewer, &form.sent, &email).await;
    answer(
        &app,
        &viewer,
        frame,
        done,
        "Coordinator added.",
        (None, email),
    )
    .await
}

pub async fn take(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(person): Path<PersonId>,
    form: Form<Nothing>,
) -> Result<Response, AppError> {
    let done = teams::take_coordinator(&app, &viewer, &form.sent, person).await;
    // Whoever gave up their own role sees this page no more.
    if done.is_ok() && person == viewer.person {
        return Ok(flash::see("/", "You are no coordinator any more."));
    }
    let typed = (None, String::new());
    answer(
        &app,
        &viewer,
        frame,
        done,
        "They are no coordinator any more.",
        typed,
    )
    .await
}
