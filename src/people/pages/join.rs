//! What links open: joining by invitation, and choosing a new password. Opening a link changes
//! nothing, because mail programs and chat programs open links on their own.

use askama::Template;
use axum::extract::{Extension, State};
use axum::response::Response;
use serde::Deserialize;

use super::form::{Visitor, Wrongs, refused, secret, with_session};
use crate::app::App;
use crate::error::{AppError, NotDone};
use crate::ids::FormId;
use crate::people::links::{self, Invite};
use crate::people::rules::PeopleRefused;
use crate::people::{Role, Viewer, resets};
use crate::receipts::Outcome;
use crate::web::extract::{Form, Path};
use crate::web::flash;
use crate::web::frame::Frame;
use crate::web::page::Page;

#[derive(Template)]
#[template(path = "people/invite.html")]
struct InvitePage {
    frame: Frame,
    form_id: FormId,
    token: String,
    invite: Invite,
    fields: JoinForm,
    wrongs: Wrongs,
}

impl InvitePage {
    fn does(&self, role: &Role) -> &'static str {
        match role {
            Role::Keeper => "You would answer for the team’s kits.",
            Role::Deputy => "You would stand in for the team’s keeper.",
            Role::Crew => "You would count, move and report the team’s pieces.",
        }
    }
}

#[derive(Deserialize, Default)]
pub struct JoinForm {
    #[serde(default)]
    name: String,
    #[serde(default)]
    email: String,
    #[serde(default)]
    password: String,
}

pub async fn show(
    State(app): State<App>,
    visitor: Visitor,
    frame: Frame,
    Path(token): Path<String>,
) -> Result<Response, AppError> {
    visitor.try_or_wait(&app)?;
    let page = page(&app, frame, token, JoinForm::default(), Wrongs::default()).await?;
    Ok(secret(Page(page)))
}

async fn page(
    app: &App,
    frame: Frame,
    token: String,
    fields: JoinForm,
    wrongs: Wrongs,
) -> Result<InvitePage, AppError> {
    let invite = links::find_invite(app, &token).await?;
    Ok(InvitePage {
        form_id: frame.form_id(),
        frame,
        token,
        invite,
        fields,
        wrongs,
    })
}

pub async fn accept(
    State(app): State<App>,
    viewer: Option<Extension<Viewer>>,
    visitor: Visitor,
    frame: Frame,
    Path(token): Path<String>,
    form: Form<JoinForm>,
) -> Result<Response, AppError> {
    visitor.try_or_wait(&app)?;
    let text = "Welcome. You are signed in.";
    let wrongs = if let Some(Extension(viewer)) = viewer {
        match links::accept(&app, &viewer, &form.sent, &token).await {
            Ok(outcome) => return Ok(secret(flash::told(&outcome, "Welcome.", viewer.zone()))),
            Err(NotDone::Refused(wrong)) => vec![wrong],
            Err(NotDone::Failed(error)) => return Err(error),
        }
    } else {
        let said = &form.fields;
        let typed = [&*said.name, &*said.email, &*said.password];
        match links::accept_as_new(&app, &form.sent, &token, typed, &visitor.device).await {
            Ok(joined) => {
                let answer = secret(flash::told(&joined.outcome, text, "UTC"));
                return Ok(match joined.token {
                    Some(session) => with_session(&app, &session, answer),
                    None => answer,
                });
            }
            Err(NotDone::Refused(wrongs)) => wrongs,
            Err(NotDone::Failed(error)) => return Err(error),
        }
    };
    let page = page(&app, frame, token, form.fields, wrongs.into()).await?;
    Ok(secret(refused(Page(page))))
}

#[derive(Template)]
#[template(path = "people/new_password.html")]
struct NewPasswordPage {
    frame: Frame,
    form_id: FormId,
    /// Where the form goes.
    action: String,
    /// The e-mail that was typed; `None` where the link says whose password it is.
    email: Option<String>,
    wrongs: Wrongs,
}

#[derive(Deserialize)]
pub struct NewPasswordForm {
    #[serde(default)]
    email: String,
    #[serde(default)]
    password: String,
}

fn password_page(
    frame: Frame,
    action: String,
    email: Option<String>,
    wrongs: Wrongs,
) -> Page<NewPasswordPage> {
    Page(NewPasswordPage {
        form_id: frame.form_id(),
        frame,
        action,
        email,
        wrongs,
    })
}

/// The answer to a form with a new password.
fn answer(
    frame: Frame,
    action: String,
    email: Option<String>,
    done: Result<Outcome, NotDone<PeopleRefused>>,
) -> Result<Response, AppError> {
    match done {
        Ok(outcome) => {
            let text = "The new password holds. Sign in with it.";
            Ok(secret(flash::told(&outcome, text, "UTC")))
        }
        Err(NotDone::Refused(wrong)) => {
            let page = password_page(frame, action, email, wrong.into());
            Ok(secret(refused(page)))
        }
        Err(NotDone::Failed(error)) => Err(error),
    }
}

/// Choosing a password for an account that exists, with an invitation made on the machine itself.
pub async fn password(
    State(app): State<App>,
    visitor: Visitor,
    frame: Frame,
    Path(token): Path<String>,
) -> Result<Response, AppError> {
    visitor.try_or_wait(&app)?;
    if !links::find_invite(&app, &token).await?.sets_passwords() {
        return Err(AppError::NotFound("page"));
    }
    let action = format!("/invites/{token}/password");
    let email = Some(String::new());
    Ok(secret(password_page(
        frame,
        action,
        email,
        Wrongs::default(),
    )))
}

pub async fn set_password(
    State(app): State<App>,
    visitor: Visitor,
    frame: Frame,
    Path(token): Path<String>,
    form: Form<NewPasswordForm>,
) -> Result<Response, AppError> {
    visitor.try_or_wait(&app)?;
    let said = form.fields;
    let done =
        resets::set_password_by_invite(&app, &form.sent, &token, &said.email, &said.password).await;
    let action = format!("/invites/{token}/password");
    answer(frame, action, Some(said.email), done)
}

pub async fn reset(
    State(app): State<App>,
    visitor: Visitor,
    frame: Frame,
    Path(token): Path<String>,
) -> Result<Response, AppError> {
    visitor.try_or_wait(&app)?;
    resets::find_reset(&app, &token).await?;
    let action = format!("/resets/{token}");
    Ok(secret(password_page(
        frame,
        action,
        None,
        Wrongs::default(),
    )))
}

pub async fn do_reset(
    State(app): State<App>,
    visitor: Visitor,
    frame: Frame,
    Path(token): Path<String>,
    form: Form<NewPasswordForm>,
) -> Result<Response, AppError> {
    visitor.try_or_wait(&app)?;
    let done = resets::reset_password(&app, &form.sent, &token, &form.fields.password).await;
    answer(frame, format!("/resets/{token}"), None, done)
}
