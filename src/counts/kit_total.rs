//! What of one part a count found in the whole kit, as a stint's pages show it.

use std::collections::HashMap;

use sqlx::SqliteConnection;

use super::rules::close::Purpose;
use super::rules::total::{self, Counted, Own};
use super::{CountSheet, Stint, store};
use crate::guides;
use crate::ids::{PartId, PlaceId};

/// One part over the whole kit. `None` where it may not be seen.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct KitTotal {
    /// What the kit's list needs, or in a recount what the books say. `None`: the list does not name it.
    pub need: Option<i64>,
    pub counted: i64,
}

impl KitTotal {
    pub fn to_come(&self) -> i64 {
        (self.need.unwrap_or(0) - self.counted).max(0)
    }

    pub fn over(&self) -> i64 {
        self.need.map_or(0, |need| (self.counted - need).max(0))
    }
}

/// A part's total as it stands on a stint's pages. `None` where the need must not show: in a recount of
/// what somebody else counted.
pub async fn kit_total(
    db: &mut SqliteConnection,
    sheet: &CountSheet,
    stint: &Stint,
    part: PartId,
) -> sqlx::Result<Option<KitTotal>> {
    if stint.blind && sheet.purpose == Purpose::Recount {
        return Ok(None);
    }
    let (counted, mut book) = store::part_counted(db, sheet.id, sheet.kit, part).await?;
    let need = match sheet.purpose {
        Purpose::Arrival => store::need(db, sheet.kit, part).await?,
        Purpose::Recount => {
            book.clear();
            store::due_of_part(db, sheet.id, part).await?
        }
    };
    let own = Own {
        stint: stint.id,
        place: stint.place,
        blind: stint.blind,
    };
    Ok(Some(KitTotal {
        need,
        counted: total::kit_counted(&counted, &book, Some(own)),
    }))
}

/// The totals of every part that the kit's list names, for a stint's list of lines.
pub(super) async fn kit_totals(
    db: &mut SqliteConnection,
    sheet: &CountSheet,
    stint: &Stint,
) -> sqlx::Result<HashMap<PartId, KitTotal>> {
    if stint.blind && sheet.purpose == Purpose::Recount {
        return Ok(HashMap::new());
    }
    let stints = store::of_count(db, sheet.id).await?;
    let facts = store::facts(db, sheet.id, sheet.kit, &stints).await?;
    let held = store::held(db, sheet.kit).await?;
    let mut needs = HashMap::new();
    match (sheet.purpose, sheet.revision, sheet.size) {
        (Purpose::Recount, ..) => {
            for ((_, part), due) in &facts.due {
                *needs.entry(*part).or_default() += due.qty;
            }
        }
        (Purpose::Arrival, Some(revision), Some(size)) => {
            needs.extend(guides::need_of(db, revision, size).await?);
        }
        (Purpose::Arrival, ..) => {}
    }
    let mut book: HashMap<PartId, Vec<(PlaceId, i64)>> = HashMap::new();
    if sheet.purpose == Purpose::Arrival {
        for ((place, part), states) in &held {
            let qty = states.values().sum();
            book.entry(*part).or_default().push((*place, qty));
        }
    }
    let own = Own {
        stint: stint.id,
        place: stint.place,
        blind: stint.blind,
    };
    let total = |(part, need): (PartId, i64)| {
        let counted: Vec<Counted> = facts
            .stints
            .iter()
            .filter_map(|one| {
                Some(Counted {
                    stint: one.id,
                    place: one.place,
                    state: one.state,
                    qty: facts.totals.get(&(one.id, part))?.total?,
                    chosen: facts.chosen.get(&(one.place, part)) == Some(&one.id),
                })
            })
            .collect();
        let book = book.get(&part).map_or(&[][..], Vec::as_slice);
        let kit = KitTotal {
            need: Some(need),
            counted: total::kit_counted(&counted, book, Some(own)),
        };
        (part, kit)
    };
    Ok(needs.into_iter().map(total).collect())
}
