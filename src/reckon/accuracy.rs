//! How right the records are, which parts deserve the most counting, and how many to count a day.

/// One record: what the book says and what was counted.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Record {
    pub book: u64,
    pub counted: u64,
    /// How far off is still right, in tenths of a percent of the book: 10 is 1 %. 0 for exact.
    pub tolerance_per_mille: u64,
}

/// How many records were right.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Accuracy {
    pub right: u64,
    pub records: u64,
}

/// A class by value.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Class {
    A,
    B,
    C,
}

/// So many parts, each counted once in so many days.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Round {
    pub parts: u64,
    pub days: u64,
}

/// Why no figure can be given, in words for the person who asked.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum AccuracyRefused {
    #[error("nothing was counted, so nothing can be said about the records")]
    NoRecords,
    #[error("nothing has a value, so there are no classes")]
    NoValue,
    #[error("the classes end at shares that grow, above 0 and up to 100 %")]
    Cuts,
    #[error("a round of counting takes at least one day")]
    NoDays,
    #[error("these are larger numbers than can be reckoned with")]
    TooMuch,
}

/// How many records were right, within their tolerance.
///
/// Go through what was counted, one record at a time: right or wrong. Five too many here do not make up
/// for five too few there: both records are wrong. Nothing is added up across records.
///
/// A record is right if `|counted − book| × 1000 ≤ tolerance × book`. So a record of zero is right only
/// if none was found. Refuses no records. Source: record accuracy as trade glossaries define it (records
/// right within tolerance / records counted).
pub fn accuracy(records: &[Record]) -> Result<Accuracy, AccuracyRefused> {
    if records.is_empty() {
        return Err(AccuracyRefused::NoRecords);
    }
    let right = records
        .iter()
        .filter(|it| {
            let off = u128::from(it.book.abs_diff(it.counted)) * 1000;
            off <= u128::from(it.tolerance_per_mille) * u128::from(it.book)
        })
        .count();
    Ok(Accuracy {
        right: right as u64,
        records: records.len() as u64,
    })
}

impl Accuracy {
    /// In percent, 0 to 100.
    pub fn percent(self) -> f64 {
        self.right as f64 * 100.0 / self.records as f64
    }
}

/// The class of each part by its value, in the order given.
///
/// A few parts make up most of the value. Line them up from the dearest down: those that fill the first
/// 80 % are A and are counted most often, those that fill the next 15 % are B, the rest C.
///
/// `values` in minor units of one currency, quantity × price; `a` and `b` the shares in percent at which A
/// and B end, usually 80 and 95. A part belongs to the class in which its *end* lies (the running sum with
/// it, divided by the sum of all, at most the cut), except that the dearest is always A. Equal values keep
/// the order given. Refuses no value at all and cuts that do not grow within 1 to 100. Textbooks often
/// draw the line by eye, and printed shares are sometimes shaved so that they add up to 100.0; ours are
/// exact. Source: a supply-chain glossary for 80/15/5.
pub fn classes(values: &[u64], a: u64, b: u64) -> Result<Vec<Class>, AccuracyRefused> {
    if a == 0 || a >= b || b > 100 {
        return Err(AccuracyRefused::Cuts);
    }
    let total: u128 = values.iter().map(|&value| u128::from(value)).sum();
    if total == 0 {
        return Err(AccuracyRefused::NoValue);
    }
    let mut order: Vec<usize> = (0..values.len()).collect();
    order.sort_by_key(|&at| std::cmp::Reverse(values[at]));
    let mut classes = vec![Class::C; values.len()];
    let mut running = 0_u128;
    for (rank, at) in order.into_iter().enumerate() {
        running += u128::from(values[at]);
        let within = |cut: u64| running * 100 <= total * u128::from(cut);
        classes[at] = if rank == 0 || within(a) {
            Class::A
        } else if within(b) {
            Class::B
        } else {
            Class::C
        };
    }
    Ok(classes)
}

/// Each value's share of all, in percent.
///
/// How much of the whole value this part is. Rounded to one decimal the shares need not add up to 100.0.
///
/// Refuses no value at all.
pub fn shares(values: &[u64]) -> Result<Vec<f64>, AccuracyRefused> {
    let total: u128 = values.iter().map(|&value| u128::from(value)).sum();
    if total == 0 {
        return Err(AccuracyRefused::NoValue);
    }
    Ok(values
        .iter()
        .map(|&value| value as f64 * 100.0 / total as f64)
        .collect())
}

