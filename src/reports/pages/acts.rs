//! The forms of a report's page: answered, arrived, closed, taken back.

use std::collections::BTreeMap;

use axum::extract::State;
use axum::response::Response;
use serde::Deserialize;

use super::show;
use crate::app::App;
use crate::error::{AppError, NotDone};
use crate::ids::KitId;
use crate::people::Viewer;
use crate::receipts::Outcome;
use crate::reports;
use crate::web::extract::{Form, Path};
use crate::web::flash;
use crate::web::form::Wrong;
use crate::web::frame::Frame;
use crate::web::page;

type Fields = BTreeMap<String, String>;

/// The answer to a form of this page: the report again, with what has to be put right.
async fn told(
    app: &App,
    viewer: &Viewer,
    frame: Frame,
    report: (KitId, i64),
    done: Result<Outcome, NotDone<Vec<Wrong>>>,
    words: &str,
    fields: Fields,
) -> Result<Response, AppError> {
    match done {
        Ok(outcome) => Ok(flash::told(&outcome, words, viewer.zone())),
        Err(NotDone::Failed(error)) => Err(error),
        Err(NotDone::Refused(wrongs)) => {
            let page = show::page(app, viewer, frame, report, fields, wrongs).await?;
            Ok(page::again(page))
        }
    }
}

pub(super) async fn answer(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(report): Path<(KitId, i64)>,
    form: Form<Fields>,
) -> Result<Response, AppError> {
    let (sent, fields) = (form.sent, form.fields);
    let done = reports::answer(&app, &viewer, &sent, report.0, report.1, &fields).await;
    let words = "The answer is written down.";
    told(&app, &viewer, frame, report, done, words, fields).await
}

pub(super) async fn arrive(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(report): Path<(KitId, i64)>,
    form: Form<Fields>,
) -> Result<Response, AppError> {
    let (sent, fields) = (form.sent, form.fields);
    let done = reports::arrive(&app, &viewer, &sent, report.0, report.1, &fields).await;
    let words = "They are in the books.";
    told(&app, &viewer, frame, report, done, words, fields).await
}

pub(super) async fn close(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(report): Path<(KitId, i64)>,
    form: Form<Fields>,
) -> Result<Response, AppError> {
    let (sent, fields) = (form.sent, form.fields);
    let why = fields.get("why").map_or("", String::as_str);
    let done = reports::close(&app, &viewer, &sent, report.0, report.1, why).await;
    told(&app, &viewer, frame, report, done, "Closed.", fields).await
}

#[derive(Deserialize)]
pub(super) struct TakeBackForm {
    line: i64,
}

pub(super) async fn take_back(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(report): Path<(KitId, i64)>,
    form: Form<TakeBackForm>,
) -> Result<Response, AppError> {
    let line = form.fields.line;
    let done = reports::take_back(&app, &viewer, &form.sent, report.0, report.1, line).await;
    told(
        &app,
        &viewer,
        frame,
        report,
        done,
        "Taken back.",
        Fields::new(),
    )
    .await
}
