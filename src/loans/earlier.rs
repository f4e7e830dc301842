//! What earlier returns of a loan left open: owed pieces, and pieces that were too much somewhere.

use super::rules::back::{Earlier, Kind, Open};
use super::{Loan, store};
use crate::db::Tx;
use crate::ids::PlaceId;
use crate::ledger::State as PieceState;
use crate::places;

/// What earlier returns left open, and the bag of what is owed.
pub(super) async fn earlier(tx: &mut Tx, loan: &Loan) -> sqlx::Result<(Earlier, Option<PlaceId>)> {
    let known = store::places(tx, loan.id).await?;
    let bag = known
        .iter()
        .find(|place| place.is_owed())
        .map(|bag| bag.place);
    let mut earlier = Earlier::default();
    for one in store::differences(tx, loan.id).await? {
        let (Some(part), Some(kit), open) = (one.part, one.kit, one.qty - one.came_home) else {
            continue;
        };
        let open = Open {
            line: one.line,
            part,
            kit,
            place: one.place,
            qty: open,
        };
        match one.kind {
            Kind::Missing if open.qty > 0 => earlier.owed.push(open),
            Kind::Extra if open.qty > 0 => earlier.extra.push(open),
            _ => {}
        }
    }
    if let Some(bag) = bag {
        for line in places::pieces(tx, bag, false).await? {
            let states = earlier.held.entry((line.part, line.kit)).or_default();
            for (at, state) in PieceState::ALL.into_iter().enumerate() {
                if state == line.state {
                    states[at] += line.qty;
                }
            }
        }
    }
    Ok((earlier, bag))
}
