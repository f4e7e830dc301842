//! One part over all bags and assemblies of a kit: what was counted so far and what is still to come. Pure.

use std::collections::BTreeMap;

use super::facts::StintState;
use crate::ids::{PlaceId, StintId};

/// What one stint counted of the part. In the order in which stints began.
#[derive(Debug, Clone, Copy)]
pub struct Counted {
    pub stint: StintId,
    pub place: PlaceId,
    pub state: StintState,
    pub qty: i64,
    /// Somebody chose this stint for the line.
    pub chosen: bool,
}

/// Whose eyes the total is for: on a stint's own pages no other count of the same place shows through.
#[derive(Debug, Clone, Copy)]
pub struct Own {
    pub stint: StintId,
    pub place: PlaceId,
    pub blind: bool,
}

/// The part's total over the kit: for each place what one of its stints counted, or else what the books
/// say is there. `book` is left empty for a recount, where the books are what is being counted.
pub fn kit_counted(counted: &[Counted], book: &[(PlaceId, i64)], own: Option<Own>) -> i64 {
    let mut places: BTreeMap<PlaceId, i64> = BTreeMap::new();
    for (place, qty) in book {
        *places.entry(*place).or_default() += qty;
    }
    if let Some(own) = own
        && own.blind
    {
        places.remove(&own.place);
    }
    let mut taken: BTreeMap<PlaceId, &Counted> = BTreeMap::new();
    for one in counted {
        if one.state == StintState::SetAside {
            continue;
        }
        if let Some(own) = own
            && one.place == own.place
            && one.stint != own.stint
        {
            continue;
        }
        // The first count of a place is shown until somebody chose another.
        let better = taken
            .get(&one.place)
            .is_none_or(|known| one.chosen && !known.chosen);
        if better {
            taken.insert(one.place, one);
        }
    }
    places.extend(taken.into_iter().map(|(place, one)| (place, one.qty)));
    places.values().sum()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn places_are_added_and_stints_of_one_place_are_not() {
        let bags: Vec<PlaceId> = (0..3).map(|_| PlaceId::new()).collect();
        let stints: Vec<StintId> = (0..4).map(|_| StintId::new()).collect();
        let one = |stint: usize, bag: usize, qty| Counted {
            stint: stints[stint],
            place: bags[bag],
            state: StintState::Done,
            qty,
            chosen: false,
        };
        let own = |stint: usize, bag: usize, blind| {
            Some(Own {
                stint: stints[stint],
                place: bags[bag],
                blind,
            })
        };
        let aside = |counted: Counted| Counted {
            state: StintState::SetAside,
            ..counted
        };
        let chosen = |counted: Counted| Counted {
            chosen: true,
            ..counted
        };
        let cases = [
            (vec![], vec![], None, 0),
            (vec![one(0, 0, 8), one(1, 1, 7)], vec![], None, 15),
            (vec![one(0, 0, 8), one(1, 0, 7)], vec![], None, 8),
            (vec![one(0, 0, 8), chosen(one(1, 0, 7))], vec![], None, 7),
            (vec![aside(one(0, 0, 8)), one(1, 0, 7)], vec![], None, 7),
            // A second counter sees the own number only, and of the others' bags what was counted.
            (
                vec![one(0, 0, 8), one(1, 0, 2), one(2, 1, 5)],
                vec![],
                own(1, 0, true),
                7,
            ),
            (vec![one(0, 0, 8), one(2, 1, 5)], vec![], own(1, 0, true), 5),
            // What the books hold elsewhere counts; in a bag counted anew the count takes its place.
            (vec![one(0, 0, 8)], vec![(bags[1], 5)], None, 13),
            (vec![one(0, 0, 8)], vec![(bags[0], 5)], None, 8),
            (vec![], vec![(bags[0], 5)], own(0, 0, false), 5),
            (vec![], vec![(bags[0], 5), (bags[1], 2)], own(0, 0, true), 2),
        ];
        for (counted, book, own, total) in cases {
            assert_eq!(kit_counted(&counted, &book, own), total, "{counted:?}");
        }
    }
}
