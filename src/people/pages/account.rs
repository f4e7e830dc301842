//! One's own account.

use askama::Template;
use axum::extract::State;
use axum::response::Response;
use serde::Deserialize;

use super::form::{Wrongs, refused, unstored};
use crate::app::App;
use crate::error::{AppError, NotDone};
use crate::ids::{FormId, SessionId};
use crate::people::sign_in::OpenSession;
use crate::people::{Viewer, account, sign_in};
use crate::web::extract::{Form, Nothing, Path};
use crate::web::flash;
use crate::web::frame::Frame;
use crate::web::page::Page;

#[derive(Template)]
#[template(path = "people/account.html")]
struct AccountPage {
    frame: Frame,
    viewer: Viewer,
    fields: AccountForm,
    wrongs: Wrongs,
    sessions: Vec<OpenSession>,
}

#[derive(Deserialize, Default)]
pub struct AccountForm {
    #[serde(default)]
    name: String,
    #[serde(default)]
    email: String,
    #[serde(default)]
    current_password: String,
}

pub async fn show(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
) -> Result<Response, AppError> {
    let fields = AccountForm {
        name: viewer.name().to_owned(),
        email: account::email(&app, &viewer).await?,
        current_password: String::new(),
    };
    let page = page(&app, viewer, frame, fields, Wrongs::default()).await?;
    Ok(unstored(Page(page)))
}

async fn page(
    app: &App,
    viewer: Viewer,
    frame: Frame,
    fields: AccountForm,
    wrongs: Wrongs,
) -> Result<AccountPage, AppError> {
    let sessions = sign_in::sessions(app, &viewer).await?;
    Ok(AccountPage {
        frame,
        viewer,
        fields,
        wrongs,
        sessions,
    })
}

pub async fn change(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    form: Form<AccountForm>,
) -> Result<Response, AppError> {
    let said = &form.fields;
    let done = account::change(
        &app,
        &viewer,
        &form.sent,
        &said.name,
        &said.email,
        &said.current_password,
    );
    match done.await {
        Ok(outcome) => Ok(flash::told(&outcome, "Account changed.", viewer.zone())),
        Err(NotDone::Refused(wrongs)) => {
            let page = page(&app, viewer, frame, form.fields, wrongs.into()).await?;
            Ok(refused(Page(page)))
        }
        Err(NotDone::Failed(error)) => Err(error),
    }
}

#[derive(Template)]
#[template(path = "people/password.html")]
struct PasswordPage {
    frame: Frame,
    form_id: FormId,
    wrongs: Wrongs,
}

#[derive(Deserialize)]
pub struct PasswordForm {
    #[serde(default)]
    current_password: String,
    #[serde(default)]
    password: String,
}

pub async fn password(frame: Frame) -> Response {
    unstored(Page(PasswordPage {
        form_id: frame.form_id(),
        frame,
        wrongs: Wrongs::default(),
    }))
}

pub async fn change_password(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    form: Form<PasswordForm>,
) -> Result<Response, AppError> {
    let (current, new) = (&form.fields.current_password, &form.fields.password);
    match sign_in::change_password(&app, &viewer, &form.sent, current, new).await {
        Ok(outcome) => {
            let text = "Password changed. Everywhere else you are signed out.";
            Ok(flash::told(&outcome, text, viewer.zone()))
        }
        Err(NotDone::Refused(wrong)) => Ok(refused(Page(PasswordPage {
            form_id: frame.form_id(),
            frame,
            wrongs: wrong.into(),
        }))),
        Err(NotDone::Failed(error)) => Err(error),
    }
}

pub async fn end_session(
    State(app): State<App>,
    viewer: Viewer,
    Path(session): Path<SessionId>,
    form: Form<Nothing>,
) -> Result<Response, AppError> {
    let done = sign_in::end_session(&app, &viewer, &form.sent, session).await;
    let outcome = done.map_err(NotDone::page)?;
    Ok(flash::told(&outcome, "Signed out there.", viewer.zone()))
}

pub async fn end_others(
    State(app): State<App>,
    viewer: Viewer,
    form: Form<Nothing>,
) -> Result<Response, AppError> {
    let done = sign_in::end_other_sessions(&app, &viewer, &form.sent).await;
    let outcome = done.map_err(NotDone::page)?;
    let text = "Signed out everywhere else.";
    Ok(flash::told(&outcome, text, viewer.zone()))
}
