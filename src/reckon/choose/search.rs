//! The search itself: heaps are bounded, divided, and put aside.

use std::ops::Range;
use std::rc::Rc;

use super::bound::{self, Heap, View};
use super::mend::mend;
use super::relaxed::Relaxed;
use super::sharper;
use super::{ChooseRefused, MOST_ROWS, Problem, Row, SCALE, Settled};

/// In each of the first steps, and then in each so many, fractions are mended. Where there are none, always.
const MENDED: u64 = 16;

/// How often rows are added before the search.
const SHARPENED: usize = 8;

/// How often in a row they may lower the bound but little, and what is little.
const STALLED: u32 = 3;
const LITTLE: i64 = SCALE / 20;

/// The best settlement found.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Best {
    /// None if nothing fits, or, without proof, if nothing was found that fits.
    pub settled: Option<Settled>,
    /// Whether it is proven that nothing is better.
    pub proven: bool,
    /// How many heaps were looked at.
    pub steps: u64,
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

/// Losses are compared between these: below, it is the other half's that tells; above, a half is put aside anyway.
const LEAST_LOSS: f64 = 1e-3;
const MOST_LOSS: f64 = 1e6;

struct Search<F> {
    problem: Problem,
    /// The highest price of each row.
    dearest: Vec<i64>,
    /// A row that a settlement breaks although every known row holds.
    broken: F,
    steps: u64,
    most_steps: u64,
}

impl Best {
    /// Finds the settlement of the greatest worth, in at most `most_steps` steps.
    ///
    /// Of several that are worth the same, the one that settles the thing of the first class of `order`
    /// highest is chosen, then that of the second, and so on; with an empty order, any. Classes
    /// of several things have no place in the order.
    ///
    /// `start`, if it fits, is what the search must better.
    ///
    /// `broken` is asked about every settlement that would be taken: where it answers with a row, the
    /// settlement is not taken and the row holds from then on. The row must hold for every settlement
    /// that counts, and must be broken by the one asked about.
    pub fn find(
        problem: Problem,
        order: &[usize],
        start: Option<Settled>,
        most_steps: u64,
        broken: impl FnMut(&Settled) -> Option<Row>,
    ) -> Result<Self, ChooseRefused> {
        if !problem.worth_fits() {
            return Err(ChooseRefused::TooLarge);
        }
        let mut search = Search {
            dearest: Vec::new(),
            problem,
            broken,
            steps: 0,
            most_steps,
        };
        for row in 0..search.problem.limits.len() {
            search.measure(row)?;
        }
        let mut settled = start.filter(|start| search.problem.fits(start));
        let proven = match search.all(order, &mut settled) {
            Ok(()) => true,
            Err(Stopped::OutOfSteps) => false,
            Err(Stopped::Refused(refused)) => return Err(refused),
        };
        Ok(Self {
            settled,
            proven,
            steps: search.steps,
        })
    }
}

impl<F: FnMut(&Settled) -> Option<Row>> Search<F> {
    /// Where the ways of a class stand among all ways.
    fn ways_of(&self, class: usize) -> Range<usize> {
        let mut spans = self.problem.spans();
        spans.nth(class).map_or(0..0, |(_, ways)| ways)
    }

    fn measure(&mut self, row: usize) -> Result<(), ChooseRefused> {
        let span = self.problem.span(row).filter(|_| row < MOST_ROWS);
        self.dearest
            .push(bound::dearest(span.ok_or(ChooseRefused::TooLarge)?));
        Ok(())
    }

    /// First the greatest worth, then each thing of the order as high as that worth allows.
    fn all(&mut self, order: &[usize], settled: &mut Option<Settled>) -> Result<(), Stopped> {
        if settled
            .as_ref()
            .is_some_and(|found| (self.broken)(found).is_some())
        {
            *settled = None;
        }
        let mut whole = Heap::whole(&self.problem);
        if self.most_steps == 0 {
            return Err(Stopped::OutOfSteps);
        }
        if !whole.agree(&self.problem) {
            return Ok(());
        }
        let start = Rc::new(self.sharpen(&mut whole, settled)?);
        self.best(&whole, &start, None, settled)?;
        let Some(mut found) = settled.clone() else {
            return Ok(());
        };
        let wanted = self.problem.worth(&found);
        for class in order {
            if self.problem.classes[*class].times != 1 {
                continue;
            }
            loop {
                let way = found[*class]
                    .iter()
                    .position(|count| *count == 1)
                    .unwrap_or(0);
                let mut higher = whole.clone();
                let ways = self.ways_of(*class);
                higher.most[ways.start..=ways.start + way].fill(0);
                let mut better = None;
                self.best(&higher, &start, Some(wanted), &mut better)?;
                let Some(better) = better else {
                    break;
                };
                found.clone_from(&better);
                *settled = Some(better);
            }
            let ways = self.ways_of(*class);
            whole.least[ways.clone()].copy_from_slice(&found[*class]);
            whole.most[ways].copy_from_slice(&found[*class]);
        }
        Ok(())
    }

