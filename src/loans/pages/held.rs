//! What was handed on to us of another team's loan: our crates of it, and nothing else of that loan.

use std::collections::BTreeMap;

use askama::Template;
use axum::extract::State;
use axum::response::Response;

use super::sheet::{CrateRow, crate_rows};
use super::sides::{Fields, field};
use crate::app::App;
use crate::clock::Day;
use crate::error::{AppError, NotDone};
use crate::ids::{FormId, LoanId};
use crate::loans::rules::words::happened;
use crate::loans::store::{self, LoanPlace};
use crate::loans::{self, Held, Loan, Side};
use crate::people::Viewer;
use crate::places::rules::words::part;
use crate::receipts::Outcome;
use crate::web::extract::{Form, Path};
use crate::web::flash;
use crate::web::form::{self, Choice, Wrong};
use crate::web::frame::Frame;
use crate::web::page::{self, Page};

/// A crate that was handed on to us.
struct Crate {
    row: CrateRow,
    /// "with us", "gone on since 5 Mar 2027, 19:00".
    stands: String,
    /// Where damage in it is told; blank once it left us.
    tell: String,
}

/// One handing on to us.
struct Hand {
    n: i64,
    /// "Moss, Ridge".
    names: String,
    since: String,
    why: String,
    crates: Vec<Crate>,
    /// "4 Peg, black (B-4), in Moss"; none where nobody counted.
    counted: Vec<String>,
    not_counted: String,
    /// What lacked or broke in our time, and what tells it.
    laid: Vec<String>,
    /// What we said of it.
    said: Vec<String>,
    is_here: bool,
    keeps: bool,
}

impl Hand {
    /// The name of one of its fields: there may be several forms like it on the page.
    fn field(&self, name: &str) -> String {
        format!("{name}-{}", self.n)
    }
}

#[derive(Template)]
#[template(path = "loans/held.html")]
pub(super) struct HeldPage {
    frame: Frame,
    loan: Loan,
    today: Day,
    hands: Vec<Hand>,
    heaviest: Option<(String, String)>,
    fields: Fields,
    wrongs: Vec<Wrong>,
}

impl HeldPage {
    fn form_id(&self) -> FormId {
        self.frame.form_id()
    }

    fn wrong(&self, field: impl AsRef<str>) -> Option<&str> {
        form::at(&self.wrongs, field.as_ref())
    }

    fn error(&self) -> &'static str {
        form::title_prefix(&self.wrongs)
    }

    fn is_here(&self) -> bool {
        self.hands.iter().any(|hand| hand.is_here)
    }

    fn is_overdue(&self) -> bool {
        self.is_here() && self.loan.is_overdue(self.today)
    }

    fn typed(&self, field: impl AsRef<str>) -> &str {
        self.fields.get(field.as_ref()).map_or("", String::as_str)
    }

    fn there(&self, hand: &Hand) -> Vec<Choice> {
        let chosen = self.typed(hand.field("there"));
        vec![
            Choice::one_of("yes", "All of it is there, as we counted", chosen),
            Choice::one_of("no", "Something differs", chosen),
        ]
    }
}

/// What was said of the handing on with this number, by members of the team it went to.
async fn said(
    db: &mut sqlx::SqliteConnection,
    loan: LoanId,
    zone: &str,
) -> sqlx::Result<BTreeMap<i64, Vec<String>>> {
    let mut all: BTreeMap<i64, Vec<String>> = BTreeMap::new();
    for step in store::steps(db, loan).await? {
        let Side::Holder(n) = step.side() else {
            continue;
        };
        let who = crate::people::shown_name(&step.person_name);
        let when = step.done_at.words(zone);
        let mut text = format!("{when}, {who}: {}", happened(&step.kind));
        if !step.words.is_empty() {
            text.push_str(&format!(": {}", step.words));
        }
        all.entry(n).or_default().push(text);
    }
    Ok(all)
}

fn stands(held: &Held, place: &LoanPlace, zone: &str) -> (String, bool) {
    let left = held
        .stretches
        .iter()
        .find(|one| one.places.contains(&place.place))
        .and_then(|one| one.until);
    match left {
        Some(at) => (format!("Left us on {}", at.words(zone)), false),
        None => ("With us".into(), true),
    }
}

