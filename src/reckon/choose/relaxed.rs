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
    /// What the first columns stand for; after them comes the room left in each row.
    ways: Vec<Way>,
    /// The number of columns without the right side, which is the last.
    columns: usize,
    /// Row-major.
    table: Vec<f64>,
    /// What one more of a column is worth, given all prices; last, less than nothing by what the settled is worth.
    gains: Vec<f64>,
    /// Row → the column it determines.
    basis: Vec<usize>,
    /// Column → the row that determines it.
    row_of: Vec<Option<usize>>,
    at_highest: Vec<bool>,
    lowest: Vec<f64>,
    highest: Vec<f64>,
    values: Vec<f64>,
    /// How many things are settled each way, in fractions, class after class.
    counts: Vec<f64>,
    /// Prices of a proof that nothing fits, to be added to the others.
    pub proof: Option<Vec<f64>>,
}

/// A way that is open in the heap for which the table was made.
#[derive(Debug, Clone, Copy)]
struct Way {
    class: usize,
    way: usize,
    /// Where it stands among all ways of all classes.
    at: usize,
    /// If its class has only two open ways: the other, which takes what this one leaves of so many.
    other: Option<(usize, u64)>,
}

impl Relaxed {
    /// The table for a heap and all that are made by dividing it. What is settled in it takes no column,
    /// and a class with two open ways takes one.
    pub fn new(problem: &Problem, heap: &Heap) -> Self {
        let mut ways = Vec::new();
        let mut shared = Vec::new();
        let mut first = 0;
        for (class, (least, most)) in heap.least.iter().zip(&heap.most).enumerate() {
            let open: Vec<usize> = (0..least.len())
                .filter(|way| least[*way] < most[*way])
                .collect();
            let settled = (0..least.len()).filter(|way| least[*way] == most[*way]);
            let left = problem.classes[class].times - settled.map(|way| least[way]).sum::<u64>();
            let column = |way: usize, other| Way {
                class,
                way,
                at: first + way,
                other,
            };
            if let [one, two] = open[..] {
                ways.push(column(one, Some((two, left))));
            } else if !open.is_empty() {
                shared.push((ways.len(), open.len(), left));
                ways.extend(open.into_iter().map(|way| column(way, None)));
            }
            first += least.len();
        }
        let limits = problem.limits.len();
        let columns = ways.len() + limits;
        let rows = limits + shared.len();
        let mut relaxed = Self {
            columns,
            table: vec![0.0; rows * (columns + 1)],
            gains: vec![0.0; columns + 1],
            basis: Vec::with_capacity(rows),
            row_of: vec![None; columns],
            at_highest: vec![false; columns],
            lowest: vec![0.0; columns],
            highest: vec![f64::INFINITY; columns],
            values: vec![0.0; columns],
            counts: vec![0.0; first],
            proof: None,
            ways,
        };
        relaxed.fill(problem, heap);
        for row in 0..limits {
            relaxed.determine(relaxed.ways.len() + row);
        }
        for (first, open, left) in shared {
            let row = relaxed.basis.len() * (columns + 1);
            relaxed.table[row + first..row + first + open].fill(1.0);
            relaxed.table[row + columns] = left as f64;
            let best = (first..first + open)
                .rev()
                .max_by(|one, two| relaxed.gains[*one].total_cmp(&relaxed.gains[*two]));
            relaxed.determine(best.unwrap_or(first));
        }
        for row in limits..rows {
            relaxed.clear_column(row);
        }
        relaxed
    }

    /// Writes the rows of the problem, less what is settled.
    fn fill(&mut self, problem: &Problem, heap: &Heap) {
        let width = self.columns + 1;
        for (row, limit) in problem.limits.iter().enumerate() {
            self.table[row * width + self.ways.len() + row] = 1.0;
            self.table[row * width + self.columns] = *limit as f64;
        }
        for (class, (least, most)) in problem
            .classes
            .iter()
            .zip(heap.least.iter().zip(&heap.most))
        {
            for (row, uses) in &class.uses {
                let ways = least.iter().zip(most).zip(uses);
                let settled = ways.filter(|((least, most), _)| least == most);
                let used: f64 = settled
                    .map(|((least, _), used)| *least as f64 * *used as f64)
                    .sum();
                self.table[row * width + self.columns] -= used;
            }
            let settled = least.iter().zip(most).zip(&class.worth);
            let settled = settled.filter(|((least, most), _)| least == most);
            let worth: f64 = settled
                .map(|((least, _), worth)| *least as f64 * *worth as f64)
                .sum();
            self.gains[self.columns] -= worth;
        }
        for (column, way) in self.ways.iter().enumerate() {
            let class = &problem.classes[way.class];
            let other = way.other.map(|(other, _)| other);
            let instead = |list: &[i64]| list[way.way] - other.map_or(0, |other| list[other]);
            self.gains[column] = instead(&class.worth) as f64;
            if let Some((other, left)) = way.other {
                self.gains[self.columns] -= class.worth[other] as f64 * left as f64;
            }
            for (row, uses) in &class.uses {
                self.table[row * width + column] += instead(uses) as f64;
                if let Some((other, left)) = way.other {
                    self.table[row * width + self.columns] -= uses[other] as f64 * left as f64;
                }
            }
        }
    }

