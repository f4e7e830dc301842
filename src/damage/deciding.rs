//! Deciding about pieces that broke or were lost, and about reports that wait.

use super::about::stand_of;
use super::rules::second::{self, Worth};
use super::rules::standing::{Kind, Standing, Step, is_in_force};
use super::rules::telling::What;
use super::store::{self, Stand};
use super::telling::{append, step, team_of, waiting};
use super::{Refused, Slip, slip, wrong};
use crate::app::App;
use crate::db::Tx;
use crate::error::{AppError, NotDone};
use crate::ids::{DamageId, FormId, KitId, PartId};
use crate::ledger::{self, Document, Entry, Move, Outside, Stand as At, State, UndoRefused};
use crate::orders;
use crate::parts::prices;
use crate::people::Viewer;
use crate::receipts::{self, Outcome, Sent};
use crate::text::tidy;

/// Longest reason, in characters.
const WHY: usize = 500;

/// What the keeper decides about some of the pieces.
#[derive(Debug, Clone)]
pub struct Decision {
    pub kind: Kind,
    pub qty: i64,
    pub why: String,
    /// For a spare: where it comes from.
    pub from: String,
    /// For a write-off: who else agreed.
    pub second: String,
}

/// Records a decision about pieces that were accepted as broken or lost.
pub async fn decide(
    app: &App,
    viewer: &Viewer,
    sent: &Sent,
    id: DamageId,
    decision: &Decision,
) -> Result<Outcome, NotDone<Refused>> {
    receipts::once(app, sent, Some(viewer.person), async |tx| {
        let slip = slip(tx, id).await?;
        let why = reason(&decision.why, decision.kind == Kind::WrittenOff)?;
        let now = app.clock.now();
        let mut entry = Entry::new(sent.id, decision.kind.word(), viewer.person, now);
        entry.note = (!why.is_empty()).then(|| why.clone());
        entry.moves = moves(tx, &slip, decision).await?;
        let worth = worth(tx, viewer, &slip, decision).await?;
        entry.document = slip.report.kit.map(Document::Kit);
        let seq = match entry.moves.is_empty() {
            true => None,
            false => Some(append(tx, &entry).await?),
        };
        let step = Step {
            entry: seq,
            why,
            ..step(decision.kind, decision.qty, viewer.person, now)
        };
        let line = store::add_step(tx, id, &step).await?;
        if let (Kind::ToOrder, Some(kit), Some(part)) =
            (decision.kind, slip.report.kit, slip.report.part)
        {
            let (of, by) = ((kit, part), viewer.person);
            orders::want_for(tx, (id, line), of, decision.qty, by, now).await?;
        }
        if let Some(worth) = worth {
            store::add_worth(tx, id, line, &worth).await?;
        }
        Ok(format!("/damage/{id}"))
    })
    .await
}

/// What a write-off is worth, if anybody knows; refused as long as a second name is lacking.
async fn worth(
    tx: &mut Tx,
    viewer: &Viewer,
    slip: &Slip,
    decision: &Decision,
) -> Result<Option<Worth>, NotDone<Refused>> {
    let (Kind::WrittenOff, Some(part)) = (decision.kind, slip.report.part) else {
        return Ok(None);
    };
    let team = slip.report.team;
    let price = prices::price(tx, team, part).await?;
    let above = prices::money(tx, team).await?.and_then(|money| money.above);
    second::agree(decision.qty, price, above, viewer.name(), &decision.second)
        .or_else(|why| wrong("second", why.to_string()))
}

