//! Counting with a helper pass: crates of the event's kits, credited to the first name.
//!
//! A helper begins only where a member opened a count, and counts like everybody: blind where somebody counted
//! before, tap by tap in the books of the count. They go on with and finish what they began themselves. They
//! open, close and settle nothing, and touch nothing that another counted.

use std::collections::HashMap;

use sqlx::SqliteConnection;

use super::Helper;
use super::store;
use crate::app::App;
use crate::counts::helped::{self, Sheet, Typed, Wrong};
use crate::counts::pages::Counter;
use crate::counts::{self, BeginRefused, SheetRefused, StintRefused, Uncounted};
use crate::error::{AppError, NotDone};
use crate::events;
use crate::ids::{CountId, KitId, PartId, PersonId, PlaceId, StintId};
use crate::people::{self, Viewer};
use crate::places::{self, Place};
use crate::receipts::{Outcome, Sent};

/// Where the stints of helpers are.
pub const STINTS: &str = "/helping/stints";

/// Why something was not done, in words that name nobody.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum Refused {
    #[error("somebody is counting it already; take another one")]
    Occupied,
    #[error("this count is closed; ask somebody of the team")]
    Closed,
    #[error("say whether none of the lines below are here, or leave them uncounted")]
    Uncounted,
    #[error("it cannot be changed any more; ask somebody of the team")]
    Settled,
    /// Lines to put right.
    #[error("look at the lines below")]
    Lines(Vec<Wrong>),
}

/// A kit that a helper may count in, and its count if one is open.
pub struct Kit {
    pub kit: KitId,
    pub name: String,
    pub count: Option<CountId>,
    pub crates: Vec<Place>,
}

/// The kits of the pass, with their crates.
pub async fn kits(db: &mut SqliteConnection, helper: &Helper) -> sqlx::Result<Vec<Kit>> {
    let mut kits = Vec::new();
    for kit in events::kits_of(db, helper.pass.event).await? {
        if kit.team != helper.pass.team {
            continue;
        }
        let mut crates = places::in_kit(db, kit.kit).await?;
        crates.retain(|place| place.kind.is_carried());
        kits.push(Kit {
            kit: kit.kit,
            name: kit.kit_name,
            count: crate::kits::arrival(db, kit.kit).await?.open,
            crates,
        });
    }
    Ok(kits)
}

/// Under whom a helper counts: made the first time.
async fn person(app: &App, helper: &Helper) -> Result<PersonId, AppError> {
    if let Some(person) = helper.person {
        return Ok(person);
    }
    let mut tx = app.db.begin_write().await?;
    if let Some(person) = store::person(&mut tx, helper.id).await? {
        return Ok(person);
    }
    let name = format!("{}, helper", helper.first_name);
    let person = people::add_person(app, &mut tx, &name, None, None, false).await?;
    store::set_person(&mut tx, helper.id, person).await?;
    tx.commit().await?;
    Ok(person)
}

async fn viewer(app: &App, helper: &Helper) -> Result<Viewer, AppError> {
    let person = person(app, helper).await?;
    Ok(Viewer::without_account(person, &helper.first_name))
}

/// Begins to count a crate, or leads to what the helper began there.
pub async fn begin(
    app: &App,
    helper: &Helper,
    sent: &Sent,
    count: CountId,
    place: PlaceId,
) -> Result<StintId, NotDone<Refused>> {
    let mut db = app.db.read().await?;
    let kits = kits(&mut db, helper).await?;
    drop(db);
    let found = kits.iter().find(|kit| kit.count == Some(count));
    let Some(kit) = found else {
        return Err(NotDone::Refused(Refused::Closed));
    };
    if !kit.crates.iter().any(|one| one.id == place) {
        return Err(AppError::NotFound("crate").into());
    }
    let viewer = viewer(app, helper).await?;
    let begun = counts::begin(app, &viewer, sent, count, place, false).await;
    let outcome = begun.map_err(|why| match why {
        NotDone::Failed(error) => NotDone::Failed(error),
        NotDone::Refused(BeginRefused::Closed) => NotDone::Refused(Refused::Closed),
        // Who it is, is nobody's business but the team's.
        NotDone::Refused(BeginRefused::Occupied(_)) => NotDone::Refused(Refused::Occupied),
    })?;
    stint_at(&outcome).map_err(NotDone::Failed)
}

