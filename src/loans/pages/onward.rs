//! Handing crates on: asking for it, and the count when it is done.

use std::collections::BTreeMap;

use askama::Template;
use axum::extract::State;
use axum::response::Response;

use super::acts::speaker;
use crate::app::App;
use crate::error::{AppError, NotDone};
use crate::ids::{FormId, LoanId, PlaceId};
use crate::loans::onward::{COUNTED, NOT_COUNTED, going};
use crate::loans::rules::words::OnwardState;
use crate::loans::sheet_back::BackPlace;
use crate::loans::store::{self, LoanPlace, Onward};
use crate::loans::{self, Loan, OnwardTyped};
use crate::people::Viewer;
use crate::receipts::Outcome;
use crate::web::extract::{Form, Path};
use crate::web::flash;
use crate::web::form::{self, Choice, Wrong};
use crate::web::frame::Frame;
use crate::web::page::{self, Page};

/// The form's fields by name: `crate-…` for ticks.
type Fields = BTreeMap<String, String>;

fn field(fields: &Fields, name: &str) -> String {
    fields.get(name).cloned().unwrap_or_default()
}

/// What was typed to ask for it.
pub fn typed(fields: &Fields) -> OnwardTyped {
    OnwardTyped {
        to: field(fields, "to"),
        contact: field(fields, "to_contact"),
        why: field(fields, "onward_why"),
        crates: fields
            .keys()
            .filter_map(|name| name.strip_prefix("crate-"))
            .map(str::to_owned)
            .collect(),
    }
}

/// A crate that can be ticked.
pub struct Tick {
    pub place: PlaceId,
    pub name: String,
    pub is_ticked: bool,
}

/// What of a loan can be handed on.
pub async fn ticks(
    db: &mut sqlx::SqliteConnection,
    loan: LoanId,
    fields: &Fields,
) -> sqlx::Result<Vec<Tick>> {
    let places = store::places(db, loan).await?;
    Ok(places
        .into_iter()
        .filter(|place| place.back_at.is_none() && !place.is_owed())
        .map(|place| Tick {
            is_ticked: fields.contains_key(&format!("crate-{}", place.place)),
            name: format!("{} ({})", place.name, place.code),
            place: place.place,
        })
        .collect())
}

#[derive(Template)]
#[template(path = "loans/onward.html")]
pub(super) struct AskPage {
    frame: Frame,
    form_id: FormId,
    loan: Loan,
    is_lender: bool,
    ticks: Vec<Tick>,
    fields: Fields,
    wrongs: Vec<Wrong>,
}

impl AskPage {
    fn wrong(&self, field: &str) -> Option<&str> {
        form::at(&self.wrongs, field)
    }

    fn error(&self) -> &'static str {
        form::title_prefix(&self.wrongs)
    }

    fn typed(&self, field: &str) -> &str {
        self.fields.get(field).map_or("", String::as_str)
    }
}

async fn ask_page(
    app: &App,
    viewer: &Viewer,
    frame: Frame,
    loan: LoanId,
    fields: Fields,
    wrongs: Vec<Wrong>,
) -> Result<AskPage, AppError> {
    let mut db = app.db.read().await?;
    let loan = super::found(&mut db, loan).await?;
    Ok(AskPage {
        form_id: frame.form_id(),
        frame,
        ticks: ticks(&mut db, loan.id, &fields).await?,
        is_lender: viewer.keeps(loan.lender),
        loan,
        fields,
        wrongs,
    })
}

pub(super) async fn new(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(loan): Path<LoanId>,
) -> Result<Page<AskPage>, AppError> {
    ask_page(&app, &viewer, frame, loan, Fields::new(), Vec::new())
        .await
        .map(Page)
}

pub(super) async fn ask(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(loan): Path<LoanId>,
    form: Form<Fields>,
) -> Result<Response, AppError> {
    let (sent, fields) = (form.sent, form.fields);
    let speaker = speaker(&app, &viewer, loan).await?;
    let done = loans::ask_onward(&app, &speaker, &sent, loan, &typed(&fields)).await;
    match done {
        Ok(outcome) => Ok(flash::told(&outcome, asked(&outcome), viewer.zone())),
        Err(NotDone::Failed(error)) => Err(error),
        Err(NotDone::Refused(wrongs)) => {
            let page = ask_page(&app, &viewer, frame, loan, fields, wrongs).await?;
            Ok(page::again(page))
        }
    }
}

/// An asking to hand crates on.
pub struct Asked {
    pub onward: Onward,
    /// "Moss, Ridge".
    pub crates: String,
}

