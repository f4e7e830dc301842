//! Counts: what of a kit is really there, counted place by place by one or several people.
//!
//! - A **count** goes over one kit, when it arrives or later. One is open for a kit at a time; every
//!   further delivery is a further count.
//! - A **stint** is one person's counting of one place in it. Stints of one place are compared, never added
//!   (`rules::settle`); places add up to the kit (`rules::total`).
//! - A **tally** is one tap. Tallies add up, in any order; nothing is ever set. A typed 12 is
//!   "12 − what was shown", "none here" is 0, undo is the inverse that names the tap it takes back. The id of
//!   a tally is drawn where it was tapped and never used again, so sending it twice records it once.
//! - **Blank is not zero**: a line without a total was not counted. Lines may stay blank when the count is
//!   closed, with a name and a reason; their balances stay as they are.
//! - **Closing** posts what was counted less what the books said when the stint began
//!   (`rules::close`), so that moves made meanwhile keep their effect. What moved while it was being counted
//!   goes back to the counter.
//! - A tap that arrives after closing is kept as **late** and in no total, until the count is reopened:
//!   that takes the entry back and carries the numbers on in a new count.

mod closing;
mod finishing;
pub mod helped;
mod kit_total;
mod opening;
pub mod pages;
pub mod rules;
mod store;
mod tallying;
mod weighing;

pub use closing::{close, closing_mark, reopen};
pub use finishing::{StintRefused, Uncounted, done, set_aside, settle, take_up};
pub use kit_total::{KitTotal, kit_total};
pub use opening::{BeginRefused, OpenRefused, begin, open, open_in};
pub use store::{
    CountPlace, CountSheet, LeftOut, Part, Stint, find, left_out, of_teams, set_goes_on,
};
pub use tallying::{Recorded, SheetRefused, Tap, record, record_sheet};

use std::collections::HashSet;

use sqlx::SqliteConnection;

use crate::error::AppError;
use crate::ids::{CountId, StintId};
use crate::{events, kits};
use rules::facts::CountFacts;
use rules::progress::{self, PlaceProgress, Progress};
use rules::second::{self, Once, Second};

/// A count with everything that was counted in it.
pub struct Whole {
    pub sheet: CountSheet,
    pub places: Vec<CountPlace>,
    /// In the order in which they began.
    pub stints: Vec<Stint>,
    pub facts: CountFacts,
}

impl Whole {
    /// Each place's progress, in the order of `places`.
    pub fn place_progress(&self) -> Vec<PlaceProgress> {
        let ids: Vec<_> = self.places.iter().map(|place| place.id).collect();
        progress::of_places(&self.facts, &ids)
    }

    pub fn progress(&self) -> Progress {
        progress::of_count(&self.place_progress())
    }

    pub fn stint(&self, id: StintId) -> Option<&Stint> {
        self.stints.iter().find(|stint| stint.id == id)
    }
}

/// Reads a whole count.
pub async fn whole(db: &mut SqliteConnection, count: CountId) -> Result<Whole, AppError> {
    let sheet = find(db, count).await?.ok_or(AppError::NotFound("count"))?;
    let places = store::places(db, count, sheet.kit).await?;
    let stints = store::of_count(db, count).await?;
    let mut facts = store::facts(db, count, sheet.kit, &stints).await?;
    let opened_on = sheet.opened_at.day(&sheet.zone);
    facts.at_event = events::of_kit(db, sheet.kit, opened_on)
        .await?
        .iter()
        .any(|event| event.first_on <= opened_on);
    Ok(Whole {
        sheet,
        places,
        stints,
        facts,
    })
}

/// The lines of a count that are worth a second count. Who tapped and what other kits have over is read only
/// where it can matter.
pub async fn worth_a_second_count(
    db: &mut SqliteConnection,
    whole: &Whole,
) -> Result<Vec<Second>, AppError> {
    if !whole.sheet.is_open() {
        return Ok(Vec::new());
    }
    let once = second::counted_once(&whole.facts);
    if once.is_empty() {
        return Ok(Vec::new());
    }
    let taps = store::taps_of_many_hands(db, whole.sheet.id).await?;
    let spared = if once.iter().any(Once::is_short) {
        kits::spared_elsewhere(db, whole.sheet.kit).await?
    } else {
        HashSet::new()
    };
    let handed_over = second::hand_overs(&taps);
    Ok(second::worth_it(&once, &handed_over, &spared))
}

/// A stint and its count.
pub(crate) async fn stint_and_count(
    db: &mut SqliteConnection,
    stint: StintId,
) -> Result<(Stint, CountSheet), AppError> {
    let stint = store::stint(db, stint)
        .await?
        .ok_or(AppError::NotFound("stint"))?;
    let sheet = find(db, stint.count)
        .await?
        .ok_or(AppError::NotFound("count"))?;
    Ok((stint, sheet))
}
