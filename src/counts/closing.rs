//! Closing a count, and reopening one.

use super::rules::close::{self, Answers, CloseRefused, Held, Plan};
use super::store::{self, Closing, NewStint, NewTally};
use super::{CountSheet, Stint, Whole, whole};
use crate::app::App;
use crate::codes::{self, CodeKind};
use crate::db::Tx;
use crate::error::{AppError, NotDone};
use crate::ids::{CountId, StintId, TallyId};
use crate::ledger::{self, Document, Entry, NotAppended, UndoRefused};
use crate::people::Viewer;
use crate::receipts::{self, Outcome, Sent};
use crate::{kits, secret};

/// What closing a count would do, for the page and for the act.
pub(super) struct Prepared {
    pub whole: Whole,
    pub held: Held,
    pub plan: Plan,
    pub open_stints: usize,
    /// Changes whenever the plan does.
    pub mark: String,
}

pub(super) async fn prepare(
    db: &mut sqlx::SqliteConnection,
    count: CountId,
) -> Result<Prepared, AppError> {
    let whole = whole(db, count).await?;
    let held = store::held(db, whole.sheet.kit).await?;
    let plan = close::plan(&whole.facts, &held);
    let open_stints = whole.stints.iter().filter(|stint| stint.is_open()).count();
    let mark = secret::hash(format!("{plan:?} {open_stints}").as_bytes())
        .iter()
        .take(8)
        .map(|byte| format!("{byte:02x}"))
        .collect();
    Ok(Prepared {
        whole,
        held,
        plan,
        open_stints,
        mark,
    })
}

/// Closes a count: posts what was counted, leaves marks, and says what was left. `mark` is the mark of the
/// plan that the person saw.
pub async fn close(
    app: &App,
    viewer: &Viewer,
    sent: &Sent,
    count: CountId,
    answers: &Answers,
    mark: &str,
) -> Result<Outcome, NotDone<CloseRefused>> {
    receipts::once(app, sent, Some(viewer.person), async |tx| {
        let prepared = prepare(tx, count).await?;
        let sheet = &prepared.whole.sheet;
        if !sheet.is_open() {
            return Err(NotDone::Refused(CloseRefused::Closed));
        }
        if prepared.mark != mark {
            return Err(NotDone::Refused(CloseRefused::Changed));
        }
        close::check(&prepared.plan, sheet.purpose, prepared.open_stints, answers)
            .map_err(NotDone::Refused)?;
        let now = app.clock.now();
        let (head, _) = ledger::head(tx).await?;
        for stint in prepared.whole.stints.iter().filter(|stint| stint.is_open()) {
            store::finish(tx, stint.id, now, head).await?;
        }
        let mut entry = Entry::new(sent.id, "count closed", viewer.person, now);
        entry.document = Some(Document::Count(count));
        entry.moves = prepared
            .plan
            .moves(sheet.kit, sheet.purpose, sheet.source, &prepared.held);
        entry.counted = prepared.plan.marks(sheet.kit);
        let seq = if entry.is_empty() {
            None
        } else {
            let seq = ledger::append(tx, &entry).await.map_err(|not| match not {
                NotAppended::Sqlx(error) => NotDone::from(error),
                NotAppended::NotEnough { .. }
                | NotAppended::CarriedElsewhere { .. }
                | NotAppended::InItself { .. } => NotDone::Refused(CloseRefused::Books),
            })?;
            Some(seq)
        };
        let closing = Closing {
            by: viewer.person,
            now,
            seq,
            more_to_come: answers.more_to_come.unwrap_or(false),
            reason: answers.reason.trim(),
        };
        store::close(tx, count, closing).await?;
        Ok(if sheet.goes_on.is_empty() {
            format!("/counts/{count}")
        } else {
            sheet.goes_on.clone()
        })
    })
    .await
}

/// Why a count stays closed, in words.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum ReopenRefused {
    #[error("this count is open")]
    IsOpen,
    #[error("this count was reopened before; its numbers went on in another")]
    Already(CountId),
    #[error("this kit is being counted again; close that count first")]
    OtherOpen,
    #[error("a later count of this kit was closed; only the last one can be reopened")]
    NotLast,
    #[error(
        "pieces it recorded were moved since: {wanted} of one part were recorded in a place that now \
         holds {have}. Count the kit again instead"
    )]
    Moved { have: i64, wanted: i64 },
}

