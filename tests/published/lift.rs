//! Lifts, masses, vehicles and units as published.

use fieldstow::reckon::lift::filter::{Adults, Reach, Zone, together_kg, zone_kg};
use fieldstow::reckon::lift::work::{Stretch, averaged, duration};
use fieldstow::reckon::lift::{
    Arrival, Assessed, Coupling, Duration, End, Hands, Length, Task, Weight, assess, tables,
};
use fieldstow::reckon::units::{Unit, declared};
use fieldstow::reckon::vehicle::{Load, NoLoad, State, load};

fn hands(horizontal: f64, vertical: f64) -> Hands {
    Hands {
        horizontal: Length::inches(horizontal),
        vertical: Length::inches(vertical),
        twist_deg: 0.0,
    }
}

fn rounded(value: f64, places: i32) -> f64 {
    let shift = 10f64.powi(places);
    // A half goes up, even where binary fractions fall a hair short of it.
    (value * shift + 0.5 + 1e-9).floor() / shift
}

/// The manual's worksheet (p. 29): multipliers to two places, RWL to one, the load over the rounded RWL.
/// HM is read from Table 1, which prints .46 for 22 in and .44 for 23 in.
fn worksheet(load_lb: f64, horizontal: f64, end: &End) -> (f64, f64) {
    let m = &end.multipliers;
    let table_1 = match horizontal {
        22.0 => 0.46,
        23.0 => 0.44,
        _ => rounded(m.horizontal, 2),
    };
    let others = [m.vertical, m.distance, m.asymmetry, m.frequency, m.coupling];
    let rwl = others
        .iter()
        .fold(51.0 * table_1, |rwl, m| rwl * rounded(*m, 2));
    let rwl = rounded(rwl, 1);
    (rwl, rounded(load_lb / rwl, 1))
}

/// NIOSH 94-110, examples 1, 2 and 4. RWL and LI of example 1 and inputs and RWL of example 4 as printed;
/// inputs of 1, all of 2 from memory; LI of 4 computed independently. Full precision may differ from the
/// worksheet by its rounding, at most 0.4 lb, and agrees with independent computation to its last digit.
#[test]
fn the_manuals_examples() {
    type Row = (f64, f64, f64, f64, f64); // H, V, RWL and LI of the worksheet, RWL in full
    let check = |load_lb, rate, coupling, ends: [Row; 2]| {
        let [from, to] = ends;
        let assessed: Assessed = assess(
            &Task {
                load: Weight::pounds(load_lb),
                origin: hands(from.0, from.1),
                arrival: Arrival::Placed(hands(to.0, to.1)),
                lifts_per_min: rate,
                duration: Duration::Short,
                coupling,
            },
            &[],
        )
        .expect("within the equation's bounds");
        let destination = assessed.destination.expect("placed with care");
        for (row, end) in [(from, assessed.origin), (to, destination)] {
            assert_eq!(worksheet(load_lb, row.0, &end), (row.2, row.3), "{row:?}");
            let full = end.limit.in_pounds();
            assert!((full - row.2).abs() < 0.4, "{full} {row:?}");
            assert!((full - row.4).abs() < 0.001, "{full} {row:?}");
        }
        assert_eq!(assessed.governing(), &destination);
    };
    // Example 1, loading punch press stock (pp. 33-37).
    let stock = [
        (23.0, 15.0, 16.3, 2.7, 16.031),
        (23.0, 63.0, 14.5, 3.0, 14.308),
    ];
    check(44.0, 0.1, Coupling::Fair, stock);
    // Example 2, loading supply rolls (pp. 37-41).
    let rolls = [
        (15.0, 27.0, 28.0, 1.3, 27.695),
        (20.0, 10.0, 18.1, 1.9, 18.062),
    ];
    check(35.0, 0.1, Coupling::Poor, rolls);
    // Example 4, package inspection (pp. 44-46).
    let packages = [
        (10.0, 22.0, 34.9, 0.7, 34.814),
        (20.0, 59.0, 15.2, 1.7, 15.253),
    ];
    check(26.0, 3.0, Coupling::Fair, packages);
}

