//! Sharing pieces out among parts that may stand in for each other.

use proptest::prelude::*;

use super::super::stock::{Sharing, Stock};

#[test]
fn a_user_that_can_do_with_another_piece_gives_up_its_own() {
    // The first part can only take the second's piece; the second can do with the third's.
    let stock = Stock {
        pieces: vec![0, 1, 1],
        served_by: vec![vec![0, 1], vec![1, 2], vec![2]],
    };
    let sharing = stock.share_out(&[1, 1, 0]);
    assert_eq!(sharing.lacking, [0, 0, 0]);
    assert_eq!(sharing.taken, [vec![0, 1], vec![0, 1], vec![0]]);
    let too_few = stock.too_few(&[1, 1, 1]).expect("two pieces for three");
    assert_eq!((too_few.parts, too_few.pieces), (vec![0, 1, 2], 2));
}

const PARTS: usize = 5;

fn any_stock() -> impl Strategy<Value = Stock> {
    let further = prop::collection::vec(any::<[bool; PARTS]>(), PARTS);
    let pieces = prop::collection::vec(0_u64..5, PARTS);
    (pieces, further).prop_map(|(pieces, further)| {
        let served_by = further.iter().enumerate().map(|(part, further)| {
            let others = (0..PARTS).filter(|by| *by != part && further[*by]);
            [part].into_iter().chain(others).collect()
        });
        Stock {
            served_by: served_by.collect(),
            pieces,
        }
    })
}

/// The most that any set of parts wants beyond what may serve it: by Hall's theorem what must be lacking.
fn must_lack(stock: &Stock, wanted: &[u64]) -> u64 {
    let sets = 0_usize..1 << PARTS;
    let lacks = sets.map(|set| {
        let parts: Vec<usize> = (0..PARTS).filter(|part| set >> part & 1 == 1).collect();
        let serves = |by: &usize| parts.iter().any(|part| stock.served_by[*part].contains(by));
        let there: u64 = (0..PARTS).filter(serves).map(|by| stock.pieces[by]).sum();
        let wanted: u64 = parts.iter().map(|part| wanted[*part]).sum();
        wanted.saturating_sub(there)
    });
    lacks.max().unwrap_or(0)
}

fn adds_up(stock: &Stock, wanted: &[u64], sharing: &Sharing) {
    let mut used = [0; PARTS];
    for (part, wanted) in wanted.iter().enumerate() {
        let taken: u64 = sharing.taken[part].iter().sum();
        assert_eq!(taken + sharing.lacking[part], *wanted);
        for (by, taken) in stock.served_by[part].iter().zip(&sharing.taken[part]) {
            used[*by] += taken;
        }
    }
    assert!(
        used.iter()
            .zip(&stock.pieces)
            .all(|(used, there)| used <= there)
    );
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(1000))]

    #[test]
    fn as_few_as_possible_are_lacking(
        stock in any_stock(),
        wanted in prop::collection::vec(0_u64..5, PARTS),
        more in prop::collection::vec(0_u64..3, PARTS),
    ) {
        let sharing = stock.share_out(&wanted);
        adds_up(&stock, &wanted, &sharing);
        prop_assert_eq!(sharing.lacking.iter().sum::<u64>(), must_lack(&stock, &wanted));
        match stock.too_few(&wanted) {
            None => prop_assert_eq!(sharing.lacking.iter().sum::<u64>(), 0),
            Some(too_few) => {
                let wanted: u64 = too_few.parts.iter().map(|part| wanted[*part]).sum();
                prop_assert!(wanted > too_few.pieces);
            }
        }
        // Carried on with more pieces, the sharing is as good as made anew, and nobody loses a piece.
        let mut larger = stock.clone();
        larger.pieces.iter_mut().zip(&more).for_each(|(pieces, more)| *pieces += more);
        let carried = larger.carry_on(&stock, sharing.clone());
        adds_up(&larger, &wanted, &carried);
        prop_assert_eq!(carried.lacking.iter().sum::<u64>(), must_lack(&larger, &wanted));
        prop_assert!(carried.lacking.iter().zip(&sharing.lacking).all(|(now, then)| now <= then));
    }
}
