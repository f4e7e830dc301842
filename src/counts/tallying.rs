//! Recording tallies: one tap or a whole pile of them, each once, in one transaction.

use std::collections::{BTreeMap, BTreeSet};

use sqlx::SqliteConnection;
use uuid::Uuid;

use super::kit_total::{KitTotal, kit_total};
use super::rules::tally::{self, Earlier, TallyRefused};
use super::store::{self, NewTally};
use super::{CountSheet, Stint, stint_and_count};
use crate::app::App;
use crate::clock::Instant;
use crate::error::{AppError, NotDone};
use crate::ids::{FormId, PartId, StintId, TallyId};
use crate::people::Viewer;
use crate::receipts::{self, Outcome, Sent};
use crate::{ledger, secret};

/// A tap on its way in.
#[derive(Debug, Clone)]
pub struct Tap {
    pub id: TallyId,
    pub part: PartId,
    pub amount: i64,
    /// What the screen showed; `None` while nothing was counted.
    pub shown: Option<i64>,
    pub undoes: Option<TallyId>,
    /// When the device says it was tapped.
    pub done_at: Instant,
}

/// What became of a tap.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Recorded {
    /// Recorded now. `doubted`: another device had counted on this line.
    Now {
        doubted: bool,
    },
    /// Kept, but its count is closed: it is in no total.
    Late,
    /// It was recorded before, then.
    Again(Instant),
    Refused(TallyRefused),
}

impl Recorded {
    pub fn is_new(&self) -> bool {
        matches!(self, Recorded::Now { .. } | Recorded::Late)
    }
}

/// What stands in a line after some taps.
#[derive(Debug, Clone)]
pub struct LineTotal {
    pub part: PartId,
    pub stint: Option<i64>,
    pub kit: Option<KitTotal>,
}

/// What became of a pile of taps.
#[derive(Debug)]
pub struct Batch {
    pub results: Vec<Recorded>,
    pub totals: Vec<LineTotal>,
}

/// Records taps in one transaction. One that is refused does not stop the others.
pub async fn record(
    app: &App,
    viewer: &Viewer,
    stint: StintId,
    taps: &[Tap],
) -> Result<Batch, AppError> {
    let mut tx = app.db.begin_write().await?;
    let mut sink = Sink::new(app, viewer, &mut tx, stint).await?;
    let mut results = Vec::with_capacity(taps.len());
    for tap in taps {
        results.push(sink.take(&mut tx, tap).await?);
    }
    let mut totals = Vec::new();
    let parts: BTreeSet<PartId> = taps.iter().map(|tap| tap.part).collect();
    for part in parts {
        if sink.known(&mut tx, part).await? == Known::Nothing {
            continue;
        }
        totals.push(LineTotal {
            part,
            stint: store::standing(&mut tx, sink.stint.id, part).await?.total,
            kit: match sink.is_member {
                true => kit_total(&mut tx, &sink.sheet, &sink.stint, part).await?,
                false => None,
            },
        });
    }
    if results.iter().any(Recorded::is_new) {
        sink.finish(&mut tx).await?;
        tx.commit().await?;
    }
    Ok(Batch { results, totals })
}

/// Takes taps into one stint within a transaction of the caller.
pub(super) struct Sink<'a> {
    viewer: &'a Viewer,
    now: Instant,
    pub stint: Stint,
    pub sheet: CountSheet,
    /// Whoever does not belong to the team helps it: they see and take back nothing that others counted.
    is_member: bool,
    known_parts: BTreeMap<PartId, Known>,
}

/// What is known of a part that somebody taps.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Known {
    Nothing,
    Counted,
    OnlyLookedAt,
}

