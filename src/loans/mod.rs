//! Loans: pieces of one team with another for a fixed time, and all of them back.
//!
//! - A loan is of a kit, of some of its crates, or of some pieces, which get a bag of their own. It goes to
//!   a team of the league, or to somebody outside who is written in.
//! - **Who has it is not where it is.** Each borrower is a place among the lender's places ("with Upper
//!   Quern Workshop"); what is lent is carried there with all that is in it, so that "where is it" stays one
//!   walk up the tree. Whose it is does not change: a lent piece keeps its kit, which is short of it now and
//!   not for good.
//! - Nothing is out twice (`store::holder`, and an index behind it).
//! - What left is written down line by line, with what was doubtful, broken or short then, so that nobody is
//!   blamed for it.
//! - **Counting back** is blind and settles first between the crates of the loan (`rules::back`). What then
//!   lacks is *owed*: in the books it stays with the borrower, and becomes missing only when the loan is
//!   closed. It is closed when everything is back and each difference is agreed about, with a name from each
//!   side. What comes home later does so by one entry and reopens nothing.
//! - **Handing on** (`onward`): the borrower answers for the loan and gives crates to somebody else only with the
//!   lender's yes. Each hand has a stretch with a count of its own or the word that there was none, and what lacks
//!   at the end is laid to a stretch.
//! - **Borrowed in** (`borrowed`): a loan of another team shows on the borrower's side too; what comes from outside the
//!   league is written in, and none of it is ever in the books of a kit.
//! - A handing-out that was a mistake is taken back while nothing of it has come back.
//! - The lender's keeper decides; the borrower's side sees the loan, its crates and its sheet, and of people
//!   only its own. A team that something was handed on to sees that, and nothing else of the loan (`held`).
//! - `availability` says when something is free; it is pure.

mod asking;
pub mod availability;
mod borrowed;
mod closing;
mod drafting;
mod earlier;
pub mod free;
mod held;
mod laying;
mod lending;
mod offering;
pub mod onward;
pub mod pages;
mod returning;
pub mod rules;
mod saying;
mod sheet_back;
mod store;

pub use asking::{Answer, answer, ask, extend, withdraw};
pub use borrowed::{
    AsideTyped, borrow, bring_back, keep_until, set_aside, still_with_us, with_us, withdraw_aside,
};
pub use closing::{Agreed, agree_about, close, come_home};
pub use drafting::{count_first, draft};
pub use held::{HasIt, Held, has_it, held, holder};
pub use laying::{hands, lay};
pub use lending::{lend, take_back};
pub use offering::{Chosen, Offer, Offered, offer};
pub use onward::{OnwardTyped, answer_onward, ask_onward, drop_onward, handed_on};
pub use returning::give_back;
pub use saying::{
    Speaker, answer_difference, confirm_count, last_proposal, note_damage, note_link, propose,
    say_given_back,
};
pub use sheet_back::{BackLine, BackPlace, still_out};
pub use store::{
    Borrowed, By, Difference, Loan, LoanPlace, Say, Side, borrowed_before, borrowed_by,
    declined_since, differences, find, going_on, held_by, of_kit, over, places,
};

use sqlx::SqliteConnection;

use crate::clock::Day;
use crate::db::Tx;
use crate::error::{AppError, NotDone};
use crate::ids::{LoanId, PlaceId};
use crate::ledger::{self, Entry, NotAppended, Seq};
use crate::places::rules::words::part;
use crate::web::form::{Wrong, refused};
use rules::back::Kind;
pub use rules::saying::{Answered, Proposed};
use rules::words::{self, State};

impl Loan {
    /// How it stands, in a sentence.
    pub fn sentence(&self, today: Day) -> String {
        let facts = words::Facts {
            state: self.state,
            lender: &self.lender_name,
            borrower: &self.borrower_name,
            out_on: self.out_on,
            due_on: self.due_on,
            back_on: self.back_on(),
            open: self.open,
        };
        let mut sentence = words::sentence(&facts, today);
        if let Some(others) = self.handed_to.as_ref().filter(|_| self.still_out > 0) {
            sentence.push_str(&format!(" Handed on to {others}."));
        }
        sentence
    }

    pub fn is_overdue(&self, today: Day) -> bool {
        self.still_out > 0 && words::is_overdue(self.state, self.due_on, today)
    }

    /// "due back on 14 Mar 2027, in 3 days".
    pub fn due_words(&self, today: Day) -> String {
        words::due(self.due_on, today)
    }

    pub fn is_out(&self) -> bool {
        self.state == State::Out
    }

    /// The day on which the last of it came back, in the lender's zone; `None` while some of it is out.
    pub fn back_on(&self) -> Option<Day> {
        let back_at = self.back_at.filter(|_| self.still_out == 0);
        back_at.map(|at| at.day(&self.zone))
    }

    /// Promised, and not handed out yet.
    pub fn is_agreed(&self) -> bool {
        self.state == State::Agreed
    }
}

impl Difference {
    /// "2 Peg, black (B-4) missing, from Bag 2".
    pub fn tell(&self) -> String {
        let what = part(&self.part_name, &self.colour, &self.number);
        let (qty, place) = (self.qty, &self.place_name);
        match self.kind {
            Kind::Missing => format!("{qty} {what} missing, from {place}"),
            Kind::Broken => format!("{qty} {what} broken, in {place}"),
            Kind::Extra => format!("{qty} {what} extra, in {place}"),
            Kind::NotOurs => format!("Not ours: {}", self.words),
            Kind::WrongCrate => format!("{qty} {what} in the wrong crate, now in {place}"),
        }
    }
}

/// What of a loan is still out: crates, and the bag of loose pieces.
pub async fn places_out(db: &mut SqliteConnection, loan: LoanId) -> sqlx::Result<Vec<PlaceId>> {
    let all = store::places(db, loan).await?;
    let out = all
        .iter()
        .filter(|place| place.back_at.is_none() && !place.is_owed());
    Ok(out.map(|place| place.place).collect())
}

async fn found<R>(tx: &mut Tx, loan: LoanId) -> Result<Loan, NotDone<R>> {
    let found = store::find(tx, loan).await?;
    Ok(found.ok_or(AppError::NotFound("loan"))?)
}

/// Appends an entry that must fit the books: what it moves was read in the same transaction.
async fn append(tx: &mut Tx, entry: &Entry) -> Result<Option<Seq>, NotDone<Vec<Wrong>>> {
    if entry.is_empty() {
        return Ok(None);
    }
    match ledger::append(tx, entry).await {
        Ok(seq) => Ok(Some(seq)),
        Err(NotAppended::Sqlx(error)) => Err(error.into()),
        Err(other) => Err(refused("", other)),
    }
}
