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
//! 1. **Nothing in it fits.** Some row would be over its limit even if every thing used the least of it.
//! 2. **Nothing in it is better.** For any prices `u ≥ 0`, one for each row, a settlement `x` that fits has
//!    `worth(x) ≤ worth(x) + Σ u·(limit − use(x)) ≤ Σ limit·u + Σ over things of max(worth − u·use)`.
//!    (This is weak duality of the Lagrangian relaxation; any book on integer programming has it.) The right side
//!    is computed in whole numbers, so rounding cannot spoil it, and where it is below what is wanted no
//!    settlement in the heap is good enough. Good prices make the bound sharp, bad ones only slow.
//! 3. **It has been looked at**: one settlement is left, and it was taken or found not to fit.
//!
//! A single way of a thing is struck out for the same two reasons, applied to the heap in which the thing is
//! settled that way. Things of one class are alike in everything, so of settlements that differ only in which of
//! them is which, only the one in falling order of ways is looked at. A row found only during the search (see
//! [`Best::find`]) holds for every settlement, so what was put aside before stays aside.
//!
//! Everything is deterministic: no clock, no randomness, no order that depends on addresses.

mod bound;
mod mend;
mod narrow;
mod search;

#[cfg(test)]
mod tests;

pub use search::Best;

/// Things that are alike: the same ways, each with the same worth and use.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Class {
    /// The worth of each way to settle it.
    pub worth: Vec<i64>,
    /// Row → what each way uses of it; a way that brings something uses less than nothing.
    pub uses: Vec<(usize, Vec<i64>)>,
}

/// What is to be settled.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Problem {
    pub classes: Vec<Class>,
    /// The class of each thing. Things of one class stand side by side.
    pub things: Vec<usize>,
    /// How much of each row may be used by all things together.
    pub limits: Vec<i64>,
}

/// A row found during the search: what each way of each thing uses of it, and its limit.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Row {
    /// Class → what each way uses; a class that is not named uses none.
    pub uses: Vec<(usize, Vec<i64>)>,
    pub limit: i64,
}

/// The way each thing is settled, as a position among the ways of its class.
pub type Picks = Vec<usize>;

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

impl Problem {
    /// The most that a row's uses can add up to, in either direction, and its limit.
    fn span(&self, row: usize) -> Option<i64> {
        let largest = self.classes.iter().map(|class| {
            let uses = class.uses.iter().filter(|(at, _)| *at == row);
            uses.flat_map(|(_, uses)| uses)
                .map(|use_| use_.unsigned_abs())
                .max()
                .unwrap_or(0)
        });
        let largest: Vec<u64> = largest.collect();
        let all = self
            .things
            .iter()
            .try_fold(self.limits[row].unsigned_abs(), |sum, class| {
                sum.checked_add(largest[*class])
            })?;
        i64::try_from(all).ok().filter(|span| *span < CEILING)
    }

    /// Whether all worth together can be compared exactly.
    fn worth_fits(&self) -> bool {
        let sum = self.things.iter().try_fold(0_u64, |sum, class| {
            let most = self.classes[*class]
                .worth
                .iter()
                .map(|w| w.unsigned_abs())
                .max();
            sum.checked_add(most.unwrap_or(0))
        });
        sum.is_some_and(|sum| sum < (CEILING / SCALE) as u64)
    }

    /// What this settlement is worth.
    pub fn worth(&self, picks: &[usize]) -> i64 {
        let worth = self.things.iter().zip(picks);
        worth
            .map(|(class, way)| self.classes[*class].worth[*way])
            .sum()
    }

    /// How much of each row this settlement uses.
    pub fn used(&self, picks: &[usize]) -> Vec<i64> {
        let mut used = vec![0; self.limits.len()];
        for (class, way) in self.things.iter().zip(picks) {
            for (row, uses) in &self.classes[*class].uses {
                used[*row] += uses[*way];
            }
        }
        used
    }
}
