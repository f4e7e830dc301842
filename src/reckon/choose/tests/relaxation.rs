//! The relaxation fits and is worth what its prices say; no bound, loss, added row or struck number is wrong
//! for any settlement, as looking at every settlement shows.

use super::bound::Heap;
use super::relaxed::Relaxed;
use super::rounded::rounded;
use super::*;

/// So low that the relaxation is never stopped early.
const ANYTHING: i64 = -1_000_000;

fn solved(problem: &Problem, heap: &Heap) -> Relaxed {
    let mut relaxed = Relaxed::new(problem, heap);
    relaxed.solve(heap, ANYTHING);
    relaxed
}

fn whole_prices(prices: impl IntoIterator<Item = f64>) -> Vec<i64> {
    let prices = prices.into_iter();
    prices
        .map(|price| (price * SCALE as f64).round() as i64)
        .collect()
}

fn worth_in_fractions(problem: &Problem, counts: &[f64]) -> f64 {
    let worth = problem.classes.iter().flat_map(|class| &class.worth);
    let all = worth
        .zip(counts)
        .map(|(worth, count)| *worth as f64 * count);
    all.sum()
}

/// What is used of a row, less its limit.
fn over(problem: &Problem, row: &Row, settled: &Settled) -> i64 {
    let mut sum = -row.limit;
    for (class, uses) in &row.uses {
        assert!(*class < problem.classes.len());
        let all = uses.iter().zip(&settled[*class]);
        sum += all.map(|(used, count)| used * *count as i64).sum::<i64>();
    }
    sum
}

fn is_in(heap: &Heap, settled: &Settled) -> bool {
    let bounds = heap.least.iter().zip(&heap.most);
    let mut all = bounds.zip(settled.iter().flatten());
    all.all(|((least, most), count)| least <= count && count <= most)
}

/// A problem and one of its heaps.
fn any_heap() -> impl Strategy<Value = (Problem, Heap)> {
    let bounds = prop::collection::vec((0_u64..8, 0_u64..6), 12);
    let pair = (any_problem(1..4), bounds).prop_map(|(problem, bounds)| {
        let mut heap = Heap::whole(&problem);
        for (way, (least, most)) in bounds.into_iter().enumerate().take(heap.least.len()) {
            // Most ways stay as they are.
            heap.least[way] = least.saturating_sub(6).min(heap.most[way]);
            heap.most[way] = heap.most[way].min(most.max(heap.least[way]));
        }
        let agrees = heap.agree(&problem);
        (problem, heap, agrees)
    });
    pair.prop_filter("some settlement in the heap", |(_, _, agrees)| *agrees)
        .prop_map(|(problem, heap, _)| (problem, heap))
}

#[test]
fn of_three_things_no_two_of_which_fit_at_most_one_does() {
    // Worked by hand: half of each fits every row, and the three rows added and halved allow one and a half.
    let class = |rows: [usize; 2]| Class {
        times: 1,
        worth: vec![0, 1],
        uses: rows.map(|row| (row, vec![0, 1])).to_vec(),
    };
    let problem = Problem {
        classes: vec![class([0, 1]), class([1, 2]), class([0, 2])],
        limits: vec![1, 1, 1],
    };
    let relaxed = solved(&problem, &Heap::whole(&problem));
    let counts = relaxed.counts();
    assert!(counts.iter().all(|count| (count - 0.5).abs() < 1e-6));
    let halves = [(0, 0.5), (1, 0.5), (2, 0.5)];
    let row = rounded(&problem, &halves, counts).expect("one and a half is more than one");
    let settle = |ways: [usize; 3]| -> Settled {
        let count = |way: usize| vec![u64::from(way == 0), u64::from(way == 1)];
        ways.into_iter().map(count).collect()
    };
    assert!(over(&problem, &row, &settle([1, 0, 0])) <= 0);
    assert!(over(&problem, &row, &settle([1, 1, 0])) > 0);
    // The relaxation offers a mixture that gives such a row, too.
    let rows = sharper::broken_by(&problem, 3, &relaxed);
    assert!(
        rows.iter()
            .any(|row| over(&problem, row, &settle([0, 1, 1])) > 0)
    );
}

