//! The two tables of the lifting equation: how often and how long, and how good the grip is.

use super::{Coupling, Duration};

/// Hands below this height at the start of the lift are in the lower half of both tables. Inches.
pub const LOW_HANDS_IN: f64 = 30.0;

/// Lifts a minute, then for short, moderate and long work the multiplier with hands low and with hands at
/// 30 in or above. NIOSH 94-110, Table 5, p. 15; every rate beyond the last row is .00.
const FREQUENCY: [(f64, [f64; 6]); 17] = [
    (0.2, [1.00, 1.00, 0.95, 0.95, 0.85, 0.85]),
    (0.5, [0.97, 0.97, 0.92, 0.92, 0.81, 0.81]),
    (1.0, [0.94, 0.94, 0.88, 0.88, 0.75, 0.75]),
    (2.0, [0.91, 0.91, 0.84, 0.84, 0.65, 0.65]),
    (3.0, [0.88, 0.88, 0.79, 0.79, 0.55, 0.55]),
    (4.0, [0.84, 0.84, 0.72, 0.72, 0.45, 0.45]),
    (5.0, [0.80, 0.80, 0.60, 0.60, 0.35, 0.35]),
    (6.0, [0.75, 0.75, 0.50, 0.50, 0.27, 0.27]),
    (7.0, [0.70, 0.70, 0.42, 0.42, 0.22, 0.22]),
    (8.0, [0.60, 0.60, 0.35, 0.35, 0.18, 0.18]),
    (9.0, [0.52, 0.52, 0.30, 0.30, 0.00, 0.15]),
    (10.0, [0.45, 0.45, 0.26, 0.26, 0.00, 0.13]),
    (11.0, [0.41, 0.41, 0.00, 0.23, 0.00, 0.00]),
    (12.0, [0.37, 0.37, 0.00, 0.21, 0.00, 0.00]),
    (13.0, [0.00, 0.34, 0.00, 0.00, 0.00, 0.00]),
    (14.0, [0.00, 0.31, 0.00, 0.00, 0.00, 0.00]),
    (15.0, [0.00, 0.28, 0.00, 0.00, 0.00, 0.00]),
];

/// The frequency multiplier; `None` where the table says .00.
///
/// Between two rows it lies on the straight line between them (pp. 7, 15). Between the last row that
/// allows lifting and the first that does not there is no such line: what is above the highest rate of its
/// column is beyond the table, as the manual says of rates above 15.
pub fn frequency(lifts_per_min: f64, duration: Duration, origin_in: f64) -> Option<f64> {
    let column = 2 * match duration {
        Duration::Short => 0,
        Duration::Moderate => 1,
        Duration::Long => 2,
    } + usize::from(origin_in >= LOW_HANDS_IN);
    let rate = lifts_per_min.max(FREQUENCY[0].0);
    let mut below: Option<(f64, f64)> = None;
    for (row, multipliers) in FREQUENCY {
        let here = multipliers[column];
        if here == 0.0 {
            return None;
        }
        match below {
            _ if rate == row => return Some(here),
            Some((last, there)) if rate < row => {
                return Some(there + (here - there) * (rate - last) / (row - last));
            }
            _ => below = Some((row, here)),
        }
    }
    None
}

/// The coupling multiplier: NIOSH 94-110, Table 7, p. 18.
pub fn coupling(coupling: Coupling, vertical_in: f64) -> f64 {
    match coupling {
        Coupling::Good => 1.00,
        Coupling::Fair if vertical_in < LOW_HANDS_IN => 0.95,
        Coupling::Fair => 1.00,
        Coupling::Poor => 0.90,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn between_rows_the_multiplier_lies_on_a_line_and_beyond_them_there_is_none() {
        let check = |rate, duration, origin, expected: Option<f64>| {
            let found = frequency(rate, duration, origin);
            let same = match (found, expected) {
                (Some(found), Some(expected)) => (found - expected).abs() < 1e-12,
                (found, expected) => found == expected,
            };
            assert!(same, "{rate} {duration:?} {origin}: {found:?}");
        };
        check(0.0, Duration::Short, 0.0, Some(1.0));
        check(1.5, Duration::Short, 0.0, Some(0.925));
        check(5.5, Duration::Long, 0.0, Some(0.31));
        check(8.0, Duration::Long, 29.9, Some(0.18));
        check(8.1, Duration::Long, 29.9, None);
        check(8.5, Duration::Long, 30.0, Some(0.165));
        check(12.0, Duration::Short, 0.0, Some(0.37));
        check(12.5, Duration::Short, 0.0, None);
        check(15.0, Duration::Short, 30.0, Some(0.28));
        check(15.1, Duration::Short, 30.0, None);
    }
}
