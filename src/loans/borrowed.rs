//! Borrowed in: what a team has from somebody outside the league, and pieces that are not ours.
//!
//! A keeper writes in whose it is, what it is and by when it goes back; one form gives it back. It is in no kit's
//! books, so it is neither here nor short nor lent of anything. What turns up of it while we count our own places is
//! set aside there as not ours, and is in no total either.

use super::rules::borrowed::Some as Pieces;
use super::rules::borrowed::{Typed, part, read};
use super::rules::saying::short;
use super::rules::words;
use super::store::{self, Borrowed, Later};
use super::{Loan, refused};
use crate::app::App;
use crate::clock::Day;
use crate::counts;
use crate::error::{AppError, NotDone};
use crate::ids::{BorrowedId, LoanId, NotOursId, StintId, TeamId};
use crate::people::Viewer;
use crate::receipts::{self, Outcome, Sent};
use crate::text::tidy;
use crate::web::form::Wrong;

impl Borrowed {
    pub fn is_with_us(&self) -> bool {
        self.given_on.is_none()
    }

    pub fn is_overdue(&self, today: Day) -> bool {
        self.is_with_us() && self.due_on < today
    }

    pub fn due_words(&self, today: Day) -> String {
        words::due(self.due_on, today)
    }

    /// "two green crates", "12 pieces".
    pub fn what(&self) -> String {
        if self.crates.is_empty() {
            crate::places::rules::words::pieces(self.pieces)
        } else {
            self.crates.clone()
        }
    }
}

/// Writes in what a team borrowed.
pub async fn borrow(
    app: &App,
    viewer: &Viewer,
    sent: &Sent,
    team: TeamId,
    typed: &Typed,
) -> Result<Outcome, NotDone<Vec<Wrong>>> {
    if !viewer.keeps(team) {
        return Err(NotDone::Failed(AppError::Forbidden(
            "Only a team's keeper and deputies write in what it borrowed.".into(),
        )));
    }
    receipts::once(app, sent, Some(viewer.person), async |tx| {
        let parts = store::called(tx).await?;
        let new = read(typed, &parts).map_err(NotDone::Refused)?;
        if new.out_on > viewer.today(app) {
            return Err(refused(
                "out_on",
                "that day is to come: write it in when it is here",
            ));
        }
        let id = BorrowedId::new();
        store::add_borrowed(tx, id, team, &new, viewer.person, app.clock.now()).await?;
        Ok(format!("/borrowed/{id}"))
    })
    .await
}

/// It was given back.
pub async fn bring_back(
    app: &App,
    viewer: &Viewer,
    sent: &Sent,
    borrowed: BorrowedId,
    given_on: &str,
    said: &str,
) -> Result<Outcome, NotDone<Vec<Wrong>>> {
    receipts::once(app, sent, Some(viewer.person), async |tx| {
        let found = store::find_borrowed(tx, borrowed)
            .await?
            .ok_or(AppError::NotFound("page"))?;
        if !found.is_with_us() {
            return Err(refused("", "it was given back already"));
        }
        let day: Day = given_on
            .trim()
            .parse()
            .map_err(|_| refused("given_on", "say on which day"))?;
        if day > viewer.today(app) {
            return Err(refused("given_on", "that day is to come"));
        }
        if day < found.out_on {
            let text = format!("that is before you got it, on {}", found.out_on.words());
            return Err(refused("given_on", text));
        }
        let words = short(said, "given_words").map_err(NotDone::Refused)?;
        store::set_given(tx, borrowed, Some((day, viewer.person)), &words).await?;
        Ok(format!("/borrowed/{borrowed}"))
    })
    .await
}

/// It goes back on another day than was said.
pub async fn keep_until(
    app: &App,
    viewer: &Viewer,
    sent: &Sent,
    borrowed: BorrowedId,
    due_on: &str,
    why: &str,
) -> Result<Outcome, NotDone<Vec<Wrong>>> {
    receipts::once(app, sent, Some(viewer.person), async |tx| {
        let found = store::find_borrowed(tx, borrowed)
            .await?
            .ok_or(AppError::NotFound("page"))?;
        if !found.is_with_us() {
            return Err(refused("", "it was given back already"));
        }
        let day: Day = due_on
            .trim()
            .parse()
            .map_err(|_| refused("due_on", "say by which day it goes back"))?;
        if day < found.out_on {
            let text = format!("that is before you got it, on {}", found.out_on.words());
            return Err(refused("due_on", text));
        }
        if day == found.due_on {
            return Err(refused("due_on", "that is the day it goes back already"));
        }
        let why = short(why, "later_why").map_err(NotDone::Refused)?;
        if why.is_empty() {
            return Err(refused("later_why", "say in a word why"));
        }
        let later = Later {
            was_on: found.due_on,
            due_on: day,
            why,
        };
        store::add_later(tx, borrowed, &later, viewer.person, app.clock.now()).await?;
        Ok(format!("/borrowed/{borrowed}"))
    })
    .await
}

