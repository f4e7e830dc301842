//! What happens to an order line: ordered, arrived, called off, and taken back.

use super::rules::standing::{self, Kind, Step, StepRefused};
use super::rules::typed;
use super::wanting::blank;
use super::{Line, find, store};
use crate::app::App;
use crate::db::Tx;
use crate::error::{AppError, NotDone};
use crate::ids::KitId;
use crate::ledger::{self, Document, Entry, Move, NotAppended, Outside, Stand};
use crate::people::Viewer;
use crate::places;
use crate::receipts::{self, Outcome, Sent};
use crate::web::form::{self, Wrong};

/// Why nothing happened to a line: each thing to put right at its field.
type Refused = NotDone<Vec<Wrong>>;

impl From<StepRefused> for Refused {
    fn from(why: StepRefused) -> Self {
        form::refused("", why)
    }
}

/// Takes a step, if the line stands so that it may be taken.
async fn happens(tx: &mut Tx, line: &Line, step: Step) -> Result<String, Refused> {
    store::add_step(tx, line.brief.id, &step).await?;
    keep_state(tx, line).await?;
    Ok(line.path())
}

/// Keeps beside the line how it stands now.
async fn keep_state(tx: &mut Tx, line: &Line) -> Result<(), Refused> {
    let now = find(tx, line.brief.kit, line.brief.number).await?;
    store::set_state(tx, line.brief.id, standing::state(&now.steps)).await?;
    Ok(())
}

/// Says that a line was ordered: from whom, when, and by when it is expected.
pub async fn order(
    app: &App,
    viewer: &Viewer,
    sent: &Sent,
    (kit, number): (KitId, i64),
    from: &str,
    on: &str,
    by: &str,
) -> Result<Outcome, Refused> {
    let today = viewer.today(app);
    receipts::once(app, sent, Some(viewer.person), async |tx| {
        let line = find(tx, kit, number).await?;
        standing::may(Kind::Ordered, &line.standing)?;
        let said = typed::ordered(from, on, by, today).map_err(NotDone::Refused)?;
        let step = Step {
            words: said.from,
            by: said.by,
            ..blank(Kind::Ordered, said.day, viewer.person, app.clock.now())
        };
        happens(tx, &line, step).await
    })
    .await
}

/// Writes down that pieces arrived: they are brought into one of the kit's places.
pub async fn arrive(
    app: &App,
    viewer: &Viewer,
    sent: &Sent,
    (kit, number): (KitId, i64),
    qty: &str,
    place: &str,
    on: &str,
) -> Result<Outcome, Refused> {
    let today = viewer.today(app);
    receipts::once(app, sent, Some(viewer.person), async |tx| {
        let line = find(tx, kit, number).await?;
        standing::may(Kind::Arrived, &line.standing)?;
        let inside = places::in_kit(tx, kit).await?;
        let ids: Vec<_> = inside.iter().map(|place| place.id).collect();
        let came = typed::came(qty, place, on, &ids, today).map_err(NotDone::Refused)?;
        if let Some(words) = places::sealed_words(tx, came.place).await? {
            return Err(form::refused("place", words));
        }
        let now = app.clock.now();
        let mut entry = Entry::new(sent.id, "arrived", viewer.person, now);
        entry.document = Some(Document::Kit(kit));
        entry.note = Some(format!("Order line {number}"));
        entry.moves = vec![Move {
            part: line.brief.part,
            qty: came.qty,
            from: Stand::good(kit, Outside::BroughtIn.place()),
            to: Stand::good(kit, came.place),
        }];
        let seq = ledger::append(tx, &entry).await.map_err(|not| match not {
            NotAppended::Sqlx(error) => NotDone::from(error),
            other => NotDone::Failed(anyhow::Error::new(other).into()),
        })?;
        let step = Step {
            qty: came.qty,
            entry: Some(seq),
            ..blank(Kind::Arrived, came.day, viewer.person, now)
        };
        happens(tx, &line, step).await
    })
    .await
}

/// Calls a line off, or what has not come of it, with a word why.
pub async fn call_off(
    app: &App,
    viewer: &Viewer,
    sent: &Sent,
    (kit, number): (KitId, i64),
    why: &str,
) -> Result<Outcome, Refused> {
    let today = viewer.today(app);
    receipts::once(app, sent, Some(viewer.person), async |tx| {
        let line = find(tx, kit, number).await?;
        standing::may(Kind::CalledOff, &line.standing)?;
        let step = Step {
            words: typed::why(why).map_err(NotDone::Refused)?,
            ..blank(Kind::CalledOff, today, viewer.person, app.clock.now())
        };
        happens(tx, &line, step).await
    })
    .await
}

/// Takes a step back: what arrived by taking back its entry, everything else by another step.
pub async fn take_back(
    app: &App,
    viewer: &Viewer,
    sent: &Sent,
    (kit, number): (KitId, i64),
    at: i64,
) -> Result<Outcome, Refused> {
    let today = viewer.today(app);
    receipts::once(app, sent, Some(viewer.person), async |tx| {
        let line = find(tx, kit, number).await?;
        let Some(taken) = line.steps.iter().find(|step| step.line == at) else {
            return Err(AppError::NotFound("step").into());
        };
        standing::may_take_back(taken, &line.steps)?;
        let now = app.clock.now();
        if let Some(seq) = taken.entry {
            return match ledger::undo(tx, seq, sent.id, viewer.person, now, None).await {
                Ok(_) => Ok(line.path()),
                Err(why) => Err(form::refused("", why.of_step()?)),
            };
        }
        let step = Step {
            undoes: Some(at),
            ..blank(Kind::TakenBack, today, viewer.person, now)
        };
        happens(tx, &line, step).await
    })
    .await
}
