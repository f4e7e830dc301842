//! The linear relaxation: the best settlement if things could be settled in fractions, and the prices
//! that go with it. It only guides the search: what is put aside is decided in whole numbers.
//!
//! This is the dual simplex method with bounds, on a dense table (as in any book on linear programming). It starts
//! with every class settled its most valuable way, which is dual feasible, and after a heap was
//! divided it goes on from the table of the heap it was divided from.

use super::Problem;
use super::bound::Heap;

const TINY: f64 = 1e-9;
/// How far beyond a bound counts as beyond.
const BEYOND: f64 = 1e-7;

#[derive(Debug, Clone)]
pub(super) struct Relaxed {
    /// Columns: the ways of all classes, one after the other, then the room left in each row.
    columns: usize,
    ways: usize,
    /// Row-major; the last column is the right side.
    table: Vec<f64>,
    /// What one more of a column is worth, given all prices.
    gains: Vec<f64>,
    /// Row → the column it determines.
    basis: Vec<usize>,
    /// Column → the row that determines it.
    row_of: Vec<Option<usize>>,
    /// Columns that are not determined: whether at their highest.
    at_highest: Vec<bool>,
    lowest: Vec<f64>,
    highest: Vec<f64>,
    values: Vec<f64>,
    /// Prices of a proof that nothing fits, to be added to the others.
    pub proof: Option<Vec<f64>>,
}

impl Relaxed {
    pub fn new(problem: &Problem) -> Self {
        let ways: usize = problem.classes.iter().map(|class| class.worth.len()).sum();
        let limits = problem.limits.len();
        let columns = ways + limits;
        let rows = limits + problem.classes.len();
        let width = columns + 1;
        let mut relaxed = Self {
            columns,
            ways,
            table: vec![0.0; rows * width],
            gains: vec![0.0; columns],
            basis: Vec::with_capacity(rows),
            row_of: vec![None; columns],
            at_highest: vec![false; columns],
            lowest: vec![0.0; columns],
            highest: vec![f64::INFINITY; columns],
            values: vec![0.0; columns],
            proof: None,
        };
        for (row, limit) in problem.limits.iter().enumerate() {
            relaxed.table[row * width + ways + row] = 1.0;
            relaxed.table[row * width + columns] = *limit as f64;
            relaxed.determine(ways + row);
        }
        let mut first = 0;
        for (at, class) in problem.classes.iter().enumerate() {
            for (row, uses) in &class.uses {
                for (way, used) in uses.iter().enumerate() {
                    relaxed.table[row * width + first + way] += *used as f64;
                }
            }
            let row = (limits + at) * width;
            for (way, worth) in class.worth.iter().enumerate() {
                relaxed.table[row + first + way] = 1.0;
                relaxed.gains[first + way] = *worth as f64;
            }
            relaxed.table[row + columns] = class.times as f64;
            let base = (0..class.worth.len())
                .rev()
                .max_by_key(|way| class.worth[*way]);
            relaxed.determine(first + base.unwrap_or(0));
            first += class.worth.len();
        }
        for row in limits..rows {
            relaxed.clear_column(row);
        }
        relaxed
    }

    fn determine(&mut self, column: usize) {
        self.row_of[column] = Some(self.basis.len());
        self.basis.push(column);
    }

    pub fn has_rows(&self, limits: usize) -> bool {
        self.columns - self.ways == limits
    }

    /// Solves for this heap. The prices are valid whether or not it came to an end.
    pub fn solve(&mut self, heap: &Heap) {
        let counts = heap.least.iter().flatten().zip(heap.most.iter().flatten());
        for (column, (least, most)) in counts.enumerate() {
            self.lowest[column] = *least as f64;
            self.highest[column] = *most as f64;
        }
        self.proof = None;
        self.place();
        for _ in 0..20 * self.basis.len() + 200 {
            let Some((row, goal)) = self.farthest_beyond() else {
                return;
            };
            let Some(entering) = self.entering(row, goal) else {
                self.prove(row, goal);
                return;
            };
            self.exchange(row, entering, goal);
        }
    }

