//! What the solved relaxation tells: prices, a proof that nothing fits, where a heap is best divided, and
//! which rows to mix for a sharper one.

use super::{Relaxed, TINY};

/// A way of which a fraction is settled.
#[derive(Debug, Clone, Copy)]
pub struct Fraction {
    pub way: usize,
    /// What is lost at least with the next smaller whole number, and with the next larger.
    pub lost_below: f64,
    pub lost_above: f64,
}

impl Relaxed {
    /// Notes the prices at which the line shows that its quantity stays beyond its bound, by so much.
    pub(super) fn prove(&mut self, line: &[f64], leaving: usize, goal: f64, by: f64) {
        let sign = if self.values[leaving] < goal {
            1.0
        } else {
            -1.0
        };
        let mut proof = vec![0.0; self.limits];
        for (column, quantity) in self.free.iter().enumerate() {
            if let Some(room) = quantity.checked_sub(self.ways.len()) {
                proof[self.rows[room]] = (line[column] * sign / by).max(0.0);
            }
        }
        if let Some(room) = leaving.checked_sub(self.ways.len()) {
            proof[self.rows[room]] = (sign / by).max(0.0);
        }
        self.proof = Some(proof);
    }

    /// The price of each row.
    pub fn prices(&self) -> Vec<f64> {
        let mut prices = vec![0.0; self.limits];
        for (quantity, gain) in self.free.iter().zip(&self.gains) {
            if let Some(room) = quantity.checked_sub(self.ways.len()) {
                prices[self.rows[room]] = (-gain).max(0.0);
            }
        }
        prices
    }

    /// Ways of which a fraction is settled, each with what is lost at least if that becomes the next smaller
    /// or the next larger whole number.
    ///
    /// The line of the way says by how much the columns must move for it: one that moves by `t` brings the way nearer
    /// by `t · |factor|` and loses `t · |gain|`. So whichever columns move, at least the smallest
    /// `|gain| / |factor|` is lost for each unit that the way moves.
    pub fn fractions(&self) -> Vec<Fraction> {
        let width = self.columns + 1;
        let rows = self.basis.iter().zip(self.table.chunks_exact(width));
        let mut fractions = Vec::new();
        for (quantity, line) in rows.filter(|(quantity, _)| **quantity < self.ways.len()) {
            let value = self.values[*quantity];
            if (value - value.round()).abs() < 1e-6 {
                continue;
            }
            let (mut fall, mut rise) = (f64::INFINITY, f64::INFINITY);
            for (column, free) in self.free.iter().enumerate() {
                let factor = line[column];
                if factor.abs() < TINY || self.lowest[*free] >= self.highest[*free] {
                    continue;
                }
                let loss = self.gains[column].abs() / factor.abs();
                let at_highest = self.values[*free] > self.lowest[*free];
                let one = if (factor < 0.0) == at_highest {
                    &mut fall
                } else {
                    &mut rise
                };
                *one = one.min(loss);
            }
            fractions.push(Fraction {
                way: self.ways[*quantity],
                lost_below: fall * (value - value.floor()),
                lost_above: rise * (value.ceil() - value),
            });
        }
        fractions
    }

    /// For each way of which a fraction is settled: row of the problem → the fraction of its room in the
    /// line of that way.
    pub fn mixtures(&self) -> Vec<Vec<(usize, f64)>> {
        let width = self.columns + 1;
        let lines = self.basis.iter().zip(self.table.chunks_exact(width));
        let lines = lines.filter(|(quantity, _)| {
            let value = self.values[**quantity];
            **quantity < self.ways.len() && (value - value.round()).abs() > 1e-3
        });
        let mixture = |(_, line): (&usize, &[f64])| {
            let rooms = self.free.iter().zip(line);
            let rooms = rooms.filter_map(|(quantity, factor)| {
                let room = quantity.checked_sub(self.ways.len())?;
                Some((self.rows[room], factor - factor.floor()))
            });
            rooms
                .filter(|(_, part)| *part > 1e-6 && *part < 1.0 - 1e-6)
                .collect()
        };
        lines.map(mixture).collect()
    }

    /// How many things are settled each way, in fractions, class after class.
    pub fn counts(&self) -> &[f64] {
        &self.counts
    }
}
