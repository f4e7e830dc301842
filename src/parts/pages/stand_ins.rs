//! The forms about parts that may stand in for a part.

use axum::extract::State;
use axum::response::Response;
use serde::Deserialize;

use super::{ShowPage, show_page};
use crate::app::App;
use crate::error::{AppError, NotDone};
use crate::ids::PartId;
use crate::parts::stand_ins;
use crate::people::Viewer;
use crate::web::extract::{Form, Path};
use crate::web::flash;
use crate::web::form::Wrong;
use crate::web::frame::Frame;
use crate::web::page;

#[derive(Deserialize, Default)]
#[serde(default)]
pub(super) struct StandInForm {
    pub other: String,
    pub allowed: String,
}

pub(super) async fn let_stand_in(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(part): Path<PartId>,
    form: Form<StandInForm>,
) -> Result<Response, AppError> {
    let typed = form.fields;
    let (other, allowed) = (&typed.other, &typed.allowed);
    match stand_ins::let_stand_in(&app, &viewer, &form.sent, part, other, allowed).await {
        Ok(outcome) => Ok(flash::told(&outcome, "Written down.", viewer.zone())),
        Err(NotDone::Failed(error)) => Err(error),
        Err(NotDone::Refused(why)) => {
            let page = show_page(&app, &viewer, frame, part).await?;
            Ok(page::again(ShowPage {
                typed,
                wrongs: vec![Wrong::at(why.field(), &why)],
                ..page
            }))
        }
    }
}

#[derive(Deserialize)]
pub(super) struct EndForm {
    n: i64,
}

pub(super) async fn end(
    State(app): State<App>,
    viewer: Viewer,
    Path(part): Path<PartId>,
    form: Form<EndForm>,
) -> Result<Response, AppError> {
    match stand_ins::end_stand_in(&app, &viewer, &form.sent, part, form.fields.n).await {
        Ok(outcome) => Ok(flash::told(&outcome, "It may no more.", viewer.zone())),
        Err(NotDone::Failed(error)) => Err(error),
        Err(NotDone::Refused(why)) => Ok(flash::look(&format!("/parts/{part}"), why.to_string())),
    }
}