impl Asked {
    pub fn waits_for_answer(&self) -> bool {
        self.onward.state == OnwardState::Asked
    }

    pub fn may_go(&self) -> bool {
        self.onward.state == OnwardState::Agreed
    }

    /// Neither done nor off: it waits for an answer, or for being done.
    pub fn is_waiting(&self) -> bool {
        self.waits_for_answer() || self.may_go()
    }

    pub fn is_declined(&self) -> bool {
        self.onward.state == OnwardState::Declined
    }
}

/// All askings of a loan, in order.
pub async fn askings(
    db: &mut sqlx::SqliteConnection,
    loan: LoanId,
    places: &[LoanPlace],
) -> sqlx::Result<Vec<Asked>> {
    let asked = store::onward_places(db, loan).await?;
    let all = store::onwards(db, loan).await?;
    Ok(all
        .into_iter()
        .map(|onward| {
            let names: Vec<&str> = places
                .iter()
                .filter(|place| asked.contains(&(onward.n, place.place)))
                .map(|place| place.name.as_str())
                .collect();
            Asked {
                crates: names.join(", "),
                onward,
            }
        })
        .collect())
}

/// What is told of an asking: it waits for the lender, or it goes on with the count.
pub fn asked(outcome: &Outcome) -> &'static str {
    if outcome.location().contains("/onward/") {
        "Write down what it held as it was handed on."
    } else {
        "Asked. Until the lender says yes it stays where it is."
    }
}

#[derive(Template)]
#[template(path = "loans/handed_on.html")]
pub struct CountPage {
    frame: Frame,
    form_id: FormId,
    loan: Loan,
    /// The page of the loan: a member's, or that of a phone without an account.
    at: String,
    onward: Onward,
    places: Vec<BackPlace>,
    fields: Fields,
    wrongs: Vec<Wrong>,
}

impl CountPage {
    fn wrong(&self, field: impl AsRef<str>) -> Option<&str> {
        form::at(&self.wrongs, field.as_ref())
    }

    fn error(&self) -> &'static str {
        form::title_prefix(&self.wrongs)
    }

    fn typed(&self, field: impl AsRef<str>) -> &str {
        self.fields.get(field.as_ref()).map_or("", String::as_str)
    }

    fn may(&self) -> bool {
        self.onward.state == OnwardState::Agreed && self.loan.is_out() && !self.places.is_empty()
    }

    fn choices(&self) -> Vec<Choice> {
        let chosen = self.typed("counted");
        vec![
            Choice::one_of(COUNTED, "Counted by both, as written below", chosen),
            Choice::one_of(NOT_COUNTED, "Not counted, because", chosen),
        ]
    }
}

/// The form for the count at the handing on, with what was typed and what is wrong with it. `at` is the page of the
/// loan it belongs to.
pub async fn count_page(
    app: &App,
    frame: Frame,
    (loan, n): (LoanId, i64),
    at: String,
    fields: Fields,
    wrongs: Vec<Wrong>,
) -> Result<CountPage, AppError> {
    let mut db = app.db.read().await?;
    let loan = super::found(&mut db, loan).await?;
    let onwards = store::onwards(&mut db, loan.id).await?;
    let onward = onwards.into_iter().find(|one| one.n == n);
    Ok(CountPage {
        form_id: frame.form_id(),
        frame,
        onward: onward.ok_or(AppError::NotFound("asking"))?,
        places: going(&mut db, loan.id, n).await?,
        loan,
        at,
        fields,
        wrongs,
    })
}

pub(super) async fn count(
    State(app): State<App>,
    frame: Frame,
    Path(of): Path<(LoanId, i64)>,
) -> Result<Page<CountPage>, AppError> {
    let at = format!("/loans/{}", of.0);
    count_page(&app, frame, of, at, Fields::new(), Vec::new())
        .await
        .map(Page)
}

pub(super) async fn hand_on(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path((loan, n)): Path<(LoanId, i64)>,
    form: Form<Fields>,
) -> Result<Response, AppError> {
    let (sent, fields) = (form.sent, form.fields);
    let speaker = speaker(&app, &viewer, loan).await?;
    let of = (loan, n);
    match loans::handed_on(&app, &speaker, &sent, of, &fields).await {
        Ok(outcome) => Ok(flash::told(&outcome, "Handed on.", viewer.zone())),
        Err(NotDone::Failed(error)) => Err(error),
        Err(NotDone::Refused(wrongs)) => {
            let at = format!("/loans/{loan}");
            let page = count_page(&app, frame, of, at, fields, wrongs).await?;
            Ok(page::again(page))
        }
    }
}
