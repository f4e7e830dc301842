//! Kits: pieces that belong together and to one team.
//!
//! - A kit that is checked against a parts list names a revision and a size; a **spares box** names
//!   neither and has no need.
//! - What a kit has and lacks is its **statement** (`rules::Line`): one query, one pure function, used by
//!   every page that tells it.
//! - Naming a revision seals it.

pub mod rules;
mod store;

pub use store::{Arrival, Kit, NewKit, arrival, find, of_team, statement};

use crate::app::App;
use crate::codes::{self, CodeKind};
use crate::db::Tx;
use crate::guides;
use crate::ids::KitId;

/// Adds a kit, gives it a code, and seals the revision it is checked against.
pub async fn add(app: &App, tx: &mut Tx, new: &NewKit) -> sqlx::Result<KitId> {
    let now = app.clock.now();
    store::insert(tx, new, now).await?;
    codes::give(tx, CodeKind::Kit, new.id.0, now).await?;
    if let Some((revision, _)) = new.checked_against {
        guides::seal(tx, revision, now).await?;
    }
    Ok(new.id)
}
