//! One loan: how it stands, what is where, what differs, what happened.

use std::collections::BTreeMap;

use askama::Template;
use axum::extract::State;

use super::differing::{self, Differing};
use super::onward::{Asked, askings};
use crate::app::App;
use crate::clock::Day;
use crate::error::AppError;
use crate::ids::{FormId, LoanId};
use crate::loans::rules::back::{Agreement, Kind};
use crate::loans::rules::stretches::Stretch;
use crate::loans::rules::words::{State as LoanState, happened};
use crate::loans::store::{self, Difference, LoanPlace, Say, Side};
use crate::loans::{Agreed, Loan};
use crate::people::Viewer;
use crate::people::viewer::form_encode;
use crate::places::rules::words::part;
use crate::web::extract::Path;
use crate::web::form::{self, Choice, Wrong};
use crate::web::frame::Frame;
use crate::web::page::Page;

/// One thing that happened, as this viewer may read it.
struct Told {
    when: String,
    who: String,
    what: String,
    entry: Option<i64>,
}

#[derive(Template)]
#[template(path = "loans/show.html")]
pub(super) struct ShowPage {
    frame: Frame,
    loan: Loan,
    today: Day,
    places: Vec<LoanPlace>,
    /// Pieces that left in a bag of their own: "4 Peg, black (B-4)".
    loose: Vec<String>,
    differences: Vec<Difference>,
    says: Vec<Say>,
    differing: Vec<Differing>,
    /// What the borrower said of the count at the start.
    confirmed: String,
    /// Who had which crates from when to when.
    hands: Vec<Stretch>,
    /// Askings to hand crates on.
    onwards: Vec<Asked>,
    zone: String,
    steps: Vec<Told>,
    /// On the lender's side.
    is_lender: bool,
    /// On the borrower's.
    is_borrower: bool,
    /// The viewer's, for a signature.
    own_name: String,
    keeps: bool,
    keeps_borrower: bool,
    fields: Typed,
    wrongs: Vec<Wrong>,
}

/// What was typed into one of the page's small forms.
#[derive(Default)]
pub(super) struct Typed {
    pub due_on: String,
    pub why: String,
    pub despite: String,
    pub agreed: Agreed,
    pub line: i64,
    /// The forms of the borrower's side.
    pub said: BTreeMap<String, String>,
}

impl Typed {
    fn said(&self, field: &str) -> &str {
        self.said.get(field).map_or("", String::as_str)
    }
}

impl ShowPage {
    fn form_id(&self) -> FormId {
        self.frame.form_id()
    }

    fn wrong(&self, field: impl AsRef<str>) -> Option<&str> {
        form::at(&self.wrongs, field.as_ref())
    }

