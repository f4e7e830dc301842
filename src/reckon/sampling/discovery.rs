//! Discovery sampling: how many to open so that a fault is found if there is one.

use statrs::distribution::{Discrete, Hypergeometric};

/// Beyond this many, the logarithms of the factorials are not exact enough: use [`opened_of_many`].
pub const LARGEST: u64 = 100_000;
/// Room for the last digits of a chance, so that 9 of 10 opened is 90 % and not a hair less.
const HAIR: f64 = 1e-9;

/// Why nothing can be said, in words for the person who asked.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum DiscoveryRefused {
    #[error("the confidence lies between 0 and 100 %, without either")]
    Confidence,
    #[error("the share of bad ones lies between 0 and 100 %, without either")]
    Share,
    #[error("there is nothing to open")]
    Nothing,
    #[error("more than {LARGEST} are too many for this; ask by share instead")]
    TooMany,
    #[error("the bad ones are at least one and at most as many as there are")]
    Bad,
    #[error("at least one must have been opened, and not more than there are")]
    Opened,
}

/// How many of so many to open so that, if this many are bad, at least one of them turns up.
///
/// If 3 of 50 crates are packed wrong and you open 31 of them, drawn by lot, you find a wrong one 19
/// times of 20. If you find none, you may be that sure that fewer than 3 are wrong. It does not prove that
/// none is.
///
/// `of` 1 to [`LARGEST`], `bad` 1 to `of`, `confidence` strictly between 0 and 1. The smallest `n` for
/// which the hypergeometric chance of finding none, `C(of − bad, n) / C(of, n)`, is at most
/// `1 − confidence`. Source: the hypergeometric law; the technique of the Sandia National Laboratories'
/// sampling guide ("third technique").
pub fn opened(of: u64, bad: u64, confidence: f64) -> Result<u64, DiscoveryRefused> {
    check(confidence)?;
    // With one more than the good ones a bad one is certain, so the answer lies in 1 to that.
    let (mut below, mut enough) = (0, of.saturating_sub(bad).saturating_add(1));
    none_found(of, bad, 1)?;
    while enough - below > 1 {
        let middle = below + (enough - below) / 2;
        if none_found(of, bad, middle)? <= 1.0 - confidence + HAIR {
            enough = middle;
        } else {
            below = middle;
        }
    }
    Ok(enough)
}

/// How many bad ones a share of so many is.
///
/// One in twenty of 50 is 2.5; that is taken as 3. It is never less than one, because looking for none
/// makes no sense.
///
/// `share` strictly between 0 and 1; rounded half up, at least 1.
pub fn bad_ones(of: u64, share: f64) -> Result<u64, DiscoveryRefused> {
    check_share(share)?;
    check_of(of)?;
    // Room for the last digit: 0.05 × 50 must not fall below 2.5.
    Ok(((of as f64 * share + 0.5 + HAIR).floor() as u64).max(1))
}

/// How many to open when there are too many to number.
///
/// If one in twenty is bad and you look at 59, you find a bad one 19 times of 20, however many there are.
///
/// `share` and `confidence` strictly between 0 and 1. `⌈ln(1 − confidence) / ln(1 − share)⌉`, from
/// `(1 − share)ⁿ ≤ 1 − confidence`. Source: the binomial law; 59 and 299 are figures auditors quote, from
/// memory.
pub fn opened_of_many(share: f64, confidence: f64) -> Result<u64, DiscoveryRefused> {
    check(confidence)?;
    check_share(share)?;
    let exact = (-confidence).ln_1p() / (-share).ln_1p();
    // A quotient that is whole but for its last digits must not be rounded up past it.
    let whole = (exact - HAIR).ceil().max(1.0);
    if whole < (1_u64 << 53) as f64 {
        Ok(whole as u64)
    } else {
        Err(DiscoveryRefused::Share)
    }
}

