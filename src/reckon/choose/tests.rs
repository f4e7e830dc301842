//! Cases for choosing, and its agreement with looking at every settlement.

mod relaxation;

use std::ops::Range;

use proptest::prelude::*;

use super::*;

/// Every settlement that fits, the best first: by worth, then by the ways of the classes.
fn all_that_fit(problem: &Problem) -> Vec<Settled> {
    let mut all = vec![Vec::new()];
    for class in &problem.classes {
        let mut ways: Vec<Vec<u64>> = vec![Vec::new()];
        for _ in &class.worth {
            ways = ways
                .into_iter()
                .flat_map(|counts| {
                    (0..=class.times)
                        .map(move |count| counts.iter().copied().chain([count]).collect())
                })
                .collect();
        }
        ways.retain(|counts| counts.iter().sum::<u64>() == class.times);
        all = all
            .into_iter()
            .flat_map(|settled: Settled| {
                let further = ways.iter();
                further
                    .map(move |counts| settled.iter().chain([counts]).cloned().collect())
                    .collect::<Vec<_>>()
            })
            .collect();
    }
    all.retain(|settled| problem.fits(settled));
    all.sort_by_key(|settled| std::cmp::Reverse((problem.worth(settled), ways(settled))));
    all
}

/// The way of the only thing of each class.
fn ways(settled: &Settled) -> Vec<usize> {
    let way = |counts: &Vec<u64>| counts.iter().position(|count| *count > 0).unwrap_or(0);
    settled.iter().map(way).collect()
}

fn find(problem: Problem) -> Best {
    let order: Vec<usize> = (0..problem.classes.len()).collect();
    Best::find(problem, &order, None, 100_000, |_| None).expect("small numbers")
}

fn knapsack(worth: &[i64], mass: &[i64], limit: i64) -> Problem {
    let class = |(worth, mass): (&i64, &i64)| Class {
        times: 1,
        worth: vec![0, *worth],
        uses: vec![(0, vec![0, *mass])],
    };
    Problem {
        classes: worth.iter().zip(mass).map(class).collect(),
        limits: vec![limit],
    }
}

#[test]
fn the_best_load_is_found_and_proven() {
    // Computed independently: 6 + 10 + 12 = 28 at mass 2 + 3 + 4 = 9 of 10; no other load reaches 28.
    let problem = knapsack(&[6, 10, 12, 13], &[2, 3, 4, 6], 10);
    let best = find(problem);
    assert_eq!(best.settled.as_ref().map(ways), Some(vec![1, 1, 1, 0]));
    assert!(best.proven);
}

#[test]
fn where_nothing_fits_that_is_proven() {
    let best = find(knapsack(&[1], &[1], -1));
    assert_eq!((best.settled, best.proven), (None, true));
}

#[test]
fn without_steps_nothing_is_proven_and_the_start_stays() {
    let without = |start| Best::find(knapsack(&[1], &[1], 1), &[], start, 0, |_| None);
    let best = without(None).expect("small numbers");
    assert_eq!((best.settled, best.proven, best.steps), (None, false, 0));
    let start = Some(vec![vec![1, 0]]);
    assert_eq!(
        without(start.clone()).expect("small numbers").settled,
        start
    );
}

#[test]
fn a_row_found_during_the_search_holds() {
    let together = |settled: &Settled| {
        (ways(settled)[..2] == [1, 1]).then(|| Row {
            uses: vec![(0, vec![0, 1]), (1, vec![0, 1])],
            limit: 1,
        })
    };
    let problem = knapsack(&[2, 2, 1], &[1, 1, 1], 3);
    let best = Best::find(problem, &[0, 1, 2], None, 1000, together).expect("small numbers");
    assert_eq!(best.settled.as_ref().map(ways), Some(vec![1, 0, 1]));
    assert!(best.proven);
}

#[test]
fn numbers_too_large_to_compare_are_refused() {
    let refused = Err(ChooseRefused::TooLarge);
    let find = |problem| Best::find(problem, &[], None, 1000, |_| None);
    assert_eq!(find(knapsack(&[1 << 40], &[1], 1)), refused);
    assert_eq!(find(knapsack(&[1], &[i64::MAX], 1)), refused);
    assert_eq!(find(knapsack(&[1], &[1], i64::MIN)), refused);
}

fn any_problem(times: Range<u64>) -> impl Strategy<Value = Problem> {
    let class = |rows: usize| {
        let uses = prop::collection::vec(prop::collection::vec(-2_i64..5, 3), rows);
        (prop::collection::vec(-3_i64..4, 3), uses, 1_usize..4)
    };
    (1_usize..4).prop_flat_map(move |rows| {
        let times = times.clone();
        let classes = prop::collection::vec((class(rows), times.clone()), 1..5);
        let limits = prop::collection::vec(-2_i64..12, rows);
        (classes, limits).prop_map(|(drawn, limits)| {
            let mut problem = Problem {
                limits,
                ..Problem::default()
            };
            for ((worth, uses, ways), times) in drawn {
                let cut = |list: Vec<i64>| list.into_iter().take(ways).collect::<Vec<i64>>();
                problem.classes.push(Class {
                    times,
                    worth: cut(worth),
                    uses: uses.into_iter().map(cut).enumerate().collect(),
                });
            }
            problem
        })
    })
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(1000))]

    #[test]
    fn the_best_is_the_best_of_all(problem in any_problem(1..2)) {
        let best = find(problem.clone());
        prop_assert!(best.proven);
        let all = all_that_fit(&problem);
        prop_assert_eq!(best.settled.as_ref(), all.first());
    }

    #[test]
    fn of_things_alike_too(problem in any_problem(1..4)) {
        let best = find(problem.clone());
        prop_assert!(best.proven);
        let all = all_that_fit(&problem);
        prop_assert!(best.settled.as_ref().is_none_or(|settled| all.contains(settled)));
        let worth = |settled| problem.worth(settled);
        prop_assert_eq!(best.settled.as_ref().map(worth), all.first().map(worth));
    }

    #[test]
    fn rows_may_be_found_late(problem in any_problem(1..3)) {
        // All rows but the first are told only when they are broken.
        let first_only = Problem {
            limits: problem.limits[..1].to_vec(),
            classes: problem
                .classes
                .iter()
                .map(|class| Class { uses: class.uses[..1].to_vec(), ..class.clone() })
                .collect(),
        };
        let late = |settled: &Settled| {
            let used = problem.used(settled);
            let row = (0..used.len()).find(|row| used[*row] > problem.limits[*row])?;
            let classes = problem.classes.iter().enumerate();
            Some(Row {
                uses: classes.map(|(at, class)| (at, class.uses[row].1.clone())).collect(),
                limit: problem.limits[row],
            })
        };
        let at_once = find(problem.clone());
        let found_late = Best::find(first_only, &[], None, 100_000, late).expect("small numbers");
        let worth = |best: &Best| best.settled.as_ref().map(|settled| problem.worth(settled));
        prop_assert_eq!(worth(&at_once), worth(&found_late));
        prop_assert!(found_late.proven);
    }
}