/// It was a mistake: it is still with us.
pub async fn still_with_us(
    app: &App,
    viewer: &Viewer,
    sent: &Sent,
    borrowed: BorrowedId,
) -> Result<Outcome, NotDone<Vec<Wrong>>> {
    receipts::once(app, sent, Some(viewer.person), async |tx| {
        let found = store::find_borrowed(tx, borrowed)
            .await?
            .ok_or(AppError::NotFound("page"))?;
        if found.is_with_us() {
            return Err(refused("", "it is with you as far as anybody wrote"));
        }
        store::set_given(tx, borrowed, None, "").await?;
        Ok(format!("/borrowed/{borrowed}"))
    })
    .await
}

/// What was typed about pieces that are not ours.
#[derive(Debug, Clone, Default)]
pub struct AsideTyped {
    pub qty: String,
    pub what: String,
    /// "b-ID" for something borrowed, "l-ID" for a loan, blank where nobody knows.
    pub whose: String,
}

/// Sets pieces aside that somebody found while counting a place: they are in no total.
pub async fn set_aside(
    app: &App,
    viewer: &Viewer,
    sent: &Sent,
    stint: StintId,
    typed: &AsideTyped,
) -> Result<Outcome, NotDone<Vec<Wrong>>> {
    receipts::once(app, sent, Some(viewer.person), async |tx| {
        let (_, sheet) = counts::stint_and_count(tx, stint).await?;
        let mut wrongs = Vec::new();
        let qty = match typed.qty.trim() {
            "" => Some(1),
            text => text
                .parse::<i64>()
                .ok()
                .filter(|n| (1..=1_000_000).contains(n)),
        };
        if qty.is_none() {
            wrongs.push(Wrong::at("qty", "write a number of pieces"));
        }
        let words = tidy(&typed.what);
        if words.is_empty() {
            wrongs.push(Wrong::at("what", "say what it is"));
        } else if words.chars().count() > 200 {
            wrongs.push(Wrong::at("what", "at most 200 characters"));
        }
        let whose = whose(tx, sheet.team, &typed.whose).await?;
        if whose.is_none() {
            wrongs.push(Wrong::at("whose", "choose one of the list"));
        }
        let (Some(qty), Some(whose), true) = (qty, whose, wrongs.is_empty()) else {
            return Err(NotDone::Refused(wrongs));
        };
        let parts = store::called(tx).await?;
        let pieces = Pieces {
            qty,
            part: part(&words, &parts),
            words,
        };
        let new = (NotOursId::new(), stint, viewer.person);
        store::add_not_ours(tx, new, &pieces, whose, app.clock.now()).await?;
        Ok(format!("/stints/{stint}/not-ours"))
    })
    .await
}

/// It is ours after all.
pub async fn withdraw_aside(
    app: &App,
    viewer: &Viewer,
    sent: &Sent,
    stint: StintId,
    id: NotOursId,
) -> Result<Outcome, NotDone<Vec<Wrong>>> {
    receipts::once(app, sent, Some(viewer.person), async |tx| {
        if !store::withdraw_not_ours(tx, (id, stint), app.clock.now()).await? {
            return Err(refused("", "this does not stand here any more"));
        }
        Ok(format!("/stints/{stint}/not-ours"))
    })
    .await
}

/// Loans of other teams of which a team has something: as their borrower, or handed on to it.
pub async fn with_us(db: &mut sqlx::SqliteConnection, team: TeamId) -> sqlx::Result<Vec<Loan>> {
    let mut all = store::going_on(db, team).await?;
    all.retain(|loan| loan.borrower == Some(team) && loan.is_out());
    all.extend(store::held_by(db, team).await?);
    Ok(all)
}

type Whose = (Option<BorrowedId>, Option<LoanId>);

/// Whose it is: something the team has now. `None` where the choice is none of those.
async fn whose(
    db: &mut sqlx::SqliteConnection,
    team: TeamId,
    chosen: &str,
) -> sqlx::Result<Option<Whose>> {
    if chosen.is_empty() {
        return Ok(Some((None, None)));
    }
    if let Some(id) = chosen.strip_prefix("b-").and_then(|id| id.parse().ok()) {
        let known = store::borrowed_by(db, team).await?;
        let found = known.iter().any(|one| one.id == id);
        return Ok(found.then_some((Some(id), None)));
    }
    if let Some(id) = chosen.strip_prefix("l-").and_then(|id| id.parse().ok()) {
        let known = with_us(db, team).await?;
        let found = known.iter().any(|loan| loan.id == id);
        return Ok(found.then_some((None, Some(id))));
    }
    Ok(None)
}
