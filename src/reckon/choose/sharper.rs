//! Rows that hold for every whole settlement but not for every one in fractions: they bring the linear
//! relaxation nearer to the truth.
//!
//! Take a row, and for each way of each thing what it *saves* against the way that uses most. If all used most,
//! the row would be over its limit by some *excess*, so all savings together reach the excess. Hence, `y` being
//! how many things are settled each way (whole numbers, not below zero):
//!
//! - for any whole `d ≥ 1`, `Σ ⌈min(saving, excess) / d⌉ · y ≥ ⌈excess / d⌉`: the left side is a whole number,
//!   and at least `Σ min(saving, excess) / d · y`, which reaches `excess / d` (Chvátal and Gomory's rounding);
//! - at least as many things save anything as it takes of those that save most to reach the excess.

use super::relaxed::Relaxed;
use super::rounded::rounded;
use super::{Problem, Row};

/// By how much a row must be broken, as a share of its right side, to be worth adding.
const WORTH_IT: f64 = 0.02;

/// Rows that the relaxation breaks: of those that follow from each of the first `rows` alone the one it breaks
/// most, and those that follow from mixtures of all rows.
pub(super) fn broken_by(problem: &Problem, rows: usize, relaxed: &Relaxed) -> Vec<Row> {
    let counts = relaxed.counts();
    let alone = (0..rows).filter_map(|row| Savings::of(problem, row)?.broken_by(counts));
    let mixtures = relaxed.mixtures();
    let mixed = mixtures.iter();
    let mixed = mixed.filter_map(|mixture| rounded(problem, mixture, counts));
    let rows = alone.chain(mixed);
    rows.filter(|row| problem.span_with(row).is_some())
        .collect()
}

/// What can be saved in one row.
struct Savings {
    excess: i64,
    /// Class, the position of its first count, what each of its ways saves, and how many things it has.
    classes: Vec<(usize, usize, Vec<i64>, u64)>,
}

impl Savings {
    /// None if the row holds whatever is done.
    fn of(problem: &Problem, row: usize) -> Option<Self> {
        let mut excess = -problem.limits[row];
        let mut classes = Vec::new();
        let mut first = 0;
        for (at, class) in problem.classes.iter().enumerate() {
            let start = first;
            first += class.worth.len();
            let mut used = vec![0; class.worth.len()];
            for (_, uses) in class.uses.iter().filter(|(other, _)| *other == row) {
                used.iter_mut()
                    .zip(uses)
                    .for_each(|(sum, used)| *sum += used);
            }
            let most = used.iter().copied().max().unwrap_or(0);
            excess += most * class.times as i64;
            if used.iter().any(|used| *used < most) {
                let savings = used.iter().map(|used| most - used).collect();
                classes.push((at, start, savings, class.times));
            }
        }
        (excess > 0).then_some(Self { excess, classes })
    }

    fn broken_by(&self, counts: &[f64]) -> Option<Row> {
        let mut worst: Option<(f64, Vec<Vec<i64>>, i64)> = None;
        let mut divisors: Vec<i64> = self
            .classes
            .iter()
            .flat_map(|(_, _, s, _)| s)
            .copied()
            .collect();
        divisors.retain(|saving| *saving > 1 && *saving <= self.excess);
        divisors.push(self.excess);
        divisors.sort_unstable();
        divisors.dedup();
        let divided = divisors.iter().rev().take(12).map(|divisor| {
            let part = |saving: &i64| up(*saving.min(&self.excess), *divisor);
            (self.each(part), up(self.excess, *divisor))
        });
        let counted = (
            self.each(|saving| i64::from(*saving > 0)),
            self.fewest_things(),
        );
        for (factors, least) in divided.chain([counted]) {
            let all: f64 = self
                .classes
                .iter()
                .zip(&factors)
                .flat_map(|((_, first, ..), factors)| factors.iter().zip(&counts[*first..]))
                .map(|(factor, count)| *factor as f64 * count)
                .sum();
            let broken = 1.0 - all / least as f64;
            if broken > worst.as_ref().map_or(WORTH_IT, |(most, ..)| *most) {
                worst = Some((broken, factors, least));
            }
        }
        worst.map(|(_, factors, least)| {
            let classes = self.classes.iter().map(|(class, ..)| *class);
            let uses = factors
                .into_iter()
                .map(|list| list.into_iter().map(|factor| -factor).collect());
            Row {
                uses: classes.zip(uses).collect(),
                limit: -least,
            }
        })
    }

    fn each(&self, factor: impl Fn(&i64) -> i64) -> Vec<Vec<i64>> {
        let classes = self.classes.iter();
        classes
            .map(|(_, _, savings, _)| savings.iter().map(&factor).collect())
            .collect()
    }

    /// How many of the things that save most it takes to reach the excess; if all do not, nothing
    /// fits, and one more than there are says so.
    fn fewest_things(&self) -> i64 {
        let most = |savings: &Vec<i64>| savings.iter().copied().max().unwrap_or(0);
        let mut largest: Vec<(i64, u64)> = self
            .classes
            .iter()
            .map(|(_, _, savings, times)| (most(savings), *times))
            .collect();
        largest.sort_unstable();
        let (mut left, mut things) = (self.excess, 0);
        for (saving, times) in largest.into_iter().rev() {
            if left <= 0 {
                break;
            }
            let taken = up(left, saving).min(times as i64);
            left -= taken * saving;
            things += taken;
        }
        things + i64::from(left > 0)
    }
}

/// Divided and rounded up; both are above zero or the first is zero.
fn up(whole: i64, divisor: i64) -> i64 {
    (whole + divisor - 1) / divisor
}
