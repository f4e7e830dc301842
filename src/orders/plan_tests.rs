//! Cases for the order plan.

use proptest::prelude::*;

use super::*;
use crate::orders::cover::Break;
use crate::reckon::days::Week;
use crate::reckon::money::Currency;

fn day(text: &str) -> Day {
    text.parse().expect("a date")
}

fn money(minor: i64, currency: &str) -> Money {
    let currency: Currency = currency.parse().expect("three letters");
    Money { minor, currency }
}

fn euro(minor: i64) -> Money {
    money(minor, "EUR")
}

/// Monday to Friday, without Easter Monday and the day after it.
fn days() -> BusinessDays {
    BusinessDays::new(
        Week::MONDAY_TO_FRIDAY,
        ["2027-03-29", "2027-03-30"].map(day),
    )
}

fn when<'a>(today: &str, days: &'a BusinessDays) -> When<'a> {
    When {
        today: day(today),
        days,
        receive_days: 1,
    }
}

fn needed(
    part: &'static str,
    pieces: u64,
    by: &str,
    payer: &'static str,
) -> Needed<&'static str, &'static str> {
    Needed {
        part,
        pieces,
        by: day(by),
        payer,
    }
}

fn source(
    part: &'static str,
    supplier: &'static str,
    lead_days: u32,
    offers: &[(u64, Money)],
) -> Source<&'static str, &'static str> {
    Source {
        part,
        supplier,
        lead_days,
        offers: offers
            .iter()
            .map(|(pack, price)| Offer::plain(*pack, *price).expect("an offer"))
            .collect(),
    }
}

#[test]
fn weekends_and_holidays_do_not_count() {
    let days = days();
    // 2027-04-02 is a Friday. One day to receive and three to deliver, and two holidays in between.
    let due = |by: &str, today: &str| Due::for_day(day(by), 3, when(today, &days)).unwrap();
    let in_time = due("2027-04-02", "2027-03-24");
    assert_eq!(in_time.order_by, day("2027-03-25"));
    assert_eq!(in_time.in_words(), "order by 25 Mar 2027");
    // Needed on a Saturday or Sunday: ready on the Friday.
    for by in ["2027-04-03", "2027-04-04"] {
        assert_eq!(due(by, "2027-03-24").order_by, day("2027-03-25"));
    }
    let last_day = due("2027-04-02", "2027-03-25");
    assert!(!last_day.is_late());
    assert_eq!(last_day.ready_if_today, day("2027-04-02"));
}

#[test]
fn late_is_said_in_business_days() {
    let days = days();
    let due = |today: &str| Due::for_day(day("2027-03-10"), 4, when(today, &days)).unwrap();
    for (today, expected) in [
        ("2027-03-03", "order by 3 Mar 2027"),
        (
            "2027-03-04",
            "should have been ordered by 3 Mar 2027, 1 business day ago; ordered today it is ready on \
             11 Mar 2027",
        ),
        (
            "2027-03-09",
            "should have been ordered by 3 Mar 2027, 4 business days ago; ordered today it is ready on \
             16 Mar 2027",
        ),
        // A Sunday: it goes out on Monday.
        (
            "2027-03-07",
            "should have been ordered by 3 Mar 2027, 3 business days ago; ordered today it is ready on \
             15 Mar 2027",
        ),
        // After the day on which it was needed.
        (
            "2027-03-12",
            "should have been ordered by 3 Mar 2027, 7 business days ago; ordered today it is ready on \
             19 Mar 2027",
        ),
    ] {
        assert_eq!(due(today).in_words(), expected, "on {today}");
    }
}