    fn title_prefix(&self) -> &'static str {
        form::title_prefix(&self.wrongs)
    }

    fn sentence(&self) -> String {
        self.loan.sentence(self.today)
    }

    fn is_overdue(&self) -> bool {
        self.loan.is_overdue(self.today)
    }

    fn is_asked(&self) -> bool {
        self.loan.state == LoanState::Asked
    }

    fn is_agreed(&self) -> bool {
        self.loan.state == LoanState::Agreed
    }

    fn has_left(&self) -> bool {
        matches!(self.loan.state, LoanState::Out | LoanState::Closed)
    }

    /// It is counted back next: due within some days, or said to be given back.
    fn comes_soon(&self) -> bool {
        self.loan.is_out()
            && (self.today.days_until(self.loan.due_on) <= 2 || self.loan.given_at.is_some())
    }

    fn may_take_back(&self) -> bool {
        self.keeps
            && self.loan.is_out()
            && self
                .places
                .iter()
                .all(|place| place.back_at.is_none() && place.handed_to.is_none())
    }

    fn may_close(&self) -> bool {
        self.keeps && self.loan.is_out() && self.loan.still_out == 0
    }

    fn of_borrower(&self) -> String {
        format!("/loans?borrower={}", form_encode(&self.loan.borrower_name))
    }

    fn counted(&self) -> String {
        counted(&self.loan)
    }

    fn crates(&self) -> impl Iterator<Item = &LoanPlace> {
        self.places.iter().filter(|place| !place.is_owed())
    }

    /// "2 Peg, black (B-4) missing, from Bag 2".
    fn tell(&self, one: &Difference) -> String {
        one.tell()
    }

    fn open(&self, one: &Difference) -> i64 {
        if one.kind == Kind::Missing {
            one.qty - one.came_home
        } else {
            0
        }
    }

    fn wants_agreement(&self, one: &Difference) -> bool {
        self.keeps && self.loan.is_out() && one.kind.wants_agreement() && !one.is_home()
    }

    /// "1 came home", "1 belongs to another crate"; blank while nothing of it did.
    fn home(&self, one: &Difference) -> String {
        match one.kind {
            Kind::Missing if one.came_home > 0 => format!("{} came home.", one.came_home),
            Kind::Extra if one.came_home > 0 => {
                format!("{} belongs to another crate of the loan.", one.came_home)
            }
            _ => String::new(),
        }
    }

    fn agreed(&self, one: &Difference) -> String {
        differing::agreed(one)
    }

    /// What each side said about a difference.
    fn said(&self, one: &Difference) -> Vec<String> {
        differing::said(&self.loan, one, &self.says, true)
    }

    /// The form by which the borrower's side answers.
    fn answering(&self, one: &Difference) -> Option<&Differing> {
        let mine = self.differing.iter().find(|known| known.line == one.line);
        mine.filter(|known| known.is_open && self.keeps_borrower)
    }

    fn answer_at(&self, one: &Difference) -> String {
        format!("/loans/{}/differences/{}/answer", self.loan.id, one.line)
    }

    fn was_handed_on(&self) -> bool {
        self.hands.iter().any(|hand| hand.n > 0)
    }

    /// Askings that wait for an answer, or for being done.
    fn waiting(&self) -> impl Iterator<Item = &Asked> {
        let is_out = self.loan.is_out() && self.loan.still_out > 0;
        self.onwards
            .iter()
            .filter(move |one| is_out && one.is_waiting())
    }

    /// It goes back to the borrower from whom it was handed on.
    fn comes_back(&self, one: &Asked) -> bool {
        one.onward.to == self.loan.borrower_name
    }

    /// Hands that others have some of it in, from whom the borrower can take it again.
    fn with_others(&self) -> impl Iterator<Item = &Stretch> {
        let comes = self.waiting().any(|one| self.comes_back(one));
        self.hands.iter().filter(move |hand| {
            if comes {
                return false;
            }
            hand.n > 0 && hand.until.is_none() && hand.who != self.loan.borrower_name
        })
    }

    fn may_hand_on(&self) -> bool {
        (self.keeps || self.keeps_borrower) && self.loan.is_out() && self.loan.still_out > 0
    }

    fn from(&self, hand: &Stretch) -> String {
        hand.from.words(&self.zone)
    }

    fn until(&self, hand: &Stretch) -> String {
        hand.until
            .map_or_else(|| "now".into(), |at| at.words(&self.zone))
    }

    /// In whose time it came about, and what tells it.
    fn laid(&self, one: &Difference) -> String {
        let hand = |n: i64| self.hands.iter().find(|hand| hand.n == n);
        match one.laid_to.and_then(hand) {
            Some(hand) => format!("While {} had it: {}", hand.who, one.laid_words),
            None => "In whose time is not said yet".into(),
        }
    }

    fn may_lay(&self, one: &Difference) -> bool {
        self.wants_agreement(one) && self.was_handed_on()
    }

    fn stretches(&self, one: &Difference) -> Vec<Choice> {
        let typed = self.fields.said(&self.field("laid", one));
        let known = one.laid_to.map_or(String::new(), |n| n.to_string());
        let chosen = if typed.is_empty() { &known } else { typed };
        let mut all = vec![Choice::one_of("", "choose", chosen)];
        let mut told: Vec<i64> = Vec::new();
        for hand in &self.hands {
            if !told.contains(&hand.n) {
                told.push(hand.n);
                let text = format!("{}, from {}", hand.who, self.from(hand));
                all.push(Choice::one_of(hand.n, text, chosen));
            }
        }
        all
    }

    fn said_of(&self, name: &str, n: &i64) -> &str {
        self.fields.said(&format!("{name}-{n}"))
    }

    fn there(&self) -> Vec<Choice> {
        let chosen = self.fields.said("there");
        vec![
            Choice::one_of("yes", "All of it is there, as the sheet says", chosen),
            Choice::one_of("no", "Something differs", chosen),
        ]
    }

    fn agreements(&self, one: &Difference) -> Vec<Choice> {
        let chosen = if self.fields.line == one.line {
            &self.fields.agreed.agreement
        } else {
            &one.agreement
        };
        let none = Choice::one_of("", "choose", chosen);
        let known = Agreement::of(one.kind).iter();
        std::iter::once(none)
            .chain(known.map(|known| Choice::one_of(known.word(), known.told(one.kind), chosen)))
            .collect()
    }

    fn pays(&self, one: &Difference) -> Vec<Choice> {
        let chosen = if self.fields.line == one.line {
            &self.fields.agreed.pays
        } else {
            &one.pays
        };
        [
            ("", "choose"),
            ("nobody", "nobody"),
            ("lender", "the lender"),
            ("borrower", "the borrower"),
        ]
        .into_iter()
        .map(|(value, text)| Choice::one_of(value, text, chosen))
        .collect()
    }

    fn lender_signed<'a>(&'a self, one: &'a Difference) -> &'a str {
        if self.fields.line == one.line {
            &self.fields.agreed.lender_name
        } else if one.lender_name.is_empty() {
            &self.own_name
        } else {
            &one.lender_name
        }
    }

    fn borrower_signed<'a>(&'a self, one: &'a Difference) -> &'a str {
        if self.fields.line == one.line {
            &self.fields.agreed.borrower_name
        } else {
            &one.borrower_name
        }
    }

    fn field(&self, name: &str, one: &Difference) -> String {
        format!("{name}-{}", one.line)
    }
}