    fn determine(&mut self, column: usize) {
        self.row_of[column] = Some(self.basis.len());
        self.basis.push(column);
    }

    pub fn has_rows(&self, limits: usize) -> bool {
        self.columns - self.ways.len() == limits
    }

    /// Whether a table made for this heap would be much smaller.
    pub fn is_too_large_for(&self, heap: &Heap) -> bool {
        let open = self
            .ways
            .iter()
            .filter(|way| heap.least[way.class][way.way] < heap.most[way.class][way.way]);
        open.count() * 4 < self.ways.len() * 3
    }

    /// Solves for this heap, or stops when what is left cannot be worth as much as is wanted. The prices are
    /// valid in either case.
    pub fn solve(&mut self, heap: &Heap, wanted: i64) {
        let too_little = wanted as f64 - 1e-3;
        for (column, way) in self.ways.iter().enumerate() {
            let (least, most) = (&heap.least[way.class], &heap.most[way.class]);
            self.lowest[column] = least[way.way] as f64;
            self.highest[column] = most[way.way] as f64;
            if let Some((other, left)) = way.other {
                let (least, most) = (least[other] as f64, most[other] as f64);
                self.lowest[column] = self.lowest[column].max(left as f64 - most);
                self.highest[column] = self.highest[column].min(left as f64 - least);
            }
        }
        self.proof = None;
        self.place();
        for _ in 0..20 * self.basis.len() + 200 {
            if self.worth() < too_little {
                break;
            }
            let Some((row, goal)) = self.farthest_beyond() else {
                break;
            };
            let Some(entering) = self.entering(row, goal) else {
                self.prove(row, goal);
                break;
            };
            self.exchange(row, entering, goal);
        }
        let settled = heap.least.iter().flatten().zip(&mut self.counts);
        settled.for_each(|(least, count)| *count = *least as f64);
        for (way, value) in self.ways.iter().zip(&self.values) {
            self.counts[way.at] = *value;
            if let Some((other, left)) = way.other {
                self.counts[way.at - way.way + other] = left as f64 - value;
            }
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
        let standing: Vec<usize> = (0..self.columns)
            .filter(|column| self.row_of[*column].is_none() && self.values[*column] != 0.0)
            .collect();
        for (row, basic) in self.basis.iter().enumerate() {
            let line = &self.table[row * width..(row + 1) * width];
            let used = standing
                .iter()
                .map(|column| line[*column] * self.values[*column]);
            self.values[*basic] = line[self.columns] - used.sum::<f64>();
        }
    }

    /// No settlement is worth more, by the prices so far.
    fn worth(&self) -> f64 {
        let open = self.gains[..self.columns].iter().zip(&self.values);
        open.map(|(gain, value)| gain * value).sum::<f64>() - self.gains[self.columns]
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
        for (other, target) in self.table.chunks_exact_mut(width).enumerate() {
            let factor = target[column];
            if other == row {
                target.copy_from_slice(&line);
            } else if factor != 0.0 {
                for (target, own) in target.iter_mut().zip(&line) {
                    *target -= factor * own;
                }
                target[column] = 0.0;
            }
        }
        let gain = self.gains[column];
        if gain != 0.0 {
            for (target, own) in self.gains.iter_mut().zip(&line) {
                *target -= gain * own;
            }
            self.gains[column] = 0.0;
        }
    }

    fn prove(&mut self, row: usize, goal: f64) {
        let width = self.columns + 1;
        let value = self.values[self.basis[row]];
        let sign = if value < goal { 1.0 } else { -1.0 };
        let room = &self.table[row * width + self.ways.len()..row * width + self.columns];
        let scale = sign / (value - goal).abs();
        self.proof = Some(
            room.iter()
                .map(|factor| (factor * scale).max(0.0))
                .collect(),
        );
    }

    /// The price of each row.
    pub fn prices(&self) -> impl Iterator<Item = f64> + '_ {
        self.gains[self.ways.len()..self.columns]
            .iter()
            .map(|gain| (-gain).max(0.0))
    }

    /// How many things are settled each way, in fractions, class after class.
    pub fn counts(&self) -> &[f64] {
        &self.counts
    }
}
