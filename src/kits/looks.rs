//! Looking at what is not worth counting: enough, low or none, place by place. Nothing moves by it; a later
//! look in the same place takes the stead of the earlier one, which stays readable.

use sqlx::SqliteConnection;

use super::rules::looks::{LookedAt, Said};
use super::store;
use crate::app::App;
use crate::error::{AppError, NotDone};
use crate::ids::{KitId, PartId, PlaceId};
use crate::people::Viewer;
use crate::receipts::{self, Outcome, Sent};

/// Why a look was not written down.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum LookRefused {
    #[error("Say whether there is enough, little or none of it.")]
    Nothing,
    #[error("Say in which crate or bag you looked.")]
    Nowhere,
    #[error(
        "This part is counted, not only looked at. Count it, or change how it is counted first."
    )]
    Counted,
}

/// The parts of a kit that are only looked at, and what was seen of them last.
pub async fn looked_at(db: &mut SqliteConnection, kit: KitId) -> sqlx::Result<Vec<LookedAt>> {
    store::looked_at(db, kit).await
}

/// Whether a part is only looked at.
pub async fn is_looked_at(db: &mut SqliteConnection, part: PartId) -> sqlx::Result<bool> {
    Ok(store::is_looked_at(db, part).await?.unwrap_or(false))
}

/// Writes down what somebody saw of a part in a place; leads to `then`.
pub async fn look(
    app: &App,
    viewer: &Viewer,
    sent: &Sent,
    kit: KitId,
    (part, place, said): (PartId, Option<PlaceId>, &str),
    then: &str,
) -> Result<Outcome, NotDone<LookRefused>> {
    receipts::once(app, sent, Some(viewer.person), async |tx| {
        match store::is_looked_at(tx, part).await? {
            None => return Err(AppError::NotFound("part").into()),
            Some(false) => return Err(NotDone::Refused(LookRefused::Counted)),
            Some(true) => {}
        }
        let Some(said) = Said::from_word(said) else {
            return Err(NotDone::Refused(LookRefused::Nothing));
        };
        let Some(place) = place else {
            return Err(NotDone::Refused(LookRefused::Nowhere));
        };
        if !store::may_hold(tx, kit, place).await? {
            return Err(AppError::NotFound("place").into());
        }
        let now = app.clock.now();
        store::insert_look(tx, (kit, part, place), said, viewer.person, now).await?;
        Ok(then.to_owned())
    })
    .await
}