/// Crates, 40 lb, computed independently: no published case. To the last digit given.
#[test]
fn crates() {
    for (h, v, d, coupling, lb, kg, index) in [
        (14.0, 6.0, 24.0, Coupling::Good, 26.73, 12.13, 1.50),
        (14.0, 6.0, 24.0, Coupling::Fair, 25.40, 11.52, 1.57),
        (18.0, 6.0, 48.0, Coupling::Good, 19.92, 9.04, 2.01),
        (10.0, 30.0, 10.0, Coupling::Good, 51.00, 23.13, 0.78),
    ] {
        let assessed = assess(
            &Task {
                load: Weight::pounds(40.0),
                origin: hands(h, v),
                arrival: Arrival::LetGo {
                    vertical: Length::inches(v + d),
                },
                lifts_per_min: 0.2,
                duration: Duration::Short,
                coupling,
            },
            &[],
        );
        let end = assessed.expect("within bounds").origin;
        let found = (end.limit.in_pounds(), end.limit.in_kg(), end.index);
        let found = (
            rounded(found.0, 2),
            rounded(found.1, 2),
            rounded(found.2, 2),
        );
        assert_eq!(found, (lb, kg, index));
    }
}

/// NIOSH 94-110, pp. 13-14 and 16.
#[test]
fn durations_and_the_special_frequency_adjustment() {
    let day = |stretches: &[(f64, f64)]| {
        let stretch = |&(lifting_min, rest_min): &(f64, f64)| Stretch {
            lifting_min,
            rest_min,
        };
        duration(&stretches.iter().map(stretch).collect::<Vec<_>>()).expect("a day")
    };
    assert_eq!(day(&[(30.0, 10.0), (45.0, 0.0)]), Duration::Moderate);
    assert_eq!(day(&[(30.0, 30.0), (45.0, 0.0)]), Duration::Short);
    assert_eq!(day(&[(120.0, 36.0), (120.0, 36.0)]), Duration::Moderate);
    assert_eq!(day(&[(120.0, 35.0), (120.0, 36.0)]), Duration::Long);
    assert_eq!(averaged(10.0, 8.0).map(|f| rounded(f, 2)), Ok(5.33));
}

/// HSE INDG143 (rev 4), the figure; HSE L23, paragraph 120, with examples; mixed pairs computed. The rail
/// page prints 26.6 for 26.67 and L23 66 for 66.67: both cut off.
#[test]
fn filter_and_teams() {
    assert_eq!(
        zone_kg(Zone::ElbowToKnuckle, Reach::Close, Adults::Women),
        16.0
    );
    assert_eq!(
        zone_kg(Zone::ElbowToKnuckle, Reach::Close, Adults::Men),
        25.0
    );
    assert_eq!(
        zone_kg(Zone::ShoulderAndAbove, Reach::ArmsOut, Adults::Women),
        3.0
    );
    assert_eq!(
        zone_kg(Zone::LowerLegToFloor, Reach::ArmsOut, Adults::Men),
        5.0
    );
    assert_eq!(
        zone_kg(Zone::KnuckleToLowerLeg, Reach::Close, Adults::Women),
        13.0
    );
    assert_eq!(
        zone_kg(Zone::ShoulderToElbow, Reach::ArmsOut, Adults::Men),
        10.0
    );
    let cut = |alone: &[f64]| (together_kg(alone).expect("a team") * 10.0).floor() / 10.0;
    assert_eq!(cut(&[20.0, 20.0]), 26.6);
    assert_eq!(cut(&[50.0, 50.0]).floor(), 66.0);
    assert_eq!(cut(&[50.0, 50.0, 50.0]), 75.0);
    assert_eq!(cut(&[16.0, 25.0]), 27.3);
    assert_eq!(cut(&[16.0, 16.0]), 21.3);
    assert_eq!(cut(&[25.0, 25.0]), 33.3);
}

/// 49 CFR 575.6 (a)(5) and owner's manuals. One manual prints 340 for 5 × 70; by arithmetic 290 are left.
#[test]
fn vehicles() {
    for (placard, people, each, left) in [
        (1400.0, 5, 150.0, 650.0),
        (1400.0, 3, 150.0, 950.0),
        (1000.0, 2, 150.0, 700.0),
        (1000.0, 5, 150.0, 250.0),
        (1000.0, 5, 200.0, 0.0),
        (640.0, 5, 70.0, 290.0),
    ] {
        let vehicle = |people| Load {
            placard,
            occupants: vec![each; people],
            cargo: 0.0,
            tongue: None,
        };
        let found = load(&vehicle(people)).expect("within the placard");
        assert_eq!(found.cargo_allowed, left);
        assert_eq!(found.state, State::Room { left });
        assert!(matches!(
            load(&vehicle(20)),
            Err(NoLoad::PeopleAlone { .. })
        ));
    }
}

