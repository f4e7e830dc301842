//! The forms of the borrower's side on the page of a loan.

use std::collections::BTreeMap;

use axum::extract::State;
use axum::response::Response;

use super::acts::answered;
use super::show::Typed;
use crate::app::App;
use crate::error::AppError;
use crate::ids::LoanId;
use crate::loans::{self, Answered, Side, Speaker};
use crate::people::Viewer;
use crate::web::extract::{Form, Path};
use crate::web::frame::Frame;

/// The forms' fields by name; those about a difference end with its line.
pub(super) type Fields = BTreeMap<String, String>;

const SEEN: &str = "The lender sees what you said.";

fn typed(said: Fields) -> Typed {
    Typed {
        said,
        ..Typed::default()
    }
}

pub(super) fn field(fields: &Fields, name: &str) -> String {
    fields.get(name).cloned().unwrap_or_default()
}

pub(super) async fn confirm_count(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(loan): Path<LoanId>,
    form: Form<Fields>,
) -> Result<Response, AppError> {
    let (sent, fields) = (form.sent, form.fields);
    let speaker = Speaker::member(&viewer, Side::Borrower, loan);
    let (there, differs) = (field(&fields, "there"), field(&fields, "differs"));
    let done = loans::confirm_count(&app, &speaker, &sent, loan, &there, &differs).await;
    answered(&app, &viewer, frame, loan, done, SEEN, typed(fields)).await
}

pub(super) async fn give_back(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(loan): Path<LoanId>,
    form: Form<Fields>,
) -> Result<Response, AppError> {
    let (sent, fields) = (form.sent, form.fields);
    let speaker = Speaker::member(&viewer, Side::Borrower, loan);
    let given = field(&fields, "given");
    let done = loans::say_given_back(&app, &speaker, &sent, loan, &given).await;
    let text = "The lender sees it, and counts it back.";
    answered(&app, &viewer, frame, loan, done, text, typed(fields)).await
}

pub(super) async fn answer_difference(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path((loan, line)): Path<(LoanId, i64)>,
    form: Form<Fields>,
) -> Result<Response, AppError> {
    let (sent, fields) = (form.sent, form.fields);
    let said = Answered {
        agrees: field(&fields, &format!("agrees-{line}")),
        words: field(&fields, &format!("otherwise-{line}")),
        name: field(&fields, &format!("name-{line}")),
    };
    let speaker = Speaker::member(&viewer, Side::Borrower, loan);
    let done = loans::answer_difference(&app, &speaker, &sent, (loan, line), &said).await;
    answered(&app, &viewer, frame, loan, done, SEEN, typed(fields)).await
}