#[test]
fn each_supplier_gets_one_order_and_what_is_late_comes_first() {
    let needs = [
        needed("hub", 12, "2027-05-03", "Cairn"),
        needed("rope", 3, "2027-05-03", "Cairn"),
        needed("axle", 4, "2027-03-12", "Scree"),
        needed("axle", 2, "2027-05-03", "Cairn"),
        needed("wheel", 0, "2027-03-12", "Cairn"),
        needed("flag", 1, "2027-03-12", "Cairn"),
    ];
    let sources = [
        source("hub", "Ridge", 5, &[(10, euro(500)), (1, euro(70))]),
        source("rope", "Fell", 2, &[(1, euro(900))]),
        source("axle", "Ridge", 10, &[(5, euro(1000))]),
        source("flag", "Ridge", 10, &[]),
    ];
    let days = days();
    let plan = plan(&needs, &sources, when("2027-03-10", &days)).unwrap();
    assert_eq!(plan.nobody_offers, ["flag"]);
    let [ridge, fell] = &plan.orders[..] else {
        panic!("two orders, not {}", plan.orders.len());
    };

    assert_eq!(ridge.supplier, "Ridge");
    assert_eq!(ridge.due.days_late, 9);
    assert_eq!(ridge.total, euro(2640));
    let [axle, hub] = &ridge.lines[..] else {
        panic!("two lines, not {}", ridge.lines.len());
    };
    assert_eq!((axle.part, axle.pieces), ("axle", 6));
    assert_eq!(axle.needed_by, day("2027-03-12"));
    assert_eq!(axle.cover.in_words(), "2 packs of 5; 4 left over");
    assert_eq!(axle.shares, [("Cairn", euro(667)), ("Scree", euro(1333))]);
    let late: Vec<bool> = axle.needs.iter().map(|(_, due)| due.is_late()).collect();
    assert_eq!(late, [true, false], "only for the first of the two");
    assert_eq!(hub.cover.in_words(), "1 pack of 10, 2 pieces");
    assert_eq!(ridge.shares, [("Cairn", euro(1307)), ("Scree", euro(1333))]);

    assert_eq!((fell.supplier, fell.total), ("Fell", euro(2700)));
    assert!(!fell.due.is_late());
}

#[test]
fn the_cheapest_supplier_in_time_is_taken() {
    let days = days();
    let sources = [
        source("hub", "Slow", 20, &[(1, euro(10))]),
        source("hub", "Quick", 2, &[(1, euro(30))]),
        source("hub", "Dear", 1, &[(1, euro(40))]),
    ];
    let taken = |by: &str| {
        let needs = [needed("hub", 1, by, "Cairn")];
        plan(&needs, &sources, when("2027-03-01", &days))
            .unwrap()
            .orders[0]
            .supplier
    };
    assert_eq!(taken("2027-05-03"), "Slow");
    assert_eq!(taken("2027-03-08"), "Quick");
    assert_eq!(taken("2027-03-03"), "Dear");
    assert_eq!(
        taken("2027-03-02"),
        "Dear",
        "none is in time: the first to deliver"
    );
}

#[test]
fn what_cannot_be_planned_is_refused() {
    let days = days();
    let needs = [
        needed("hub", 1, "2027-05-03", "Cairn"),
        needed("rope", 1, "2027-05-03", "Cairn"),
    ];
    let refused = |needs: &[_], sources: &[_]| {
        plan(needs, sources, when("2027-03-01", &days))
            .unwrap_err()
            .to_string()
    };
    let hub = |supplier, price| source("hub", supplier, 1, &[(1, price)]);
    assert_eq!(
        refused(&needs, &[hub("Ridge", euro(1)), hub("Ridge", euro(2))]),
        "hub: Ridge is listed twice; put all its packs into one list"
    );
    assert_eq!(
        refused(
            &needs,
            &[hub("Ridge", euro(1)), hub("Fell", money(1, "CHF"))]
        ),
        "hub: the suppliers' prices cannot be compared: EUR and CHF cannot be added up"
    );
    let rope = source("rope", "Ridge", 1, &[(1, money(1, "CHF"))]);
    assert_eq!(
        refused(&needs, &[hub("Ridge", euro(1)), rope]),
        "the order from Ridge: EUR and CHF cannot be added up"
    );
    let many = [
        needed("hub", u64::MAX, "2027-05-03", "Cairn"),
        needed("hub", 1, "2027-05-03", "Scree"),
    ];
    assert_eq!(
        refused(&many, &[hub("Ridge", euro(1))]),
        "hub: there are more pieces than can be counted"
    );
    assert_eq!(
        refused(&many[..1], &[hub("Ridge", euro(1))]),
        "hub: 18446744073709551615 pieces are more than can be planned at once; divide the order"
    );
    let dear = [
        needed("hub", 1, "2027-05-03", "Cairn"),
        needed("rope", 1, "2027-05-03", "Cairn"),
    ];
    let sources = [
        hub("Ridge", euro(i64::MAX)),
        source("rope", "Ridge", 1, &[(1, euro(1))]),
    ];
    assert_eq!(
        refused(&dear, &sources),
        "the order from Ridge: the amount is larger than can be reckoned with"
    );
    let never = source("hub", "Ridge", u32::MAX, &[(1, euro(1))]);
    assert!(matches!(
        plan(&needs, &[never], when("2027-03-01", &days)),
        Err(PlanRefused::Days(DaysRefused::OutOfCalendar))
    ));
}

