//! Attribute sampling: the tables of MIL-STD-105E, discovery sampling, and a draw anybody can repeat.

use fieldstow::reckon::sampling::discovery::{
    at_most, bad_ones, none_found, opened, opened_of_many,
};
use fieldstow::reckon::sampling::draw::draw;
use fieldstow::reckon::sampling::tables::{LIMITS, Level, PlanRefused, letter, passes, plan};

const LEVELS: [Level; 7] = [
    Level::S1,
    Level::S2,
    Level::S3,
    Level::S4,
    Level::I,
    Level::II,
    Level::III,
];

fn rows(text: &str) -> Vec<Vec<&str>> {
    let fields = |line| str::split(line, ',').collect();
    text.lines().skip(2).map(fields).collect()
}

/// The smallest and the largest lot of every line, every level.
#[test]
fn letters() {
    let rows = rows(include_str!("letters.csv"));
    assert_eq!(rows.len(), 15);
    for row in rows {
        let (from, to) = match row[0].split_once('-') {
            Some((from, to)) => (from.parse().unwrap(), to.parse().unwrap()),
            None => (row[0].trim_end_matches('+').parse().unwrap(), u64::MAX),
        };
        for (level, printed) in LEVELS.into_iter().zip(&row[1..]) {
            for lot in [from, to] {
                assert_eq!(letter(lot, level).unwrap().to_string(), *printed, "{row:?}");
            }
        }
    }
}

/// Every square that the table resolves; the others are refused. A letter is reached through a lot so
/// large that no sample is all of it where one exists, and its own smallest lot otherwise.
#[test]
fn plans() {
    let rows = rows(include_str!("plans.csv"));
    assert_eq!(rows.len(), 414);
    let lot_for = |wanted: &str| {
        let lots = [
            500_001, 500_000, 150_000, 35_000, 10_000, 3_200, 1_200, 500, 280, 150, 90, 50, 25, 15,
            8,
        ];
        lots.into_iter()
            .flat_map(|lot| LEVELS.map(|level| (lot, level)))
            .find(|&(lot, level)| letter(lot, level).unwrap().to_string() == wanted)
            .unwrap()
    };
    let mut seen = Vec::new();
    for row in &rows {
        let (lot, level) = lot_for(row[0]);
        let limit: f64 = row[2].parse().unwrap();
        let plan = plan(lot, level, limit).unwrap();
        let n: u64 = row[5].parse().unwrap();
        assert_eq!(plan.used.to_string(), row[4], "{row:?}");
        assert_eq!((plan.sample, plan.all), (n.min(lot), n >= lot), "{row:?}");
        assert_eq!(plan.accept.to_string(), row[6], "{row:?}");
        assert_eq!(plan.reject.to_string(), row[7], "{row:?}");
        seen.push((row[0], limit));
    }
    let mut refused = 0;
    for name in [
        "A", "B", "C", "D", "E", "F", "G", "H", "J", "K", "L", "M", "N", "P", "Q", "R",
    ] {
        for limit in LIMITS
            .into_iter()
            .filter(|limit| !seen.contains(&(name, *limit)))
        {
            let (lot, level) = lot_for(name);
            assert!(matches!(
                plan(lot, level, limit),
                Err(PlanRefused::NoPlan { .. })
            ));
            refused += 1;
        }
    }
    assert_eq!(refused, 2); // A at 10 and R at 0.015
}

/// Worked look-ups in the same tables.
#[test]
fn look_ups() {
    for (lot, limit, used, sample, accept) in [
        (1000, 2.5, 'J', 80, 5),
        (50, 4.0, 'E', 13, 1),
        (100, 1.0, 'E', 13, 0),
    ] {
        let plan = plan(lot, Level::II, limit).unwrap();
        assert_eq!(
            (plan.used, plan.sample, plan.accept),
            (used, sample, accept)
        );
    }
}

/// Computed independently with the binomial of scipy, to four places.
#[test]
fn operating_characteristic() {
    for (n, accept, share, chance) in [
        (80, 2, 0.01, 0.9534),
        (80, 5, 0.025, 0.9848),
        (50, 3, 0.025, 0.9638),
        (20, 2, 0.04, 0.9561),
        (13, 1, 0.04, 0.9068),
        (125, 3, 0.01, 0.9626),
        (200, 5, 0.01, 0.9840),
        (20, 0, 0.0065, 0.8777),
        (8, 0, 0.015, 0.8861),
        (80, 2, 0.01030, 0.95),
        (80, 2, 0.06516, 0.10),
    ] {
        let passes = passes(n, accept, share).unwrap();
        assert!(
            (passes - chance).abs() < 0.00006,
            "{n} {accept} {share}: {passes}"
        );
    }
}

/// 59, 299 and 22 are what auditors quote, from memory; the others computed independently.
#[test]
fn too_many_to_number() {
    for (share, answers) in [
        (0.01, [230, 299, 459]),
        (0.02, [114, 149, 228]),
        (0.05, [45, 59, 90]),
        (0.10, [22, 29, 44]),
        (0.20, [11, 14, 21]),
    ] {
        for (confidence, answer) in [0.90, 0.95, 0.99].into_iter().zip(answers) {
            assert_eq!(
                opened_of_many(share, confidence),
                Ok(answer),
                "{share} {confidence}"
            );
        }
    }
}

/// Every row, forwards and back, and the confidence reached, printed to six places.
#[test]
fn discovery() {
    let rows = rows(include_str!("discovery.csv"));
    assert_eq!(rows.len(), 168);
    for row in rows {
        let (of, bad): (u64, u64) = (row[0].parse().unwrap(), row[1].parse().unwrap());
        let (confidence, n): (f64, u64) = (row[2].parse().unwrap(), row[3].parse().unwrap());
        let reached: f64 = row[4].parse().unwrap();
        assert_eq!(opened(of, bad, confidence), Ok(n), "{row:?}");
        assert!(
            (1.0 - none_found(of, bad, n).unwrap() - reached).abs() < 1e-6,
            "{row:?}"
        );
        assert!(at_most(of, n, confidence).unwrap() < bad, "{row:?}");
    }
}

/// The shares of a lot, rounded half up: 5 % of 50 is 2.5, taken as 3.
#[test]
fn shares_of_a_lot() {
    for (of, share, bad) in [
        (50, 0.05, 3),
        (50, 0.01, 1),
        (300, 0.05, 15),
        (200, 0.01, 2),
    ] {
        assert_eq!(bad_ones(of, share), Ok(bad));
    }
}

/// Computed independently: ten lines of Python with hashlib, after the description of the draw.
#[test]
fn draws() {
    assert_eq!(draw("Granite Pass 2026-11-25", 3, 17).unwrap(), [1, 8, 12]);
    assert_eq!(
        draw("Läufer", 10, 10).unwrap(),
        [7, 3, 5, 2, 6, 1, 4, 9, 10, 8]
    );
    assert_eq!(draw("7K3-F28", 5, 1000).unwrap(), [346, 302, 354, 264, 172]);
}
