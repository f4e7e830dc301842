//! How the table of the relaxation is made.

use super::super::Problem;
use super::super::bound::Heap;
use super::{Group, Place, Relaxed};

/// So little is added to what a way is worth that hardly two are worth the same: otherwise exchanges that lose
/// nothing could go round in a circle. The bound is reckoned without it.
fn uneven(at: usize) -> f64 {
    UNEVEN * (1.0 + (at as f64 * 0.618_034).fract())
}

const UNEVEN: f64 = 1e-7;

impl Relaxed {
    /// The table for a heap and all that are made by dividing it. What is settled in it takes no column.
    pub fn new(problem: &Problem, heap: &Heap) -> Self {
        let is_open = |way: &usize| heap.least[*way] < heap.most[*way];
        let mut relaxed = Self {
            ways: Vec::new(),
            groups: Vec::new(),
            rows: Vec::new(),
            limits: problem.limits.len(),
            columns: 0,
            table: Vec::new(),
            gains: Vec::new(),
            free: Vec::new(),
            basis: Vec::new(),
            places: Vec::new(),
            lowest: Vec::new(),
            highest: Vec::new(),
            values: Vec::new(),
            counts: vec![0.0; heap.least.len()],
            proof: None,
        };
        let mut settled_worth = 0.0;
        for (class, span) in problem.spans() {
            let first = relaxed.ways.len();
            let mut left = class.times;
            for way in span.clone() {
                if is_open(&way) {
                    relaxed.ways.push(way);
                } else {
                    left -= heap.least[way];
                    settled_worth += heap.least[way] as f64 * class.worth[way - span.start] as f64;
                }
            }
            let ways = first..relaxed.ways.len();
            let worth = |at: &usize| class.worth[relaxed.ways[*at] - span.start];
            let Some(key) = ways.clone().rev().max_by_key(worth) else {
                continue;
            };
            let key_worth = worth(&key);
            settled_worth += left as f64 * key_worth as f64;
            for at in ways.clone() {
                relaxed.places.push(if at == key {
                    Place::Key
                } else {
                    relaxed.free.push(at);
                    relaxed
                        .gains
                        .push((worth(&at) - key_worth) as f64 + uneven(at));
                    Place::Column(relaxed.free.len() - 1)
                });
            }
            let left = left as f64;
            relaxed.groups.push(Group { ways, key, left });
        }
        relaxed.columns = relaxed.free.len();
        relaxed.gains.push(-settled_worth);
        relaxed.fill(problem, heap);
        let quantities = relaxed.places.len();
        relaxed.lowest = vec![0.0; quantities];
        relaxed.highest = vec![f64::INFINITY; quantities];
        relaxed.values = vec![0.0; quantities];
        relaxed
    }

    /// Writes the rows of the problem that can be over their limit, less what is settled.
    fn fill(&mut self, problem: &Problem, heap: &Heap) {
        let width = self.columns + 1;
        let mut table = vec![0.0; self.limits * width];
        // Row → the most that can be used of it.
        let mut most = vec![0.0; self.limits];
        for (row, limit) in problem.limits.iter().enumerate() {
            table[row * width + self.columns] = *limit as f64;
        }
        let mut groups = self.groups.iter().peekable();
        for (class, span) in problem.spans() {
            let group = groups.next_if(|group| span.contains(&self.ways[group.ways.start]));
            for (row, uses) in &class.uses {
                let line = &mut table[row * width..(row + 1) * width];
                let mut settled = 0.0;
                for (used, way) in uses.iter().zip(span.clone()) {
                    if heap.least[way] == heap.most[way] {
                        settled += heap.least[way] as f64 * *used as f64;
                    }
                }
                let mut largest;
                if let Some(group) = group {
                    let used = |at: usize| uses[self.ways[at] - span.start] as f64;
                    let key = used(group.key);
                    largest = key;
                    settled += group.left * key;
                    for at in group.ways.clone() {
                        if let Place::Column(column) = self.places[at] {
                            line[column] += used(at) - key;
                            largest = largest.max(used(at));
                        }
                    }
                    most[*row] += group.left * (largest - key);
                }
                line[self.columns] -= settled;
            }
        }
        for (row, line) in table.chunks_exact(width).enumerate() {
            if most[row] > line[self.columns] {
                self.places.push(Place::Row(self.rows.len()));
                self.basis.push(self.ways.len() + self.rows.len());
                self.rows.push(row);
                self.table.extend_from_slice(line);
            }
        }
    }
}