    /// Adds rows that the relaxation breaks, strikes out what is worth less than what was found, and
    /// answers the relaxation with what is left.
    fn sharpen(
        &mut self,
        whole: &mut Heap,
        settled: &mut Option<Settled>,
    ) -> Result<Relaxed, Stopped> {
        let given = self.problem.limits.len();
        let mut relaxed = Relaxed::new(&self.problem, whole);
        let mut before = i64::MAX;
        let mut stalled = 0;
        for round in 0..=SHARPENED {
            let worth = settled.as_ref().map(|found| self.problem.worth(found));
            let mut wanted = worth.unwrap_or_else(|| self.problem.least_worth());
            relaxed.solve(whole, wanted);
            let view = self.view(whole, &relaxed, wanted);
            if relaxed.proof.is_some() || view.most_whole() < wanted {
                break;
            }
            if let Some(better) = self.take(whole, &view, &relaxed, wanted)? {
                wanted = self.problem.worth(&better);
                *settled = Some(better);
            }
            whole.strike(&self.problem, &view, wanted);
            if !whole.agree(&self.problem) {
                break;
            }
            let done = settled.is_some() && view.most_whole() == wanted;
            stalled = if view.most > before - LITTLE {
                stalled + 1
            } else {
                0
            };
            let rows = if done || round == SHARPENED || stalled >= STALLED {
                Vec::new()
            } else {
                sharper::broken_by(&self.problem, given, &relaxed)
            };
            before = view.most;
            if relaxed.has_rows(self.problem.limits.len()) {
                // What was added and costs nothing does not sharpen the relaxation: it is forgotten. Nothing
                // is lost: it follows from the given rows, or `broken` finds it again.
                let prices = relaxed.prices().into_iter().enumerate();
                let kept = prices.map(|(row, price)| row < given || price > 0.0);
                let kept: Vec<bool> = kept.collect();
                self.problem.keep_rows(&kept);
                let mut kept = kept.into_iter();
                self.dearest.retain(|_| kept.next().unwrap_or(false));
            }
            let last = rows.is_empty();
            // Half of the room there is for rows is for those found late.
            let room = (MOST_ROWS - self.problem.limits.len()) / 2;
            for row in rows.into_iter().take(room) {
                self.add(row)?;
            }
            relaxed = Relaxed::new(&self.problem, whole);
            if last {
                break;
            }
        }
        Ok(relaxed)
    }

    fn add(&mut self, row: Row) -> Result<(), Stopped> {
        let at = self.problem.limits.len();
        self.problem.limits.push(row.limit);
        for (class, uses) in row.uses {
            self.problem.classes[class].uses.push((at, uses));
        }
        Ok(self.measure(at)?)
    }

    /// The best of this heap; or, where a worth is wanted, the first that has it.
    fn best(
        &mut self,
        whole: &Heap,
        start: &Rc<Relaxed>,
        first_with: Option<i64>,
        settled: &mut Option<Settled>,
    ) -> Result<(), Stopped> {
        let better_than = settled.as_ref().map(|found| self.problem.worth(found) + 1);
        let mut wanted = first_with
            .or(better_than)
            .unwrap_or_else(|| self.problem.least_worth());
        let mut open = vec![(whole.clone(), Rc::clone(start))];
        while let Some((mut heap, table)) = open.pop() {
            if self.steps >= self.most_steps {
                return Err(Stopped::OutOfSteps);
            }
            self.steps += 1;
            let mut relaxed = Relaxed::clone(&table);
            drop(table);
            let undecided = loop {
                if !heap.agree(&self.problem) {
                    break false;
                }
                if !relaxed.has_rows(self.problem.limits.len()) || relaxed.is_too_large_for(&heap) {
                    relaxed = Relaxed::new(&self.problem, &heap);
                }
                relaxed.solve(&heap, wanted);
                let view = self.view(&heap, &relaxed, wanted);
                if view.most_whole() < wanted {
                    break false;
                }
                if let Some(better) = self.take(&heap, &view, &relaxed, wanted)? {
                    wanted = self.problem.worth(&better) + 1;
                    *settled = Some(better);
                    if first_with.is_some() {
                        return Ok(());
                    }
                    if view.most_whole() < wanted {
                        break false;
                    }
                }
                let rows_known = relaxed.has_rows(self.problem.limits.len());
                if !heap.strike(&self.problem, &view, wanted) && rows_known {
                    break true;
                }
            };
            if undecided {
                Self::divide(heap, relaxed, &mut open);
            }
        }
        Ok(())
    }

