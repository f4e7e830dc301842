//! The forms of an order line's page: ordered, arrived, called off, taken back.

use axum::extract::State;
use axum::response::Response;
use serde::Deserialize;

use super::show::{self, ActForm};
use crate::app::App;
use crate::error::{AppError, NotDone};
use crate::ids::KitId;
use crate::orders;
use crate::people::Viewer;
use crate::receipts::Outcome;
use crate::web::extract::{Form, Path};
use crate::web::flash;
use crate::web::form::Wrong;
use crate::web::frame::Frame;
use crate::web::page;

/// The answer to a form of this page: the line again, with what has to be put right.
async fn told(
    app: &App,
    viewer: &Viewer,
    frame: Frame,
    line: (KitId, i64),
    done: Result<Outcome, NotDone<Vec<Wrong>>>,
    words: &str,
    fields: ActForm,
) -> Result<Response, AppError> {
    match done {
        Ok(outcome) => Ok(flash::told(&outcome, words, viewer.zone())),
        Err(NotDone::Failed(error)) => Err(error),
        Err(NotDone::Refused(wrongs)) => {
            let page = show::page(app, viewer, frame, line, fields, wrongs).await?;
            Ok(page::again(page))
        }
    }
}

pub(super) async fn order(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(line): Path<(KitId, i64)>,
    form: Form<ActForm>,
) -> Result<Response, AppError> {
    let (sent, fields) = (form.sent, form.fields);
    let (from, on, by) = (&fields.supplier, &fields.ordered_on, &fields.by);
    let done = orders::order(&app, &viewer, &sent, line, from, on, by).await;
    told(&app, &viewer, frame, line, done, "It is ordered.", fields).await
}

pub(super) async fn arrive(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(line): Path<(KitId, i64)>,
    form: Form<ActForm>,
) -> Result<Response, AppError> {
    let (sent, fields) = (form.sent, form.fields);
    let (qty, place, on) = (&fields.came, &fields.place, &fields.came_on);
    let done = orders::arrive(&app, &viewer, &sent, line, qty, place, on).await;
    let words = "They are in the books.";
    told(&app, &viewer, frame, line, done, words, fields).await
}

pub(super) async fn call_off(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(line): Path<(KitId, i64)>,
    form: Form<ActForm>,
) -> Result<Response, AppError> {
    let (sent, fields) = (form.sent, form.fields);
    let done = orders::call_off(&app, &viewer, &sent, line, &fields.off_why).await;
    told(&app, &viewer, frame, line, done, "Called off.", fields).await
}

#[derive(Deserialize)]
pub(super) struct TakeBackForm {
    line: i64,
}

pub(super) async fn take_back(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(line): Path<(KitId, i64)>,
    form: Form<TakeBackForm>,
) -> Result<Response, AppError> {
    let done = orders::take_back(&app, &viewer, &form.sent, line, form.fields.line).await;
    let fields = ActForm::default();
    told(&app, &viewer, frame, line, done, "Taken back.", fields).await
}
