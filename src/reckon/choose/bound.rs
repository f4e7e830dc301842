//! The most that a heap of settlements can be worth, in whole numbers.

use super::{CEILING, MOST_ROWS, Problem, SCALE};

/// A heap of settlements: how many things at least and at most are settled each way. All ways of all classes
/// stand in one list, class after class ([`Problem::spans`]), since heaps are copied often.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Heap {
    pub least: Vec<u64>,
    pub most: Vec<u64>,
}

/// A heap seen through prices.
#[derive(Debug, Clone)]
pub(super) struct View {
    /// No settlement of the heap is worth more; in units of one [`SCALE`]th.
    pub most: i64,
    /// Way → what it is worth after paying for what it uses.
    pub net: Vec<i64>,
    /// The settlement that is worth most so, whether it fits or not.
    best: Vec<u64>,
}

impl View {
    pub fn most_whole(&self) -> i64 {
        self.most.div_euclid(SCALE)
    }
}

/// The highest price of a row at which no sum can overflow, even with as many rows as there may be.
pub(super) fn dearest(span: i64) -> i64 {
    CEILING / MOST_ROWS as i64 / span.max(1)
}

impl Heap {
    /// Every settlement.
    pub fn whole(problem: &Problem) -> Self {
        let classes = problem.classes.iter();
        let most = classes.flat_map(|class| class.worth.iter().map(|_| class.times));
        let most: Vec<u64> = most.collect();
        Self {
            least: vec![0; most.len()],
            most,
        }
    }

    /// Makes the limits of each class agree with its number of things; false if they cannot.
    pub fn agree(&mut self, problem: &Problem) -> bool {
        for (class, ways) in problem.spans() {
            let (least, most) = (&mut self.least[ways.clone()], &mut self.most[ways]);
            let all_least: u64 = least.iter().sum();
            let all_most: u64 = most.iter().sum();
            if all_least > class.times || all_most < class.times {
                return false;
            }
            for (least, most) in least.iter_mut().zip(most) {
                let (fewest, greatest) = (*least, *most);
                *least = fewest.max(class.times.saturating_sub(all_most - greatest));
                *most = greatest.min(class.times - (all_least - fewest));
                if *least > *most {
                    return false;
                }
            }
        }
        true
    }

    /// Looks at the heap through these prices. The limits of each class must agree.
    pub fn view(&self, problem: &Problem, prices: &[i64]) -> View {
        let limits = prices.iter().zip(&problem.limits);
        let mut view = View {
            most: limits.map(|(price, limit)| price * limit).sum(),
            net: Vec::with_capacity(self.least.len()),
            best: self.least.clone(),
        };
        for (class, ways) in problem.spans() {
            view.net
                .extend(class.worth.iter().map(|worth| worth * SCALE));
            let net = &mut view.net[ways.clone()];
            for (row, uses) in &class.uses {
                let price = prices[*row];
                if price > 0 {
                    for (net, used) in net.iter_mut().zip(uses) {
                        *net -= price * used;
                    }
                }
            }
            // The least of each way, then the best ways as far as they may go.
            let most = &self.most[ways.clone()];
            let best = &mut view.best[ways];
            let mut left = class.times - best.iter().sum::<u64>();
            while left > 0 {
                let open = (0..net.len()).filter(|way| best[*way] < most[*way]);
                let Some(way) = open.max_by_key(|way| (net[*way], std::cmp::Reverse(*way))) else {
                    break;
                };
                let more = left.min(most[way] - best[way]);
                best[way] += more;
                left -= more;
            }
            let worth = net.iter().zip(best).map(|(net, count)| net * *count as i64);
            view.most += worth.sum::<i64>();
        }
        view
    }

    /// Strikes out numbers of things with which nothing worth `wanted` is left. Whether any was struck.
    pub fn strike(&mut self, problem: &Problem, view: &View, wanted: i64) -> bool {
        let spare = view.most - wanted * SCALE;
        let mut struck = false;
        for (_, ways) in problem.spans() {
            let (net, best) = (&view.net[ways.clone()], &view.best[ways.clone()]);
            let (least, most) = (&mut self.least[ways.clone()], &mut self.most[ways]);
            // One more of a way takes the place of one that is no worse than the worst that could go,
            // one fewer makes place for one that is no better than the best that could come.
            let goes = (0..net.len())
                .filter(|way| best[*way] > least[*way])
                .map(|way| net[way])
                .min();
            let comes = (0..net.len())
                .filter(|way| best[*way] < most[*way])
                .map(|way| net[way])
                .max();
            let (Some(goes), Some(comes)) = (goes, comes) else {
                continue;
            };
            for way in 0..net.len() {
                let lost_by_more = goes - net[way];
                if lost_by_more > 0 {
                    let highest = best[way] + (spare / lost_by_more) as u64;
                    if highest < most[way] {
                        most[way] = highest;
                        struck = true;
                    }
                }
                let lost_by_fewer = net[way] - comes;
                if lost_by_fewer > 0 {
                    let lowest = best[way].saturating_sub((spare / lost_by_fewer) as u64);
                    if lowest > least[way] {
                        least[way] = lowest;
                        struck = true;
                    }
                }
            }
        }
        struck
    }
}
