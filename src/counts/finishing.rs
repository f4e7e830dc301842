//! Finishing a stint, taking it up again, setting it aside, and choosing between stints that differ.

use std::collections::HashSet;

use sqlx::SqliteConnection;

use super::rules::facts::Whose;
use super::rules::settle::Verdict;
use super::tallying::{Recorded, Sink, Tap, derived};
use super::{CountSheet, Stint, Whole, stint_and_count, store, whole};
use crate::app::App;
use crate::error::NotDone;
use crate::ids::{CountId, PartId, PlaceId, StintId};
use crate::ledger;
use crate::people::Viewer;
use crate::receipts::{self, Outcome, Sent};

/// Why a stint stays as it is, in words.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum StintRefused {
    #[error("this count is closed; reopen it to count on")]
    Closed,
    #[error("this count was set aside")]
    SetAside,
    /// Lines that were expected and not counted: the person says what they mean.
    #[error("say whether none of the lines below are here, or leave them uncounted")]
    Uncounted,
    #[error("the counts differ; count again from the bag instead of changing this one")]
    Differs,
    #[error("the counts differ; count again from the bag before one of them is set aside")]
    DiffersAside,
    #[error("say why this count does not hold")]
    NoReason,
    #[error("a reason has at most 500 characters")]
    LongReason,
    #[error("choose which count stands")]
    NothingChosen,
    #[error("this line has too few counts to choose from; count it again from the bag")]
    TooFewCounts,
    #[error("{0}")]
    Tally(super::rules::tally::TallyRefused),
}

/// What to do with expected lines that were not counted.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Uncounted {
    Ask,
    NoneHere,
    Leave,
}

/// The lines that a stint's place expects and the stint has not counted, in order.
pub(super) async fn uncounted(
    db: &mut SqliteConnection,
    stint: &Stint,
) -> sqlx::Result<Vec<PartId>> {
    let counted: HashSet<PartId> = store::totals(db, stint.id)
        .await?
        .into_iter()
        .map(|(part, _)| part)
        .collect();
    let due = store::due_of_place(db, stint.count, stint.place).await?;
    Ok(due
        .into_iter()
        .map(|(part, _)| part)
        .filter(|part| !counted.contains(part))
        .collect())
}

/// Finishes a stint. Leads to the bag list, or to the place where the counts differ.
pub async fn done(
    app: &App,
    viewer: &Viewer,
    sent: &Sent,
    stint: StintId,
    uncounted_lines: Uncounted,
) -> Result<Outcome, NotDone<StintRefused>> {
    receipts::once(app, sent, Some(viewer.person), async |tx| {
        let mut sink = Sink::new(app, viewer, tx, stint).await?;
        open_sheet(&sink.sheet)?;
        if sink.stint.is_set_aside() {
            return Err(NotDone::Refused(StintRefused::SetAside));
        }
        let missing = uncounted(tx, &sink.stint).await?;
        match uncounted_lines {
            Uncounted::Ask if !missing.is_empty() => {
                return Err(NotDone::Refused(StintRefused::Uncounted));
            }
            Uncounted::Ask | Uncounted::Leave => {}
            Uncounted::NoneHere => {
                for part in missing {
                    let tap = Tap {
                        id: derived(sent.id, part),
                        part,
                        amount: 0,
                        shown: None,
                        undoes: None,
                        done_at: sink.now(),
                    };
                    if let Recorded::Refused(refused) = sink.take(tx, &tap).await? {
                        return Err(NotDone::Refused(StintRefused::Tally(refused)));
                    }
                }
                sink.finish(tx).await?;
            }
        }
        let (head, _) = ledger::head(tx).await?;
        store::finish(tx, sink.stint.id, sink.now(), head).await?;
        let whole = whole(tx, sink.sheet.id).await?;
        let place = sink.stint.place;
        Ok(
            if verdicts(&whole, place).any(|verdict| verdict.is_open()) {
                format!("/counts/{}/places/{place}", sink.sheet.id)
            } else {
                format!("/counts/{}", sink.sheet.id)
            },
        )
    })
    .await
}

