//! Replacement orders: pieces that are bought in time.
//!
//! - An **order line** is so many pieces of one part that a kit wants. It comes from a decision about damage, or
//!   somebody just wants some. It **waits** for the next order.
//! - It is **ordered** from somebody, named in words, and expected by a day. From then on its pieces are *on
//!   order* in the kit's statement.
//! - What **arrived** is an entry in the ledger: brought in, into one of the kit's places. It may come in several
//!   parcels, and more than was wanted.
//! - It is **called off** with a word why: a piece turned up, or was mended after all. The page says when the kit
//!   does not lack it any more (`rules::words::needless`); nobody is made to call anything off.
//! - Each step is taken back by another one, or by taking back its entry; the latest first.
//!
//! What to buy, in which packs and when at the latest, is computed apart from lines:
//! - `cover` is the cheapest way to buy at least so many pieces of one part.
//! - `plan` makes orders of all that is needed: from whom, by when, for how much, and who pays.
//! - `stock` is for what is always kept in store and bought again and again.

pub mod cover;
mod happening;
pub mod pages;
pub mod plan;
pub mod rules;
pub mod stock;
mod store;
mod wanting;

pub use happening::{arrive, call_off, order, take_back};
pub use store::Brief;
pub use wanting::{Typed, take_off, want, want_for};

use std::collections::HashMap;

use sqlx::SqliteConnection;

use crate::clock::Day;
use crate::error::AppError;
use crate::ids::{DamageId, KitId, OrderId, PartId, TeamId};
use crate::kits;
use crate::places::rules::words::part;
use rules::standing::{self, Standing, Step};
use rules::words;
use store::Asked;

/// As many lines of a team as are read at most.
const MOST: i64 = 1000;

/// A line with everything that happened to it.
#[derive(Debug, Clone)]
pub struct Line {
    pub brief: Brief,
    pub steps: Vec<Step>,
    pub standing: Standing,
}

impl Line {
    pub fn path(&self) -> String {
        path(self.brief.kit, self.brief.number)
    }

    /// "2 Peg, black (B-4) for Kettlehorn".
    pub fn headline(&self) -> String {
        let Brief { qty, kit_name, .. } = &self.brief;
        format!("{qty} {} for {kit_name}", self.part_words())
    }

    pub fn part_words(&self) -> String {
        let brief = &self.brief;
        part(&brief.part_name, &brief.part_colour, &brief.part_number)
    }

    pub fn stands(&self, today: Day) -> String {
        words::stands(&self.standing, today)
    }
}

fn path(kit: KitId, number: i64) -> String {
    format!("/kits/{kit}/orders/{number}")
}

fn hex_list(ids: impl Iterator<Item = uuid::Uuid>) -> String {
    let ids: Vec<String> = ids.map(|id| format!("\"{}\"", id.simple())).collect();
    format!("[{}]", ids.join(","))
}

async fn asked(db: &mut SqliteConnection, asked: &Asked) -> sqlx::Result<Vec<Line>> {
    let briefs = store::lines(db, asked, MOST).await?;
    if briefs.is_empty() {
        return Ok(Vec::new());
    }
    let ids = hex_list(briefs.iter().map(|brief| brief.id.0));
    let mut steps: HashMap<OrderId, Vec<Step>> = HashMap::new();
    for (line, step) in store::steps(db, &ids).await? {
        steps.entry(line).or_default().push(step);
    }
    Ok(briefs
        .into_iter()
        .map(|brief| {
            let steps = steps.remove(&brief.id).unwrap_or_default();
            Line {
                standing: standing::standing(brief.qty, &steps),
                brief,
                steps,
            }
        })
        .collect())
}

/// One line of a kit.
pub async fn find(db: &mut SqliteConnection, kit: KitId, number: i64) -> Result<Line, AppError> {
    let one = Asked {
        kit: Some(kit),
        number: Some(number),
        ..Asked::default()
    };
    let mut found = asked(db, &one).await?;
    found.pop().ok_or(AppError::NotFound("order line"))
}

/// A team's lines, the latest first.
pub async fn of_team(db: &mut SqliteConnection, team: TeamId) -> sqlx::Result<Vec<Line>> {
    let of = Asked {
        team: Some(team),
        ..Asked::default()
    };
    asked(db, &of).await
}

/// The lines that reports about damage led to, the latest first.
pub async fn of_reports(
    db: &mut SqliteConnection,
    reports: impl Iterator<Item = DamageId>,
) -> sqlx::Result<Vec<Line>> {
    let of = Asked {
        reports: Some(hex_list(reports.map(|report| report.0))),
        ..Asked::default()
    };
    asked(db, &of).await
}

/// The lines of a part that a kit still wants or waits for.
pub async fn open_of(
    db: &mut SqliteConnection,
    kit: KitId,
    part: PartId,
) -> sqlx::Result<Vec<Line>> {
    let of = Asked {
        kit: Some(kit),
        part: Some(part),
        ..Asked::default()
    };
    let mut lines = asked(db, &of).await?;
    lines.retain(|line| line.standing.is_open());
    Ok(lines)
}

/// Why what is open of a part may not be needed any more, if that is so.
pub async fn needless(
    db: &mut SqliteConnection,
    kit: KitId,
    part: PartId,
    open: &[Line],
) -> sqlx::Result<Option<String>> {
    if open.is_empty() {
        return Ok(None);
    }
    let accounts = kits::accounts(db, kit).await?;
    let facts = accounts
        .into_iter()
        .find(|account| account.line.part == part)
        .map(|account| account.line.facts);
    let open = open.iter().map(|line| line.standing.left()).sum();
    Ok(facts.and_then(|facts| words::needless(facts.need, facts.good + facts.lent_out, open)))
}

/// What of a team waits: lines for the next order, and lines that should have been here before today.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Waiting {
    pub lines: i64,
    pub late: i64,
}

/// What of a team waits.
pub async fn waiting(db: &mut SqliteConnection, team: TeamId, today: Day) -> sqlx::Result<Waiting> {
    let mut found = Waiting::default();
    for line in of_team(db, team).await? {
        found.lines += i64::from(matches!(line.standing, Standing::Waiting { .. }));
        found.late += i64::from(line.standing.is_late(today));
    }
    Ok(found)
}
