//! Rows that follow from a mixture of rows by rounding: they bring the relaxation nearer to the truth where several
//! rows together are sharper than each alone.
//!
//! In plain words: of three things no two of which fit together, half of each would fit; but if the three rows are
//! added and halved, they say that at most one and a half fit, so at most one.
//!
//! Let whole numbers `n ≥ 0`, one for each row, and a whole `d ≥ 1` be given, and let `y` be how many things
//! are settled each way. All rows together say `Σ n·use·y / d ≤ Σ n·limit / d`. From what the ways of a class use,
//! what one of them uses may be subtracted, and from the right side that times the number of its things, for so
//! many things are settled in all. Then every factor of the left side is rounded down: it falls, for
//! `y ≥ 0`, and becomes whole, for `y` is whole; so the right side may be rounded down as well. (R. E. Gomory,
//! "Outline of an algorithm for integer solutions to linear programs", Bulletin of the American Mathematical
//! Society 64, 1958; V. Chvátal, "Edmonds polytopes and a hierarchy of combinatorial problems", Discrete
//! Mathematics 4, 1973; both from memory.)
//!
//! Any mixture gives a row that holds. Good mixtures are read off those lines of the relaxation in which a
//! fraction is settled some way, and the way subtracted is the one that most are settled, as Gomory does
//! it. All is reckoned in whole numbers, so nothing rests on the relaxation's being exact.

use super::{Problem, Row};

/// The largest divisor of a mixture of rows.
const MOST_DIVISOR: i64 = 512;

/// By how much a row must be broken to be worth adding.
const BROKEN: f64 = 0.02;

/// The row that follows from a mixture (row → its share), if these counts in fractions break it. None also if
/// the shares are no fractions of a small number, or numbers become too large.
pub(super) fn rounded(problem: &Problem, mixture: &[(usize, f64)], counts: &[f64]) -> Option<Row> {
    let divisor = (2..=MOST_DIVISOR).find(|divisor| {
        let whole = |part: f64| (part - part.round()).abs() < 1e-5;
        mixture
            .iter()
            .all(|(_, part)| whole(part * *divisor as f64))
    })?;
    let mut times = vec![0_i128; problem.limits.len()];
    let mut limit = 0_i128;
    for (row, part) in mixture {
        times[*row] = (part * divisor as f64).round() as i128;
        limit += times[*row] * i128::from(problem.limits[*row]);
    }
    let mut uses = Vec::new();
    let mut used = 0.0;
    for (at, (class, ways)) in problem.spans().enumerate() {
        let mut mixed = vec![0_i128; class.worth.len()];
        for (row, uses) in class.uses.iter().filter(|(row, _)| times[*row] != 0) {
            let sums = mixed.iter_mut().zip(uses);
            sums.for_each(|(sum, used)| *sum += times[*row] * i128::from(*used));
        }
        let counts = &counts[ways];
        let most = (0..mixed.len()).max_by(|one, two| counts[*one].total_cmp(&counts[*two]))?;
        let subtracted = mixed[most];
        limit -= subtracted * i128::from(class.times);
        let factors: Option<Vec<i64>> = mixed
            .iter()
            .map(|sum| i64::try_from((sum - subtracted).div_euclid(i128::from(divisor))).ok())
            .collect();
        let factors = factors?;
        let all = factors.iter().zip(counts);
        used += all
            .map(|(factor, count)| *factor as f64 * count)
            .sum::<f64>();
        if factors.iter().any(|factor| *factor != 0) {
            uses.push((at, factors));
        }
    }
    let limit = i64::try_from(limit.div_euclid(i128::from(divisor))).ok()?;
    (used > limit as f64 + BROKEN).then_some(Row { uses, limit })
}
