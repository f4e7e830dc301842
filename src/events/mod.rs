//! Events: days at a venue, and the kits that go there.
//!
//! Whoever keeps a team's kits writes an event down; it belongs to that team, which changes it and calls it
//! off. Everybody in the league sees it, and each team's keeper says which of their own kits go. An event
//! moves no piece by itself: it says when a kit is not free, and where what broke was seen.

pub mod pages;
pub mod rules;
mod store;

use sqlx::SqliteConnection;

use crate::app::App;
use crate::clock::Day;
use crate::db::Tx;
use crate::error::{AppError, NotDone};
use crate::ids::{EventId, KitId, TeamId};
use crate::kits;
use crate::people::Viewer;
use crate::receipts::{self, Outcome, Sent};
use crate::web::form::Wrong;
use rules::{Refused, Typed};

pub use store::{Event, KitDays, between, find, kits_of, of_kit, of_team};

/// What can be done about an event, as its steps tell it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, sqlx::Type)]
#[sqlx(type_name = "text", rename_all = "lowercase")]
pub enum Kind {
    Planned,
    Changed,
    #[sqlx(rename = "called off")]
    CalledOff,
    #[sqlx(rename = "takes place")]
    TakesPlace,
    #[sqlx(rename = "kit goes")]
    KitGoes,
    #[sqlx(rename = "kit stays")]
    KitStays,
}

/// Events of the days around today, those going on and the nearest first: what a form offers where it asks
/// at which event something happened. Called off ones are left out.
pub async fn around(
    db: &mut SqliteConnection,
    today: Day,
    days_back: i64,
    days_ahead: i64,
) -> sqlx::Result<Vec<Event>> {
    let (from, to) = (today.plus_days(-days_back), today.plus_days(days_ahead));
    let mut events = between(db, from, to).await?;
    events.retain(|event| !event.is_called_off);
    events.sort_by_key(|event| {
        let until = today.days_until(event.first_on).max(0);
        let since = event.last_on.days_until(today).max(0);
        (until.max(since), event.first_on)
    });
    Ok(events)
}

async fn found(tx: &mut Tx, event: EventId) -> Result<Event, AppError> {
    find(tx, event).await?.ok_or(AppError::NotFound("event"))
}

/// Writes an event down.
pub async fn plan(
    app: &App,
    viewer: &Viewer,
    sent: &Sent,
    team: TeamId,
    typed: &Typed,
) -> Result<Outcome, NotDone<Vec<Wrong>>> {
    if !viewer.keeps(team) {
        return Err(NotDone::Failed(AppError::Forbidden(
            "Only a team's keeper and deputies plan events for it.".into(),
        )));
    }
    receipts::once(app, sent, Some(viewer.person), async |tx| {
        let details = rules::read(typed).map_err(NotDone::Refused)?;
        let id = EventId::new();
        store::insert(tx, id, team, &details, app.clock.now()).await?;
        let step = store::Step::new(Kind::Planned, details.words());
        store::add_step(tx, id, &step, viewer.person, app.clock.now()).await?;
        Ok(format!("/events/{id}"))
    })
    .await
}

/// Why an event was not changed.
#[derive(Debug)]
pub enum ChangeRefused {
    Wrong(Vec<Wrong>),
    /// Somebody else changed it since it was read.
    Changed,
}

/// Changes what is written about an event, unless somebody else did since it was read at `version`.
pub async fn change(
    app: &App,
    viewer: &Viewer,
    sent: &Sent,
    event: EventId,
    version: i64,
    typed: &Typed,
) -> Result<Outcome, NotDone<ChangeRefused>> {
    receipts::once(app, sent, Some(viewer.person), async |tx| {
        let before = found(tx, event).await?;
        if before.version != version {
            return Err(NotDone::Refused(ChangeRefused::Changed));
        }
        let details =
            rules::read(typed).map_err(|wrongs| NotDone::Refused(ChangeRefused::Wrong(wrongs)))?;
        if details != before.details() {
            store::update(tx, event, &details).await?;
            let step = store::Step::new(Kind::Changed, details.words());
            store::add_step(tx, event, &step, viewer.person, app.clock.now()).await?;
        }
        Ok(format!("/events/{event}"))
    })
    .await
}

