//! Cases for the cheapest way to buy at least so many pieces.

use std::slice;

use proptest::prelude::*;

use super::*;

fn euro(minor: i64) -> Money {
    Money {
        minor,
        currency: "EUR".parse().expect("three letters"),
    }
}

fn franc(minor: i64) -> Money {
    Money {
        minor,
        currency: "CHF".parse().expect("three letters"),
    }
}

fn plain(pack: u64, price: i64) -> Offer {
    Offer::plain(pack, euro(price)).expect("an offer")
}

fn breaks(found: &[(u64, i64)]) -> Vec<Break> {
    found
        .iter()
        .map(|(from_packs, price)| Break {
            from_packs: *from_packs,
            price: euro(*price),
        })
        .collect()
}

/// (pack, packs) of each offer bought, pieces left over, cost.
fn found(need: u64, offers: &[Offer]) -> (Vec<(u64, u64)>, u64, i64) {
    let cover = cover(need, offers).expect("it can be bought");
    let packs = cover
        .bought
        .iter()
        .map(|bought| (bought.pack, bought.packs))
        .collect();
    (packs, cover.leftover, cover.cost.minor)
}

#[test]
fn packs_are_rounded_up() {
    assert_eq!(found(228, &[plain(100, 500)]), (vec![(100, 3)], 72, 1500));
    assert_eq!(found(100, &[plain(100, 500)]), (vec![(100, 1)], 0, 500));
    assert_eq!(found(1, &[plain(100, 500)]), (vec![(100, 1)], 99, 500));
    assert_eq!(found(0, &[plain(100, 500)]), (vec![], 0, 0));
}

#[test]
fn packs_are_mixed_where_that_is_cheaper() {
    let offers = [plain(10, 100), plain(25, 200), plain(1, 15)];
    assert_eq!(found(36, &offers), (vec![(25, 1), (10, 1), (1, 1)], 0, 315));
    assert_eq!(found(47, &offers), (vec![(25, 2)], 3, 400));
    assert_eq!(found(4, &offers), (vec![(1, 4)], 0, 60));
    assert_eq!(found(8, &offers), (vec![(10, 1)], 2, 100));
}

#[test]
fn of_two_ways_at_the_same_cost_the_one_with_less_left_over_is_taken() {
    assert_eq!(
        found(9, &[plain(20, 100), plain(10, 100)]),
        (vec![(10, 1)], 1, 100)
    );
    // The same pieces at the same cost: fewer packs.
    assert_eq!(
        found(10, &[plain(5, 50), plain(10, 100)]),
        (vec![(10, 1)], 0, 100)
    );
}

#[test]
fn more_are_bought_where_the_next_price_makes_that_cheaper() {
    let offer = Offer::new(1, breaks(&[(1, 100), (10, 80), (100, 50)]), 1, 1).expect("an offer");
    for (need, packs, cost) in [
        (7, 7, 700),
        (8, 8, 800), // 10 would cost 800 too
        (9, 10, 800),
        (62, 62, 4960),
        (63, 100, 5000),
        (200, 200, 10_000),
    ] {
        assert_eq!(
            found(need, slice::from_ref(&offer)),
            (vec![(1, packs)], packs - need, cost),
            "{need}"
        );
    }
}

#[test]
fn a_smallest_order_and_a_multiple_are_kept() {
    let offer = Offer::new(5, breaks(&[(1, 100)]), 4, 3).expect("an offer");
    for (need, packs) in [(1, 6), (20, 6), (30, 6), (31, 9), (45, 9), (46, 12)] {
        assert_eq!(offer.packs_for(need), packs, "{need}");
        assert_eq!(
            found(need, slice::from_ref(&offer)).0,
            [(5, packs)],
            "{need}"
        );
    }
    assert_eq!(offer.packs_for(0), 0);
    // The first price is a smallest order too.
    let from_ten = Offer::new(1, breaks(&[(10, 100)]), 1, 1).expect("an offer");
    assert_eq!(
        found(3, slice::from_ref(&from_ten)),
        (vec![(1, 10)], 7, 1000)
    );
    assert_eq!(from_ten.price_at(9), None);
    // A price from 10 packs on begins at 12 if packs come in threes.
    let threes = Offer::new(1, breaks(&[(1, 100), (10, 60)]), 1, 3).expect("an offer");
    assert_eq!(found(7, slice::from_ref(&threes)), (vec![(1, 12)], 5, 720));
    assert_eq!(found(6, slice::from_ref(&threes)), (vec![(1, 6)], 0, 600));
}

#[test]
fn what_costs_nothing_is_still_not_bought_in_vain() {
    assert_eq!(found(5, &[plain(3, 0)]), (vec![(3, 2)], 1, 0));
    assert_eq!(found(0, &[plain(3, 0)]), (vec![], 0, 0));
}

