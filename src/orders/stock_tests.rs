//! Cases for what is kept in store; the published ones are in `tests/published/orders.rs`.

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

fn usage(yearly: u64, per_order: Money, keeping: Money) -> Use {
    Use {
        yearly,
        per_order,
        keeping,
    }
}

#[test]
fn what_makes_no_sense_is_refused() {
    for (refused, expected) in [
        (
            quantity(usage(0, euro(1), euro(1))).unwrap_err(),
            "the yearly use must be a number above zero",
        ),
        (
            quantity(usage(MOST_PIECES + 1, euro(1), euro(1))).unwrap_err(),
            "the yearly use is more than can be reckoned with",
        ),
        (
            quantity(usage(5, euro(0), euro(1))).unwrap_err(),
            "the cost of an order must be a number above zero",
        ),
        (
            quantity(usage(5, euro(1), euro(-1))).unwrap_err(),
            "the cost of keeping a piece must be a number above zero",
        ),
        (
            quantity(usage(5, euro(1), franc(1))).unwrap_err(),
            "EUR and CHF cannot be added up",
        ),
        (
            quantity_while_made(usage(5, euro(1), euro(1)), 4.0, 4.0).unwrap_err(),
            "pieces must be made faster than they are used; otherwise there is never one in store",
        ),
        (
            quantity_while_made(usage(5, euro(1), euro(1)), f64::NAN, 4.0).unwrap_err(),
            "the number made in a day must be a number above zero",
        ),
        (
            buy_again_at(5, 0, 1, 0).unwrap_err(),
            "the number of days in a year must be a number above zero",
        ),
        (
            buy_again_at(5, 1, 1, u64::MAX).unwrap_err(),
            "what is kept against bad luck is more than can be reckoned with",
        ),
        (
            buy_again(-1.0, 1.0, 90.0).unwrap_err(),
            "the use until the delivery must be zero or a number above it",
        ),
        (
            buy_again_if_late(1.0, 1.0, f64::INFINITY, 90.0).unwrap_err(),
            "its deviation must be zero or a number above it",
        ),
    ] {
        assert_eq!(refused.to_string(), expected);
    }
    for sure in [f64::NAN, -1.0, 49.9, 100.0, 101.0] {
        assert_eq!(buy_again(1.0, 1.0, sure), Err(StockRefused::Confidence));
    }
    assert!(buy_again(1e300, 1.0, 90.0).unwrap().pieces().is_err());
}

#[test]
fn price_bands_that_make_no_sense_are_refused() {
    let band = |from, price| Band { from, price };
    let ask = |percent, bands: &[Band]| cheapest_quantity(100, euro(500), percent, bands);
    assert_eq!(ask(20.0, &[]), Err(StockRefused::NoPrice));
    for (percent, bands, expected) in [
        (
            20.0,
            vec![band(1, euro(5)), band(1, euro(4))],
            StockRefused::BandsOutOfOrder,
        ),
        (
            20.0,
            vec![band(1, euro(0))],
            StockRefused::NotAboveZero("a price"),
        ),
        (
            0.0,
            vec![band(1, euro(5))],
            StockRefused::NotAboveZero("the cost of keeping a piece"),
        ),
        (
            20.0,
            vec![band(MOST_PIECES + 1, euro(5))],
            StockRefused::TooMany("the quantity from which a price holds"),
        ),
    ] {
        assert_eq!(ask(percent, &bands), Err(expected));
    }
    assert!(matches!(
        ask(20.0, &[band(1, franc(5))]),
        Err(StockRefused::Money(MoneyRefused::Mixed(..)))
    ));
}

#[test]
fn even_odds_need_nothing_against_bad_luck() {
    let even = buy_again(50.0, 5.0, 50.0).unwrap();
    assert!(even.safety.abs() < 1e-9, "{even:?}");
    assert!(buy_again(50.0, 5.0, 99.0).unwrap().safety > 11.0);
}

proptest! {
    #[test]
    fn no_other_quantity_makes_a_cheaper_year(
        yearly in 1_u64..500,
        per_order in 1_i64..5000,
        percent in 1.0_f64..80.0,
        bands in prop::collection::btree_map(1_u64..300, 1_i64..2000, 1..4),
    ) {
        let bands: Vec<Band> = bands
            .into_iter()
            .map(|(from, price)| Band { from, price: euro(price) })
            .collect();
        let (best, costs) = cheapest_quantity(yearly, euro(per_order), percent, &bands).unwrap();
        let cost = |quantity: u64| {
            let band = bands.iter().rev().find(|band| band.from <= quantity)?;
            let (used, quantity, price) = (yearly as f64, quantity as f64, band.price.minor as f64);
            Some(used * price + used / quantity * per_order as f64 + quantity / 2.0 * price * percent / 100.0)
        };
        let found = costs[best].quantity;
        let least = cost(found).expect("it has a price");
        // Bands are bounded by the next, so the found one must have the price of its band.
        prop_assert_eq!(bands.iter().rev().find(|band| band.from <= found), Some(&costs[best].band));
        for other in 1..2000 {
            if let Some(cost) = cost(other) {
                prop_assert!(least <= cost * (1.0 + 1e-12), "{other} costs {cost}, {found} {least}");
            }
        }
    }
}