/// Says that an event does not take place, and why. Its kits are free on these days.
pub async fn call_off(
    app: &App,
    viewer: &Viewer,
    sent: &Sent,
    event: EventId,
    why: &str,
) -> Result<Outcome, NotDone<Refused>> {
    receipts::once(app, sent, Some(viewer.person), async |tx| {
        if found(tx, event).await?.is_called_off {
            return Err(NotDone::Refused(Refused::CalledOff));
        }
        let why = rules::reason(why, true).map_err(NotDone::Refused)?;
        store::set_called_off(tx, event, Some(app.clock.now())).await?;
        let step = store::Step::new(Kind::CalledOff, why);
        store::add_step(tx, event, &step, viewer.person, app.clock.now()).await?;
        Ok(format!("/events/{event}"))
    })
    .await
}

/// Says that an event that was called off takes place after all, with the kits it had.
pub async fn hold(
    app: &App,
    viewer: &Viewer,
    sent: &Sent,
    event: EventId,
) -> Result<Outcome, NotDone<Refused>> {
    receipts::once(app, sent, Some(viewer.person), async |tx| {
        if !found(tx, event).await?.is_called_off {
            return Err(NotDone::Refused(Refused::TakesPlace));
        }
        store::set_called_off(tx, event, None).await?;
        let step = store::Step::new(Kind::TakesPlace, String::new());
        store::add_step(tx, event, &step, viewer.person, app.clock.now()).await?;
        Ok(format!("/events/{event}"))
    })
    .await
}

/// Says that a kit goes to an event. Its own keeper says so, whoever planned the event.
pub async fn bring(
    app: &App,
    viewer: &Viewer,
    sent: &Sent,
    event: EventId,
    kit: Option<KitId>,
    why: &str,
) -> Result<Outcome, NotDone<Refused>> {
    receipts::once(app, sent, Some(viewer.person), async |tx| {
        let kit = kit.ok_or(NotDone::Refused(Refused::NoKit))?;
        bring_one(app, tx, viewer, event, kit, why).await?;
        Ok(format!("/events/{event}"))
    })
    .await
}

/// The same within a transaction of the caller.
pub async fn bring_one(
    app: &App,
    tx: &mut Tx,
    viewer: &Viewer,
    event: EventId,
    kit: KitId,
    why: &str,
) -> Result<(), NotDone<Refused>> {
    let kit = kits::find(tx, kit)
        .await?
        .ok_or(AppError::NotFound("kit"))?;
    only_its_keeper(viewer, kit.team)?;
    let event = found(tx, event).await?;
    let goes = kits_of(tx, event.id).await?;
    let others = store::taken(tx, kit.id, event.id).await?;
    let why = rules::reason(why, false).map_err(NotDone::Refused)?;
    if event.is_called_off {
        return Err(NotDone::Refused(Refused::CalledOff));
    }
    if kit.put_away {
        return Err(NotDone::Refused(Refused::PutAway));
    }
    if goes.iter().any(|other| other.kit == kit.id) {
        return Err(NotDone::Refused(Refused::GoesAlready));
    }
    rules::goes(event.first_on, event.last_on, &others, &why).map_err(NotDone::Refused)?;
    store::add_kit(tx, event.id, kit.id).await?;
    let step = store::Step::of_kit(Kind::KitGoes, why, kit.id);
    store::add_step(tx, event.id, &step, viewer.person, app.clock.now()).await?;
    Ok(())
}

/// Says that a kit stays at home after all.
pub async fn leave_home(
    app: &App,
    viewer: &Viewer,
    sent: &Sent,
    event: EventId,
    kit: KitId,
) -> Result<Outcome, NotDone<Refused>> {
    receipts::once(app, sent, Some(viewer.person), async |tx| {
        let kit = kits::find(tx, kit)
            .await?
            .ok_or(AppError::NotFound("kit"))?;
        only_its_keeper(viewer, kit.team)?;
        if !store::take_kit_away(tx, event, kit.id).await? {
            return Err(NotDone::Refused(Refused::DoesNotGo));
        }
        let step = store::Step::of_kit(Kind::KitStays, String::new(), kit.id);
        store::add_step(tx, event, &step, viewer.person, app.clock.now()).await?;
        Ok(format!("/events/{event}"))
    })
    .await
}

fn only_its_keeper(viewer: &Viewer, team: TeamId) -> Result<(), AppError> {
    if viewer.keeps(team) {
        return Ok(());
    }
    Err(AppError::Forbidden(
        "Only the keeper and deputies of the team whose kit it is say where it goes.".into(),
    ))
}