async fn held_page(
    app: &App,
    viewer: &Viewer,
    frame: Frame,
    loan: LoanId,
    fields: Fields,
    wrongs: Vec<Wrong>,
) -> Result<HeldPage, AppError> {
    let zone = viewer.zone();
    let mut db = app.db.read().await?;
    let loan = super::found(&mut db, loan).await?;
    let mut said = said(&mut db, loan.id, zone).await?;
    let mut heaviest = None;
    let mut hands = Vec::new();
    for held in loans::held(&mut db, viewer, &loan).await? {
        let (rows, caution) = crate_rows(&mut db, &held.places, zone).await?;
        if held.is_here() {
            heaviest = heaviest.or(caution);
        }
        let crates = held.places.iter().zip(rows).map(|(place, row)| {
            let (stands, is_here) = stands(&held, place, zone);
            let tell = if is_here {
                format!("/c/{}/tell", place.code.plain())
            } else {
                String::new()
            };
            Crate { row, stands, tell }
        });
        let counted = held.lines.iter().map(|line| {
            let what = part(&line.name, &line.colour, &line.number);
            format!("{} {what}, in {}", line.qty, line.place_name)
        });
        let laid = held
            .laid
            .iter()
            .map(|one| format!("{}. {}", one.tell(), one.laid_words));
        let names: Vec<&str> = held
            .places
            .iter()
            .map(|place| place.name.as_str())
            .collect();
        let onward = &held.onward;
        hands.push(Hand {
            n: onward.n,
            names: names.join(", "),
            since: onward
                .handed_at
                .map_or_else(String::new, |at| at.words(zone)),
            why: onward.why.clone(),
            crates: crates.collect(),
            counted: counted.collect(),
            not_counted: onward.not_counted.clone(),
            laid: laid.collect(),
            said: said.remove(&onward.n).unwrap_or_default(),
            is_here: held.is_here(),
            keeps: onward.team.is_some_and(|team| viewer.keeps(team)),
        });
    }
    Ok(HeldPage {
        frame,
        today: viewer.today(app),
        loan,
        hands,
        heaviest,
        fields,
        wrongs,
    })
}

pub(super) async fn show(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(loan): Path<LoanId>,
) -> Result<Page<HeldPage>, AppError> {
    held_page(&app, &viewer, frame, loan, Fields::new(), Vec::new())
        .await
        .map(Page)
}

/// On with a message, or the page again. Each form's fields end with the number of its handing on.
async fn answered(
    app: &App,
    viewer: &Viewer,
    frame: Frame,
    (loan, n): (LoanId, i64),
    done: Result<Outcome, NotDone<Vec<Wrong>>>,
    fields: Fields,
) -> Result<Response, AppError> {
    match done {
        Ok(outcome) => {
            let text = "Both sides of the loan see what you said.";
            Ok(flash::told(&outcome, text, viewer.zone()))
        }
        Err(NotDone::Failed(error)) => Err(error),
        Err(NotDone::Refused(wrongs)) => {
            let wrongs = wrongs
                .into_iter()
                .map(|wrong| match wrong.field.as_str() {
                    "" => wrong,
                    field => Wrong::at(format!("{field}-{n}"), wrong.text),
                })
                .collect();
            let page = held_page(app, viewer, frame, loan, fields, wrongs).await?;
            Ok(page::again(page))
        }
    }
}

pub(super) async fn confirm_count(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path((loan, n)): Path<(LoanId, i64)>,
    form: Form<Fields>,
) -> Result<Response, AppError> {
    let (sent, fields) = (form.sent, form.fields);
    let (there, differs) = (
        field(&fields, &format!("there-{n}")),
        field(&fields, &format!("differs-{n}")),
    );
    let mut db = app.db.read().await?;
    let done = match loans::holder(&mut db, &viewer, loan, n).await {
        Ok(speaker) => {
            drop(db);
            loans::confirm_count(&app, &speaker, &sent, loan, &there, &differs).await
        }
        Err(not_done) => Err(not_done),
    };
    answered(&app, &viewer, frame, (loan, n), done, fields).await
}

pub(super) async fn give_on(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path((loan, n)): Path<(LoanId, i64)>,
    form: Form<Fields>,
) -> Result<Response, AppError> {
    let (sent, fields) = (form.sent, form.fields);
    let given = field(&fields, &format!("given-{n}"));
    let mut db = app.db.read().await?;
    let done = match loans::holder(&mut db, &viewer, loan, n).await {
        Ok(speaker) => {
            drop(db);
            loans::say_given_back(&app, &speaker, &sent, loan, &given).await
        }
        Err(not_done) => Err(not_done),
    };
    answered(&app, &viewer, frame, (loan, n), done, fields).await
}