/// The moves of a decision; none where nothing moves.
async fn moves(
    tx: &mut Tx,
    slip: &Slip,
    decision: &Decision,
) -> Result<Vec<Move>, NotDone<Refused>> {
    let report = &slip.report;
    let (Some(part), Some(kit)) = (report.part, report.kit) else {
        return wrong("", "say first which part it is");
    };
    if matches!(decision.kind, Kind::ToOrder | Kind::OneOff) {
        return Ok(Vec::new());
    }
    if decision.kind == Kind::SpareUsed {
        return spare(tx, slip, decision, part, kit).await;
    }
    let Standing::Open { left, state } = slip.stands.standing else {
        return wrong("", "nothing of it waits for a decision any more");
    };
    if decision.qty > left {
        return wrong("qty", format!("only {left} of it waits for a decision"));
    }
    let lost = report.what == What::Lost;
    let to = match (decision.kind, lost) {
        (Kind::TurnedUp, true) => return Ok(Vec::new()),
        (Kind::Missing, true) => None,
        (Kind::KeptInUse, false) if state == Some(State::Doubtful) => return Ok(Vec::new()),
        (Kind::KeptInUse, false) => Some(State::Doubtful),
        (Kind::Mended, false) => Some(State::Good),
        (Kind::PracticeOnly, false) => Some(State::PracticeOnly),
        (Kind::WrittenOff, false) => None,
        _ => return wrong("", "this cannot be decided about it"),
    };
    let gone = match decision.kind {
        Kind::Missing => Outside::Missing,
        _ => Outside::WrittenOff,
    };
    // What is lost was in use; what broke is in the state that was accepted.
    let states = match state {
        Some(state) => vec![state],
        None => vec![State::Good, State::Doubtful],
    };
    let from = lie(tx, slip, part, kit, &states, decision.qty).await?;
    Ok(from
        .into_iter()
        .map(|(from, qty)| Move {
            part,
            qty,
            from,
            to: match to {
                Some(state) => At { state, ..from },
                None => At::good(kit, gone.place()),
            },
        })
        .collect())
}

/// Where the pieces of a report lie now: in its own place first, then elsewhere in the kit.
async fn lie(
    tx: &mut Tx,
    slip: &Slip,
    part: PartId,
    kit: KitId,
    states: &[State],
    qty: i64,
) -> Result<Vec<(At, i64)>, NotDone<Refused>> {
    let team = team_of(tx, kit).await?;
    let mut stands = store::stands(tx, team, Some(part), None, None, 1000).await?;
    stands.retain(|stand| stand.kit == kit);
    stands.sort_by_key(|stand| Some(stand.place) != slip.report.place);
    let mut left = qty;
    let mut taken = Vec::new();
    for stand in &stands {
        for &state in states {
            let here = held(stand, state).min(left);
            if here > 0 {
                let at = At {
                    kit,
                    place: stand.place,
                    state,
                };
                taken.push((at, here));
                left -= here;
            }
        }
    }
    if left > 0 {
        let word = states.first().map_or("", |state| state.word());
        return wrong(
            "qty",
            format!(
                "by the books only {} {word} of them are left in this kit",
                qty - left
            ),
        );
    }
    Ok(taken)
}

fn held(stand: &Stand, state: State) -> i64 {
    match state {
        State::Good => stand.good,
        State::Doubtful => stand.doubtful,
        State::PracticeOnly => stand.practice_only,
        State::Broken => stand.broken,
    }
}

/// A spare goes where the broken piece was.
async fn spare(
    tx: &mut Tx,
    slip: &Slip,
    decision: &Decision,
    part: PartId,
    kit: KitId,
) -> Result<Vec<Move>, NotDone<Refused>> {
    let Some(from) = stand_of(&decision.from) else {
        return wrong("from", "choose where the spare is taken from");
    };
    let (Some(from_kit), Some(from_place), Some(to_place)) =
        (from.kit, from.place, slip.report.place)
    else {
        return wrong("from", "choose where the spare is taken from");
    };
    if from.part != Some(part) || team_of(tx, from_kit).await? != slip.report.team {
        return wrong("from", "choose one of the list");
    }
    if from_kit == kit && from_place == to_place {
        return wrong(
            "from",
            "that is where the broken one was; choose another place",
        );
    }
    Ok(vec![Move {
        part,
        qty: decision.qty,
        from: At::good(from_kit, from_place),
        to: At::good(kit, to_place),
    }])
}

fn reason(typed: &str, is_needed: bool) -> Result<String, NotDone<Refused>> {
    let why = tidy(typed);
    if is_needed && why.is_empty() {
        return wrong("why", "write a word why");
    }
    if why.chars().count() > WHY {
        return wrong("why", format!("at most {WHY} characters, please"));
    }
    Ok(why)
}

