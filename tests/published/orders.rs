//! Packs, order quantities, price breaks and when to buy again, from textbooks and a published parts list.

use fieldstow::orders::cover::{Offer, cover};
use fieldstow::orders::stock::{
    Band, Use, buy_again, buy_again_at, buy_again_if_late, cheapest_quantity, quantity,
    quantity_while_made,
};
use fieldstow::reckon::money::Money;

fn dollars(minor: i64) -> Money {
    Money {
        minor,
        currency: "USD".parse().expect("three letters"),
    }
}

fn usage(yearly: u64, per_order: i64, keeping: i64) -> Use {
    Use {
        yearly,
        per_order: dollars(per_order),
        keeping: dollars(keeping),
    }
}

/// Within what the printed digits leave open.
#[track_caller]
fn close(found: f64, printed: f64, tolerance: f64) {
    assert!(
        (found - printed).abs() <= tolerance,
        "{found} is not {printed} ± {tolerance}"
    );
}

/// Rows (pieces used, pack size, packs to buy) of the published parts list of the JPL open source rover.
#[test]
fn packs_are_rounded_up() {
    for (pieces, pack, packs) in [
        (228, 100, 3),
        (72, 100, 1),
        (16, 2, 8),
        (48, 25, 2),
        (20, 5, 4),
        (30, 2, 15),
        (10, 10, 1),
        (6, 2, 3),
    ] {
        let offer = Offer::plain(pack, dollars(345)).expect("an offer");
        assert_eq!(offer.packs_for(pieces), packs, "{pieces} in {pack}s");
        let cover = cover(pieces, &[offer]).expect("it can be bought");
        assert_eq!(cover.bought[0].packs, packs, "{pieces} in {pack}s");
        if packs == 3 {
            // A line of the same list: 3 × $3.45 = $10.35.
            assert_eq!(cover.cost, dollars(1035));
        }
    }
}

/// Heizer and Render, *Operations Management*, example 12.3: 1,000 and 1,200 pieces a year, $10 for an
/// order, $0.50 to keep a piece for a year. The second is printed without decimals.
#[test]
fn how_much_to_buy_at_once() {
    let found = quantity(usage(1000, 1000, 50)).expect("an answer");
    close(found.pieces, 200.0, 1e-9);
    close(
        quantity(usage(1200, 1000, 50)).expect("an answer").pieces,
        219.0,
        0.5,
    );
    // The same chapter, with 250 working days. From memory.
    close(found.orders_a_year, 5.0, 1e-9);
    close(found.days_between(250), 50.0, 1e-9);
    assert_eq!(found.yearly_cost, dollars(10_000));
}

/// Heizer and Render, production order quantity: 8 made and 4 used in a day. From memory; printed with
/// one decimal.
#[test]
fn how_much_to_make_at_once() {
    let found = quantity_while_made(usage(1000, 1000, 50), 8.0, 4.0).expect("an answer");
    close(found.pieces, 282.8, 0.05);
}

/// A published worked answer on quantity discounts: 800 pieces a year, $60 for an order, 30 % of the price
/// to keep a piece for a year. Sums are printed with one decimal or none.
#[test]
fn price_breaks() {
    let bands = [(50, 5150), (100, 4950), (200, 4800), (500, 4700)].map(|(from, price)| Band {
        from,
        price: dollars(price),
    });
    let (best, found) = cheapest_quantity(800, dollars(6000), 30.0, &bands).expect("an answer");
    for (band, (unbound, quantity, pieces, ordering, keeping, total)) in found.iter().zip([
        (78.8, 79, 41_200.0, 607.6, 610.3, 42_417.9),
        (80.4, 100, 39_600.0, 480.0, 742.5, 40_822.5),
        (81.6, 200, 38_400.0, 240.0, 1440.0, 40_080.0),
        (82.5, 500, 37_600.0, 96.0, 3525.0, 41_221.0),
    ]) {
        let in_dollars = |money: Money| money.minor as f64 / 100.0;
        close(band.unbound, unbound, 0.05);
        assert_eq!(band.quantity, quantity);
        close(in_dollars(band.pieces), pieces, 0.05);
        close(in_dollars(band.ordering), ordering, 0.05);
        close(in_dollars(band.keeping), keeping, 0.05);
        close(in_dollars(band.total), total, 0.05);
    }
    assert_eq!(found.len(), 4);
    assert_eq!(found[best].quantity, 200);
}

/// Heizer and Render, example 12.7: 8,000 a year, three days until the delivery, in years of 250 and of
/// 200 days; then with one day's use kept against bad luck. And an answer that is rounded up from 166.67.
#[test]
fn when_to_buy_again() {
    assert_eq!(buy_again_at(8000, 250, 3, 0), Ok(96));
    assert_eq!(buy_again_at(8000, 250, 3, 32), Ok(128));
    assert_eq!(buy_again_at(8000, 200, 3, 0), Ok(120));
    assert_eq!(buy_again_at(8000, 200, 3, 40), Ok(160));
    assert_eq!(buy_again_at(10_000, 300, 5, 0), Ok(167));
}

/// Stevenson, *Operations Management*, example 12.8: mean 50, standard deviation 5, risk 3 %. The book's z
/// is rounded to two decimals (1.88 for 1.8808), which moves the safety stock by up to 0.005 · 5.
#[test]
fn pieces_against_bad_luck() {
    let found = buy_again(50.0, 5.0, 97.0).expect("an answer");
    close(found.safety, 9.40, 0.025);
    close(found.at, 59.40, 0.025);
    assert_eq!(found.pieces(), Ok(60));
}

/// Heizer and Render: mean 350, standard deviation 10, risk 5 %. From memory. The book's z is 1.65, the
/// exact one 1.64485: up to 0.0052 · 10 apart.
#[test]
fn pieces_against_bad_luck_with_a_rounded_quantile() {
    let found = buy_again(350.0, 10.0, 95.0).expect("an answer");
    close(found.safety, 16.5, 0.052);
    close(found.at, 366.5, 0.052);
}

/// Heizer and Render, solved problem, p. 543: 60 a week, six weeks until the delivery with a standard
/// deviation of two, 90 %. Printed as 513.6 with z = 1.28 (exactly 1.28155, up to 0.005 · 120 apart),
/// then rounded up.
#[test]
fn pieces_against_late_deliveries() {
    let found = buy_again_if_late(60.0, 6.0, 2.0, 90.0).expect("an answer");
    close(found.at, 513.6, 0.6);
    assert_eq!(found.pieces(), Ok(514));
}