impl<'a> Sink<'a> {
    /// Taps of a stint whose count was closed and reopened go to the stint that carries it on.
    pub async fn new(
        app: &App,
        viewer: &'a Viewer,
        db: &mut SqliteConnection,
        stint: StintId,
    ) -> Result<Self, AppError> {
        let latest = store::latest_of(db, stint).await?;
        let (stint, sheet) = stint_and_count(db, latest).await?;
        Ok(Self {
            viewer,
            now: app.clock.now(),
            is_member: viewer.role_in(sheet.team).is_some(),
            stint,
            sheet,
            known_parts: BTreeMap::new(),
        })
    }

    async fn known(&mut self, db: &mut SqliteConnection, part: PartId) -> sqlx::Result<Known> {
        if let Some(known) = self.known_parts.get(&part) {
            return Ok(*known);
        }
        let known = match store::part(db, part).await? {
            None => Known::Nothing,
            Some(part) if part.is_looked_at() => Known::OnlyLookedAt,
            Some(_) => Known::Counted,
        };
        self.known_parts.insert(part, known);
        Ok(known)
    }

    /// Records one tap, or says why not.
    pub async fn take(
        &mut self,
        db: &mut SqliteConnection,
        tap: &Tap,
    ) -> Result<Recorded, AppError> {
        if let Some(known) = store::tally(db, tap.id).await? {
            let same = known.part == tap.part
                && known.amount == tap.amount
                && known.undoes == tap.undoes
                && store::latest_of(db, known.stint).await? == self.stint.id;
            return Ok(if same {
                Recorded::Again(known.recorded_at)
            } else {
                Recorded::Refused(TallyRefused::OtherTap)
            });
        }
        match self.known(db, tap.part).await? {
            Known::Nothing => return Ok(Recorded::Refused(TallyRefused::NoSuchPart)),
            Known::OnlyLookedAt => return Ok(Recorded::Refused(TallyRefused::OnlyLookedAt)),
            Known::Counted => {}
        }
        if let Some(undoes) = tap.undoes {
            match tally::undo(self.earlier(db, tap.part, undoes).await?) {
                Err(refused) => return Ok(Recorded::Refused(refused)),
                Ok(amount) if amount != tap.amount => {
                    return Ok(Recorded::Refused(TallyRefused::NotInverse));
                }
                Ok(_) => {}
            }
        }
        let late = !self.sheet.is_open();
        let before = store::standing(db, self.stint.id, tap.part).await?;
        let after = match tally::add(before, tap.amount, tap.shown) {
            Ok(after) => after,
            // What is late is in no total, so only its size can be wrong.
            Err(TallyRefused::TooMany) => {
                return Ok(Recorded::Refused(TallyRefused::TooMany));
            }
            Err(_) if late => before,
            Err(refused) => return Ok(Recorded::Refused(refused)),
        };
        let new = NewTally {
            id: tap.id,
            stint: self.stint.id,
            part: tap.part,
            amount: tap.amount,
            shown: tap.shown,
            undoes: tap.undoes,
            person: self.viewer.person,
            done_at: tap.done_at,
            recorded_at: self.now,
            late,
        };
        store::insert_tally(db, &new).await?;
        if late {
            return Ok(Recorded::Late);
        }
        let holds = tap.undoes.is_none()
            || tally::any_holds(&store::line_taps(db, self.stint.id, tap.part).await?);
        match after.total {
            Some(total) if holds => {
                store::set_standing(db, self.stint.id, tap.part, total, after.doubted).await?;
            }
            _ => store::blank(db, self.stint.id, tap.part).await?,
        }
        Ok(Recorded::Now {
            doubted: after.doubted && !before.doubted,
        })
    }

    async fn earlier(
        &self,
        db: &mut SqliteConnection,
        part: PartId,
        undoes: TallyId,
    ) -> Result<Option<Earlier>, AppError> {
        let Some(earlier) = store::tally(db, undoes).await? else {
            return Ok(None);
        };
        let here =
            earlier.part == part && store::latest_of(db, earlier.stint).await? == self.stint.id;
        Ok(here.then_some(Earlier {
            amount: earlier.amount,
            undone: earlier.undone,
            not_theirs: !self.is_member && earlier.person != self.viewer.person,
        }))
    }