#[test]
fn rows_that_are_kept_stay_in_their_order() {
    let class = |rows: &[(usize, i64)]| Class {
        times: 1,
        worth: vec![0],
        uses: rows.iter().map(|(row, used)| (*row, vec![*used])).collect(),
    };
    let mut problem = Problem {
        classes: vec![class(&[(0, 5), (1, 6), (2, 7)]), class(&[(1, 8), (2, 9)])],
        limits: vec![10, 11, 12],
    };
    problem.keep_rows(&[true, false, true]);
    assert_eq!(problem.limits, [10, 12]);
    assert_eq!(problem.classes[0], class(&[(0, 5), (1, 7)]));
    assert_eq!(problem.classes[1], class(&[(1, 9)]));
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(1500))]

    #[test]
    fn the_relaxation_fits_and_its_prices_ask_what_it_is_worth((problem, heap) in any_heap()) {
        let relaxed = solved(&problem, &heap);
        let prices = relaxed.prices();
        let view = heap.view(&problem, &whole_prices(prices.iter().copied()));
        if let Some(proof) = &relaxed.proof {
            // Nothing fits, and prices high enough show it.
            let fits = |settled: &Settled| is_in(&heap, settled);
            prop_assert!(!all_that_fit(&problem).iter().any(fits));
            let often = 2.0 * ((view.most - ANYTHING * SCALE) as f64 / SCALE as f64 + 1.0);
            let high = prices.iter().zip(proof).map(|(price, more)| price + often * more);
            let shown = heap.view(&problem, &whole_prices(high));
            prop_assert!(shown.most < ANYTHING * SCALE);
            return Ok(());
        }
        let counts = relaxed.counts();
        for (class, ways) in problem.spans() {
            let all: f64 = counts[ways.clone()].iter().sum();
            prop_assert!((all - class.times as f64).abs() < 1e-6);
            for way in ways {
                let (least, most) = (heap.least[way] as f64, heap.most[way] as f64);
                prop_assert!(counts[way] > least - 1e-6 && counts[way] < most + 1e-6);
            }
        }
        for (row, limit) in problem.limits.iter().enumerate() {
            let mut used = 0.0;
            for (class, ways) in problem.spans() {
                let uses = class.uses.iter().filter(|(at, _)| *at == row);
                let each = uses.flat_map(|(_, uses)| uses.iter().zip(&counts[ways.clone()]));
                used += each.map(|(used, count)| *used as f64 * count).sum::<f64>();
            }
            prop_assert!(used < *limit as f64 + 1e-6);
        }
        let (worth, bound) = (worth_in_fractions(&problem, counts), view.most as f64);
        prop_assert!((bound / SCALE as f64 - worth).abs() < 1e-3, "{worth} {bound}");
    }

    #[test]
    fn nothing_is_worth_more_than_the_bound_nor_struck_if_it_is_wanted(
        (problem, heap) in any_heap(),
        prices in prop::collection::vec(0_i64..3 * SCALE, 3),
        wanted in -6_i64..12,
    ) {
        let view = heap.view(&problem, &prices[..problem.limits.len()]);
        let mut struck = heap.clone();
        if view.most_whole() >= wanted {
            struck.strike(&problem, &view, wanted);
        }
        let all = all_that_fit(&problem);
        for settled in all.iter().filter(|settled| is_in(&heap, settled)) {
            let worth = problem.worth(settled);
            prop_assert!(worth <= view.most_whole());
            prop_assert!(worth < wanted || is_in(&struck, settled));
        }
    }

    #[test]
    fn dividing_loses_at_least_what_it_is_said_to_lose((problem, heap) in any_heap()) {
        let relaxed = solved(&problem, &heap);
        if relaxed.proof.is_some() {
            return Ok(());
        }
        let worth = worth_in_fractions(&problem, relaxed.counts());
        for fraction in relaxed.fractions() {
            let whole = relaxed.counts()[fraction.way].floor() as u64;
            let (mut below, mut above) = (heap.clone(), heap.clone());
            below.most[fraction.way] = whole;
            above.least[fraction.way] = whole + 1;
            for (mut half, lost) in [(below, fraction.lost_below), (above, fraction.lost_above)] {
                if !half.agree(&problem) {
                    continue;
                }
                let mut relaxed = relaxed.clone();
                relaxed.solve(&half, ANYTHING);
                // A table carried on answers as one made anew.
                let anew = solved(&problem, &half);
                prop_assert_eq!(relaxed.proof.is_none(), anew.proof.is_none());
                if relaxed.proof.is_none() {
                    let left = worth_in_fractions(&problem, relaxed.counts());
                    prop_assert!((left - worth_in_fractions(&problem, anew.counts())).abs() < 1e-4);
                    prop_assert!(left <= worth - lost + 1e-4, "{worth} {lost} {left}");
                }
            }
        }
    }

    #[test]
    fn rows_that_are_added_hold_for_all_that_fits(
        problem in any_problem(1..4),
        mixture in prop::collection::vec(0_i64..8, 3),
        divisor in 2_i64..9,
        ways in prop::collection::vec(0_usize..3, 4),
    ) {
        // Counts that no row need allow: all things of a class settled one way.
        let mut counts = Vec::new();
        for (class, way) in problem.classes.iter().zip(&ways) {
            let way = way % class.worth.len();
            let count = |at: usize| if at == way { class.times as f64 } else { 0.0 };
            counts.extend((0..class.worth.len()).map(count));
        }
        let shares = mixture.iter().take(problem.limits.len()).enumerate();
        let shares: Vec<(usize, f64)> = shares
            .map(|(row, part)| (row, *part as f64 / divisor as f64))
            .collect();
        let relaxed = solved(&problem, &Heap::whole(&problem));
        let mut rows = sharper::broken_by(&problem, problem.limits.len(), &relaxed);
        rows.extend(rounded(&problem, &shares, &counts));
        for settled in all_that_fit(&problem) {
            for row in &rows {
                prop_assert!(over(&problem, row, &settled) <= 0, "{row:?} {settled:?}");
            }
        }
    }
}

/// Nine things to take or leave, with four rows.
fn nine_things() -> impl Strategy<Value = Problem> {
    let thing = (1_i64..4, prop::collection::vec(0_i64..7, 4));
    let things = prop::collection::vec(thing, 9);
    (things, prop::collection::vec(4_i64..24, 4)).prop_map(|(things, limits)| Problem {
        classes: things
            .into_iter()
            .map(|(worth, uses)| Class {
                times: 1,
                worth: vec![0, worth],
                uses: uses
                    .into_iter()
                    .map(|used| vec![0, used])
                    .enumerate()
                    .collect(),
            })
            .collect(),
        limits,
    })
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(300))]

    #[test]
    fn of_nine_things_the_first_of_the_best_is_found(problem in nine_things()) {
        let best = find(problem.clone());
        prop_assert!(best.proven);
        let all = all_that_fit(&problem);
        prop_assert_eq!(best.settled.as_ref(), all.first());
    }
}
