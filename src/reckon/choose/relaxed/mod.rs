//! The linear relaxation: the best settlement if things could be settled in fractions, and the prices
//! that go with it. It only guides the search: what is put aside is decided in whole numbers.
//!
//! This is the dual simplex method with bounds (as in any book on linear programming). It starts with every class
//! settled its most valuable way, which is dual feasible, and after a heap was divided it goes on from the
//! table of the heap it was divided from. Three things keep it small and quick:
//!
//! - The *free* quantities, each at one of its bounds, are the columns, and the table writes the others in terms of
//!   them: no column is kept for what a row determines. No row is kept that cannot be over its limit in this
//!   heap, whatever is settled: it cannot be in a part of the heap either.
//! - That the things of a class add up takes no row: one way of each class, its *key*, is what the others leave.
//!   Its line is the sum of theirs and is worked out when it is needed (generalised upper bounds: Dantzig and Van
//!   Slyke, Journal of Computer and System Sciences 1, 1967; from memory).
//! - A quantity brought to its bound takes others along, those first that lose least for it. Each of them that
//!   reaches its other bound before the goal is reached just stays there, without an exchange; the one
//!   with which the goal is reached is exchanged (the long-step rule: Maros, European Journal of
//!   Operational Research 149, 2003; from memory). If all at their other bounds do not reach the goal, nothing fits.

mod made;
mod told;

use super::bound::Heap;

/// Factors so small count as none.
const TINY: f64 = 1e-9;

/// How far beyond a bound counts as beyond.
const BEYOND: f64 = 1e-7;

/// Where the value of a quantity comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Place {
    /// It is free, and stands at one of its bounds.
    Column(usize),
    /// A row determines it.
    Row(usize),
    /// It is what the other ways of its class leave.
    Key,
}

/// The open ways of one class.
#[derive(Debug, Clone)]
struct Group {
    /// Quantities.
    ways: std::ops::Range<usize>,
    key: usize,
    /// How many things are settled one of these ways.
    left: f64,
}

#[derive(Debug, Clone)]
pub(super) struct Relaxed {
    /// Quantity → where it stands among all ways of all classes. After these quantities comes the room
    /// left in each row that is kept.
    ways: Vec<usize>,
    groups: Vec<Group>,
    /// Kept row → row of the problem.
    rows: Vec<usize>,
    /// How many rows the problem had.
    limits: usize,
    /// The number of columns without the right side, which is the last.
    columns: usize,
    /// Row-major: what is determined by the row, plus the columns each by its factor, is the right side.
    table: Vec<f64>,
    /// What one more of a column is worth, given all prices; last, less than nothing by what the settled is worth.
    gains: Vec<f64>,
    /// Column → its quantity.
    free: Vec<usize>,
    /// Row → the quantity it determines.
    basis: Vec<usize>,
    places: Vec<Place>,
    lowest: Vec<f64>,
    highest: Vec<f64>,
    values: Vec<f64>,
    /// How many things are settled each way, in fractions, class after class.
    counts: Vec<f64>,
    /// Prices of a proof that nothing fits, to be added to the others.
    pub proof: Option<Vec<f64>>,
}

/// What is farthest beyond its bounds.
#[derive(Debug, Clone, Copy)]
enum Beyond {
    Row(usize),
    Key(usize),
}

impl Relaxed {
    pub fn has_rows(&self, limits: usize) -> bool {
        self.limits == limits
    }

    /// Whether a table made for this heap would be much smaller.
    pub fn is_too_large_for(&self, heap: &Heap) -> bool {
        let open = self.ways.iter();
        let open = open.filter(|way| heap.least[**way] < heap.most[**way]);
        open.count() * 4 < self.ways.len() * 3
    }

    /// Solves for this heap, or stops when what is left cannot be worth as much as is wanted. The prices are
    /// valid in either case.
    pub fn solve(&mut self, heap: &Heap, wanted: i64) {
        let too_little = wanted as f64 - 1e-3;
        for (at, way) in self.ways.iter().enumerate() {
            self.lowest[at] = heap.least[*way] as f64;
            self.highest[at] = heap.most[*way] as f64;
        }
        self.proof = None;
        self.place();
        for _ in 0..20 * self.basis.len() + 200 {
            if self.worth() < too_little {
                break;
            }
            let Some((beyond, goal)) = self.farthest_beyond() else {
                break;
            };
            if !self.bring_to(beyond, goal) {
                break;
            }
        }
        let settled = heap.least.iter().zip(&mut self.counts);
        settled.for_each(|(least, count)| *count = *least as f64);
        for (way, value) in self.ways.iter().zip(&self.values) {
            self.counts[*way] = *value;
        }
    }

