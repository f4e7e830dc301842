//! Seasons: one year's game each. Guides belong to a season; lists of one's own (tools, perimeter) to none.

pub mod pages;
pub mod rules;
mod store;

pub use store::{Season, all, find};

use crate::app::App;
use crate::clock::Day;
use crate::error::NotDone;
use crate::ids::SeasonId;
use crate::people::Viewer;
use crate::receipts::{self, Outcome, Sent};
use rules::SeasonRefused;

/// Adds a season.
pub async fn begin(
    app: &App,
    viewer: &Viewer,
    sent: &Sent,
    name: &str,
    starts_on: Day,
) -> Result<Outcome, NotDone<SeasonRefused>> {
    receipts::once(app, sent, Some(viewer.person), async |tx| {
        let names = store::names(tx).await?;
        let name = rules::begin(name, &names).map_err(NotDone::Refused)?;
        let id = SeasonId::new();
        store::insert(tx, id, &name, starts_on).await?;
        Ok(format!("/seasons/{id}"))
    })
    .await
}