fn stint_at(outcome: &Outcome) -> Result<StintId, AppError> {
    outcome
        .location()
        .rsplit('/')
        .next()
        .and_then(|id| id.parse().ok())
        .ok_or(AppError::NotFound("count"))
}

/// The sheet of a stint that the helper began themselves; another's is not found.
pub async fn own(
    db: &mut SqliteConnection,
    helper: &Helper,
    stint: StintId,
) -> Result<(Sheet, Place), AppError> {
    let sheet = helped::sheet(db, stint).await?;
    if helper.person != Some(sheet.stint.person) {
        return Err(AppError::NotFound("count"));
    }
    let place = places::find(db, sheet.stint.place)
        .await?
        .ok_or(AppError::NotFound("crate"))?;
    Ok((sheet, place))
}

async fn check_own(app: &App, helper: &Helper, stint: StintId) -> Result<Sheet, AppError> {
    let mut db = app.db.read().await?;
    Ok(own(&mut db, helper, stint).await?.0)
}

/// The helper as somebody who taps in a stint that they began themselves.
pub async fn counter(app: &App, helper: &Helper, stint: StintId) -> Result<Counter, AppError> {
    let sheet = check_own(app, helper, stint).await?;
    let viewer = viewer(app, helper).await?;
    Ok(Counter::helper(viewer, sheet.count.zone, STINTS))
}

/// Records what was typed into a sheet, all or nothing. Answers how many lines changed.
pub async fn write(
    app: &App,
    helper: &Helper,
    sent: &Sent,
    stint: StintId,
    typed: &HashMap<PartId, Typed>,
) -> Result<usize, NotDone<Refused>> {
    let sheet = check_own(app, helper, stint).await?;
    if !sheet.is_open() {
        return Err(NotDone::Refused(Refused::Closed));
    }
    let changed = helped::read(&sheet.lines, typed)
        .map_err(|wrongs| NotDone::Refused(Refused::Lines(wrongs)))?;
    let viewer = viewer(app, helper).await?;
    match counts::record_sheet(app, &viewer, sent, stint, &changed).await {
        Ok(_) => Ok(changed.len()),
        Err(NotDone::Failed(error)) => Err(NotDone::Failed(error)),
        Err(NotDone::Refused(SheetRefused::Closed)) => Err(NotDone::Refused(Refused::Closed)),
        Err(NotDone::Refused(SheetRefused::Line(part, why))) => {
            let wrong = (part, why.to_string(), false);
            Err(NotDone::Refused(Refused::Lines(vec![wrong])))
        }
    }
}

/// Finishes what the helper began.
pub async fn done(
    app: &App,
    helper: &Helper,
    sent: &Sent,
    stint: StintId,
    uncounted: Uncounted,
) -> Result<(), NotDone<Refused>> {
    check_own(app, helper, stint).await?;
    let viewer = viewer(app, helper).await?;
    told(counts::done(app, &viewer, sent, stint, uncounted).await)
}

/// Opens again what the helper finished.
pub async fn take_up(
    app: &App,
    helper: &Helper,
    sent: &Sent,
    stint: StintId,
) -> Result<(), NotDone<Refused>> {
    check_own(app, helper, stint).await?;
    let viewer = viewer(app, helper).await?;
    told(counts::take_up(app, &viewer, sent, stint).await)
}

fn told(done: Result<Outcome, NotDone<StintRefused>>) -> Result<(), NotDone<Refused>> {
    match done {
        Ok(_) => Ok(()),
        Err(NotDone::Failed(error)) => Err(NotDone::Failed(error)),
        Err(NotDone::Refused(why)) => Err(NotDone::Refused(match why {
            StintRefused::Closed => Refused::Closed,
            StintRefused::Uncounted => Refused::Uncounted,
            _ => Refused::Settled,
        })),
    }
}
