//! Cases for choosing, and its agreement with looking at every settlement.

use proptest::prelude::*;

use super::*;

/// Every settlement that fits, the best first: by worth, then by the things of the order.
fn all_that_fit(problem: &Problem, order: &[usize]) -> Vec<Picks> {
    let mut all = vec![Vec::new()];
    for class in &problem.things {
        let ways = problem.classes[*class].worth.len();
        all = all
            .into_iter()
            .flat_map(|picks: Picks| {
                (0..ways).map(move |way| picks.iter().copied().chain([way]).collect())
            })
            .collect();
    }
    all.retain(|picks| {
        let used = problem.used(picks);
        used.iter()
            .zip(&problem.limits)
            .all(|(used, limit)| used <= limit)
    });
    all.sort_by_key(|picks| {
        let ordered: Vec<usize> = order.iter().map(|thing| picks[*thing]).collect();
        std::cmp::Reverse((problem.worth(picks), ordered))
    });
    all
}

fn knapsack(worth: &[i64], mass: &[i64], limit: i64) -> Problem {
    let class = |(worth, mass): (&i64, &i64)| Class {
        worth: vec![0, *worth],
        uses: vec![(0, vec![0, *mass])],
    };
    Problem {
        classes: worth.iter().zip(mass).map(class).collect(),
        things: (0..worth.len()).collect(),
        limits: vec![limit],
    }
}

#[test]
fn the_best_load_is_found_and_proven() {
    // Computed independently: 6 + 10 + 12 = 28 at mass 2 + 3 + 4 = 9 of 10; no other load reaches 28.
    let problem = knapsack(&[6, 10, 12, 13], &[2, 3, 4, 6], 10);
    let best = Best::find(problem, &[], 1000, |_| None).expect("small numbers");
    assert_eq!(best.picks, Some(vec![1, 1, 1, 0]));
    assert!(best.proven);
}

#[test]
fn where_nothing_fits_that_is_proven() {
    let best = Best::find(knapsack(&[1], &[1], -1), &[], 1000, |_| None).expect("small numbers");
    assert_eq!((best.picks, best.proven), (None, true));
}

#[test]
fn without_steps_nothing_is_proven() {
    let best = Best::find(knapsack(&[1], &[1], 1), &[], 0, |_| None).expect("small numbers");
    assert_eq!((best.picks, best.proven, best.steps), (None, false, 0));
}

#[test]
fn a_row_found_during_the_search_holds() {
    let together = |picks: &[usize]| {
        (picks[0] + picks[1] == 2).then(|| Row {
            uses: vec![(0, vec![0, 1]), (1, vec![0, 1])],
            limit: 1,
        })
    };
    let problem = knapsack(&[2, 2, 1], &[1, 1, 1], 3);
    let best = Best::find(problem, &[0, 1, 2], 1000, together).expect("small numbers");
    assert_eq!((best.picks, best.proven), (Some(vec![1, 0, 1]), true));
}

#[test]
fn numbers_too_large_to_compare_are_refused() {
    let refused = Err(ChooseRefused::TooLarge);
    let find = |problem| Best::find(problem, &[], 1000, |_| None);
    assert_eq!(find(knapsack(&[1 << 40], &[1], 1)), refused);
    assert_eq!(find(knapsack(&[1], &[i64::MAX], 1)), refused);
    assert_eq!(find(knapsack(&[1], &[1], i64::MIN)), refused);
}

fn any_problem() -> impl Strategy<Value = Problem> {
    let class = |rows: usize| {
        let uses = prop::collection::vec(prop::collection::vec(-2_i64..5, 3), rows);
        (prop::collection::vec(-3_i64..4, 3), uses, 1_usize..4)
    };
    (1_usize..4).prop_flat_map(move |rows| {
        let classes = prop::collection::vec((class(rows), 1_usize..4), 1..4);
        let limits = prop::collection::vec(-2_i64..12, rows);
        (classes, limits).prop_map(|(drawn, limits)| {
            let mut problem = Problem {
                limits,
                ..Problem::default()
            };
            for (at, ((worth, uses, ways), times)) in drawn.into_iter().enumerate() {
                let cut = |list: Vec<i64>| list.into_iter().take(ways).collect::<Vec<i64>>();
                problem.classes.push(Class {
                    worth: cut(worth),
                    uses: uses.into_iter().map(cut).enumerate().collect(),
                });
                problem.things.extend(std::iter::repeat_n(at, times));
            }
            problem
        })
    })
}

proptest! {
    #[test]
    fn the_best_is_the_best_of_all(problem in any_problem(), backwards: bool) {
        let mut order: Vec<usize> = (0..problem.things.len()).collect();
        if backwards {
            order.reverse();
        }
        // Things that are alike are settled in falling order, so only the forward order can be asked
        // of them.
        let alike = problem.things.windows(2).any(|two| two[0] == two[1]);
        if alike && backwards {
            order.clear();
        }
        let all = all_that_fit(&problem, &order);
        let best = Best::find(problem.clone(), &order, 100_000, |_| None).expect("small numbers");
        prop_assert!(best.proven);
        match (&best.picks, all.first()) {
            (Some(found), Some(first)) if order.is_empty() => {
                prop_assert!(all.contains(found));
                prop_assert_eq!(problem.worth(found), problem.worth(first));
            }
            (found, first) => prop_assert_eq!(found.as_ref(), first),
        }
    }

    #[test]
    fn rows_may_be_found_late(problem in any_problem()) {
        // All rows but the first are told only when they are broken.
        let first_only = Problem {
            limits: problem.limits[..1].to_vec(),
            classes: problem
                .classes
                .iter()
                .map(|class| Class { worth: class.worth.clone(), uses: class.uses[..1].to_vec() })
                .collect(),
            things: problem.things.clone(),
        };
        let late = |picks: &[usize]| {
            let used = problem.used(picks);
            let row = (0..used.len()).find(|row| used[*row] > problem.limits[*row])?;
            let classes = problem.classes.iter().enumerate();
            Some(Row {
                uses: classes.map(|(at, class)| (at, class.uses[row].1.clone())).collect(),
                limit: problem.limits[row],
            })
        };
        let at_once = Best::find(problem.clone(), &[], 100_000, |_| None).expect("small numbers");
        let found_late = Best::find(first_only, &[], 100_000, late).expect("small numbers");
        let worth = |best: &Best| best.picks.as_ref().map(|picks| problem.worth(picks));
        prop_assert_eq!(worth(&at_once), worth(&found_late));
        prop_assert!(found_late.proven);
    }
}
