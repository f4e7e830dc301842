//! Cases for the need, and its properties over random parts lists.

use std::collections::BTreeMap;

use proptest::prelude::*;

use super::*;

type L = Line<u32, u32>;

fn part(parent: Option<u32>, part: u32, basis: Basis, quantity: u64) -> L {
    Line {
        parent,
        child: Child::Part(part),
        basis,
        quantity,
    }
}

fn holds(parent: Option<u32>, assembly: u32, basis: Basis, quantity: u64) -> L {
    Line {
        parent,
        child: Child::Assembly(assembly),
        basis,
        quantity,
    }
}

#[track_caller]
fn check(lines: &[L], expected: &[(u32, u64)]) {
    let need = need(lines).expect("these lines add up");
    assert_eq!(need.parts().collect::<Vec<_>>(), expected);
    assert_eq!(
        need.total(),
        expected.iter().map(|(_, total)| total).sum::<u64>()
    );
}

use Basis::{All, Each};

#[test]
fn each_multiplies_and_all_does_not() {
    check(&[part(None, 1, Each, 3)], &[(1, 3)]);
    check(&[part(None, 1, All, 3)], &[(1, 3)]);
    check(
        &[holds(None, 9, Each, 6), part(Some(9), 1, Each, 4)],
        &[(1, 24)],
    );
    check(
        &[holds(None, 9, Each, 6), part(Some(9), 1, All, 4)],
        &[(1, 4)],
    );
    // Two sides with three wheels each, but five hubs in all.
    let hubs = [
        holds(None, 7, Each, 2),
        holds(Some(7), 9, Each, 3),
        holds(Some(9), 8, All, 5),
        part(Some(8), 1, Each, 2),
    ];
    check(&hubs, &[(1, 10)]);
}

#[test]
fn a_part_in_several_assemblies_is_added_up() {
    let lines = [
        holds(None, 8, Each, 2),
        holds(None, 9, Each, 3),
        part(Some(8), 1, Each, 5),
        part(Some(9), 1, Each, 1),
        part(None, 1, Each, 4),
    ];
    check(&lines, &[(1, 17)]);
    let need = need(&lines).expect("these lines add up");
    assert_eq!(need.lines_of(1), [2, 3, 4]);
    assert_eq!([2, 3, 4].map(|line| need.pieces(line)), [10, 3, 4]);
    assert_eq!(need.assembly(8), 2);
    assert_eq!(need.assembly(77), 0);
    assert_eq!(need.part(77), 0);
}

#[test]
fn what_nothing_holds_is_not_in_the_kit() {
    check(
        &[part(Some(9), 1, Each, 4), part(Some(9), 2, All, 4)],
        &[(1, 0), (2, 0)],
    );
    check(&[], &[]);
}

#[test]
fn a_way_names_its_assemblies_from_the_kit_down() {
    let lines = [
        holds(None, 7, Each, 2),
        holds(Some(7), 9, Each, 3),
        holds(None, 9, Each, 1),
        part(Some(9), 1, Each, 4),
        part(Some(7), 1, All, 5),
    ];
    let need = need(&lines).expect("these lines add up");
    let step = |assembly, times| Step { assembly, times };
    let expected = [
        Path {
            start: Start::Kit,
            steps: vec![step(7, 2), step(9, 3)],
            line: 3,
            pieces: 24,
        },
        Path {
            start: Start::Kit,
            steps: vec![step(9, 1)],
            line: 3,
            pieces: 4,
        },
        Path {
            start: Start::AllOf {
                assembly: 7,
                copies: 2,
            },
            steps: vec![],
            line: 4,
            pieces: 5,
        },
    ];
    assert_eq!(need.paths(1).collect::<Vec<_>>(), expected);
    assert_eq!(need.first_paths(1, 2), (expected[..2].to_vec(), true));
    assert_eq!(need.first_paths(1, 3), (expected.to_vec(), false));
}

#[test]
fn a_cycle_is_refused_by_name() {
    let name = |child: Child<u32, u32>| match child {
        Child::Part(part) => format!("part {part}"),
        Child::Assembly(assembly) => ["Hub", "Wheel", "Axle"][assembly as usize].to_owned(),
    };
    let refused = |lines: &[L]| need(lines).expect_err("a cycle").in_words(name);
    assert_eq!(
        refused(&[holds(Some(0), 0, Each, 1)]),
        "'Hub' holds itself."
    );
    let lines = [
        holds(None, 0, Each, 1),
        holds(Some(0), 1, Each, 1),
        holds(Some(1), 2, Each, 1),
        holds(Some(2), 1, Each, 1),
    ];
    assert_eq!(
        refused(&lines),
        "'Axle' holds 'Wheel', which holds 'Axle' again."
    );
}

#[test]
fn quantities_beyond_counting_are_refused() {
    let lines = [
        holds(None, 8, Each, 1 << 40),
        holds(Some(8), 9, Each, 1 << 40),
        part(Some(9), 1, Each, 1),
    ];
    assert_eq!(
        need(&lines).err(),
        Some(NeedRefused::TooMany(Child::Assembly(9)))
    );
    let lines = [part(None, 1, Each, MOST), part(None, 2, Each, 1)];
    assert_eq!(
        need(&lines).err(),
        Some(NeedRefused::TooMany(Child::Part(2)))
    );
    check(&lines[..1], &[(1, MOST)]);
}

