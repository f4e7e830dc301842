//! Cases for comparing two parts lists, and its properties over random ones.

use proptest::prelude::*;

use super::super::need::Basis;
use super::*;

type L = Line<u32, u32>;
type Measurements = BTreeMap<(Option<u32>, &'static str), Measurement>;

fn line(parent: Option<u32>, child: Child<u32, u32>, quantity: u64) -> L {
    Line {
        parent,
        child,
        basis: Basis::Each,
        quantity,
    }
}

fn part(parent: Option<u32>, part: u32, quantity: u64) -> L {
    line(parent, Child::Part(part), quantity)
}

fn holds(parent: Option<u32>, assembly: u32, quantity: u64) -> L {
    line(parent, Child::Assembly(assembly), quantity)
}

fn compared(before: &[L], now: &[L]) -> Comparison<u32, u32, &'static str> {
    let none = Measurements::new();
    let list = |lines| List {
        lines,
        measurements: &none,
    };
    compare(&list(before), &list(now)).expect("both lists add up")
}

/// A beacon (10) and a gate (20) of a made-up kit.
const BEACON: u32 = 10;
const GATE: u32 = 20;

#[test]
fn a_list_equals_itself_however_its_lines_are_written() {
    let once = [
        holds(None, BEACON, 2),
        part(Some(BEACON), 1, 4),
        part(None, 2, 3),
    ];
    let otherwise = [
        part(None, 2, 1),
        part(Some(BEACON), 1, 3),
        part(Some(BEACON), 1, 1),
        holds(None, BEACON, 2),
        part(None, 2, 2),
        part(None, 3, 0),
    ];
    assert!(compared(&once, &once).is_empty());
    assert!(compared(&once, &otherwise).is_empty());
}

#[test]
fn added_removed_and_changed_are_totals_of_a_whole_kit() {
    let before = [
        holds(None, BEACON, 2),
        part(Some(BEACON), 1, 4),
        part(Some(BEACON), 2, 1),
    ];
    let now = [
        holds(None, BEACON, 3),
        part(Some(BEACON), 1, 4),
        part(Some(BEACON), 3, 1),
    ];
    let found = compared(&before, &now);
    assert_eq!(
        found.parts,
        [
            (1, Change::Changed { before: 8, now: 12 }),
            (2, Change::Removed(2)),
            (3, Change::Added(3)),
        ]
    );
    assert_eq!(
        found.assemblies,
        [(BEACON, Change::Changed { before: 2, now: 3 })]
    );
    assert_eq!(found.moved, []);
    assert!(!found.is_empty());
}

#[test]
fn what_leaves_one_assembly_and_enters_another_has_moved() {
    let frame = [holds(None, BEACON, 1), holds(None, GATE, 1)];
    let before = [&frame[..], &[part(Some(BEACON), 1, 6)]].concat();
    let now = [
        &frame[..],
        &[part(Some(BEACON), 1, 2), part(Some(GATE), 1, 5)],
    ]
    .concat();
    let found = compared(&before, &now);
    assert_eq!(found.parts, [(1, Change::Changed { before: 6, now: 7 })]);
    assert_eq!(
        found.moved,
        [Moved {
            what: Child::Part(1),
            from: Some(BEACON),
            to: Some(GATE),
            pieces: 4,
        }]
    );
}

#[test]
fn an_assembly_may_move_too() {
    let before = [
        holds(None, BEACON, 1),
        holds(None, GATE, 2),
        part(Some(GATE), 1, 1),
    ];
    let now = [
        holds(None, BEACON, 1),
        holds(Some(BEACON), GATE, 2),
        part(Some(GATE), 1, 1),
    ];
    let found = compared(&before, &now);
    assert_eq!((found.parts.len(), found.assemblies.len()), (0, 0));
    assert_eq!(
        found.moved,
        [Moved {
            what: Child::Assembly(GATE),
            from: None,
            to: Some(BEACON),
            pieces: 2,
        }]
    );
}

#[test]
fn several_losers_and_gainers_are_paired_in_order() {
    let before = [
        holds(None, 1, 1),
        holds(None, 2, 1),
        holds(None, 3, 1),
        part(Some(1), 9, 3),
        part(Some(2), 9, 2),
    ];
    let now = [
        holds(None, 1, 1),
        holds(None, 2, 1),
        holds(None, 3, 1),
        part(Some(3), 9, 4),
        part(None, 9, 1),
    ];
    let moved = |from, to, pieces| Moved {
        what: Child::Part(9),
        from,
        to,
        pieces,
    };
    assert_eq!(
        compared(&before, &now).moved,
        [
            moved(Some(1), None, 1),
            moved(Some(1), Some(3), 2),
            moved(Some(2), Some(3), 2),
        ]
    );
}

#[test]
fn measurements_are_compared_by_assembly_and_name() {
    let lines = [holds(None, GATE, 1)];
    let exact = |nominal_mm| Measurement {
        nominal_mm,
        tolerance_mm: 3,
    };
    let before = Measurements::from([
        ((Some(GATE), "height"), exact(600)),
        ((Some(GATE), "width"), exact(450)),
        ((None, "diagonal"), exact(3_600)),
    ]);
    let looser = Measurement {
        tolerance_mm: 5,
        ..exact(600)
    };
    let now = Measurements::from([
        ((Some(GATE), "height"), looser),
        ((None, "diagonal"), exact(3_600)),
        ((None, "length"), exact(2_400)),
    ]);
    let list = |measurements| List {
        lines: &lines[..],
        measurements,
    };
    let found = compare(&list(&before), &list(&now)).expect("both lists add up");
    assert_eq!(
        found.measurements,
        [
            ((None, "length"), Change::Added(exact(2_400))),
            (
                (Some(GATE), "height"),
                Change::Changed {
                    before: exact(600),
                    now: looser
                }
            ),
            ((Some(GATE), "width"), Change::Removed(exact(450))),
        ]
    );
    assert!(!found.is_empty(), "measurements alone are a difference");
}

