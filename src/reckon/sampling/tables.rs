//! The published single-sampling plans: MIL-STD-105E, normal inspection, and what a plan lets through.

use statrs::distribution::{Binomial, DiscreteCDF};

/// How closely to look. II is the usual one, I looks at fewer, III at more; S-1 to S-4 are for costly or
/// destructive looks and take far fewer.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Level {
    S1,
    S2,
    S3,
    S4,
    I,
    II,
    III,
}

/// A plan as the table gives it, arrows followed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Plan {
    /// The letter of the lot before arrows.
    pub letter: char,
    /// The letter whose plan is used.
    pub used: char,
    /// How many to look at; the whole lot if the table's number is as large or larger.
    pub sample: u64,
    /// Good enough with at most this many bad ones.
    pub accept: u64,
    /// Not good enough with at least this many.
    pub reject: u64,
    /// Everything is to be looked at.
    pub all: bool,
}

/// Why no plan can be given, in words for the person who asked.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum PlanRefused {
    #[error("the tables begin with a lot of two")]
    Lot,
    #[error("{0} is none of the 26 quality limits of the table, such as 1.0, 2.5 or 4.0")]
    Limit(f64),
    #[error("the table gives no plan for letter {letter} and {limit}; choose another limit")]
    NoPlan { letter: char, limit: f64 },
    #[error("the share of bad ones lies between 0 and 100 %")]
    Share,
    #[error("a plan looks at one at least and accepts fewer bad ones than it looks at")]
    Sample,
}

/// The acceptable quality limits (AQL) of the table: bad ones in a hundred.
pub const LIMITS: [f64; 26] = [
    0.010, 0.015, 0.025, 0.040, 0.065, 0.10, 0.15, 0.25, 0.40, 0.65, 1.0, 1.5, 2.5, 4.0, 6.5, 10.0,
    15.0, 25.0, 40.0, 65.0, 100.0, 150.0, 250.0, 400.0, 650.0, 1000.0,
];

/// Code letter and sample size; I and O are not used.
const LETTERS: [(char, u64); 16] = [
    ('A', 2),
    ('B', 3),
    ('C', 5),
    ('D', 8),
    ('E', 13),
    ('F', 20),
    ('G', 32),
    ('H', 50),
    ('J', 80),
    ('K', 125),
    ('L', 200),
    ('M', 315),
    ('N', 500),
    ('P', 800),
    ('Q', 1250),
    ('R', 2000),
];

/// MIL-STD-105E, Table I: largest lot, and the letters for S-1 to S-4, I, II, III. Column II as printed in
/// a government sample table developed from the standard; the other columns from memory.
const TABLE_I: [(u64, [u8; 7]); 15] = [
    (8, *b"AAAAAAB"),
    (15, *b"AAAAABC"),
    (25, *b"AABBBCD"),
    (50, *b"ABBCCDE"),
    (90, *b"BBCCCEF"),
    (150, *b"BBCDDFG"),
    (280, *b"BCDEEGH"),
    (500, *b"BCDEFHJ"),
    (1_200, *b"CCEFGJK"),
    (3_200, *b"CDEGHKL"),
    (10_000, *b"CDFGJLM"),
    (35_000, *b"CDFHKMN"),
    (150_000, *b"DEGJLNP"),
    (500_000, *b"DEGJMPQ"),
    (u64::MAX, *b"DEHKNQR"),
];

/// A square of the table of plans.
enum Square {
    Numbers(u64),
    Above,
    Below,
}

/// The code letter for a lot.
///
/// The larger the lot, the more you look at, but far less than in proportion. The letter is only a step
/// towards the plan.
///
/// Source: MIL-STD-105E (10 May 1989), Table I. Refuses a lot below two.
pub fn letter(lot: u64, level: Level) -> Result<char, PlanRefused> {
    if lot < 2 {
        return Err(PlanRefused::Lot);
    }
    TABLE_I
        .iter()
        .find(|(largest, _)| lot <= *largest)
        .map(|(_, letters)| char::from(letters[level as usize]))
        .ok_or(PlanRefused::Lot)
}