    /// Notes in the stint that something was counted. What came late was not counted on: it moves
    /// nothing.
    pub async fn finish(&self, db: &mut SqliteConnection) -> Result<(), AppError> {
        if !self.sheet.is_open() {
            return Ok(());
        }
        let (head, _) = ledger::head(db).await?;
        store::touch(db, self.stint.id, self.now, head).await?;
        Ok(())
    }

    pub fn now(&self) -> Instant {
        self.now
    }
}

/// Takes a tap back. The form's id is the id of the tap that does it.
pub async fn undo(
    app: &App,
    viewer: &Viewer,
    stint: StintId,
    id: FormId,
    undoes: TallyId,
) -> Result<(PartId, Recorded), AppError> {
    let mut db = app.db.read().await?;
    let earlier = store::tally(&mut db, undoes)
        .await?
        .ok_or(AppError::NotFound("tap"))?;
    drop(db);
    let tap = Tap {
        id: TallyId(id.0),
        part: earlier.part,
        amount: -earlier.amount,
        shown: None,
        undoes: Some(undoes),
        done_at: app.clock.now(),
    };
    let tap = seen_now(app, stint, tap).await?;
    let batch = record(app, viewer, stint, std::slice::from_ref(&tap)).await?;
    let result = batch.results.into_iter().next();
    let result = result.ok_or_else(|| anyhow::anyhow!("a tap has a result"))?;
    Ok((earlier.part, result))
}

/// An undo names the tap it takes back, whatever the number is meanwhile: it doubts nothing.
async fn seen_now(app: &App, stint: StintId, tap: Tap) -> Result<Tap, AppError> {
    let mut db = app.db.read().await?;
    let latest = store::latest_of(&mut db, stint).await?;
    let shown = store::standing(&mut db, latest, tap.part).await?.total;
    Ok(Tap { shown, ..tap })
}

/// The id of the tap that a form makes for one of its lines: the same form gives the same ids.
pub(super) fn derived(form: FormId, part: PartId) -> TallyId {
    let mut bytes = b"a line of a form".to_vec();
    bytes.extend(form.bytes());
    bytes.extend(part.bytes());
    let hash = secret::hash(&bytes);
    let mut id = [0; 16];
    id.copy_from_slice(&hash[..16]);
    TallyId(Uuid::from_bytes(id))
}

/// A number typed into a desk sheet, as the difference it makes.
#[derive(Debug, Clone)]
pub struct TypedLine {
    pub part: PartId,
    pub amount: i64,
    pub shown: Option<i64>,
}

/// Why a desk sheet was not recorded. None of it was.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum SheetRefused {
    #[error("this count is not open any more; reopen it to type")]
    Closed,
    #[error("{1}")]
    Line(PartId, TallyRefused),
}

/// Records the numbers of a desk sheet, all or none. Each line's tap has an id that follows from the
/// form's, so that sending the sheet again changes nothing.
pub async fn record_sheet(
    app: &App,
    viewer: &Viewer,
    sent: &Sent,
    stint: StintId,
    lines: &[TypedLine],
) -> Result<Outcome, NotDone<SheetRefused>> {
    receipts::once(app, sent, Some(viewer.person), async |tx| {
        let mut sink = Sink::new(app, viewer, tx, stint).await?;
        if !sink.sheet.is_open() || !sink.stint.is_open() {
            return Err(NotDone::Refused(SheetRefused::Closed));
        }
        for line in lines {
            let tap = Tap {
                id: derived(sent.id, line.part),
                part: line.part,
                amount: line.amount,
                shown: line.shown,
                undoes: None,
                done_at: sink.now,
            };
            if let Recorded::Refused(refused) = sink.take(tx, &tap).await? {
                return Err(NotDone::Refused(SheetRefused::Line(line.part, refused)));
            }
        }
        sink.finish(tx).await?;
        Ok(format!("/stints/{}/sheet", sink.stint.id))
    })
    .await
}
