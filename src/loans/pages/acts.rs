//! The small forms on the page of a loan.

use axum::extract::State;
use axum::response::Response;
use serde::Deserialize;

use super::show::{Typed, page};
use crate::app::App;
use crate::error::{AppError, NotDone};
use crate::ids::LoanId;
use crate::loans::{self, Agreed, Answer, Proposed, Side, Speaker};
use crate::people::Viewer;
use crate::receipts::Outcome;
use crate::web::extract::{Form, Nothing, Path};
use crate::web::flash;
use crate::web::form::Wrong;
use crate::web::frame::Frame;
use crate::web::page;

/// The page again with what a small form was refused for, or on with a message.
pub(super) async fn answered(
    app: &App,
    viewer: &Viewer,
    frame: Frame,
    loan: LoanId,
    result: Result<Outcome, NotDone<Vec<Wrong>>>,
    text: &str,
    typed: Typed,
) -> Result<Response, AppError> {
    match result {
        Ok(outcome) => Ok(flash::told(&outcome, text, viewer.zone())),
        Err(NotDone::Failed(error)) => Err(error),
        Err(NotDone::Refused(wrongs)) => {
            let page = page(app, viewer, frame, loan, typed, wrongs).await?;
            Ok(page::again(page))
        }
    }
}

pub(super) async fn take_back(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(loan): Path<LoanId>,
    form: Form<Nothing>,
) -> Result<Response, AppError> {
    let done = loans::take_back(&app, &viewer, &form.sent, loan).await;
    let text = "Taken back: nothing left.";
    answered(&app, &viewer, frame, loan, done, text, Typed::default()).await
}

#[derive(Deserialize, Default)]
#[serde(default)]
pub(super) struct LaterForm {
    later_due_on: String,
    later_why: String,
    later_despite: String,
}

pub(super) async fn later(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(loan): Path<LoanId>,
    form: Form<LaterForm>,
) -> Result<Response, AppError> {
    let LaterForm {
        later_due_on,
        later_why,
        later_despite,
    } = form.fields;
    let (day, why, despite) = (&later_due_on, &later_why, &later_despite);
    let done = loans::extend(&app, &viewer, &form.sent, loan, day, why, despite).await;
    let typed = Typed {
        due_on: later_due_on,
        why: later_why,
        despite: later_despite,
        ..Typed::default()
    };
    answered(
        &app,
        &viewer,
        frame,
        loan,
        done,
        "It may stay longer.",
        typed,
    )
    .await
}

#[derive(Deserialize, Default)]
#[serde(default)]
pub(super) struct WhyForm {
    why: String,
    /// Why it is agreed to although something else is planned.
    despite: String,
}

pub(super) async fn agree(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(loan): Path<LoanId>,
    form: Form<WhyForm>,
) -> Result<Response, AppError> {
    let WhyForm { why, despite } = form.fields;
    let (agree, sent) = (Answer::Agree, &form.sent);
    let done = loans::answer(&app, &viewer, sent, loan, agree, &why, &despite).await;
    let typed = Typed {
        why,
        despite,
        ..Typed::default()
    };
    answered(&app, &viewer, frame, loan, done, "Agreed.", typed).await
}

pub(super) async fn decline(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(loan): Path<LoanId>,
    form: Form<WhyForm>,
) -> Result<Response, AppError> {
    let why = form.fields.why;
    let done = loans::answer(&app, &viewer, &form.sent, loan, Answer::Decline, &why, "").await;
    let typed = Typed {
        why,
        ..Typed::default()
    };
    answered(&app, &viewer, frame, loan, done, "Declined.", typed).await
}

pub(super) async fn withdraw(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(loan): Path<LoanId>,
    form: Form<Nothing>,
) -> Result<Response, AppError> {
    let done = loans::withdraw(&app, &viewer, &form.sent, loan).await;
    let typed = Typed::default();
    answered(&app, &viewer, frame, loan, done, "Withdrawn.", typed).await
}

#[derive(Deserialize, Default)]
#[serde(default)]
pub(super) struct AgreeForm {
    agreement: String,
    pays: String,
    lender_name: String,
    borrower_name: String,
    /// "yes" where the borrower is asked first.
    propose: String,
}