#[test]
fn a_share_is_rounded_up() {
    for (quantity, wanted, held, expected) in [
        (5, 1, 2, 3),
        (4, 1, 2, 2),
        (5, 2, 2, 5),
        (5, 3, 2, 5),
        (1, 1, 6, 1),
        (5, 0, 2, 0),
        (5, 1, 0, 0),
        (u64::MAX, 1, 1, u64::MAX),
    ] {
        assert_eq!(
            share(quantity, wanted, held),
            expected,
            "{quantity} {wanted}/{held}"
        );
    }
}

#[test]
fn shared_assemblies_do_not_slow_the_totals() {
    // Sixty levels, each holding the next in two lines: 2^60 ways to the one part.
    let mut lines = vec![holds(None, 0, Each, 1)];
    for level in 0..60 {
        lines.push(holds(Some(level), level + 1, Each, 1));
        lines.push(holds(Some(level), level + 1, Each, 1));
    }
    lines.push(part(Some(60), 1, Each, 1));
    check(&lines, &[(1, 1 << 60)]);
    let need = need(&lines).expect("these lines add up");
    let (first, more) = need.first_paths(1, 20);
    assert_eq!(first.len(), 20);
    assert!(more);
}

/// Assemblies 0 to 5, each holding only later ones, so that there is no cycle.
fn any_lines(bases: &'static [Basis]) -> impl Strategy<Value = Vec<L>> {
    let line = (0_u32..7, 0_u32..9, 0_usize..bases.len(), 0_u64..4).prop_map(
        move |(parent, child, basis, quantity)| {
            let parent_id = parent.checked_sub(1);
            let basis = bases[basis];
            if child < 3 || parent >= 6 {
                return part(parent_id, child, basis, quantity);
            }
            let child = parent + child % (6 - parent);
            holds(parent_id, child, basis, quantity)
        },
    );
    prop::collection::vec(line, 0..25)
}

/// Copies of an assembly, by following every way up again each time it is asked.
fn naive_copies(lines: &[L], assembly: u32) -> u64 {
    let holding = lines
        .iter()
        .filter(|line| line.child == Child::Assembly(assembly));
    holding.map(|line| naive_pieces(lines, line)).sum()
}

fn naive_pieces(lines: &[L], line: &L) -> u64 {
    let copies = line.parent.map_or(1, |parent| naive_copies(lines, parent));
    match line.basis {
        Each => line.quantity * copies,
        All => line.quantity * copies.min(1),
    }
}

proptest! {
    #[test]
    fn totals_equal_a_naive_expansion(lines in any_lines(&[Each, All])) {
        let need = need(&lines).expect("no cycle is generated");
        let mut expected: BTreeMap<u32, u64> = BTreeMap::new();
        for line in &lines {
            if let Child::Part(part) = line.child {
                *expected.entry(part).or_default() += naive_pieces(&lines, line);
            }
        }
        prop_assert_eq!(need.parts().collect::<BTreeMap<_, _>>(), expected);
        for (assembly, copies) in need.assemblies() {
            prop_assert_eq!(copies, naive_copies(&lines, assembly));
        }
        for (part, total) in need.parts() {
            let by_paths: u64 = need.paths(part).map(|path| path.pieces).sum();
            prop_assert_eq!(by_paths, total);
            let by_lines: u64 = need.lines_of(part).iter().map(|line| need.pieces(*line)).sum();
            prop_assert_eq!(by_lines, total);
        }
    }

    #[test]
    fn several_kits_need_as_many_times_the_parts(lines in any_lines(&[Each]), kits in 0_u64..9) {
        let one = need(&lines).expect("no cycle is generated");
        let mut many = lines.clone();
        for line in many.iter_mut().filter(|line| line.parent.is_none()) {
            line.quantity *= kits;
        }
        let many = need(&many).expect("no cycle is generated");
        for ((part, once), (same, times)) in one.parts().zip(many.parts()) {
            prop_assert_eq!((part, once * kits), (same, times));
        }
    }

    #[test]
    fn any_lines_are_added_up_or_refused_with_a_true_cycle(
        edges in prop::collection::vec((0_u32..5, 0_u32..5), 0..8)
    ) {
        let lines: Vec<L> =
            edges.iter().map(|(parent, child)| holds(Some(*parent), *child, Each, 1)).collect();
        match need(&lines) {
            Err(NeedRefused::Cycle(cycle)) => {
                prop_assert!(!cycle.is_empty());
                for (at, assembly) in cycle.iter().enumerate() {
                    let next = cycle[(at + 1) % cycle.len()];
                    prop_assert!(edges.contains(&(*assembly, next)));
                }
            }
            Err(NeedRefused::TooMany(_)) => prop_assert!(false, "eight ones cannot be too many"),
            // Without a cycle an order exists, so no assembly can reach itself.
            Ok(_) => for start in 0..5 {
                let mut reached = vec![start];
                for _ in 0..5 {
                    let further: Vec<u32> = edges.iter()
                        .filter(|(parent, _)| reached.contains(parent))
                        .map(|(_, child)| *child)
                        .collect();
                    prop_assert!(!further.contains(&start));
                    reached.extend(further);
                    reached.sort_unstable();
                    reached.dedup();
                }
            },
        }
    }
}
