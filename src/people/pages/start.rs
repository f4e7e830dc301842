//! The very first page: naming the league and making the first account.

use askama::Template;
use axum::extract::State;
use axum::http::StatusCode;
use axum::response::{IntoResponse, Redirect, Response};
use serde::Deserialize;

use super::form::{Visitor, Wrongs, ZONES, refused, unstored, with_session};
use crate::app::App;
use crate::error::{AppError, NotDone};
use crate::ids::FormId;
use crate::people::memory;
use crate::people::start::{self, FirstStart};
use crate::web::extract::Form;
use crate::web::flash;
use crate::web::frame::Frame;
use crate::web::page::Page;

/// While nobody has an account, every page leads to the first one.
pub async fn start_first(app: &App, path: &str) -> Result<Option<Response>, AppError> {
    if path == "/start" || memory::somebody(app).await? {
        return Ok(None);
    }
    Ok(Some(unstored(Redirect::to("/start"))))
}

#[derive(Template)]
#[template(path = "people/start.html")]
struct StartPage {
    frame: Frame,
    form_id: FormId,
    fields: StartForm,
    wrongs: Wrongs,
    zones: [&'static str; ZONES.len()],
}

#[derive(Template)]
#[template(path = "people/started.html")]
struct StartedPage {
    frame: Frame,
}

#[derive(Deserialize, Default)]
pub struct StartForm {
    #[serde(default)]
    code: String,
    #[serde(default)]
    league: String,
    #[serde(default)]
    team: String,
    #[serde(default)]
    zone: String,
    #[serde(default)]
    name: String,
    #[serde(default)]
    email: String,
    #[serde(default)]
    password: String,
}

pub async fn show(State(app): State<App>, frame: Frame) -> Result<Response, AppError> {
    if memory::somebody(&app).await? {
        return Ok(unstored(Page(StartedPage { frame })));
    }
    let fields = StartForm {
        zone: crate::clock::zone_of_this_machine(),
        ..StartForm::default()
    };
    Ok(unstored(Page(page(frame, fields, Wrongs::default()))))
}

fn page(frame: Frame, fields: StartForm, wrongs: Wrongs) -> StartPage {
    StartPage {
        form_id: frame.form_id(),
        frame,
        fields,
        wrongs,
        zones: ZONES,
    }
}

pub async fn begin(
    State(app): State<App>,
    visitor: Visitor,
    frame: Frame,
    form: Form<StartForm>,
) -> Result<Response, AppError> {
    visitor.try_or_wait(&app)?;
    let said = &form.fields;
    let first = FirstStart {
        code: &said.code,
        league: &said.league,
        team: &said.team,
        zone: &said.zone,
        name: &said.name,
        email: &said.email,
        password: &said.password,
    };
    match start::begin_league(&app, &form.sent, &first, &visitor.device).await {
        Ok(joined) => {
            let text = "The league is set up, and you are signed in.";
            let answer = unstored(flash::told(&joined.outcome, text, "UTC"));
            Ok(match joined.token {
                Some(token) => with_session(&app, &token, answer),
                None => answer,
            })
        }
        Err(NotDone::Refused(wrongs)) => Ok(refused(Page(page(frame, form.fields, wrongs.into())))),
        Err(NotDone::Failed(AppError::Conflict(_))) if memory::somebody(&app).await? => {
            Ok((StatusCode::CONFLICT, unstored(Page(StartedPage { frame }))).into_response())
        }
        Err(NotDone::Failed(error)) => Err(error),
    }
}