pub(super) async fn agree_about(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path((loan, line)): Path<(LoanId, i64)>,
    form: Form<AgreeForm>,
) -> Result<Response, AppError> {
    let is_proposal = !form.fields.propose.is_empty();
    let agreed = Agreed {
        agreement: form.fields.agreement,
        pays: form.fields.pays,
        lender_name: form.fields.lender_name,
        borrower_name: form.fields.borrower_name,
    };
    let (done, text) = if is_proposal {
        let proposed = Proposed {
            agreement: agreed.agreement.clone(),
            pays: agreed.pays.clone(),
            name: agreed.lender_name.clone(),
        };
        let done = loans::propose(&app, &viewer, &form.sent, (loan, line), &proposed).await;
        (done, "Proposed. The borrower answers.")
    } else {
        let done = loans::agree_about(&app, &viewer, &form.sent, (loan, line), &agreed).await;
        (done, "Noted.")
    };
    let typed = Typed {
        agreed,
        line,
        ..Typed::default()
    };
    answered(&app, &viewer, frame, loan, done, text, typed).await
}

#[derive(Deserialize, Default)]
#[serde(default)]
pub(super) struct HomeForm {
    qty: String,
    replaced: String,
}

pub(super) async fn come_home(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path((loan, line)): Path<(LoanId, i64)>,
    form: Form<HomeForm>,
) -> Result<Response, AppError> {
    let HomeForm { qty, replaced } = form.fields;
    let replaced = !replaced.is_empty();
    let done = loans::come_home(&app, &viewer, &form.sent, (loan, line), &qty, replaced).await;
    let typed = Typed::default();
    answered(&app, &viewer, frame, loan, done, "It is home.", typed).await
}

#[derive(Deserialize, Default)]
#[serde(default)]
pub(super) struct LaidForm {
    stretch: String,
    words: String,
}

pub(super) async fn lay(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path((loan, line)): Path<(LoanId, i64)>,
    form: Form<LaidForm>,
) -> Result<Response, AppError> {
    let LaidForm { stretch, words } = form.fields;
    let done = loans::lay(&app, &viewer, &form.sent, (loan, line), &stretch, &words).await;
    let said = [
        (format!("laid-{line}"), stretch),
        (format!("laid_words-{line}"), words),
    ];
    let typed = Typed {
        said: said.into(),
        ..Typed::default()
    };
    answered(&app, &viewer, frame, loan, done, "Noted.", typed).await
}

#[derive(Deserialize, Default)]
#[serde(default)]
pub(super) struct WordForm {
    /// "yes" or "no", by the button that was pressed.
    says: String,
    word: String,
}

pub(super) async fn answer_onward(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path((loan, n)): Path<(LoanId, i64)>,
    form: Form<WordForm>,
) -> Result<Response, AppError> {
    let WordForm { says, word } = form.fields;
    let (yes, sent) = (says == "yes", &form.sent);
    let done = loans::answer_onward(&app, &viewer, sent, (loan, n), yes, &word).await;
    let text = if yes {
        "They may hand it on."
    } else {
        "They may not hand it on."
    };
    let typed = Typed {
        said: [(format!("word-{n}"), word)].into(),
        ..Typed::default()
    };
    answered(&app, &viewer, frame, loan, done, text, typed).await
}

pub(super) async fn drop_onward(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path((loan, n)): Path<(LoanId, i64)>,
    form: Form<Nothing>,
) -> Result<Response, AppError> {
    let speaker = speaker(&app, &viewer, loan).await?;
    let done = loans::drop_onward(&app, &speaker, &form.sent, (loan, n)).await;
    let text = "It is not handed on.";
    answered(&app, &viewer, frame, loan, done, text, Typed::default()).await
}

/// Who speaks: a keeper of the lender's, or else of the borrower's.
pub(super) async fn speaker(app: &App, viewer: &Viewer, loan: LoanId) -> Result<Speaker, AppError> {
    let mut db = app.db.read().await?;
    let loan = super::found(&mut db, loan).await?;
    let side = if viewer.keeps(loan.lender) {
        Side::Lender
    } else {
        Side::Borrower
    };
    Ok(Speaker::member(viewer, side, loan.id))
}

pub(super) async fn close(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(loan): Path<LoanId>,
    form: Form<Nothing>,
) -> Result<Response, AppError> {
    let done = loans::close(&app, &viewer, &form.sent, loan).await;
    let text = "Closed. What did not come back is missing in the books.";
    answered(&app, &viewer, frame, loan, done, text, Typed::default()).await
}