#[test]
fn offers_that_make_no_sense_are_refused() {
    let refused = |pack, found: &[(u64, i64)], least, multiple| {
        Offer::new(pack, breaks(found), least, multiple)
            .unwrap_err()
            .to_string()
    };
    for (refused, expected) in [
        (
            refused(0, &[(1, 5)], 1, 1),
            "a pack holds at least one piece",
        ),
        (refused(1, &[], 1, 1), "give at least one price"),
        (refused(1, &[(1, -5)], 1, 1), "a price is not below zero"),
        (
            refused(1, &[(5, 5), (5, 4)], 1, 1),
            "there are two prices from 5 packs on",
        ),
        (
            refused(1, &[(10, 60), (1, 50)], 1, 1),
            "from 10 packs on a pack costs 0.60 EUR, which is more than for fewer; check the prices",
        ),
        (
            refused(1, &[(0, 5)], 1, 1),
            "a smallest order, a multiple and the start of a price are at least one pack",
        ),
        (
            refused(1, &[(1, 5)], 0, 1),
            "a smallest order, a multiple and the start of a price are at least one pack",
        ),
        (
            refused(1, &[(1, 5)], 1, 0),
            "a smallest order, a multiple and the start of a price are at least one pack",
        ),
        (
            refused(MOST_PACKS + 1, &[(1, 5)], 1, 1),
            "1000000001 is more than can be reckoned with; the most is 1000000000",
        ),
    ] {
        assert_eq!(refused, expected);
    }
    let mixed =
        [(1, euro(5)), (2, franc(4))].map(|(from_packs, price)| Break { from_packs, price });
    assert!(matches!(
        Offer::new(1, mixed.to_vec(), 1, 1),
        Err(OfferRefused::Money(MoneyRefused::Mixed(..)))
    ));
}

#[test]
fn needs_that_cannot_be_planned_are_refused() {
    assert_eq!(cover(1, &[]), Err(CoverRefused::NoOffer));
    let francs = Offer::plain(1, franc(1)).expect("an offer");
    assert!(matches!(
        cover(1, &[plain(1, 1), francs]),
        Err(CoverRefused::Money(MoneyRefused::Mixed(..)))
    ));
    assert_eq!(
        cover(MOST_STEPS + 1, &[plain(1, 1)]),
        Err(CoverRefused::TooMany(MOST_STEPS + 1))
    );
    assert!(
        cover(MOST_STEPS + 1, &[plain(2, 1)]).is_ok(),
        "in steps of two"
    );
    assert!(cover(u64::MAX, &[plain(10, 1)]).is_err());
    let many = vec![plain(1, 1); MOST_OFFERS + 1];
    assert_eq!(cover(1, &many), Err(CoverRefused::TooManyOffers));
    let largest = [plain(1, i64::MAX)];
    assert!(cover(1, &largest).is_ok());
    assert_eq!(
        cover(2, &largest),
        Err(CoverRefused::Money(MoneyRefused::TooMuch))
    );
    // The largest numbers an offer may have.
    let huge = Offer::new(
        MOST_PACKS,
        breaks(&[(MOST_PACKS, 0)]),
        MOST_PACKS,
        MOST_PACKS,
    );
    let huge = [huge.expect("an offer")];
    assert_eq!(
        found(7, &huge),
        (
            vec![(MOST_PACKS, MOST_PACKS)],
            MOST_PACKS * MOST_PACKS - 7,
            0
        )
    );
}

fn offers() -> impl Strategy<Value = Vec<Offer>> {
    let offer = (
        1_u64..9,
        prop::collection::vec((1_u64..8, 0_i64..60), 1..4),
        1_u64..5,
        1_u64..4,
    )
        .prop_map(|(pack, found, least, multiple)| {
            let froms: std::collections::BTreeSet<u64> =
                found.iter().map(|(from, _)| *from).collect();
            let mut prices: Vec<i64> = found.iter().map(|(_, price)| *price).collect();
            prices.sort_unstable_by_key(|price| Reverse(*price));
            let found: Vec<(u64, i64)> = froms.into_iter().zip(prices).collect();
            Offer::new(pack, breaks(&found), least, multiple).expect("an offer")
        });
    prop::collection::vec(offer, 1..4)
}

/// What so many packs cost, if so many can be bought.
fn cost_of(offer: &Offer, packs: u64) -> Option<i64> {
    if packs == 0 {
        return Some(0);
    }
    if packs < offer.least || !packs.is_multiple_of(offer.multiple) {
        return None;
    }
    let each = offer
        .breaks
        .iter()
        .filter(|found| found.from_packs <= packs)
        .max_by_key(|found| found.from_packs)?;
    Some(each.price.minor * i64::try_from(packs).unwrap())
}

/// The cheapest of all combinations, one after the other: cost, then pieces, then packs.
fn tried(need: u64, offers: &[Offer]) -> Option<(i64, u64, u64)> {
    let Some((offer, others)) = offers.split_first() else {
        return (need == 0).then_some((0, 0, 0));
    };
    (0..=need + 16)
        .filter_map(|packs| {
            let pieces = offer.pack * packs;
            let rest = tried(need.saturating_sub(pieces), others)?;
            let cost = cost_of(offer, packs)?;
            Some((rest.0 + cost, rest.1 + pieces, rest.2 + packs))
        })
        .min()
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(96))]

    #[test]
    fn no_combination_is_better(need in 0_u64..24, offers in offers()) {
        let cover = cover(need, &offers).unwrap();
        let packs = cover.bought.iter().map(|bought| bought.packs).sum();
        prop_assert_eq!(
            Some((cover.cost.minor, cover.pieces, packs)),
            tried(need, &offers)
        );
        prop_assert_eq!(cover.pieces, need + cover.leftover);
        for bought in &cover.bought {
            let offer = &offers[bought.offer];
            prop_assert_eq!(cost_of(offer, bought.packs), Some(bought.cost.minor));
        }
    }

    #[test]
    fn it_is_never_dearer_than_any_single_price(need in 1_u64..3000, offers in offers()) {
        let cover = cover(need, &offers).unwrap();
        prop_assert!(cover.pieces >= need);
        for offer in &offers {
            for found in &offer.breaks {
                let packs = offer.buyable(need.div_ceil(offer.pack).max(found.from_packs));
                let alone = cost_of(offer, packs).expect("it can be bought");
                prop_assert!(cover.cost.minor <= alone, "{packs} packs of {}", offer.pack);
            }
        }
    }
}
