//! The most that a heap of settlements can be worth, and prices that make this bound sharp.

use super::narrow::Heap;
use super::{CEILING, MOST_ROWS, Problem, SCALE};

/// What limits the prices of a row.
#[derive(Debug, Clone, Copy)]
pub(super) struct Scale {
    /// The highest price at which no sum can overflow.
    pub dearest: i64,
    /// One over the largest use, to make rows of many and of few pieces comparable.
    pub unit: f64,
}

/// A heap seen through prices.
#[derive(Debug, Clone)]
pub(super) struct View {
    /// No settlement of the heap is worth more; in units of one [`SCALE`]th.
    pub most: i64,
    /// For each class, what each way is worth after paying for what it uses.
    pub net: Vec<Vec<i64>>,
    /// The best way of each thing by net worth.
    pub picks: Vec<usize>,
}

impl View {
    pub fn most_whole(&self) -> i64 {
        self.most.div_euclid(SCALE)
    }
}

/// The scale of a row whose uses and limit span this much, among so many rows.
pub(super) fn scale(problem: &Problem, row: usize, span: i64) -> Scale {
    let largest = problem
        .classes
        .iter()
        .flat_map(|class| class.uses.iter().filter(|(at, _)| *at == row))
        .flat_map(|(_, uses)| uses.iter().map(|use_| use_.unsigned_abs()))
        .max()
        .unwrap_or(1)
        .max(1);
    Scale {
        // So all rows together stay below the ceiling.
        dearest: CEILING / MOST_ROWS as i64 / span.max(1),
        unit: 1.0 / largest as f64,
    }
}

/// Looks at a heap through these prices.
pub(super) fn view(problem: &Problem, heap: &Heap, prices: &[i64]) -> View {
    let net: Vec<Vec<i64>> = problem
        .classes
        .iter()
        .map(|class| {
            let mut net: Vec<i64> = class.worth.iter().map(|worth| worth * SCALE).collect();
            for (row, uses) in &class.uses {
                let price = prices[*row];
                if price > 0 {
                    for (net, use_) in net.iter_mut().zip(uses) {
                        *net -= price * use_;
                    }
                }
            }
            net
        })
        .collect();
    let mut most: i64 = prices
        .iter()
        .zip(&problem.limits)
        .map(|(price, limit)| price * limit)
        .sum();
    let mut picks = Vec::with_capacity(problem.things.len());
    for (thing, class) in problem.things.iter().enumerate() {
        let net = &net[*class];
        let (mut best, highest) = (heap.lowest[thing], heap.highest[thing]);
        for way in best + 1..=highest {
            if net[way] > net[best] {
                best = way;
            }
        }
        most += net[best];
        picks.push(best);
    }
    View { most, net, picks }
}

/// Looks for prices that show the heap to be worth less than `wanted`, or nearly so. Answers none
/// if it is; otherwise the sharpest view found, and leaves its prices in the heap.
///
/// The prices are moved along the subgradient with Polyak's step: dearer where more is used than
/// there is, cheaper where some is left.
pub(super) fn sharpen(
    problem: &Problem,
    scales: &[Scale],
    heap: &mut Heap,
    wanted: i64,
    rounds: usize,
) -> Option<View> {
    let mut best = view(problem, heap, &heap.prices);
    let mut seen = best.clone();
    let mut prices = heap.prices.clone();
    let mut stride = 1.0;
    let mut idle = 0;
    for _ in 0..rounds {
        if best.most_whole() < wanted {
            return None;
        }
        let used = problem.used(&seen.picks);
        let mut norm = 0.0;
        let mut slopes = Vec::with_capacity(used.len());
        for (row, used) in used.iter().enumerate() {
            let over = used - problem.limits[row];
            let slope = if over < 0 && prices[row] == 0 {
                0.0
            } else {
                over as f64 * scales[row].unit
            };
            norm += slope * slope;
            slopes.push(slope);
        }
        if norm == 0.0 {
            break;
        }
        let near = best.most - (best.most.abs() / 20).max(SCALE);
        let aim = (wanted * SCALE - 1).max(near);
        let step = stride * ((seen.most - aim) as f64).max(1.0) / norm;
        for (row, slope) in slopes.iter().enumerate() {
            let moved = prices[row] as f64 + step * slope * scales[row].unit;
            prices[row] = (moved as i64).clamp(0, scales[row].dearest);
        }
        seen = view(problem, heap, &prices);
        if seen.most < best.most {
            best = seen.clone();
            heap.prices.clone_from(&prices);
            idle = 0;
        } else {
            idle += 1;
            if idle == 6 {
                idle = 0;
                stride *= 0.6;
                prices.clone_from(&heap.prices);
                seen = best.clone();
            }
        }
    }
    (best.most_whole() >= wanted).then_some(best)
}

/// Strikes out ways at either end with which nothing worth `wanted` is left; false if none is left.
pub(super) fn strike(problem: &Problem, heap: &mut Heap, view: &View, wanted: i64) -> bool {
    let spare = view.most - wanted * SCALE;
    for (thing, class) in problem.things.iter().enumerate() {
        let net = &view.net[*class];
        let best = net[view.picks[thing]];
        while best - net[heap.lowest[thing]] > spare {
            if heap.lowest[thing] == heap.highest[thing] {
                return false;
            }
            heap.lowest[thing] += 1;
        }
        while best - net[heap.highest[thing]] > spare {
            if heap.lowest[thing] == heap.highest[thing] {
                return false;
            }
            heap.highest[thing] -= 1;
        }
    }
    true
}