/// The answer to "counted?".
pub(super) fn counted(loan: &Loan) -> String {
    match loan.counted_at {
        Some(at) => {
            let day = at.day("UTC").words();
            match &loan.counted_code {
                Some(code) => format!("as last closed on {day}, count {code}"),
                None => format!("as last closed on {day}"),
            }
        }
        None if loan.not_counted.is_empty() => "not yet".into(),
        None => format!("not counted before it left: {}", loan.not_counted),
    }
}

pub(super) async fn page(
    app: &App,
    viewer: &Viewer,
    frame: Frame,
    loan: LoanId,
    fields: Typed,
    wrongs: Vec<Wrong>,
) -> Result<ShowPage, AppError> {
    let mut db = app.db.read().await?;
    let loan = super::found(&mut db, loan).await?;
    let is_lender = viewer.role_in(loan.lender).is_some();
    let is_borrower = loan
        .borrower
        .is_some_and(|team| viewer.role_in(team).is_some());
    let steps = store::steps(&mut db, loan.id)
        .await?
        .into_iter()
        .map(|step| {
            // Of people, each side is told only its own.
            let own_name = || crate::people::shown_name(&step.person_name).to_owned();
            let who = match step.side() {
                // Somebody without an account typed a name for the lender to see.
                Side::Borrower if !step.phone_name.is_empty() => {
                    format!("{} of {}", step.phone_name, loan.borrower_name)
                }
                Side::Borrower if is_borrower => own_name(),
                Side::Lender if is_lender => own_name(),
                Side::Borrower => loan.borrower_name.clone(),
                Side::Lender => loan.lender_name.clone(),
                Side::Holder(_) => step.held_by.clone(),
            };
            let mut what = happened(&step.kind).to_owned();
            if let Some(due_on) = step.due_on {
                what.push_str(&format!(", due back on {}", due_on.words()));
            }
            if !step.words.is_empty() {
                what.push_str(&format!(": {}", step.words));
            }
            Told {
                when: step.done_at.words(viewer.zone()),
                who,
                what,
                entry: step.entry.filter(|_| is_lender),
            }
        })
        .collect();
    let count = counted(&loan);
    let places = store::places(&mut db, loan.id).await?;
    let onwards = askings(&mut db, loan.id, &places).await?;
    Ok(ShowPage {
        frame,
        hands: crate::loans::hands(&mut db, &loan, &count).await?,
        onwards,
        zone: viewer.zone().to_owned(),
        today: viewer.today(app),
        loose: store::lines(&mut db, loan.id)
            .await?
            .iter()
            .filter(|line| line.loose)
            .map(|line| {
                let what = part(&line.name, &line.colour, &line.number);
                format!("{} {what}", line.qty)
            })
            .collect(),
        places,
        differences: store::differences(&mut db, loan.id).await?,
        says: store::says(&mut db, loan.id).await?,
        differing: differing::differing(&mut db, &loan, true).await?,
        confirmed: super::sheet::confirmed(&mut db, &loan, viewer.zone()).await?,
        steps,
        is_lender,
        is_borrower,
        own_name: viewer.name().to_owned(),
        keeps: viewer.keeps(loan.lender),
        keeps_borrower: loan.borrower.is_some_and(|team| viewer.keeps(team)),
        fields,
        wrongs,
        loan,
    })
}

pub(super) async fn show(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(loan): Path<LoanId>,
) -> Result<Page<ShowPage>, AppError> {
    page(&app, &viewer, frame, loan, Typed::default(), Vec::new())
        .await
        .map(Page)
}
