//! Making a settlement that fits out of one in fractions. A good one found early spares much search;
//! whether it is the best is for the bound to say.

use super::bound::{Heap, View};
use super::{Problem, SCALE, Settled};

/// A thing of a class settled one way is settled another.
#[derive(Debug, Clone, Copy)]
struct Change {
    class: usize,
    from: usize,
    to: usize,
}

/// Rounds the fractions, changes one thing after the other until no row is over its limit, then makes
/// things better where there is room. Answers none if it finds no way.
pub(super) fn mend(problem: &Problem, heap: &Heap, view: &View, counts: &[f64]) -> Option<Settled> {
    let mut settled = round(problem, heap, counts)?;
    let mut used = problem.used(&settled);
    for _ in 0..100 {
        if used
            .iter()
            .zip(&problem.limits)
            .all(|(used, limit)| used <= limit)
        {
            improve(problem, heap, view, &mut settled, &mut used);
            return Some(settled);
        }
        let change = most_relief(problem, heap, view, &settled, &used)?;
        put(problem, &mut settled, &mut used, change);
    }
    None
}

/// Rounds down, and gives what is left to the largest fractions.
fn round(problem: &Problem, heap: &Heap, counts: &[f64]) -> Option<Settled> {
    let mut first = 0;
    let mut all = Vec::with_capacity(problem.classes.len());
    for (at, class) in problem.classes.iter().enumerate() {
        let ways = class.worth.len();
        let fractions = &counts[first..first + ways];
        first += ways;
        let mut settled = heap.least[at].clone();
        let mut left = class.times - settled.iter().sum::<u64>();
        for (way, count) in settled.iter_mut().enumerate() {
            let whole = (fractions[way] + 1e-6).floor().max(0.0) as u64;
            let more = whole
                .min(heap.most[at][way])
                .saturating_sub(*count)
                .min(left);
            *count += more;
            left -= more;
        }
        while left > 0 {
            let open = (0..ways).filter(|way| settled[*way] < heap.most[at][*way]);
            let lacks = |way: &usize| fractions[*way] - settled[*way] as f64;
            let way = open.max_by(|one, two| lacks(one).total_cmp(&lacks(two)))?;
            settled[way] += 1;
            left -= 1;
        }
        all.push(settled);
    }
    Some(all)
}

/// Every change that the heap allows.
fn changes<'a>(
    problem: &'a Problem,
    heap: &'a Heap,
    settled: &'a Settled,
) -> impl Iterator<Item = Change> + 'a {
    problem
        .classes
        .iter()
        .enumerate()
        .flat_map(move |(class, ways)| {
            let ways = 0..ways.worth.len();
            let from = ways
                .clone()
                .filter(move |way| settled[class][*way] > heap.least[class][*way]);
            from.flat_map(move |from| {
                let to = ways.clone().filter(move |way| {
                    *way != from && settled[class][*way] < heap.most[class][*way]
                });
                to.map(move |to| Change { class, from, to })
            })
        })
}

fn put(problem: &Problem, settled: &mut Settled, used: &mut [i64], change: Change) {
    for (row, uses) in &problem.classes[change.class].uses {
        used[*row] += uses[change.to] - uses[change.from];
    }
    settled[change.class][change.from] -= 1;
    settled[change.class][change.to] += 1;
}

/// The change that brings the rows back most for what it costs.
fn most_relief(
    problem: &Problem,
    heap: &Heap,
    view: &View,
    settled: &Settled,
    used: &[i64],
) -> Option<Change> {
    let mut best: Option<(f64, Change)> = None;
    for change in changes(problem, heap, settled) {
        let class = &problem.classes[change.class];
        let mut relief = 0.0;
        for (row, uses) in &class.uses {
            let now = used[*row] - problem.limits[*row];
            let then = now + uses[change.to] - uses[change.from];
            relief += (now.max(0) - then.max(0)) as f64;
        }
        if relief <= 0.0 {
            continue;
        }
        let worth = class.worth[change.from] - class.worth[change.to];
        let net = view.net[change.class][change.from] - view.net[change.class][change.to];
        let cost = worth.max(0) as f64 + 2.0 * net.max(0) as f64 / SCALE as f64 + 0.01;
        if best.is_none_or(|(ratio, _)| relief / cost > ratio) {
            best = Some((relief / cost, change));
        }
    }
    best.map(|(_, change)| change)
}

/// Settles things better wherever it fits, each time where it is worth most; of equals what is worth most
/// at the prices, then the first.
fn improve(problem: &Problem, heap: &Heap, view: &View, settled: &mut Settled, used: &mut [i64]) {
    loop {
        let mut best: Option<((i64, i64), Change)> = None;
        for change in changes(problem, heap, settled) {
            let class = &problem.classes[change.class];
            let gain = class.worth[change.to] - class.worth[change.from];
            let net = view.net[change.class][change.to] - view.net[change.class][change.from];
            let fits = || {
                class.uses.iter().all(|(row, uses)| {
                    used[*row] + uses[change.to] - uses[change.from] <= problem.limits[*row]
                })
            };
            if gain > 0 && best.is_none_or(|(most, _)| (gain, net) > most) && fits() {
                best = Some(((gain, net), change));
            }
        }
        let Some((_, change)) = best else {
            return;
        };
        put(problem, settled, used, change);
    }
}
