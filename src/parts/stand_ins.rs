//! Parts that may stand in for others: for practice, or in official play too. Where nothing is said, never.
//!
//! What stands in for a part does not stand in further. Nothing moves by it: it only tells what a field can
//! be built with.

use super::store::{self, StandIn};
use crate::app::App;
use crate::error::{AppError, NotDone};
use crate::ids::PartId;
use crate::people::Viewer;
use crate::receipts::{self, Outcome, Sent};
use crate::text::tidy;
use sqlx::SqliteConnection;

/// Where it may be used.
#[derive(Debug, Clone, Copy, PartialEq, Eq, sqlx::Type)]
#[sqlx(rename_all = "lowercase")]
pub enum Allowed {
    Practice,
    Official,
}

impl Allowed {
    pub const ALL: [Allowed; 2] = [Allowed::Practice, Allowed::Official];

    pub fn word(self) -> &'static str {
        match self {
            Allowed::Practice => "practice",
            Allowed::Official => "official",
        }
    }

    /// As the end of a sentence.
    pub fn words(self) -> &'static str {
        match self {
            Allowed::Practice => "for practice only",
            Allowed::Official => "officially",
        }
    }
}

/// Why it was not written down.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum StandInRefused {
    #[error("write the number or the name of the other part")]
    Nameless,
    #[error("no part is called so; write its number, or its name as the parts list has it")]
    Unknown,
    #[error("several parts are called so; write number, name and colour: “B-4 Peg, black”")]
    Several,
    #[error("a part need not stand in for itself")]
    Itself,
    #[error("that is written down already; end it first to change it")]
    Already,
    #[error("say for what it may be used")]
    ForWhat,
}

impl StandInRefused {
    /// The field it belongs to.
    pub fn field(&self) -> &'static str {
        match self {
            StandInRefused::ForWhat => "allowed",
            _ => "other",
        }
    }
}

/// What was said about a part, the newest first.
pub async fn stand_ins(db: &mut SqliteConnection, part: PartId) -> sqlx::Result<Vec<StandIn>> {
    store::stand_ins_of(db, part).await
}

/// Says that another part may stand in for this one.
pub async fn let_stand_in(
    app: &App,
    viewer: &Viewer,
    sent: &Sent,
    part: PartId,
    other: &str,
    allowed: &str,
) -> Result<Outcome, NotDone<StandInRefused>> {
    receipts::once(app, sent, Some(viewer.person), async |tx| {
        store::find(tx, part)
            .await?
            .ok_or(AppError::NotFound("part"))?;
        let refused = |why| Err(NotDone::Refused(why));
        let other = tidy(other);
        if other.is_empty() {
            return refused(StandInRefused::Nameless);
        }
        let other = match store::called(tx, &other).await?.as_slice() {
            [] => return refused(StandInRefused::Unknown),
            [one] => *one,
            _ => return refused(StandInRefused::Several),
        };
        if other == part {
            return refused(StandInRefused::Itself);
        }
        let allowed = Allowed::ALL.into_iter().find(|one| one.word() == allowed);
        let Some(allowed) = allowed else {
            return refused(StandInRefused::ForWhat);
        };
        let holds = store::stand_ins_of(tx, part).await?;
        if holds
            .iter()
            .any(|one| one.part == other && one.for_part == part && one.ended_at.is_none())
        {
            return refused(StandInRefused::Already);
        }
        let now = app.clock.now();
        store::insert_stand_in(tx, other, part, allowed, viewer.person, now).await?;
        Ok(format!("/parts/{part}#stand-ins"))
    })
    .await
}

/// Says that a part may stand in for another no more.
pub async fn end_stand_in(
    app: &App,
    viewer: &Viewer,
    sent: &Sent,
    part: PartId,
    n: i64,
) -> Result<Outcome, NotDone<StandInRefused>> {
    receipts::once(app, sent, Some(viewer.person), async |tx| {
        // One that was ended meanwhile is what was wanted.
        store::end_stand_in(tx, part, n, viewer.person, app.clock.now()).await?;
        Ok(format!("/parts/{part}#stand-ins"))
    })
    .await
}
