//! Netting through a tree of assemblies, and by periods, from textbooks.

use std::collections::BTreeMap;

use fieldstow::guides::need::{Basis, Child, Line};
use fieldstow::guides::netting::{Record, Stock, Wanted, net, plan};

/// A letter, and what one of it holds: assemblies if it holds anything.
type Holds<'a> = &'a [(char, &'a [(char, u64)])];

fn child(letter: char, holds: Holds) -> Child<char, char> {
    if holds.iter().any(|(holder, _)| *holder == letter) {
        Child::Assembly(letter)
    } else {
        Child::Part(letter)
    }
}

fn lines(wanted: (char, u64), holds: Holds) -> Vec<Line<char, char>> {
    let line = |parent, (letter, quantity): (char, u64)| Line {
        parent,
        child: child(letter, holds),
        basis: Basis::Each,
        quantity,
    };
    let mut lines = vec![line(None, wanted)];
    for (holder, contents) in holds {
        lines.extend(contents.iter().map(|content| line(Some(*holder), *content)));
    }
    lines
}

/// Gross and net of each letter.
fn netted(
    wanted: (char, u64),
    holds: Holds,
    on_hand: &[(char, u64)],
) -> BTreeMap<char, (u64, u64)> {
    let there = on_hand
        .iter()
        .map(|(letter, pieces)| (child(*letter, holds), *pieces))
        .collect();
    net(&lines(wanted, holds), &there)
        .expect("the published list has no cycle")
        .into_iter()
        .map(|one| (letter(one.child), (one.gross, one.net)))
        .collect()
}

fn letter(child: Child<char, char>) -> char {
    match child {
        Child::Part(letter) | Child::Assembly(letter) => letter,
    }
}

/// The pieces of each period that has any: "5: 200, 6: 300".
fn by_period(pieces: &[u64]) -> Vec<(usize, u64)> {
    (1..)
        .zip(pieces.iter().copied())
        .filter(|(_, pieces)| *pieces > 0)
        .collect()
}

fn records(
    wanted: &[(char, usize, u64)],
    holds: Holds,
    stock: &[(char, usize, u64)],
    periods: usize,
) -> BTreeMap<char, Record<char, char>> {
    let stock = stock
        .iter()
        .map(|(letter, lead, on_hand)| {
            let stock = Stock {
                on_hand: *on_hand,
                receipts: Vec::new(),
                lead: *lead,
            };
            (child(*letter, holds), stock)
        })
        .collect();
    let wanted: Vec<_> = wanted
        .iter()
        .map(|(letter, period, pieces)| Wanted {
            child: child(*letter, holds),
            period: *period,
            pieces: *pieces,
        })
        .collect();
    plan(&lines(('A', 0), holds), &stock, &wanted, periods)
        .expect("the published list has no cycle")
        .into_iter()
        .map(|record| (letter(record.child), record))
        .collect()
}

const SPEAKER_KIT: Holds = &[
    ('A', &[('B', 2), ('C', 3)]),
    ('B', &[('D', 2), ('E', 2)]),
    ('C', &[('E', 2), ('F', 2)]),
    ('F', &[('D', 2), ('G', 1)]),
];

/// Heizer, Render and Munson, *Operations Management*, chapter on material requirements planning, the
/// "Awesome" speaker kit: gross requirements plan for 50 kits in week 8. Lead times from memory, schedule
/// computed independently.
#[test]
fn speaker_kits_with_nothing_on_hand() {
    let lead = [
        ('A', 1, 0),
        ('B', 2, 0),
        ('C', 1, 0),
        ('D', 1, 0),
        ('E', 2, 0),
        ('F', 3, 0),
        ('G', 2, 0),
    ];
    let plan = records(&[('A', 8, 50)], SPEAKER_KIT, &lead, 8);
    for (letter, required, released) in [
        ('A', &[(8, 50)][..], &[(7, 50)][..]),
        ('B', &[(7, 100)], &[(5, 100)]),
        ('C', &[(7, 150)], &[(6, 150)]),
        ('E', &[(5, 200), (6, 300)], &[(3, 200), (4, 300)]),
        ('F', &[(6, 300)], &[(3, 300)]),
        ('D', &[(3, 600), (5, 200)], &[(2, 600), (4, 200)]),
        ('G', &[(3, 300)], &[(1, 300)]),
    ] {
        assert_eq!(by_period(&plan[&letter].gross), required, "{letter}");
        assert_eq!(by_period(&plan[&letter].releases), released, "{letter}");
        assert!(plan[&letter].late.is_empty(), "{letter}");
    }
    // The lowest level on which each is found.
    let levels = "ABCDEFG".chars().map(|letter| plan[&letter].level);
    assert!(levels.eq([0, 1, 1, 3, 2, 2, 3]));
}

/// The same with pieces on hand at each level. Inputs from memory, computed independently.
#[test]
fn speaker_kits_net_of_what_is_on_hand() {
    let stock = [
        ('A', 1, 10),
        ('B', 2, 15),
        ('C', 1, 20),
        ('D', 1, 10),
        ('E', 2, 10),
        ('F', 3, 5),
        ('G', 2, 0),
    ];
    let plan = records(&[('A', 8, 50)], SPEAKER_KIT, &stock, 8);
    type Periods<'a> = &'a [(usize, u64)];
    let expected: [(char, Periods, Periods, Periods); 7] = [
        ('A', &[(8, 50)], &[(8, 40)], &[(7, 40)]),
        ('B', &[(7, 80)], &[(7, 65)], &[(5, 65)]),
        ('C', &[(7, 120)], &[(7, 100)], &[(6, 100)]),
        (
            'E',
            &[(5, 130), (6, 200)],
            &[(5, 120), (6, 200)],
            &[(3, 120), (4, 200)],
        ),
        ('F', &[(6, 200)], &[(6, 195)], &[(3, 195)]),
        (
            'D',
            &[(3, 390), (5, 130)],
            &[(3, 380), (5, 130)],
            &[(2, 380), (4, 130)],
        ),
        ('G', &[(3, 195)], &[(3, 195)], &[(1, 195)]),
    ];
    for (letter, gross, net, released) in expected {
        let record = &plan[&letter];
        assert_eq!(by_period(&record.gross), gross, "{letter} gross");
        assert_eq!(by_period(&record.net), net, "{letter} net");
        assert_eq!(by_period(&record.releases), released, "{letter} released");
    }
}

const TRUCK: Holds = &[('A', &[('B', 1)]), ('B', &[('C', 1)]), ('C', &[('D', 1)])];

/// Orlicky, *Material Requirements Planning*, 3rd edition, pages 107 and 108: 100 trucks, with
/// transmissions A, gearboxes B, gears C and forgings D on hand.
#[test]
fn trucks_are_netted_level_by_level() {
    let on_hand = [('A', 2), ('B', 15), ('C', 7), ('D', 46)];
    let netted = netted(('A', 100), TRUCK, &on_hand);
    assert_eq!(netted[&'A'], (100, 98));
    assert_eq!(netted[&'B'], (98, 83));
    assert_eq!(netted[&'C'], (83, 76));
    assert_eq!(netted[&'D'], (76, 30)); // not 54, which is 100 - 46
    // The check printed in the book: 70 forgings are there already in one form or another.
    assert_eq!(100 - (46 + 7 + 15 + 2), 30);
}

/// The same book, page 105: when each is begun so that A is finished in week 50. The last, 38, computed
/// independently.
#[test]
fn trucks_are_begun_in_time() {
    let lead = [('A', 1, 0), ('B', 2, 0), ('C', 6, 0), ('D', 3, 0)];
    let plan = records(&[('A', 50, 1)], TRUCK, &lead, 50);
    for (letter, week) in [('A', 49), ('B', 47), ('C', 41), ('D', 38)] {
        assert_eq!(by_period(&plan[&letter].releases), [(week, 1)], "{letter}");
    }
}

/// The same book, figure 7-10, page 129: three records, one under the other. That A and B take two
/// periods was deduced from the figure.
#[test]
fn three_records_one_under_the_other() {
    let holds: Holds = &[('A', &[('B', 1)]), ('B', &[('C', 1)])];
    let gross = [10, 0, 15, 10, 20, 5, 0, 10, 15];
    let wanted: Vec<Wanted<char, char>> = (1..)
        .zip(gross)
        .map(|(period, pieces)| Wanted {
            child: Child::Assembly('A'),
            period,
            pieces,
        })
        .collect();
    let stock = |on_hand, receipts: &[(usize, u64)], lead| Stock {
        on_hand,
        receipts: receipts.to_vec(),
        lead,
    };
    let stock = BTreeMap::from([
        (Child::Assembly('A'), stock(12, &[(3, 14)], 2)),
        (Child::Assembly('B'), stock(28, &[], 2)),
        (Child::Part('C'), stock(8, &[], 0)),
    ]);
    let found = plan(&lines(('A', 0), holds), &stock, &wanted, 9).expect("no cycle");
    let [a, b, c] = &found[..] else {
        panic!("three records, not {}", found.len());
    };

    assert_eq!(a.gross, gross);
    assert_eq!(a.receipts, [0, 0, 14, 0, 0, 0, 0, 0, 0]);
    assert_eq!(a.on_hand, [2, 2, 1, -9, -29, -34, -34, -44, -59]);
    assert_eq!(a.releases, [0, 9, 20, 5, 0, 10, 15, 0, 0]);

    assert_eq!(b.gross, [0, 9, 20, 5, 0, 10, 15, 0, 0]);
    assert_eq!(b.on_hand, [28, 19, -1, -6, -6, -16, -31, -31, -31]);
    assert_eq!(b.releases, [1, 5, 0, 10, 15, 0, 0, 0, 0]);

    assert_eq!(c.gross, [1, 5, 0, 10, 15, 0, 0, 0, 0]);
    assert_eq!(c.on_hand, [7, 2, 2, -8, -23, -23, -23, -23, -23]);
    assert_eq!(by_period(&c.net), [(4, 8), (5, 15)]);
}

/// Stevenson, *Operations Management*, chapter on MRP, example 1: ten X with pieces on hand. From memory,
/// computed independently.
#[test]
fn ten_of_product_x() {
    let holds: Holds = &[
        ('X', &[('B', 2), ('C', 1)]),
        ('B', &[('D', 3), ('E', 1)]),
        ('D', &[('E', 4)]),
        ('C', &[('E', 2), ('F', 2)]),
    ];
    let on_hand = [('B', 4), ('C', 10), ('D', 8), ('E', 60)];
    let netted = netted(('X', 10), holds, &on_hand);
    for (letter, net) in [('B', 16), ('C', 0), ('D', 40), ('E', 116), ('F', 0)] {
        assert_eq!(netted[&letter].1, net, "{letter}");
    }
}