/// Joins a waiting report with another one that tells of the same pieces.
pub async fn join(
    app: &App,
    viewer: &Viewer,
    sent: &Sent,
    id: DamageId,
    other: DamageId,
) -> Result<Outcome, NotDone<Refused>> {
    receipts::once(app, sent, Some(viewer.person), async |tx| {
        let waits = waiting(tx, id).await?;
        let into = slip(tx, other).await?;
        if into.report.team != waits.report.team || other == id {
            return wrong("other", "choose a report of the list");
        }
        if matches!(
            into.stands.standing,
            Standing::Joined(_) | Standing::SetAside
        ) {
            return wrong(
                "other",
                "that one was joined or set aside itself; choose another",
            );
        }
        let step = Step {
            other: Some(other),
            ..step(Kind::Joined, 0, viewer.person, app.clock.now())
        };
        store::add_step(tx, id, &step).await?;
        Ok(format!("/damage/{other}"))
    })
    .await
}

/// Sets a waiting report aside, with a word why.
pub async fn set_aside(
    app: &App,
    viewer: &Viewer,
    sent: &Sent,
    id: DamageId,
    why: &str,
) -> Result<Outcome, NotDone<Refused>> {
    end(app, viewer, sent, id, Kind::SetAside, why).await
}

/// Says that somebody saw to it, where no piece is to be moved.
pub async fn see_to(
    app: &App,
    viewer: &Viewer,
    sent: &Sent,
    id: DamageId,
    why: &str,
) -> Result<Outcome, NotDone<Refused>> {
    end(app, viewer, sent, id, Kind::SeenTo, why).await
}

async fn end(
    app: &App,
    viewer: &Viewer,
    sent: &Sent,
    id: DamageId,
    kind: Kind,
    why: &str,
) -> Result<Outcome, NotDone<Refused>> {
    receipts::once(app, sent, Some(viewer.person), async |tx| {
        waiting(tx, id).await?;
        let step = Step {
            why: reason(why, kind == Kind::SetAside)?,
            ..step(kind, 0, viewer.person, app.clock.now())
        };
        store::add_step(tx, id, &step).await?;
        Ok(format!("/damage/{id}"))
    })
    .await
}

/// Takes a step back: by taking back its entry if it moved pieces, else by another step.
pub async fn take_back(
    app: &App,
    viewer: &Viewer,
    sent: &Sent,
    id: DamageId,
    line: i64,
) -> Result<Outcome, NotDone<Refused>> {
    receipts::once(app, sent, Some(viewer.person), async |tx| {
        let slip = slip(tx, id).await?;
        let Some(taken) = slip.steps.iter().find(|step| step.line == line) else {
            return Err(AppError::NotFound("step").into());
        };
        if taken.kind == Kind::TakenBack || !is_in_force(taken, &slip.steps) {
            return wrong("", "this was taken back before");
        }
        let later = slip.steps.iter().any(|step| {
            step.line > line && step.kind != Kind::TakenBack && is_in_force(step, &slip.steps)
        });
        if taken.kind == Kind::Accepted && later {
            return wrong("", "take back first what was decided after it");
        }
        let now = app.clock.now();
        if taken.kind == Kind::ToOrder {
            let days = (viewer.today(app), now);
            if let Err(order) = orders::take_off(tx, (id, line), viewer.person, days).await? {
                let why = format!(
                    "it was ordered, or some of it arrived; take that back first, on order line {} of {}",
                    order.brief.number, order.brief.kit_name
                );
                return wrong("", why);
            }
        }
        if let Some(seq) = taken.entry {
            undo(tx, seq, sent.id, viewer, now).await?;
        } else {
            let step = Step {
                undoes: Some(line),
                ..step(Kind::TakenBack, 0, viewer.person, now)
            };
            store::add_step(tx, id, &step).await?;
        }
        Ok(format!("/damage/{id}"))
    })
    .await
}

async fn undo(
    tx: &mut Tx,
    seq: ledger::Seq,
    form: FormId,
    viewer: &Viewer,
    now: crate::clock::Instant,
) -> Result<(), NotDone<Refused>> {
    match ledger::undo(tx, seq, form, viewer.person, now, None).await {
        Ok(_) => Ok(()),
        Err(UndoRefused::NoSuchEntry) => Err(AppError::NotFound("entry").into()),
        Err(why) => wrong("", why.of_step()?),
    }
}
