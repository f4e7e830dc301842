//! Damage: what broke, was lost or was found, who said so, and what was decided about it.
//!
//! - Telling it must be quicker than walking away. Everything but what it is about may be left out.
//! - Told by a member, pieces become *doubtful* or *broken* at once. Told by somebody without an account,
//!   nothing moves until crew **accept** it, **join** it with another report of the same pieces, or **set
//!   it aside** with a word why.
//! - The keeper **decides** about the pieces: keep them in use, mend them, use a spare, order, write off.
//! - Each is a **step** (`rules::standing`); where pieces moved, the step names its ledger entry. A step
//!   is taken back by another one, or by taking back its entry.
//! - What pieces are worth, and who else has to agree before they are written off, a team says (`rules::second`).
//! - What strangers see of a crate, its team decides (`shown`).
//! - A lost piece stays in the books until the keeper writes it down as *missing*; a found one comes home
//!   from *missing* if any of its kind is.

mod about;
mod deciding;
pub mod pages;
pub mod photo;
pub mod rules;
pub mod shown;
mod store;
mod telling;

pub use about::AboutTyped;
pub use deciding::{Decision, decide, join, see_to, set_aside, take_back};
pub use store::{About, Report, Stand, waiting};
pub use telling::{Credit, accept, tell, tell_without_account};

use std::collections::HashMap;

use sqlx::SqliteConnection;

use crate::clock::Instant;
use crate::error::{AppError, NotDone};
use crate::ids::{DamageId, PartId, TeamId};
use crate::places::rules::words::part;
use rules::standing::{self, Standing, Stands, Step};
use rules::telling::Wrong;
use store::Asked;

/// Reports on a page.
pub const SHOWN: i64 = 200;

/// Why something about a report was not recorded.
#[derive(Debug)]
pub enum Refused {
    Wrong(Vec<Wrong>),
    /// Several fit what was typed; one is to be chosen.
    Several(Vec<Stand>),
}

fn wrong<T>(field: &'static str, text: impl Into<String>) -> Result<T, NotDone<Refused>> {
    Err(NotDone::Refused(Refused::Wrong(vec![(field, text.into())])))
}

/// A report with what has become of it.
#[derive(Debug, Clone)]
pub struct Slip {
    pub report: Report,
    pub steps: Vec<Step>,
    pub stands: Stands,
}

impl Slip {
    /// "2 Peg, black (B-4) broken".
    pub fn headline(&self) -> String {
        let part = self.report.part_words();
        rules::words::headline(self.report.what, part.as_deref(), self.report.qty)
    }

    pub fn is_waiting(&self) -> bool {
        self.stands.standing == Standing::Waiting
    }

    /// Accepted pieces wait for a decision.
    pub fn is_open(&self) -> bool {
        matches!(self.stands.standing, Standing::Open { .. })
    }
}

impl Report {
    /// "Peg, black (B-4)", where anybody knows the part.
    pub fn part_words(&self) -> Option<String> {
        Some(part(
            self.part_name.as_deref()?,
            self.part_colour.as_deref().unwrap_or_default(),
            self.part_number.as_deref().unwrap_or_default(),
        ))
    }

    pub fn told_by(&self) -> String {
        if let Some(team) = &self.from_team {
            return format!("{team}, who had it on loan");
        }
        if self.is_helper {
            return format!("{}, helper", self.reporter);
        }
        rules::words::told_by(self.member.as_deref(), &self.reporter)
    }
}

impl Stand {
    pub fn part_words(&self) -> String {
        part(&self.part_name, &self.part_colour, &self.part_number)
    }

    /// What a form sends to mean this one.
    pub fn key(&self) -> String {
        format!("{}.{}.{}", self.part, self.kit, self.place)
    }

    pub fn in_use(&self) -> i64 {
        self.good + self.doubtful
    }
}

async fn slips(db: &mut SqliteConnection, asked: Asked, limit: i64) -> sqlx::Result<Vec<Slip>> {
    let reports = store::reports(db, asked, limit).await?;
    let ids: Vec<DamageId> = reports.iter().map(|report| report.id).collect();
    let mut steps: HashMap<DamageId, Vec<Step>> = HashMap::new();
    for (report, step) in store::steps(db, &ids).await? {
        steps.entry(report).or_default().push(step);
    }
    Ok(reports
        .into_iter()
        .map(|report| {
            let steps = steps.remove(&report.id).unwrap_or_default();
            let stands = standing::stands(report.what, &steps);
            Slip {
                report,
                steps,
                stands,
            }
        })
        .collect())
}

/// One report, or the page that says there is none.
pub async fn slip(db: &mut SqliteConnection, id: DamageId) -> Result<Slip, AppError> {
    let asked = Asked {
        one: Some(id),
        ..Asked::default()
    };
    let mut found = slips(db, asked, 1).await?;
    found.pop().ok_or(AppError::NotFound("report"))
}

/// The report whose page this is.
fn report_at(path: &str) -> Result<DamageId, AppError> {
    path.strip_prefix("/damage/")
        .and_then(|id| id.parse().ok())
        .ok_or(AppError::NotFound("report"))
}

/// A team's latest reports, those of one part if it is named.
pub async fn of_team(
    db: &mut SqliteConnection,
    team: TeamId,
    part: Option<PartId>,
) -> sqlx::Result<Vec<Slip>> {
    let asked = Asked {
        team: Some(team),
        part,
        ..Asked::default()
    };
    slips(db, asked, SHOWN).await
}

/// Every report of a team since a moment, the latest first: for adding up.
pub async fn since(
    db: &mut SqliteConnection,
    team: TeamId,
    since: Option<Instant>,
) -> sqlx::Result<Vec<Slip>> {
    let asked = Asked {
        team: Some(team),
        since,
        ..Asked::default()
    };
    slips(db, asked, i64::MAX).await
}
