//! Places: what pieces are kept in and where that stands.
//!
//! - Stores, shelves, vans and venues are at the top; crates, boxes, bags, trays and heaps stand in them
//!   and in each other. A heap is a table top.
//! - Carrying a crate is one ledger entry; its contents go along.
//! - Every place has a code from the moment it is made. It is put away, never deleted.

mod store;

pub use store::{Kind, NewPlace, Place, find, in_kit, of_team, way};

use crate::app::App;
use crate::codes::{self, CodeKind};
use crate::db::Tx;
use crate::error::{AppError, NotDone};
use crate::ids::{FormId, PersonId, PlaceId};
use crate::ledger::{self, Document, Entry, NotAppended, PlaceMove};

/// Makes a place, gives it a code, and stands it in its parent by a ledger entry.
pub async fn make(
    app: &App,
    tx: &mut Tx,
    actor: PersonId,
    new: &NewPlace,
) -> Result<PlaceId, NotDone<NotAppended>> {
    let now = app.clock.now();
    store::insert(tx, new, now).await?;
    codes::give(tx, CodeKind::Place, new.id.0, now).await?;
    if new.parent.is_some() {
        let mut entry = Entry::new(FormId::new(), "stood somewhere", actor, now);
        entry.document = Some(Document::Place(new.id));
        entry.carried = vec![PlaceMove {
            place: new.id,
            from: None,
            to: new.parent,
        }];
        ledger::append(tx, &entry)
            .await
            .map_err(|refused| match refused {
                NotAppended::Sqlx(error) => NotDone::Failed(AppError::Sqlx(error)),
                other => NotDone::Refused(other),
            })?;
    }
    Ok(new.id)
}