/// How many parts to count a day so that every class gets round in its time.
///
/// 500 parts once in 20 days are 25 a day, 1750 once in 60 days are about 29 more. Counting that many each
/// day, nobody has to count everything at once.
///
/// Days of work. `Σ parts / days`, as it comes; [`whole_a_day`] rounds it up. Refuses a round of no days.
/// Source: Heizer and Render, *Operations Management*, chapter 12, cycle counting.
pub fn a_day(rounds: &[Round]) -> Result<f64, AccuracyRefused> {
    if rounds.iter().any(|round| round.days == 0) {
        return Err(AccuracyRefused::NoDays);
    }
    Ok(rounds
        .iter()
        .map(|round| round.parts as f64 / round.days as f64)
        .sum())
}

/// How many whole parts to count a day: the sum rounded up, so that the rounds are finished in time.
///
/// As [`a_day`], but nobody counts a third of a part: 107.9 a day means 108.
///
/// Exact in fractions. Refuses as [`a_day`], and days whose product cannot be held.
pub fn whole_a_day(rounds: &[Round]) -> Result<u64, AccuracyRefused> {
    a_day(rounds)?;
    let (mut over, mut under) = (0_u128, 1_u128);
    for round in rounds {
        let (parts, days) = (u128::from(round.parts), u128::from(round.days));
        let sum = over
            .checked_mul(days)
            .zip(parts.checked_mul(under))
            .and_then(|(old, new)| old.checked_add(new));
        over = sum.ok_or(AccuracyRefused::TooMuch)?;
        under = under.checked_mul(days).ok_or(AccuracyRefused::TooMuch)?;
    }
    u64::try_from(over.div_ceil(under)).map_err(|_| AccuracyRefused::TooMuch)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn record(book: u64, counted: u64, tolerance_per_mille: u64) -> Record {
        Record {
            book,
            counted,
            tolerance_per_mille,
        }
    }

    #[test]
    fn a_record_is_right_or_wrong() {
        for (it, right) in [
            (record(100, 100, 0), 1),
            (record(100, 99, 0), 0),
            (record(100, 99, 10), 1),
            (record(100, 101, 10), 1),
            (record(100, 98, 10), 0),
            (record(0, 0, 0), 1),
            (record(0, 1, 50), 0),
            (record(u64::MAX, 0, 999), 0),
        ] {
            assert_eq!(
                accuracy(&[it]),
                Ok(Accuracy { right, records: 1 }),
                "{it:?}"
            );
        }
        assert_eq!(accuracy(&[]), Err(AccuracyRefused::NoRecords));
    }

    #[test]
    fn what_makes_no_sense_is_refused() {
        assert_eq!(classes(&[], 80, 95), Err(AccuracyRefused::NoValue));
        assert_eq!(classes(&[0, 0], 80, 95), Err(AccuracyRefused::NoValue));
        for (a, b) in [(0, 95), (95, 95), (95, 80), (80, 101)] {
            assert_eq!(classes(&[1], a, b), Err(AccuracyRefused::Cuts));
        }
        assert_eq!(shares(&[0]), Err(AccuracyRefused::NoValue));
        let none = [Round { parts: 1, days: 0 }];
        assert_eq!(a_day(&none), Err(AccuracyRefused::NoDays));
        assert_eq!(whole_a_day(&none), Err(AccuracyRefused::NoDays));
        let huge = [Round {
            parts: 1,
            days: u64::MAX,
        }; 3];
        assert_eq!(whole_a_day(&huge), Err(AccuracyRefused::TooMuch));
    }

    #[test]
    fn thirds_are_not_rounded_up_twice() {
        let third = Round { parts: 1, days: 3 };
        assert_eq!(whole_a_day(&[third; 3]), Ok(1));
        assert_eq!(whole_a_day(&[third; 4]), Ok(2));
        assert_eq!(whole_a_day(&[]), Ok(0));
    }

    #[test]
    fn the_dearest_is_always_a() {
        assert_eq!(
            classes(&[1, 97, 2], 80, 95),
            Ok(vec![Class::C, Class::A, Class::C])
        );
        assert_eq!(
            classes(&[80, 15, 5], 80, 95),
            Ok(vec![Class::A, Class::B, Class::C])
        );
    }
}
