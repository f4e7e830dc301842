//! The search itself: heaps are bounded, divided, and put aside.

use super::bound::{self, Scale, View};
use super::mend::mend;
use super::narrow::Heap;
use super::{ChooseRefused, MOST_ROWS, Picks, Problem, Row};

/// How often the prices of the first heap are moved, and those of a later one.
const FIRST_ROUNDS: usize = 150;
const ROUNDS: usize = 12;

/// The best settlement found.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Best {
    /// None if nothing fits, or, without proof, if nothing was found that fits.
    pub picks: Option<Picks>,
    /// Whether it is proven that nothing is better.
    pub proven: bool,
    /// How many heaps were looked at.
    pub steps: u64,
}

struct Search<F> {
    problem: Problem,
    scales: Vec<Scale>,
    /// A row that these picks break although every known row holds.
    broken: F,
    steps: u64,
    most_steps: u64,
}

impl Best {
    /// Finds the settlement of the greatest worth, in at most `most_steps` steps.
    ///
    /// Of several that are worth the same, the one that settles the first thing of `order` highest is
    /// chosen, then the second, and so on; with an empty order, any.
    ///
    /// `broken` is asked about every settlement that would be taken: where it answers with a row, the
    /// settlement is not taken and the row holds from then on. The row must hold for every settlement
    /// that counts, and must be broken by the one asked about.
    pub fn find(
        problem: Problem,
        order: &[usize],
        most_steps: u64,
        broken: impl FnMut(&[usize]) -> Option<Row>,
    ) -> Result<Self, ChooseRefused> {
        if !problem.worth_fits() {
            return Err(ChooseRefused::TooLarge);
        }
        let mut search = Search {
            scales: Vec::new(),
            problem,
            broken,
            steps: 0,
            most_steps,
        };
        for row in 0..search.problem.limits.len() {
            search.measure(row)?;
        }
        let mut picks = None;
        let proven = match search.all(order, &mut picks) {
            Ok(()) => true,
            Err(Stopped::OutOfSteps) => false,
            Err(Stopped::Refused(refused)) => return Err(refused),
        };
        Ok(Self {
            picks,
            proven,
            steps: search.steps,
        })
    }
}

/// What stops a search early.
enum Stopped {
    OutOfSteps,
    Refused(ChooseRefused),
}

impl From<ChooseRefused> for Stopped {
    fn from(refused: ChooseRefused) -> Self {
        Self::Refused(refused)
    }
}

impl<F: FnMut(&[usize]) -> Option<Row>> Search<F> {
    fn measure(&mut self, row: usize) -> Result<(), ChooseRefused> {
        if row >= MOST_ROWS {
            return Err(ChooseRefused::TooLarge);
        }
        let span = self.problem.span(row).ok_or(ChooseRefused::TooLarge)?;
        self.scales.push(bound::scale(&self.problem, row, span));
        Ok(())
    }

    /// First the greatest worth, then each thing of the order as high as that worth allows.
    fn all(&mut self, order: &[usize], picks: &mut Option<Picks>) -> Result<(), Stopped> {
        let mut whole = Heap {
            lowest: vec![0; self.problem.things.len()],
            highest: self
                .problem
                .things
                .iter()
                .map(|class| self.problem.classes[*class].worth.len().saturating_sub(1))
                .collect(),
            prices: vec![0; self.problem.limits.len()],
        };
        self.best(&mut whole, None, picks)?;
        let Some(mut found) = picks.clone() else {
            return Ok(());
        };
        let wanted = self.problem.worth(&found);
        for thing in order {
            while found[*thing] < whole.highest[*thing] {
                let mut higher = whole.clone();
                higher.lowest[*thing] = found[*thing] + 1;
                let mut better = None;
                self.best(&mut higher, Some(wanted), &mut better)?;
                let Some(better) = better else {
                    break;
                };
                found.clone_from(&better);
                *picks = Some(better);
            }
            whole.lowest[*thing] = found[*thing];
            whole.highest[*thing] = found[*thing];
        }
        Ok(())
    }

