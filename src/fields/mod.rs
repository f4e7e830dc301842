//! Fields: the kits that stand together on the floor, such as the game's own kit, the perimeter, the tiles and the
//! tools.
//!
//! - A field names kits of one team. A kit may stand in several fields: the tiles serve whichever game is on.
//! - It holds nothing itself; what it has and lacks is what its kits have and lack.
//! - A whole field goes to an event by one form, kit by kit by the rules of events, all or none.
//! - Fields are put away, never deleted.

pub mod pages;
pub mod rules;
mod store;

pub use store::{Field, find, of_kit, of_team};

use sqlx::SqliteConnection;

use crate::app::App;
use crate::error::{AppError, NotDone};
use crate::events;
use crate::ids::{EventId, FieldId, KitId, TeamId};
use crate::kits::{self, Kit};
use crate::people::Viewer;
use crate::receipts::{self, Outcome, Sent};
use rules::{Refused, Typed};

/// The kits of a field in its order.
pub async fn kits_of(db: &mut SqliteConnection, field: FieldId) -> Result<Vec<Kit>, AppError> {
    let mut found = Vec::new();
    for kit in store::kits_of(db, field).await? {
        found.extend(kits::find(db, kit).await?);
    }
    Ok(found)
}

/// Adds a field of a team.
pub async fn add(
    app: &App,
    viewer: &Viewer,
    sent: &Sent,
    team: TeamId,
    typed: &Typed,
) -> Result<Outcome, NotDone<Refused>> {
    receipts::once(app, sent, Some(viewer.person), async |tx| {
        if !viewer.keeps(team) {
            return Err(AppError::Forbidden(
                "Only the team's keeper and deputies put fields together.".into(),
            )
            .into());
        }
        let said = checked(tx, team, typed, None).await?;
        let field = FieldId::new();
        store::insert(tx, (field, team), &said, app.clock.now()).await?;
        store::set_kits(tx, field, &said.kits).await?;
        Ok(format!("/fields/{field}"))
    })
    .await
}

/// Changes a field, unless somebody else did since `version` was shown.
pub async fn change(
    app: &App,
    viewer: &Viewer,
    sent: &Sent,
    field: FieldId,
    version: i64,
    typed: &Typed,
) -> Result<Outcome, NotDone<Refused>> {
    receipts::once(app, sent, Some(viewer.person), async |tx| {
        let known = found(tx, field).await?;
        let said = checked(tx, known.team, typed, Some(field)).await?;
        if known.version != version {
            return Err(NotDone::Refused(Refused::Changed));
        }
        store::update(tx, field, &said).await?;
        store::set_kits(tx, field, &said.kits).await?;
        Ok(format!("/fields/{field}"))
    })
    .await
}

async fn checked(
    db: &mut SqliteConnection,
    team: TeamId,
    typed: &Typed,
    besides: Option<FieldId>,
) -> Result<Typed, NotDone<Refused>> {
    let of_team: Vec<KitId> = kits::of_team(db, team)
        .await?
        .into_iter()
        .map(|kit| kit.id)
        .collect();
    let said = rules::read(typed, &of_team).map_err(NotDone::Refused)?;
    let others = store::of_team(db, team).await?;
    let is_taken = others
        .iter()
        .any(|other| Some(other.id) != besides && rules::same_name(&other.name, &said.name));
    if is_taken {
        return Err(NotDone::Refused(Refused::NameTaken));
    }
    Ok(said)
}

/// Puts a field away, or brings it back.
pub async fn put_away(
    app: &App,
    viewer: &Viewer,
    sent: &Sent,
    field: FieldId,
    away: bool,
) -> Result<Outcome, NotDone<Refused>> {
    receipts::once(app, sent, Some(viewer.person), async |tx| {
        let known = found(tx, field).await?;
        if !away {
            let others = store::of_team(tx, known.team).await?;
            if others
                .iter()
                .any(|other| rules::same_name(&other.name, &known.name))
            {
                return Err(NotDone::Refused(Refused::NameTaken));
            }
        }
        store::set_put_away(tx, field, away.then(|| app.clock.now())).await?;
        Ok(format!("/fields/{field}"))
    })
    .await
}

/// Says that every kit of a field goes to an event, those that go already aside. One that may not stops them all.
pub async fn bring(
    app: &App,
    viewer: &Viewer,
    sent: &Sent,
    field: FieldId,
    event: Option<EventId>,
    why: &str,
) -> Result<Outcome, NotDone<Refused>> {
    receipts::once(app, sent, Some(viewer.person), async |tx| {
        let event = event.ok_or(NotDone::Refused(Refused::NoEvent))?;
        let going: Vec<KitId> = events::kits_of(tx, event)
            .await?
            .into_iter()
            .map(|kit| kit.kit)
            .collect();
        let kits = kits_of(tx, field).await?;
        if kits.iter().all(|kit| going.contains(&kit.id)) {
            return Err(NotDone::Refused(Refused::AllGo));
        }
        for kit in kits {
            if going.contains(&kit.id) {
                continue;
            }
            events::bring_one(app, tx, viewer, event, kit.id, why)
                .await
                .map_err(|error| match error {
                    NotDone::Refused(why) => NotDone::Refused(Refused::Kit(kit.name, why)),
                    NotDone::Failed(error) => NotDone::Failed(error),
                })?;
        }
        Ok(format!("/events/{event}"))
    })
    .await
}

async fn found(db: &mut SqliteConnection, field: FieldId) -> Result<Field, AppError> {
    find(db, field).await?.ok_or(AppError::NotFound("field"))
}