/// Opens a finished stint again, unless its numbers differ from another's: then changing it would only
/// make the two agree.
pub async fn take_up(
    app: &App,
    viewer: &Viewer,
    sent: &Sent,
    stint: StintId,
) -> Result<Outcome, NotDone<StintRefused>> {
    receipts::once(app, sent, Some(viewer.person), async |tx| {
        let (stint, sheet) = stint_and_count(tx, stint).await?;
        open_sheet(&sheet)?;
        if stint.is_set_aside() {
            return Err(NotDone::Refused(StintRefused::SetAside));
        }
        let whole = whole(tx, sheet.id).await?;
        if has_a_say_in(&whole, stint.id, |verdict| verdict.is_open()) {
            return Err(NotDone::Refused(StintRefused::Differs));
        }
        store::take_up(tx, stint.id).await?;
        Ok(format!("/stints/{}", stint.id))
    })
    .await
}

/// Sets a stint aside: it has no say any more. A finished one that differs from another stays until the
/// bag was counted again.
pub async fn set_aside(
    app: &App,
    viewer: &Viewer,
    sent: &Sent,
    stint: StintId,
    reason: &str,
) -> Result<Outcome, NotDone<StintRefused>> {
    let reason = crate::text::tidy(reason);
    receipts::once(app, sent, Some(viewer.person), async |tx| {
        let (stint, sheet) = stint_and_count(tx, stint).await?;
        open_sheet(&sheet)?;
        if reason.is_empty() {
            return Err(NotDone::Refused(StintRefused::NoReason));
        }
        if reason.chars().count() > 500 {
            return Err(NotDone::Refused(StintRefused::LongReason));
        }
        let whole = whole(tx, sheet.id).await?;
        let differs = |verdict: Verdict| verdict == Verdict::Differs;
        if stint.is_done() && has_a_say_in(&whole, stint.id, differs) {
            return Err(NotDone::Refused(StintRefused::DiffersAside));
        }
        if !stint.is_set_aside() {
            store::set_aside(tx, stint.id, viewer.person, &reason).await?;
        }
        Ok(format!("/counts/{}/places/{}", sheet.id, stint.place))
    })
    .await
}

/// Notes which stints stand for the lines of a place whose counts differ.
pub async fn settle(
    app: &App,
    viewer: &Viewer,
    sent: &Sent,
    count: CountId,
    place: PlaceId,
    chosen: &[(PartId, StintId)],
) -> Result<Outcome, NotDone<StintRefused>> {
    receipts::once(app, sent, Some(viewer.person), async |tx| {
        let whole = whole(tx, count).await?;
        open_sheet(&whole.sheet)?;
        if chosen.is_empty() {
            return Err(NotDone::Refused(StintRefused::NothingChosen));
        }
        for (part, stint) in chosen {
            let line = whole.facts.line((place, *part), Whose::Finished);
            let has_number = line.numbers.iter().any(|number| number.stint == *stint);
            if !has_number || !line.may_choose {
                return Err(NotDone::Refused(StintRefused::TooFewCounts));
            }
            let now = app.clock.now();
            store::choose(tx, count, (place, *part), *stint, viewer.person, now).await?;
        }
        Ok(format!("/counts/{count}/places/{place}"))
    })
    .await
}

fn open_sheet(sheet: &CountSheet) -> Result<(), NotDone<StintRefused>> {
    if sheet.is_open() {
        Ok(())
    } else {
        Err(NotDone::Refused(StintRefused::Closed))
    }
}

fn verdicts(whole: &Whole, place: PlaceId) -> impl Iterator<Item = Verdict> {
    whole
        .facts
        .lines(Whose::Finished)
        .into_iter()
        .filter(move |line| line.place == place)
        .map(|line| line.verdict)
}

/// Whether a stint's number is among those of a line with such a verdict.
fn has_a_say_in(whole: &Whole, stint: StintId, such: impl Fn(Verdict) -> bool) -> bool {
    whole
        .facts
        .lines(Whose::Finished)
        .iter()
        .any(|line| such(line.verdict) && line.numbers.iter().any(|number| number.stint == stint))
}