/// How many of a lot to look at, and how many bad ones are still good enough.
///
/// Look at so many, drawn by lot. Up to the accepted number of bad ones the lot passes; with more it does
/// not, and everything is looked at. An arrow in the table sends you to the next plan above or below, and
/// then that plan's sample counts too. If the sample would be the whole lot or more, look at all of it.
///
/// `limit` is one of [`LIMITS`], in bad ones in a hundred (beyond 10: faults in a hundred). Normal
/// inspection only; the standard's switching to tightened or reduced inspection is not covered. Source:
/// MIL-STD-105E, Tables I and II-A. Refuses a lot below two, another limit, and the two corners where the
/// table we know has no plan (A at 10, R at 0.015).
pub fn plan(lot: u64, level: Level, limit: f64) -> Result<Plan, PlanRefused> {
    let letter = letter(lot, level)?;
    let column = LIMITS
        .iter()
        .position(|known| *known == limit)
        .ok_or(PlanRefused::Limit(limit))?;
    let no_plan = PlanRefused::NoPlan { letter, limit };
    let mut row = LETTERS
        .iter()
        .position(|(known, _)| *known == letter)
        .ok_or(no_plan)?;
    let accept = loop {
        match square(row, column) {
            Square::Numbers(accept) => break accept,
            Square::Above => row = row.checked_sub(1).ok_or(no_plan)?,
            Square::Below => row += 1,
        }
        if row == LETTERS.len() {
            return Err(no_plan);
        }
    };
    let (used, size) = LETTERS[row];
    Ok(Plan {
        letter,
        used,
        sample: size.min(lot),
        accept,
        reject: accept + 1,
        all: size >= lot,
    })
}

/// Table II-A runs in diagonals: row plus column decides.
fn square(row: usize, column: usize) -> Square {
    match row + column {
        ..14 | 16 => Square::Below,
        14 => Square::Numbers(0),
        17 => Square::Numbers(1),
        18 => Square::Numbers(2),
        19 => Square::Numbers(3),
        20 => Square::Numbers(5),
        21 => Square::Numbers(7),
        22 => Square::Numbers(10),
        23 => Square::Numbers(14),
        24 => Square::Numbers(21),
        25 if row <= 4 => Square::Numbers(30),
        26 if (1..=4).contains(&row) => Square::Numbers(44),
        _ => Square::Above,
    }
}

/// How often a plan lets a lot pass in which this share is bad (its operating characteristic).
///
/// With a plan that looks at 80 and accepts 2, a lot with one bad in a hundred passes 19 times of 20. Look
/// at this before you trust a plan: small samples let bad lots pass more often than people think.
///
/// `share` 0 to 1. Binomial: `P(X ≤ accept)` for `sample` looks, right for lots much larger than the sample.
pub fn passes(sample: u64, accept: u64, share: f64) -> Result<f64, PlanRefused> {
    if sample == 0 || accept >= sample {
        return Err(PlanRefused::Sample);
    }
    if !(0.0..=1.0).contains(&share) {
        return Err(PlanRefused::Share);
    }
    let law = Binomial::new(share, sample).map_err(|_| PlanRefused::Share)?;
    Ok(law.cdf(accept))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_makes_no_sense_is_refused() {
        assert_eq!(plan(1, Level::II, 1.0), Err(PlanRefused::Lot));
        assert_eq!(plan(10, Level::II, 3.0), Err(PlanRefused::Limit(3.0)));
        assert!(plan(10, Level::II, f64::NAN).is_err());
        assert_eq!(passes(0, 0, 0.1), Err(PlanRefused::Sample));
        assert_eq!(passes(5, 5, 0.1), Err(PlanRefused::Sample));
        assert_eq!(passes(5, 1, 1.1), Err(PlanRefused::Share));
        assert_eq!(passes(5, 1, f64::NAN), Err(PlanRefused::Share));
        let corner = PlanRefused::NoPlan {
            letter: 'A',
            limit: 10.0,
        };
        assert_eq!(plan(2, Level::II, 10.0), Err(corner));
        let corner = PlanRefused::NoPlan {
            letter: 'R',
            limit: 0.015,
        };
        assert_eq!(plan(600_000, Level::III, 0.015), Err(corner));
    }

    #[test]
    fn a_sample_as_large_as_the_lot_is_the_lot() {
        let plan = plan(50, Level::II, 0.25).unwrap();
        assert_eq!((plan.used, plan.sample, plan.all), ('H', 50, true));
    }

    #[test]
    fn nothing_bad_always_passes_and_all_bad_never() {
        assert_eq!(passes(20, 2, 0.0), Ok(1.0));
        assert_eq!(passes(20, 2, 1.0), Ok(0.0));
    }
}