    /// Sets all values from the table.
    fn place(&mut self) {
        for (column, quantity) in self.free.iter().enumerate() {
            // Where more of it is worth something it stands at its highest: this keeps the table
            // dual feasible whatever heap it comes from.
            let high = self.gains[column] > 0.0 && self.highest[*quantity].is_finite();
            self.values[*quantity] = if high {
                self.highest[*quantity]
            } else {
                self.lowest[*quantity]
            };
        }
        self.place_rows();
    }

    /// Sets the values of what is not free.
    fn place_rows(&mut self) {
        let width = self.columns + 1;
        let free: Vec<f64> = self.free.iter().map(|free| self.values[*free]).collect();
        for (line, basic) in self.table.chunks_exact(width).zip(&self.basis) {
            let used = line.iter().zip(&free).map(|(factor, value)| factor * value);
            self.values[*basic] = line[self.columns] - used.sum::<f64>();
        }
        self.place_keys();
    }

    fn place_keys(&mut self) {
        for group in &self.groups {
            let all: f64 = self.values[group.ways.clone()].iter().sum();
            self.values[group.key] += group.left - all;
        }
    }

    /// No settlement is worth more, by the prices so far.
    fn worth(&self) -> f64 {
        let free = self.free.iter().zip(&self.gains);
        free.map(|(free, gain)| gain * self.values[*free])
            .sum::<f64>()
            - self.gains[self.columns]
    }

    /// What is farthest beyond its bounds, and the bound.
    fn farthest_beyond(&self) -> Option<(Beyond, f64)> {
        let rows = self.basis.iter().enumerate();
        let rows = rows.map(|(row, basic)| (Beyond::Row(row), *basic));
        let keys = self.groups.iter().enumerate();
        let keys = keys.map(|(group, keyed)| (Beyond::Key(group), keyed.key));
        let mut farthest = None;
        let mut most = BEYOND;
        for (beyond, quantity) in rows.chain(keys) {
            let value = self.values[quantity];
            let goal = value.clamp(self.lowest[quantity], self.highest[quantity]);
            let by = (value - goal).abs();
            if by > most {
                most = by;
                farthest = Some((beyond, goal));
            }
        }
        farthest
    }

    /// Brings a quantity to its bound at the least loss; false if no way is left.
    fn bring_to(&mut self, beyond: Beyond, goal: f64) -> bool {
        let width = self.columns + 1;
        let (leaving, row, line) = match beyond {
            Beyond::Row(row) => {
                let line = self.table[row * width..(row + 1) * width].to_vec();
                (self.basis[row], Some(row), line)
            }
            Beyond::Key(group) => {
                let (row, line) = self.uncover(group);
                let key = self.groups[group].key;
                (row.map_or(key, |row| self.basis[row]), row, line)
            }
        };
        let candidates = self.candidates(&line, leaving, goal);
        let mut left = (self.values[leaving] - goal).abs();
        let mut flipped = Vec::new();
        let mut entering = None;
        for (at, (loss, column)) in candidates.iter().enumerate() {
            let quantity = self.free[*column];
            let reach = line[*column].abs() * (self.highest[quantity] - self.lowest[quantity]);
            if reach + BEYOND < left {
                left -= reach;
                flipped.push(*column);
                continue;
            }
            // Of those at which as much is lost, the one with the largest factor is the safest.
            let alike = candidates[at..].iter();
            let alike = alike.take_while(|(other, _)| *other < loss + TINY);
            entering = alike
                .map(|(_, column)| *column)
                .max_by(|one, two| line[*one].abs().total_cmp(&line[*two].abs()));
            break;
        }
        let Some(entering) = entering else {
            self.prove(&line, leaving, goal, left);
            return false;
        };
        self.flip(&flipped, &line, leaving, row.is_none());
        self.exchange(row, line, leaving, entering, goal);
        true
    }

