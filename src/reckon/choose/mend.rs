//! Making a settlement that fits out of one in fractions. A good one found early spares much search;
//! whether it is the best is for the bound to say.

use super::bound::{Heap, View};
use super::{Class, Problem, SCALE};

/// A thing of a class settled one way is settled another; the ways stand among all ways of all classes.
#[derive(Debug, Clone, Copy)]
struct Change<'a> {
    class: &'a Class,
    first: usize,
    from: usize,
    to: usize,
}

impl Change<'_> {
    /// What it makes each row use more.
    fn uses(&self) -> impl Iterator<Item = (usize, i64)> + '_ {
        let (from, to) = (self.from - self.first, self.to - self.first);
        let rows = self.class.uses.iter();
        rows.map(move |(row, uses)| (*row, uses[to] - uses[from]))
    }

    fn gain(&self) -> i64 {
        self.class.worth[self.to - self.first] - self.class.worth[self.from - self.first]
    }
}

/// Rounds the fractions, changes one thing after the other until no row is over its limit, then makes
/// things better where there is room. Answers none if it finds no way.
pub(super) fn mend(
    problem: &Problem,
    heap: &Heap,
    view: &View,
    counts: &[f64],
) -> Option<Vec<u64>> {
    let mut settled = round(problem, heap, counts)?;
    let mut used = used(problem, &settled);
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
        put(&mut settled, &mut used, change);
    }
    None
}

/// How much of each row is used.
fn used(problem: &Problem, settled: &[u64]) -> Vec<i64> {
    let mut used = vec![0; problem.limits.len()];
    for (class, ways) in problem.spans() {
        for (row, uses) in &class.uses {
            let all = uses.iter().zip(&settled[ways.clone()]);
            used[*row] += all.map(|(used, count)| used * *count as i64).sum::<i64>();
        }
    }
    used
}

/// Rounds down, and gives what is left to the largest fractions.
fn round(problem: &Problem, heap: &Heap, counts: &[f64]) -> Option<Vec<u64>> {
    let mut settled = heap.least.clone();
    for (class, ways) in problem.spans() {
        let mut left = class.times - settled[ways.clone()].iter().sum::<u64>();
        for way in ways.clone() {
            let whole = (counts[way] + 1e-6).floor().max(0.0) as u64;
            let more = whole
                .min(heap.most[way])
                .saturating_sub(settled[way])
                .min(left);
            settled[way] += more;
            left -= more;
        }
        while left > 0 {
            let open = ways.clone().filter(|way| settled[*way] < heap.most[*way]);
            let lacks = |way: &usize| counts[*way] - settled[*way] as f64;
            let way = open.max_by(|one, two| lacks(one).total_cmp(&lacks(two)))?;
            settled[way] += 1;
            left -= 1;
        }
    }
    Some(settled)
}

/// Every change that the heap allows.
fn changes<'a>(
    problem: &'a Problem,
    heap: &Heap,
    settled: &[u64],
) -> impl Iterator<Item = Change<'a>> {
    problem.spans().flat_map(move |(class, ways)| {
        let first = ways.start;
        let from = ways
            .clone()
            .filter(move |way| settled[*way] > heap.least[*way]);
        from.flat_map(move |from| {
            let to = ways
                .clone()
                .filter(move |way| *way != from && settled[*way] < heap.most[*way]);
            to.map(move |to| Change {
                class,
                first,
                from,
                to,
            })
        })
    })
}

fn put(settled: &mut [u64], used: &mut [i64], change: Change<'_>) {
    change.uses().for_each(|(row, more)| used[row] += more);
    settled[change.from] -= 1;
    settled[change.to] += 1;
}

/// The change that brings the rows back most for what it costs.
fn most_relief<'a>(
    problem: &'a Problem,
    heap: &'a Heap,
    view: &View,
    settled: &[u64],
    used: &[i64],
) -> Option<Change<'a>> {
    let mut best: Option<(f64, Change<'a>)> = None;
    for change in changes(problem, heap, settled) {
        let mut relief = 0.0;
        for (row, more) in change.uses() {
            let now = used[row] - problem.limits[row];
            let then = now + more;
            relief += (now.max(0) - then.max(0)) as f64;
        }
        if relief <= 0.0 {
            continue;
        }
        let net = view.net[change.from] - view.net[change.to];
        let cost = -change.gain().min(0) as f64 + 2.0 * net.max(0) as f64 / SCALE as f64 + 0.01;
        if best.is_none_or(|(ratio, _)| relief / cost > ratio) {
            best = Some((relief / cost, change));
        }
    }
    best.map(|(_, change)| change)
}

/// Settles things better wherever it fits, each time where it is worth most; of equals what is worth most
/// at the prices, then the first.
fn improve(problem: &Problem, heap: &Heap, view: &View, settled: &mut [u64], used: &mut [i64]) {
    loop {
        let mut best: Option<((i64, i64), Change<'_>)> = None;
        for change in changes(problem, heap, settled) {
            let gain = change.gain();
            let net = view.net[change.to] - view.net[change.from];
            let fits = || {
                let mut rows = change.uses();
                rows.all(|(row, more)| used[row] + more <= problem.limits[row])
            };
            if gain > 0 && best.is_none_or(|(most, _)| (gain, net) > most) && fits() {
                best = Some(((gain, net), change));
            }
        }
        let Some((_, change)) = best else {
            return;
        };
        put(settled, used, change);
    }
}