#[test]
fn prices_fall_for_what_is_bought_together() {
    let days = days();
    let breaks = [(1, 100), (10, 50)].map(|(from_packs, price)| Break {
        from_packs,
        price: euro(price),
    });
    let sources = [Source {
        part: "hub",
        supplier: "Ridge",
        lead_days: 1,
        offers: vec![Offer::new(1, breaks.to_vec(), 1, 1).expect("an offer")],
    }];
    let needs = [
        needed("hub", 6, "2027-05-03", "Cairn"),
        needed("hub", 6, "2027-06-07", "Scree"),
    ];
    let plan = plan(&needs, &sources, when("2027-03-01", &days)).unwrap();
    assert_eq!(plan.orders[0].total, euro(600));
    assert_eq!(
        plan.orders[0].shares,
        [("Cairn", euro(300)), ("Scree", euro(300))]
    );
}

proptest! {
    #[test]
    fn shares_are_fair_and_add_up(
        cost in 0_i64..=i64::MAX,
        pieces in prop::collection::vec((0_u8..5, 0_u64..1000), 1..9),
    ) {
        let all: u64 = pieces.iter().map(|(_, pieces)| pieces).sum();
        prop_assume!(all > 0);
        let shares = {
            let pieces: Vec<(&u8, u64)> = pieces.iter().map(|(who, n)| (who, *n)).collect();
            shared_out(euro(cost), &pieces)
        };
        let sum: i128 = shares.iter().map(|(_, share)| i128::from(share.minor)).sum();
        prop_assert_eq!(sum, i128::from(cost));
        for (payer, share) in shares {
            let own: u64 = pieces.iter().filter(|(who, _)| *who == payer).map(|(_, n)| n).sum();
            let exact = i128::from(cost) * i128::from(own);
            let times = i128::from(share.minor) * i128::from(all);
            prop_assert!((times - exact).abs() < i128::from(all), "less than one unit off");
        }
    }

    #[test]
    fn what_is_ordered_by_its_day_is_ready_in_time(
        by in 0_i64..400, lead in 0_u32..40, receive in 0_u32..5, today in 0_i64..400,
    ) {
        let days = days();
        let new_year = day("2027-01-01");
        let ordered = |today: Day| {
            Due::for_day(new_year.plus_days(by), lead, When { today, days: &days, receive_days: receive })
                .unwrap()
        };
        let due = ordered(new_year.plus_days(today));
        let in_time = ordered(due.order_by);
        prop_assert!(!in_time.is_late());
        prop_assert!(in_time.ready_if_today <= new_year.plus_days(by));
        // A day later it would not be, unless no work is done on that day.
        let later = ordered(due.order_by.plus_days(1));
        prop_assert!(later.is_late());
        prop_assert!(
            later.ready_if_today > in_time.ready_if_today
        );
        prop_assert_eq!(due.is_late(), due.order_by < new_year.plus_days(today));
    }
}