/// 16 CFR 500.19 and NIST SP 811: the checks computed independently, to the last digit given.
#[test]
fn units() {
    for (unit, amount, metric, places) in [
        (Unit::Pound, 51.0, 23.13321, 5),
        (Unit::Pound, 50.0, 22.67962, 5),
        (Unit::Pound, 1400.0, 635.029, 3),
        (Unit::Inch, 12.0, 30.48, 5),
        (Unit::Inch, 48.0, 121.92, 5),
        (Unit::Ounce, 16.0, 453.59237, 5),
        (Unit::Foot, 1.0, 30.48, 5),
        (Unit::Yard, 1.0, 0.9144, 5),
        (Unit::Mil, 1.0, 25.4, 5),
        (Unit::SquareInch, 144.0, 929.0304, 5),
        (Unit::SquareFoot, 1.0, 929.0304, 5),
        (Unit::CubicInch, 1.0, 16.3871, 4),
        (Unit::CubicFoot, 1.0, 0.0283168, 7),
        (Unit::Gallon, 1.0, 3.78541, 5),
        (Unit::FluidOunce, 128.0, 3785.411784, 6),
        (Unit::PoundForce, 1.0, 4.4482216, 7),
    ] {
        let found = unit.to_metric(amount).expect("a measure");
        assert_eq!(rounded(found, places), metric, "{unit:?}");
    }
    for (kg, lb) in [(23.0, 50.70632), (25.0, 55.11557), (16.0, 35.27396)] {
        assert_eq!(Unit::Pound.from_metric(kg).map(|lb| rounded(lb, 5)), Ok(lb));
    }
    assert_eq!(declared(453.59237).as_deref(), Ok("454"));
    assert_eq!(declared(30.48).as_deref(), Ok("30"));
}

/// Every square of Table 5; a square with .00 allows no lifting at all. Between two rows the multiplier
/// lies on a straight line (pp. 7, 15); there is none towards a .00.
#[test]
fn frequency_multipliers() {
    let columns = [
        (Duration::Short, 29.9),
        (Duration::Short, 30.0),
        (Duration::Moderate, 29.9),
        (Duration::Moderate, 30.0),
        (Duration::Long, 29.9),
        (Duration::Long, 30.0),
    ];
    let rows: Vec<Vec<&str>> = include_str!("frequency.csv")
        .lines()
        .skip(2)
        .map(|line| line.split(',').collect())
        .collect();
    let mut squares = 0;
    for row in &rows {
        let rate = match row[0].strip_prefix('>') {
            Some(above) => above.parse::<f64>().expect("a rate") + 0.1,
            None => row[0].parse().expect("a rate"),
        };
        for ((duration, hands), printed) in columns.into_iter().zip(&row[1..]) {
            let printed: f64 = printed.parse().expect("a multiplier");
            let found = tables::frequency(rate, duration, hands).unwrap_or(0.0);
            assert_eq!(
                found, printed,
                "{rate} a minute, {duration:?}, hands at {hands}"
            );
            squares += 1;
        }
    }
    assert_eq!(squares, 18 * 6, "the whole table was read");
}

/// NIOSH 94-110, Table 7, p. 18.
#[test]
fn coupling_multipliers() {
    for (class, low, high) in [
        (Coupling::Good, 1.00, 1.00),
        (Coupling::Fair, 0.95, 1.00),
        (Coupling::Poor, 0.90, 0.90),
    ] {
        assert_eq!(tables::coupling(class, 29.9), low, "{class:?}");
        assert_eq!(tables::coupling(class, 30.0), high, "{class:?}");
    }
}

/// HSE INDG143 (rev 4, 2020), lifting and lowering risk filter: kilograms for women close and with arms
/// out, then men.
#[test]
fn every_figure_of_the_filter() {
    for (zone, figures) in [
        (Zone::ShoulderAndAbove, [7.0, 3.0, 10.0, 5.0]),
        (Zone::ShoulderToElbow, [13.0, 7.0, 20.0, 10.0]),
        (Zone::ElbowToKnuckle, [16.0, 10.0, 25.0, 15.0]),
        (Zone::KnuckleToLowerLeg, [13.0, 7.0, 20.0, 10.0]),
        (Zone::LowerLegToFloor, [7.0, 3.0, 10.0, 5.0]),
    ] {
        let found = [
            zone_kg(zone, Reach::Close, Adults::Women),
            zone_kg(zone, Reach::ArmsOut, Adults::Women),
            zone_kg(zone, Reach::Close, Adults::Men),
            zone_kg(zone, Reach::ArmsOut, Adults::Men),
        ];
        assert_eq!(found, figures, "{zone:?}");
    }
}