    /// Sets all values from the table.
    fn place(&mut self) {
        for column in 0..self.columns {
            if self.row_of[column].is_none() {
                // Where more of it is worth something it stands at its highest: this keeps the table
                // dual feasible whatever heap it comes from.
                let high = self.gains[column] > 0.0 && self.highest[column].is_finite();
                self.at_highest[column] = high;
                self.values[column] = if high {
                    self.highest[column]
                } else {
                    self.lowest[column]
                };
            }
        }
        let width = self.columns + 1;
        for (row, basic) in self.basis.iter().enumerate() {
            let line = &self.table[row * width..(row + 1) * width];
            let mut value = line[self.columns];
            for (column, factor) in line[..self.columns].iter().enumerate() {
                if self.row_of[column].is_none() {
                    value -= factor * self.values[column];
                }
            }
            self.values[*basic] = value;
        }
    }

    /// The row whose value is farthest beyond its bounds, and the bound.
    fn farthest_beyond(&self) -> Option<(usize, f64)> {
        let mut farthest = None;
        let mut most = BEYOND;
        for (row, basic) in self.basis.iter().enumerate() {
            let value = self.values[*basic];
            let goal = value.clamp(self.lowest[*basic], self.highest[*basic]);
            let beyond = (value - goal).abs();
            if beyond > most {
                most = beyond;
                farthest = Some((row, goal));
            }
        }
        farthest
    }

    /// The column that brings the row to its bound at the least loss.
    fn entering(&self, row: usize, goal: f64) -> Option<usize> {
        let width = self.columns + 1;
        let line = &self.table[row * width..row * width + self.columns];
        let must_rise = self.values[self.basis[row]] < goal;
        let mut best: Option<(f64, f64, usize)> = None;
        for (column, factor) in line.iter().enumerate() {
            if self.row_of[column].is_some()
                || factor.abs() < TINY
                || self.lowest[column] >= self.highest[column]
            {
                continue;
            }
            let rises = (*factor < 0.0) != self.at_highest[column];
            if rises != must_rise {
                continue;
            }
            let (loss, size) = (self.gains[column].abs() / factor.abs(), factor.abs());
            let better = best.is_none_or(|(least, largest, _)| {
                loss < least - TINY || (loss < least + TINY && size > largest)
            });
            if better {
                best = Some((loss, size, column));
            }
        }
        best.map(|(_, _, column)| column)
    }

    fn exchange(&mut self, row: usize, entering: usize, goal: f64) {
        let width = self.columns + 1;
        let leaving = self.basis[row];
        let by = (self.values[leaving] - goal) / self.table[row * width + entering];
        for (other, basic) in self.basis.iter().enumerate() {
            self.values[*basic] -= self.table[other * width + entering] * by;
        }
        self.values[entering] += by;
        self.values[leaving] = goal;
        self.at_highest[leaving] = goal >= self.highest[leaving];
        self.row_of[leaving] = None;
        self.row_of[entering] = Some(row);
        self.basis[row] = entering;
        self.clear_column(row);
    }

    /// Divides a row by the factor of its column, and takes the column out of all others.
    fn clear_column(&mut self, row: usize) {
        let width = self.columns + 1;
        let column = self.basis[row];
        let pivot = self.table[row * width + column];
        let mut line = self.table[row * width..(row + 1) * width].to_vec();
        line.iter_mut().for_each(|factor| *factor /= pivot);
        let filled: Vec<usize> = (0..width).filter(|at| line[*at] != 0.0).collect();
        for (other, target) in self.table.chunks_exact_mut(width).enumerate() {
            let factor = target[column];
            if other == row {
                target.copy_from_slice(&line);
            } else if factor != 0.0 {
                for at in &filled {
                    target[*at] -= factor * line[*at];
                }
                target[column] = 0.0;
            }
        }
        let gain = self.gains[column];
        if gain != 0.0 {
            for at in filled.iter().filter(|at| **at < self.columns) {
                self.gains[*at] -= gain * line[*at];
            }
            self.gains[column] = 0.0;
        }
    }

    fn prove(&mut self, row: usize, goal: f64) {
        let width = self.columns + 1;
        let value = self.values[self.basis[row]];
        let sign = if value < goal { 1.0 } else { -1.0 };
        let room = &self.table[row * width + self.ways..row * width + self.columns];
        let scale = sign / (value - goal).abs();
        self.proof = Some(
            room.iter()
                .map(|factor| (factor * scale).max(0.0))
                .collect(),
        );
    }

    /// The price of each row.
    pub fn prices(&self) -> impl Iterator<Item = f64> + '_ {
        self.gains[self.ways..].iter().map(|gain| (-gain).max(0.0))
    }

    /// How many things are settled each way, in fractions, class after class.
    pub fn counts(&self) -> &[f64] {
        &self.values[..self.ways]
    }
}