    /// The best of this heap; or, where a worth is wanted, the first that has it.
    fn best(
        &mut self,
        whole: &mut Heap,
        wanted: Option<i64>,
        picks: &mut Option<Picks>,
    ) -> Result<(), Stopped> {
        let first_only = wanted.is_some();
        // Below every worth there is, so that the first settlement that fits is better.
        let mut wanted = wanted.unwrap_or(-(1 << 40));
        let mut first = !first_only;
        let mut open = vec![whole.clone()];
        while let Some(mut heap) = open.pop() {
            if self.steps >= self.most_steps {
                return Err(Stopped::OutOfSteps);
            }
            self.steps += 1;
            heap.prices.resize(self.problem.limits.len(), 0);
            if !heap.narrow(&self.problem) {
                continue;
            }
            let view = loop {
                if picks.is_none() && !first_only {
                    // A first settlement, so that there is something to be better than.
                    let view = bound::view(&self.problem, &heap, &heap.prices);
                    self.take(&mut heap, &view, &mut wanted, picks)?;
                }
                let rounds = if first { FIRST_ROUNDS } else { ROUNDS };
                let Some(view) =
                    bound::sharpen(&self.problem, &self.scales, &mut heap, wanted, rounds)
                else {
                    break None;
                };
                if first {
                    first = false;
                    whole.prices.clone_from(&heap.prices);
                }
                if self.take(&mut heap, &view, &mut wanted, picks)? {
                    if first_only {
                        return Ok(());
                    }
                    if view.most_whole() < wanted {
                        break None;
                    }
                }
                let before = (heap.lowest.clone(), heap.highest.clone());
                if !bound::strike(&self.problem, &mut heap, &view, wanted)
                    || !heap.narrow(&self.problem)
                {
                    break None;
                }
                if before == (heap.lowest.clone(), heap.highest.clone()) {
                    break Some(view);
                }
            };
            if let Some(view) = view {
                self.divide(heap, &view, &mut open);
            }
        }
        Ok(())
    }

    /// Tries to make a settlement worth more than was found so far; whether it did.
    fn take(
        &mut self,
        heap: &mut Heap,
        view: &View,
        wanted: &mut i64,
        picks: &mut Option<Picks>,
    ) -> Result<bool, Stopped> {
        loop {
            let Some(made) = mend(&self.problem, heap, view) else {
                return Ok(false);
            };
            let worth = self.problem.worth(&made);
            if worth < *wanted {
                return Ok(false);
            }
            let Some(row) = (self.broken)(&made) else {
                *picks = Some(made);
                *wanted = worth + 1;
                return Ok(true);
            };
            self.add(row)?;
            heap.prices.push(0);
        }
    }

    fn add(&mut self, row: Row) -> Result<(), Stopped> {
        let at = self.problem.limits.len();
        self.problem.limits.push(row.limit);
        for (class, uses) in row.uses {
            self.problem.classes[class].uses.push((at, uses));
        }
        self.measure(at)?;
        Ok(())
    }

    /// Divides a heap at the thing whose two best ways are nearest to each other in net worth. The
    /// half with the better one is looked at first.
    fn divide(&self, heap: Heap, view: &View, open: &mut Vec<Heap>) {
        let mut nearest: Option<(i64, usize)> = None;
        for (thing, class) in self.problem.things.iter().enumerate() {
            let net = &view.net[*class];
            let pick = view.picks[thing];
            let others = (heap.lowest[thing]..=heap.highest[thing]).filter(|way| *way != pick);
            if let Some(lost) = others.map(|way| net[pick].saturating_sub(net[way])).min()
                && nearest.is_none_or(|(least, _)| lost < least)
            {
                nearest = Some((lost, thing));
            }
        }
        // Nothing left to divide: the one settlement was looked at by `take`.
        let Some((_, thing)) = nearest else {
            return;
        };
        let pick = view.picks[thing];
        let (lowest, highest) = (heap.lowest[thing], heap.highest[thing]);
        let at = if pick < highest { pick } else { highest - 1 }.max(lowest);
        let mut lower = heap.clone();
        lower.highest[thing] = at;
        let mut upper = heap;
        upper.lowest[thing] = at + 1;
        if pick <= at {
            open.push(upper);
            open.push(lower);
        } else {
            open.push(lower);
            open.push(upper);
        }
    }
}
