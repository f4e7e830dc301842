//! The forms of an event's page: calling it off, holding it, which kits go.

use axum::extract::State;
use axum::response::Response;
use serde::Deserialize;

use super::show::{Kept, show_page};
use crate::app::App;
use crate::error::{AppError, NotDone};
use crate::events::{self, rules::Refused};
use crate::ids::{EventId, KitId};
use crate::people::Viewer;
use crate::receipts::Outcome;
use crate::web::extract::{Form, Nothing, Path};
use crate::web::flash;
use crate::web::form::Wrong;
use crate::web::frame::Frame;
use crate::web::page;

/// The answer to a form of this page: the event again, with what has to be put right.
async fn answer(
    app: &App,
    viewer: &Viewer,
    frame: Frame,
    event: EventId,
    done: Result<Outcome, NotDone<Refused>>,
    told: &str,
    typed: Kept,
) -> Result<Response, AppError> {
    match done {
        Ok(outcome) => Ok(flash::told(&outcome, told, viewer.zone())),
        Err(NotDone::Failed(error)) => Err(error),
        Err(NotDone::Refused(refused)) => {
            let field = match refused {
                Refused::NoReason => "call_off_why",
                Refused::NoKit | Refused::PutAway | Refused::GoesAlready => "kit",
                Refused::Elsewhere(_) => "why",
                Refused::LongReason if typed.why.is_empty() => "call_off_why",
                Refused::LongReason => "why",
                _ => "",
            };
            let wrongs = vec![Wrong::at(field, refused)];
            let mut db = app.db.read().await?;
            Ok(page::again(
                show_page(&mut db, viewer, frame, event, typed, wrongs).await?,
            ))
        }
    }
}

#[derive(Deserialize)]
pub(super) struct CallOffForm {
    #[serde(default)]
    call_off_why: String,
}

pub(super) async fn call_off(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(event): Path<EventId>,
    form: Form<CallOffForm>,
) -> Result<Response, AppError> {
    let why = form.fields.call_off_why;
    let done = events::call_off(&app, &viewer, &form.sent, event, &why).await;
    let typed = Kept {
        call_off_why: why,
        ..Kept::default()
    };
    answer(&app, &viewer, frame, event, done, "Called off.", typed).await
}

pub(super) async fn hold(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(event): Path<EventId>,
    form: Form<Nothing>,
) -> Result<Response, AppError> {
    let done = events::hold(&app, &viewer, &form.sent, event).await;
    let told = "It takes place after all.";
    answer(&app, &viewer, frame, event, done, told, Kept::default()).await
}

#[derive(Deserialize)]
pub(super) struct KitForm {
    #[serde(default)]
    kit: String,
    #[serde(default)]
    why: String,
}

pub(super) async fn bring(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(event): Path<EventId>,
    form: Form<KitForm>,
) -> Result<Response, AppError> {
    let fields = form.fields;
    let kit = fields.kit.parse().ok();
    let done = events::bring(&app, &viewer, &form.sent, event, kit, &fields.why).await;
    let typed = Kept {
        kit,
        why: fields.why,
        ..Kept::default()
    };
    answer(&app, &viewer, frame, event, done, "It goes.", typed).await
}

pub(super) async fn leave_home(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path((event, kit)): Path<(EventId, KitId)>,
    form: Form<Nothing>,
) -> Result<Response, AppError> {
    let done = events::leave_home(&app, &viewer, &form.sent, event, kit).await;
    let told = "It stays at home.";
    answer(&app, &viewer, frame, event, done, told, Kept::default()).await
}
