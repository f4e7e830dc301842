//! Striking out ways that cannot fit.

use super::Problem;

/// A heap of settlements: each thing may be settled any way from its lowest to its highest.
#[derive(Debug, Clone)]
pub(super) struct Heap {
    pub lowest: Vec<usize>,
    pub highest: Vec<usize>,
    /// The prices of the rows with which its parent was bounded.
    pub prices: Vec<i64>,
}

impl Heap {
    /// Strikes out ways at either end that do not fit whatever the other things do, until none is
    /// left to strike; false if nothing fits at all.
    pub fn narrow(&mut self, problem: &Problem) -> bool {
        let mut least_of = Vec::new();
        loop {
            if !self.order_the_alike(problem) {
                return false;
            }
            let mut least = vec![0_i64; problem.limits.len()];
            least_of.clear();
            for (thing, class) in problem.things.iter().enumerate() {
                let ways = self.lowest[thing]..=self.highest[thing];
                for (row, uses) in &problem.classes[*class].uses {
                    let own = uses[ways.clone()].iter().copied().min().unwrap_or(0);
                    least[*row] += own;
                    least_of.push(own);
                }
            }
            if least
                .iter()
                .zip(&problem.limits)
                .any(|(use_, most)| use_ > most)
            {
                return false;
            }
            let mut struck = false;
            let mut at = 0;
            for (thing, class) in problem.things.iter().enumerate() {
                let uses = &problem.classes[*class].uses;
                let own = &least_of[at..at + uses.len()];
                at += uses.len();
                let (lowest, highest) = (&mut self.lowest[thing], &mut self.highest[thing]);
                if lowest == highest {
                    continue;
                }
                let fits = |way: usize| {
                    uses.iter().zip(own).all(|((row, uses), own)| {
                        least[*row] - own + uses[way] <= problem.limits[*row]
                    })
                };
                while !fits(*lowest) {
                    struck = true;
                    if lowest == highest {
                        return false;
                    }
                    *lowest += 1;
                }
                while !fits(*highest) {
                    struck = true;
                    if lowest == highest {
                        return false;
                    }
                    *highest -= 1;
                }
            }
            if !struck {
                return true;
            }
        }
    }

    /// Of things that are alike, an earlier one is settled at least as high as a later one.
    fn order_the_alike(&mut self, problem: &Problem) -> bool {
        for thing in 1..problem.things.len() {
            if problem.things[thing] == problem.things[thing - 1] {
                self.highest[thing] = self.highest[thing].min(self.highest[thing - 1]);
            }
        }
        for thing in (1..problem.things.len()).rev() {
            if problem.things[thing] == problem.things[thing - 1] {
                self.lowest[thing - 1] = self.lowest[thing - 1].max(self.lowest[thing]);
            }
        }
        self.lowest
            .iter()
            .zip(&self.highest)
            .all(|(low, high)| low <= high)
    }
}