#[test]
fn a_list_that_cannot_be_added_up_is_named() {
    let good = [part(None, 1, 1)];
    let round = [holds(Some(1), 2, 1), holds(Some(2), 1, 1)];
    let none = Measurements::new();
    let list = |lines| List {
        lines,
        measurements: &none,
    };
    let name = |child| match child {
        Child::Part(part) => format!("part {part}"),
        Child::Assembly(assembly) => format!("assembly {assembly}"),
    };
    let words = |before, now| {
        compare(&list(before), &list(now))
            .expect_err("one goes round")
            .in_words(name)
    };
    assert_eq!(
        words(&round, &good),
        "The older list: 'assembly 2' holds 'assembly 1', which holds 'assembly 2' again."
    );
    assert!(words(&good, &round).starts_with("The newer list: "));
}

#[test]
fn for_a_kit_the_news_is_told_from_what_was_short_already() {
    let before = [part(None, 1, 10), part(None, 3, 4)];
    let now = [part(None, 1, 12), part(None, 2, 5)];
    let found = compared(&before, &now);
    for (here, expected, words) in [
        (
            [Some(12), Some(5), Some(0)],
            [Meaning::JustRight, Meaning::JustRight, Meaning::JustRight],
            "As many are here as needed.",
        ),
        (
            [Some(10), Some(0), Some(4)],
            [
                Meaning::Short { by: 2, newly: 2 },
                Meaning::Short { by: 5, newly: 5 },
                Meaning::Spare(4),
            ],
            "2 short because of what changed.",
        ),
        (
            [Some(9), None, None],
            [
                Meaning::Short { by: 3, newly: 2 },
                Meaning::NotCounted { needs: 5 },
                Meaning::NotCounted { needs: 0 },
            ],
            "3 short, 2 of them because of what changed.",
        ),
    ] {
        let meanings = found.for_kit(|part| here[part as usize - 1]);
        assert_eq!(
            meanings,
            [1, 2, 3].into_iter().zip(expected).collect::<Vec<_>>()
        );
        assert_eq!(meanings[0].1.in_words(), words);
    }
    // Fewer are needed than before, and still fewer are here: short, and not because of the change.
    let back = found.reversed().for_kit(|_| Some(7));
    assert_eq!(back[0], (1, Meaning::Short { by: 3, newly: 0 }));
    assert_eq!(back[0].1.in_words(), "3 short, as before.");
}

/// Parts 0 to 5 in assemblies 0 to 4, each of which may hold only those after it.
fn lines() -> impl Strategy<Value = Vec<L>> {
    let one = (
        prop::option::of(0..5_u32),
        0..11_u32,
        0..4_u64,
        any::<bool>(),
    )
        .prop_map(|(parent, child, quantity, all)| {
            let child = match child {
                0..=5 => Child::Part(child),
                _ => Child::Assembly((child - 6).max(parent.map_or(0, |parent| parent + 1))),
            };
            Line {
                parent,
                child,
                basis: if all { Basis::All } else { Basis::Each },
                quantity,
            }
        });
    prop::collection::vec(one, 0..14)
}

fn totals(lines: &[L]) -> BTreeMap<u32, u64> {
    counted(need(lines).expect("no cycle can come about").parts())
}

proptest! {
    #[test]
    fn the_other_way_round_says_the_same(before in lines(), now in lines()) {
        prop_assert_eq!(
            compared(&before, &now).reversed(),
            compared(&now, &before)
        );
        prop_assert!(compared(&before, &before).is_empty());
    }

    /// Older totals with the changes applied are the newer totals.
    #[test]
    fn the_changes_lead_from_one_list_to_the_other(before in lines(), now in lines()) {
        let found = compared(&before, &now);
        let mut here = totals(&before);
        for (part, change) in &found.parts {
            prop_assert_eq!(here.get(part).copied(), change.before());
            match change.now() {
                Some(now) => here.insert(*part, now),
                None => here.remove(part),
            };
        }
        prop_assert_eq!(here, totals(&now));
    }

    /// A move never takes more than its assembly lost, and after all moves a part's assemblies only
    /// gained or only lost.
    #[test]
    fn moves_take_what_was_lost_to_where_it_was_gained(before in lines(), now in lines()) {
        let holders = |lines: &[L]| by_holder(lines, &need(lines).expect("no cycle"));
        let (old, new) = (holders(&before), holders(&now));
        let mut left = BTreeMap::new();
        for (all, sign) in [(&old, -1), (&new, 1)] {
            for (what, by) in all {
                for (holder, pieces) in by {
                    *left.entry((*what, *holder)).or_insert(0) += sign * *pieces as i64;
                }
            }
        }
        for moved in compared(&before, &now).moved {
            prop_assert!(moved.pieces > 0);
            *left.get_mut(&(moved.what, moved.from)).expect("it was there") += moved.pieces as i64;
            *left.get_mut(&(moved.what, moved.to)).expect("it is there now") -= moved.pieces as i64;
        }
        for ((what, _), here) in &left {
            for ((other, _), there) in &left {
                prop_assert!(what != other || here.signum() * there.signum() >= 0);
            }
        }
    }
}