/// Takes a closed count back and carries its numbers on in a new one, so that nothing is counted again.
pub async fn reopen(
    app: &App,
    viewer: &Viewer,
    sent: &Sent,
    count: CountId,
) -> Result<Outcome, NotDone<ReopenRefused>> {
    receipts::once(app, sent, Some(viewer.person), async |tx| {
        let first = whole(tx, count).await?;
        let sheet = &first.sheet;
        may_reopen(tx, sheet).await?;
        if let Some(seq) = sheet.closing_seq {
            take_back(app, viewer, sent, tx, seq).await?;
        }
        let now = app.clock.now();
        let again = CountId::new();
        store::insert(
            tx,
            again,
            sheet.kit,
            sheet.purpose,
            sheet.source,
            viewer.person,
            now,
        )
        .await?;
        store::set_reopened(tx, count, again).await?;
        codes::give(tx, CodeKind::Count, again.0, now).await?;
        store::copy_left_out(tx, count, again).await?;
        store::copy_lines(tx, count, again).await?;
        for stint in first.stints.iter().filter(|stint| !stint.is_set_aside()) {
            carry_on(app, tx, stint, again).await?;
        }
        store::copy_settlements(tx, count, again).await?;
        Ok(format!("/counts/{again}"))
    })
    .await
}

async fn may_reopen(tx: &mut Tx, sheet: &CountSheet) -> Result<(), NotDone<ReopenRefused>> {
    if sheet.is_open() {
        return Err(NotDone::Refused(ReopenRefused::IsOpen));
    }
    if let Some(again) = sheet.reopened_as {
        return Err(NotDone::Refused(ReopenRefused::Already(again)));
    }
    if kits::arrival(tx, sheet.kit).await?.open.is_some() {
        return Err(NotDone::Refused(ReopenRefused::OtherOpen));
    }
    if store::last_closed(tx, sheet.kit).await? != Some(sheet.id) {
        return Err(NotDone::Refused(ReopenRefused::NotLast));
    }
    Ok(())
}

/// Reverses the closing entry. One that only left marks, or that somebody took back already, needs none.
async fn take_back(
    app: &App,
    viewer: &Viewer,
    sent: &Sent,
    tx: &mut Tx,
    seq: ledger::Seq,
) -> Result<(), NotDone<ReopenRefused>> {
    match ledger::undo(tx, seq, sent.id, viewer.person, app.clock.now(), None).await {
        Ok(_) | Err(UndoRefused::NothingMoved | UndoRefused::Already(_)) => Ok(()),
        Err(UndoRefused::NotAppended(NotAppended::NotEnough { have, wanted, .. })) => {
            Err(NotDone::Refused(ReopenRefused::Moved { have, wanted }))
        }
        Err(UndoRefused::NotAppended(NotAppended::Sqlx(error))) => Err(error.into()),
        Err(other) => Err(AppError::from(anyhow::Error::new(other)).into()),
    }
}

/// Copies a stint with its sums, late taps included. It keeps its point in the ledger, so that what
/// moved since keeps its effect.
async fn carry_on(app: &App, tx: &mut Tx, stint: &Stint, count: CountId) -> Result<(), AppError> {
    let now = app.clock.now();
    let id = StintId::new();
    let new = NewStint {
        id,
        count,
        place: stint.place,
        person: stint.person,
        began_seq: stint.began_seq,
        began_at: stint.began_at,
        last_at: stint.last_at,
        state: stint.state,
        done_at: stint.done_at,
        done_seq: stint.done_seq,
        blind: stint.blind,
        copied_from: Some(stint.id),
    };
    store::insert_stint(tx, &new).await?;
    let mut sums: std::collections::BTreeMap<_, (i64, bool)> = store::totals(tx, stint.id)
        .await?
        .into_iter()
        .map(|(part, standing)| (part, (standing.total.unwrap_or(0), standing.doubted)))
        .collect();
    for (part, amount) in store::late_amounts(tx, stint.id).await? {
        if amount != 0 || sums.contains_key(&part) {
            let sum = sums.entry(part).or_default();
            sum.0 = (sum.0 + amount).max(0);
        }
    }
    for (part, (qty, doubted)) in sums {
        let new = NewTally {
            id: TallyId::new(),
            stint: id,
            part,
            amount: qty,
            shown: None,
            undoes: None,
            person: stint.person,
            done_at: now,
            recorded_at: now,
            late: false,
        };
        store::insert_tally(tx, &new).await?;
        store::set_standing(tx, id, part, qty, doubted).await?;
    }
    Ok(())
}

/// The mark of what closing would do now, as the closing page shows it.
pub async fn closing_mark(
    db: &mut sqlx::SqliteConnection,
    count: CountId,
) -> Result<String, AppError> {
    Ok(prepare(db, count).await?.mark)
}
