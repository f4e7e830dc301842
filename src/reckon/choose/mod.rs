//! Choosing: the best way to settle many small decisions that share what there is.
//!
//! In plain words: each thing has a few ways to be settled, each way is worth something and uses up some of
//! what is shared, and the whole may not use more than there is. The search finds the settlement of the
//! greatest worth and proves that none is better, or says after how many steps it stopped without a proof.
//!
//! # Why the answer is exact
//!
//! The search divides the settlements that are left into two heaps again and again, and puts a heap aside
//! only for one of these reasons:
//!
//! 1. **Nothing in it is good enough.** For any prices `u ≥ 0`, one for each row, a settlement `x` that fits has
//!    `worth(x) ≤ worth(x) + Σ u·(limit − use(x)) ≤ Σ u·limit + the most that Σ (worth − u·use) can be`.
//!    (This is weak duality of the Lagrangian relaxation; any book on integer programming has it.) The right side
//!    is computed in whole numbers, so rounding cannot spoil it, and where it is below what is wanted the
//!    heap is put aside. Good prices make the bound sharp, bad ones only make the search long. Good ones
//!    come from the linear relaxation, which may be inexact: nothing rests on its answer.
//! 2. **It has been looked at**: one settlement is left, and it was taken or found not to fit.
//!
//! A number of things settled one way is struck out for the first reason, applied to the heap in which so
//! many are settled so. Before the search, rows that follow from the given ones are added (`sharper.rs`,
//! `rounded.rs`); they strike out no whole settlement. A row found only during the search (see [`Best::find`]) holds for every
//! settlement, so what was put aside before stays aside.
//!
//! Everything is deterministic: no clock, no randomness, no order that depends on addresses.

mod bound;
mod mend;
mod relaxed;
mod rounded;
mod search;
mod sharper;

#[cfg(test)]
mod tests;

use std::ops::Range;

pub use search::Best;

/// Things that are alike: the same ways, each with the same worth and use.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Class {
    /// How many such things there are.
    pub times: u64,
    /// The worth of each way to settle one; there is at least one way.
    pub worth: Vec<i64>,
    /// Row → what each way uses of it; a way that brings something uses less than nothing.
    pub uses: Vec<(usize, Vec<i64>)>,
}

/// What is to be settled.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Problem {
    pub classes: Vec<Class>,
    /// How much of each row may be used by all things together.
    pub limits: Vec<i64>,
}

/// A row found during the search: what each way of each class uses of it, and its limit.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Row {
    /// Class → what each way uses; a class that is not named uses none.
    pub uses: Vec<(usize, Vec<i64>)>,
    pub limit: i64,
}

/// Class → way → how many things are settled so.
pub type Settled = Vec<Vec<u64>>;

/// Why a problem was not looked at.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum ChooseRefused {
    #[error("The quantities are too large to compare exactly.")]
    TooLarge,
}

/// Worth and prices are whole numbers of this fraction, so that prices can be fine and sums exact.
const SCALE: i64 = 1 << 20;

/// No sum of prices, uses and worth goes beyond this, so none can overflow.
const CEILING: i64 = 1 << 60;

/// The most rows there may be.
const MOST_ROWS: usize = 1 << 16;

/// All worth together stays below this.
const MOST_WORTH: i64 = CEILING / SCALE;

impl Problem {
    /// Each class, with where its ways stand among all ways of all classes.
    fn spans(&self) -> impl Iterator<Item = (&Class, Range<usize>)> {
        self.classes.iter().scan(0, |next, class| {
            let first = *next;
            *next += class.worth.len();
            Some((class, first..*next))
        })
    }

    /// A list of all ways of all classes, by class.
    fn by_class(&self, all: &[u64]) -> Settled {
        self.spans().map(|(_, ways)| all[ways].to_vec()).collect()
    }

    /// The most that a row's uses can add up to, in either direction, with its limit.
    fn span(&self, row: usize) -> Option<i64> {
        let classes = self.classes.iter().enumerate();
        let uses = classes.flat_map(|(at, class)| {
            let uses = class.uses.iter().filter(move |(other, _)| *other == row);
            uses.map(move |(_, uses)| (at, uses.as_slice()))
        });
        self.span_of(uses, self.limits[row])
    }

    /// The same of a row that is not among those of the problem.
    fn span_with(&self, row: &Row) -> Option<i64> {
        let uses = row.uses.iter().map(|(class, uses)| (*class, &uses[..]));
        self.span_of(uses, row.limit)
    }

    fn span_of<'a>(
        &self,
        uses: impl Iterator<Item = (usize, &'a [i64])>,
        limit: i64,
    ) -> Option<i64> {
        let mut span = limit.unsigned_abs();
        for (class, uses) in uses {
            let largest = uses.iter().map(|used| used.unsigned_abs()).max();
            let times = self.classes[class].times;
            span = span.checked_add(largest.unwrap_or(0).checked_mul(times)?)?;
        }
        i64::try_from(span).ok().filter(|span| *span < CEILING)
    }

    /// Keeps only these rows, in their order.
    fn keep_rows(&mut self, kept: &[bool]) {
        let mut next = 0;
        let place = |kept: &bool| {
            next += usize::from(*kept);
            kept.then(|| next - 1)
        };
        let places: Vec<Option<usize>> = kept.iter().map(place).collect();
        for class in &mut self.classes {
            let uses = std::mem::take(&mut class.uses).into_iter();
            let uses = uses.filter_map(|(row, uses)| Some((places[row]?, uses)));
            class.uses = uses.collect();
        }
        let mut kept = kept.iter();
        self.limits
            .retain(|_| kept.next().is_some_and(|kept| *kept));
    }

    /// Whether all worth together can be compared exactly.
    fn worth_fits(&self) -> bool {
        let sum = self.classes.iter().try_fold(0_u64, |sum, class| {
            let largest = class.worth.iter().map(|worth| worth.unsigned_abs()).max();
            sum.checked_add(largest.unwrap_or(0).checked_mul(class.times)?)
        });
        sum.is_some_and(|sum| sum < MOST_WORTH as u64)
    }

    /// No settlement is worth less.
    fn least_worth(&self) -> i64 {
        let least = |class: &Class| class.worth.iter().copied().min().unwrap_or(0);
        self.classes
            .iter()
            .map(|class| least(class) * class.times as i64)
            .sum()
    }

    /// What this settlement is worth.
    pub fn worth(&self, settled: &Settled) -> i64 {
        let classes = self.classes.iter().zip(settled);
        classes
            .flat_map(|(class, counts)| class.worth.iter().zip(counts))
            .map(|(worth, count)| worth * *count as i64)
            .sum()
    }

    /// How much of each row this settlement uses.
    pub fn used(&self, settled: &Settled) -> Vec<i64> {
        let mut used = vec![0; self.limits.len()];
        for (class, counts) in self.classes.iter().zip(settled) {
            for (row, uses) in &class.uses {
                let all = uses
                    .iter()
                    .zip(counts)
                    .map(|(used, count)| used * *count as i64);
                used[*row] += all.sum::<i64>();
            }
        }
        used
    }

    /// Whether no row is over its limit.
    pub fn fits(&self, settled: &Settled) -> bool {
        let used = self.used(settled);
        used.iter()
            .zip(&self.limits)
            .all(|(used, limit)| used <= limit)
    }
}
