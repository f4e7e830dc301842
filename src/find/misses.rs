//! How often somebody may ask for a code that does not exist. Codes are short, and must not be found by
//! trying.

use std::collections::HashMap;
use std::sync::{Mutex, PoisonError};

use crate::clock::Instant;

const MISSES: usize = 30;
const MINUTES: i64 = 10;
/// Above this many askers, those whose time is over are forgotten.
const ASKERS: usize = 10_000;

/// Misses by asker (a session, or an address) in the last minutes. In memory only.
#[derive(Default)]
pub struct Misses(Mutex<HashMap<String, Vec<Instant>>>);

impl Misses {
    /// Whether an asker has missed too often to ask again now.
    pub fn is_blocked(&self, asker: &str, now: Instant) -> bool {
        let mut misses = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        let Some(times) = misses.get_mut(asker) else {
            return false;
        };
        times.retain(|at| now < at.plus_minutes(MINUTES));
        times.len() >= MISSES
    }

    /// Notes a miss.
    pub fn note(&self, asker: &str, now: Instant) {
        let mut misses = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        if misses.len() >= ASKERS {
            misses.retain(|_, times| times.iter().any(|at| now < at.plus_minutes(MINUTES)));
        }
        misses.entry(asker.to_owned()).or_default().push(now);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn thirty_misses_in_ten_minutes_are_enough() {
        let misses = Misses::default();
        let start = Instant(0);
        for n in 0..30 {
            assert!(!misses.is_blocked("a", start), "after {n}");
            misses.note("a", start);
        }
        assert!(misses.is_blocked("a", start.plus_minutes(9)));
        assert!(!misses.is_blocked("b", start.plus_minutes(9)));
        assert!(!misses.is_blocked("a", start.plus_minutes(10)));
    }
}