/// What may be said after so many were opened and none was bad.
///
/// You opened 12 of 50 crates by lot and found all of them right. With this confidence no more than the
/// answer are wrong among those you did not open. Zero is answered only if all were opened.
///
/// The largest number of bad ones for which finding none still has a chance above `1 − confidence`: one
/// more would have shown itself with that confidence. Refuses none opened and more than there are.
pub fn at_most(of: u64, opened: u64, confidence: f64) -> Result<u64, DiscoveryRefused> {
    check(confidence)?;
    check_of(of)?;
    if opened == 0 || opened > of {
        return Err(DiscoveryRefused::Opened);
    }
    let (mut possible, mut excluded) = (0, of - opened + 1);
    while excluded - possible > 1 {
        let middle = possible + (excluded - possible) / 2;
        if none_found(of, middle, opened)? <= 1.0 - confidence + HAIR {
            excluded = middle;
        } else {
            possible = middle;
        }
    }
    Ok(possible)
}

/// The chance that none of the bad ones is among the opened.
///
/// Open 5 of 20 crates while 2 are packed wrong: more often than not you see neither of the two.
///
/// Hypergeometric: `C(of − bad, opened) / C(of, opened)`.
pub fn none_found(of: u64, bad: u64, opened: u64) -> Result<f64, DiscoveryRefused> {
    check_of(of)?;
    if bad == 0 || bad > of {
        return Err(DiscoveryRefused::Bad);
    }
    if opened == 0 || opened > of {
        return Err(DiscoveryRefused::Opened);
    }
    if opened > of - bad {
        return Ok(0.0);
    }
    let law = Hypergeometric::new(of, bad, opened).map_err(|_| DiscoveryRefused::Bad)?;
    // By logarithms: the library's plain quotient overflows for a lot of two thousand.
    Ok(law.ln_pmf(0).exp())
}

fn check(confidence: f64) -> Result<(), DiscoveryRefused> {
    if confidence > 0.0 && confidence < 1.0 {
        Ok(())
    } else {
        Err(DiscoveryRefused::Confidence)
    }
}

fn check_share(share: f64) -> Result<(), DiscoveryRefused> {
    if share > 0.0 && share < 1.0 {
        Ok(())
    } else {
        Err(DiscoveryRefused::Share)
    }
}

fn check_of(of: u64) -> Result<(), DiscoveryRefused> {
    match of {
        0 => Err(DiscoveryRefused::Nothing),
        1..=LARGEST => Ok(()),
        _ => Err(DiscoveryRefused::TooMany),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_makes_no_sense_is_refused() {
        for odd in [0.0, 1.0, -0.2, f64::NAN] {
            assert_eq!(opened(10, 1, odd), Err(DiscoveryRefused::Confidence));
            assert_eq!(opened_of_many(0.1, odd), Err(DiscoveryRefused::Confidence));
            assert_eq!(opened_of_many(odd, 0.9), Err(DiscoveryRefused::Share));
            assert_eq!(bad_ones(10, odd), Err(DiscoveryRefused::Share));
        }
        assert_eq!(opened(0, 1, 0.9), Err(DiscoveryRefused::Nothing));
        assert_eq!(opened(5, 0, 0.9), Err(DiscoveryRefused::Bad));
        assert_eq!(opened(5, 6, 0.9), Err(DiscoveryRefused::Bad));
        assert_eq!(opened(LARGEST + 1, 6, 0.9), Err(DiscoveryRefused::TooMany));
        assert_eq!(opened(u64::MAX, 0, 0.9), Err(DiscoveryRefused::TooMany));
        assert_eq!(at_most(5, 0, 0.9), Err(DiscoveryRefused::Opened));
        assert_eq!(at_most(5, 6, 0.9), Err(DiscoveryRefused::Opened));
    }

    proptest::proptest! {
        /// Having opened what `opened` asks for, the bad ones looked for are excluded, and one fewer
        /// opened would not have excluded them.
        #[test]
        fn there_and_back(of in 2_u64..400, part in 0.0_f64..1.0, sure in 0.05_f64..0.99) {
            let bad = 1 + (part * (of - 1) as f64) as u64;
            let n = opened(of, bad, sure).unwrap();
            proptest::prop_assert!(at_most(of, n, sure).unwrap() < bad);
            if n > 1 {
                proptest::prop_assert!(at_most(of, n - 1, sure).unwrap() >= bad);
            }
        }
    }
}
