//! Making a settlement that fits out of one that does not quite. A good one found early spares much search;
//! whether it is the best is for the bound to say.

use super::Problem;
use super::bound::View;
use super::narrow::Heap;

/// Changes one thing after the other until no row is over its limit, then makes things better where
/// there is room. Answers none if it finds no way.
pub(super) fn mend(problem: &Problem, heap: &Heap, view: &View) -> Option<Vec<usize>> {
    let mut picks = view.picks.clone();
    let mut used = problem.used(&picks);
    for _ in 0..2 * problem.things.len() + 8 {
        if over(problem, &used) == 0 {
            improve(problem, heap, &mut picks, &mut used);
            return Some(picks);
        }
        let (thing, way) = most_relief(problem, heap, view, &picks, &used)?;
        put(problem, &mut picks, &mut used, thing, way);
    }
    None
}

fn over(problem: &Problem, used: &[i64]) -> i64 {
    let over = used.iter().zip(&problem.limits);
    over.map(|(used, limit)| (used - limit).max(0)).sum()
}

fn put(problem: &Problem, picks: &mut [usize], used: &mut [i64], thing: usize, way: usize) {
    for (row, uses) in &problem.classes[problem.things[thing]].uses {
        used[*row] += uses[way] - uses[picks[thing]];
    }
    picks[thing] = way;
}

/// The change that brings the rows back most for what it costs.
fn most_relief(
    problem: &Problem,
    heap: &Heap,
    view: &View,
    picks: &[usize],
    used: &[i64],
) -> Option<(usize, usize)> {
    let mut best: Option<(f64, usize, usize)> = None;
    let mut before: Option<(usize, usize)> = None;
    for (thing, class) in problem.things.iter().enumerate() {
        let (lowest, highest) = (heap.lowest[thing], heap.highest[thing]);
        // Of things alike and settled alike, the first will do.
        if lowest == highest || before == Some((*class, picks[thing])) {
            continue;
        }
        before = Some((*class, picks[thing]));
        let class_ = &problem.classes[*class];
        for way in (lowest..=highest).filter(|way| *way != picks[thing]) {
            let mut relief = 0.0;
            for (row, uses) in &class_.uses {
                let now = used[*row] - problem.limits[*row];
                let then = now + uses[way] - uses[picks[thing]];
                let share = (now.max(0) - then.max(0)) as f64;
                relief += share / (problem.limits[*row].unsigned_abs() + 1) as f64;
            }
            if relief <= 0.0 {
                continue;
            }
            let worth = (class_.worth[picks[thing]] - class_.worth[way]).max(0) as f64;
            let net = (view.net[*class][picks[thing]] - view.net[*class][way]).max(0) as f64;
            let cost = worth + net / super::SCALE as f64 + 0.01;
            if best.is_none_or(|(ratio, _, _)| relief / cost > ratio) {
                best = Some((relief / cost, thing, way));
            }
        }
    }
    best.map(|(_, thing, way)| (thing, way))
}

/// Settles things better wherever it fits, each time where it is worth most, the first of equals.
fn improve(problem: &Problem, heap: &Heap, picks: &mut [usize], used: &mut [i64]) {
    loop {
        let mut best: Option<(i64, usize, usize)> = None;
        for (thing, class) in problem.things.iter().enumerate() {
            let class = &problem.classes[*class];
            for way in heap.lowest[thing]..=heap.highest[thing] {
                let gain = class.worth[way] - class.worth[picks[thing]];
                if gain > best.map_or(0, |(gain, _, _)| gain)
                    && class.uses.iter().all(|(row, uses)| {
                        used[*row] + uses[way] - uses[picks[thing]] <= problem.limits[*row]
                    })
                {
                    best = Some((gain, thing, way));
                }
            }
        }
        let Some((_, thing, way)) = best else {
            return;
        };
        put(problem, picks, used, thing, way);
    }
}
