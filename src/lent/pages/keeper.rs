//! The keeper's page of a loan's link: its picture code when it is made, where it was opened, and its end.

use askama::Template;
use axum::extract::State;
use axum::http::header;
use axum::response::{IntoResponse, Response};

use crate::app::App;
use crate::error::{AppError, NotDone};
use crate::ids::{FormId, LoanId};
use crate::lent::rules::{Key, Refused};
use crate::lent::{self, Link, Made};
use crate::loans::rules::words::State as LoanState;
use crate::loans::{self, Loan};
use crate::people::Viewer;
use crate::receipts::Outcome;
use crate::web::extract::{Form, Nothing, Path};
use crate::web::flash;
use crate::web::form::{self, Wrong};
use crate::web::frame::Frame;
use crate::web::page::{self, Page};
use crate::web::qr::{self, Qr};

#[derive(Template)]
#[template(path = "lent/link.html")]
pub(super) struct LinkPage {
    frame: Frame,
    loan: Loan,
    link: Option<Link>,
    /// "Ivo, since 4 Mar 2027, 18:00".
    phones: Vec<String>,
    /// The key that was just made.
    made: Option<Key>,
    qr: Option<Qr>,
    /// Where the borrower types it.
    address: String,
    wrongs: Vec<Wrong>,
}

impl LinkPage {
    fn form_id(&self) -> FormId {
        self.frame.form_id()
    }

    fn error(&self) -> &'static str {
        form::title_prefix(&self.wrongs)
    }

    fn holds(&self) -> bool {
        self.link.as_ref().is_some_and(Link::holds)
    }

    fn may_make(&self) -> bool {
        self.loan.borrower.is_none()
            && matches!(self.loan.state, LoanState::Agreed | LoanState::Out)
    }
}

async fn link_page(
    app: &App,
    viewer: &Viewer,
    frame: Frame,
    loan: LoanId,
    made: Option<Key>,
    wrongs: Vec<Wrong>,
) -> Result<LinkPage, AppError> {
    let mut db = app.db.read().await?;
    let loan = loans::find(&mut db, loan)
        .await?
        .ok_or(AppError::NotFound("loan"))?;
    let link = lent::link_of(&mut db, loan.id).await?;
    let phones = match &link {
        Some(link) => lent::phones(&mut db, link.id).await?,
        None => Vec::new(),
    };
    let address = format!("{}/lent/open", app.public_url());
    Ok(LinkPage {
        frame,
        qr: made
            .as_ref()
            .and_then(|key| qr::of_address(&format!("{address}/{}", key.plain()))),
        made,
        address,
        phones: phones
            .into_iter()
            .map(|(name, since)| format!("{name}, since {}", since.words(viewer.zone())))
            .collect(),
        link,
        loan,
        wrongs,
    })
}

pub(super) async fn show(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(loan): Path<LoanId>,
) -> Result<Page<LinkPage>, AppError> {
    link_page(&app, &viewer, frame, loan, None, Vec::new())
        .await
        .map(Page)
}

/// Shows the code in answer to the form, without a redirect: it is stored nowhere, so there is no page to
/// redirect to.
pub(super) async fn make(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(loan): Path<LoanId>,
    form: Form<Nothing>,
) -> Result<Response, AppError> {
    match lent::make(&app, &viewer, &form.sent, loan).await {
        Ok(Made::Now(key)) => {
            let page = link_page(&app, &viewer, frame, loan, Some(key), Vec::new()).await?;
            let mut answer = Page(page).into_response();
            let no_store = header::HeaderValue::from_static("no-store");
            answer.headers_mut().insert(header::CACHE_CONTROL, no_store);
            Ok(answer)
        }
        Ok(Made::Before(outcome)) => {
            let when = match &outcome {
                Outcome::Again { recorded_at, .. } => recorded_at.time_of_day(viewer.zone()),
                Outcome::Done { .. } => String::new(),
            };
            let told = format!(
                "This link was made at {when} already and is shown only once. Make it anew if it was lost."
            );
            Ok(flash::look(outcome.location(), told))
        }
        Err(NotDone::Refused(refused)) => again(&app, &viewer, frame, loan, refused).await,
        Err(NotDone::Failed(error)) => Err(error),
    }
}

pub(super) async fn withdraw(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(loan): Path<LoanId>,
    form: Form<Nothing>,
) -> Result<Response, AppError> {
    match lent::withdraw(&app, &viewer, &form.sent, loan).await {
        Ok(outcome) => {
            let text = "Withdrawn. Whoever opened it sees nothing any more.";
            Ok(flash::told(&outcome, text, viewer.zone()))
        }
        Err(NotDone::Refused(refused)) => again(&app, &viewer, frame, loan, refused).await,
        Err(NotDone::Failed(error)) => Err(error),
    }
}

async fn again(
    app: &App,
    viewer: &Viewer,
    frame: Frame,
    loan: LoanId,
    refused: Refused,
) -> Result<Response, AppError> {
    let wrongs = vec![Wrong::at("", refused)];
    let page = link_page(app, viewer, frame, loan, None, wrongs).await?;
    Ok(page::again(page))
}