    /// The heap through the prices of the relaxation.
    fn view(&self, heap: &Heap, relaxed: &Relaxed, wanted: i64) -> View {
        let whole = |price: f64, row: usize| {
            ((price * SCALE as f64).round() as i64).clamp(0, self.dearest[row])
        };
        let fine = relaxed.prices();
        let rows = fine.iter().enumerate();
        let prices: Vec<i64> = rows.map(|(row, price)| whole(*price, row)).collect();
        let view = heap.view(&self.problem, &prices);
        let Some(proof) = &relaxed.proof else {
            return view;
        };
        // Nothing fits in fractions: with these prices added often enough the bound falls below any worth.
        let often = 2.0 * ((view.most - wanted * SCALE) as f64 / SCALE as f64 + 1.0).max(1.0);
        let prices: Vec<i64> = fine
            .iter()
            .zip(proof)
            .enumerate()
            .map(|(row, (price, more))| whole(price + often * more, row))
            .collect();
        let proven = heap.view(&self.problem, &prices);
        if proven.most < view.most {
            proven
        } else {
            view
        }
    }

    /// Tries to make a settlement worth as much as is wanted.
    fn take(
        &mut self,
        heap: &Heap,
        view: &View,
        relaxed: &Relaxed,
        wanted: i64,
    ) -> Result<Option<Settled>, Stopped> {
        let whole = |count: &f64| (count - count.round()).abs() < 1e-6;
        let due = self.steps <= MENDED || self.steps.is_multiple_of(MENDED);
        if !due && !relaxed.counts().iter().all(whole) {
            return Ok(None);
        }
        loop {
            let made = mend(&self.problem, heap, view, relaxed.counts());
            let made = made.map(|made| self.problem.by_class(&made));
            let Some(made) = made.filter(|made| self.problem.worth(made) >= wanted) else {
                return Ok(None);
            };
            let Some(row) = (self.broken)(&made) else {
                return Ok(Some(made));
            };
            self.add(row)?;
        }
    }

    /// Divides a heap where both halves lose much: at the fraction with the greatest product of what is lost
    /// below and above it (losses as Driebeek, Management Science 12, 1966; their product as Achterberg, "Constraint
    /// integer programming", 2007; both from memory); of equals, at the one farthest from whole. If all counts
    /// are whole, at the first that is not settled. Where a heap is divided decides how long the search is, not
    /// what it finds. The half nearer to the relaxation is looked at first.
    fn divide(heap: Heap, relaxed: Relaxed, open: &mut Vec<(Heap, Rc<Relaxed>)>) {
        let counts = relaxed.counts();
        let mut best: Option<(f64, f64, usize)> = None;
        for fraction in relaxed.fractions() {
            let way = fraction.way;
            let (below, above) = (fraction.lost_below, fraction.lost_above);
            let score = below.clamp(LEAST_LOSS, MOST_LOSS) * above.clamp(LEAST_LOSS, MOST_LOSS);
            let broken = (counts[way] - counts[way].round()).abs();
            let better = best.is_none_or(|(most, farthest, _)| {
                score > most + 1e-9 || (score > most - 1e-9 && broken > farthest + 1e-6)
            });
            if heap.least[way] < heap.most[way] && better {
                best = Some((score, broken, way));
            }
        }
        let first_open = || (0..counts.len()).find(|way| heap.least[*way] < heap.most[*way]);
        // Nothing left to divide: the table was made anew without a column, so its counts are whole, and
        // `take` looked at the one settlement.
        let Some(way) = best.map(|(.., way)| way).or_else(first_open) else {
            return;
        };
        let count = counts[way];
        let (least, most) = (heap.least[way], heap.most[way]);
        let at = (count.floor().max(0.0) as u64).clamp(least, most - 1);
        let table = Rc::new(relaxed);
        let mut lower = heap.clone();
        lower.most[way] = at;
        let mut upper = heap;
        upper.least[way] = at + 1;
        let halves = [(lower, Rc::clone(&table)), (upper, table)];
        if count - at as f64 >= 0.5 {
            open.extend(halves);
        } else {
            open.extend(halves.into_iter().rev());
        }
    }
}