    /// The columns that bring the line to its goal, with what is lost by one, the least loss first.
    fn candidates(&self, line: &[f64], leaving: usize, goal: f64) -> Vec<(f64, usize)> {
        let must_rise = self.values[leaving] < goal;
        let mut candidates = Vec::new();
        for (column, quantity) in self.free.iter().enumerate() {
            let (lowest, highest) = (self.lowest[*quantity], self.highest[*quantity]);
            let factor = line[column];
            if factor.abs() < TINY || lowest >= highest {
                continue;
            }
            let at_highest = self.values[*quantity] > lowest;
            if ((factor < 0.0) != at_highest) == must_rise {
                candidates.push((self.gains[column].abs() / factor.abs(), column));
            }
        }
        candidates.sort_unstable_by(|one, two| one.0.total_cmp(&two.0).then(one.1.cmp(&two.1)));
        candidates
    }

    /// The line of the key of a group. If another way of the group has a row, that one becomes the key and
    /// leaves its row to the old key.
    fn uncover(&mut self, group: usize) -> (Option<usize>, Vec<f64>) {
        let width = self.columns + 1;
        let Group { ways, key, left } = self.groups[group].clone();
        let mut line = vec![0.0; width];
        line[self.columns] = left;
        let mut row_of_other = None;
        for other in ways {
            match self.places[other] {
                Place::Key => {}
                Place::Column(column) => line[column] += 1.0,
                Place::Row(row) => {
                    row_of_other = Some(row);
                    let own = &self.table[row * width..(row + 1) * width];
                    line.iter_mut().zip(own).for_each(|(to, own)| *to -= own);
                }
            }
        }
        if let Some(row) = row_of_other {
            let other = std::mem::replace(&mut self.basis[row], key);
            self.places[key] = Place::Row(row);
            self.places[other] = Place::Key;
            self.groups[group].key = other;
        }
        (row_of_other, line)
    }

    /// Moves columns to their other bound.
    fn flip(&mut self, flipped: &[usize], line: &[f64], leaving: usize, is_key: bool) {
        if flipped.is_empty() {
            return;
        }
        let width = self.columns + 1;
        let mut moved = Vec::with_capacity(flipped.len());
        for column in flipped {
            let quantity = self.free[*column];
            let (lowest, highest) = (self.lowest[quantity], self.highest[quantity]);
            let at_highest = self.values[quantity] > lowest;
            let goal = if at_highest { lowest } else { highest };
            moved.push((*column, goal - self.values[quantity]));
            self.values[quantity] = goal;
        }
        let change = |line: &[f64]| -> f64 { moved.iter().map(|(at, by)| line[*at] * by).sum() };
        if is_key {
            self.values[leaving] -= change(line);
        }
        for (own, basic) in self.table.chunks_exact(width).zip(&self.basis) {
            // The row that an uncovered key took over is not written yet.
            let own = if *basic == leaving { line } else { own };
            self.values[*basic] -= change(own);
        }
    }

    fn exchange(
        &mut self,
        row: Option<usize>,
        mut line: Vec<f64>,
        leaving: usize,
        entering: usize,
        goal: f64,
    ) {
        let width = self.columns + 1;
        let pivot = line[entering];
        let by = (self.values[leaving] - goal) / pivot;
        line.iter_mut().for_each(|factor| *factor /= pivot);
        line[entering] = 1.0 / pivot;
        let take_out = |target: &mut [f64]| {
            let factor = std::mem::take(&mut target[entering]);
            if factor != 0.0 {
                for (target, own) in target.iter_mut().zip(&line) {
                    *target -= factor * own;
                }
            }
            factor
        };
        take_out(&mut self.gains);
        for (other, target) in self.table.chunks_exact_mut(width).enumerate() {
            if Some(other) != row {
                self.values[self.basis[other]] -= take_out(target) * by;
            }
        }
        let quantity = std::mem::replace(&mut self.free[entering], leaving);
        self.places[leaving] = Place::Column(entering);
        self.values[leaving] = goal;
        self.values[quantity] += by;
        if let Some(row) = row {
            self.table[row * width..(row + 1) * width].copy_from_slice(&line);
            self.basis[row] = quantity;
            self.places[quantity] = Place::Row(row);
        } else {
            // The key of a group gave way to another way of the same group.
            let group = self.groups.iter_mut().find(|group| group.key == leaving);
            if let Some(group) = group {
                group.key = quantity;
            }
            self.places[quantity] = Place::Key;
        }
        self.place_keys();
    }
}
