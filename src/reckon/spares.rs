//! How many spares the coming season needs, from what broke and was lost before.

use statrs::distribution::{DiscreteCDF, NegativeBinomial, Poisson};

/// The confidence used unless a person chooses another: enough in nine seasons of ten.
pub const USUAL_CONFIDENCE: f64 = 0.9;
/// Beyond this many pieces lost, expected or answered, the library's series are not checked.
pub const LARGEST: u64 = 10_000;

/// So many pieces of a part in use for so many days, events and practice alike.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Use {
    pub pieces: u64,
    pub days: f64,
}

/// Pieces broken or lost on one occasion.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Loss {
    pub what: String,
    pub pieces: u64,
    /// Nothing that wear explains (a whole bag left behind): not counted, but named in the answer.
    pub one_off: bool,
}

/// How many spares, and what the answer rests on.
#[derive(Debug, Clone, PartialEq)]
pub struct Spares {
    pub spares: u64,
    pub confidence: f64,
    /// How many pieces the coming season is expected to cost, on average.
    pub expected: f64,
    /// The chance that these spares suffice, at least the confidence.
    pub chance: f64,
    /// Pieces broken or lost that were counted.
    pub counted: u64,
    /// Losses marked one-off, which were not.
    pub left_out: Vec<Loss>,
}

/// Why no number of spares can be said, in words for the person who asked.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum SparesRefused {
    #[error("the confidence lies between 0 and 100 %, without either")]
    Confidence,
    #[error("the days of use are a number, zero or more")]
    Days,
    #[error("nothing was in use before, so nothing can be learned from what broke")]
    NoPast,
    #[error("nothing will be in use, so there is nothing to keep spares for")]
    NoFuture,
    #[error("the number of pieces expected to break is a number above zero")]
    Mean,
    #[error(
        "more than {LARGEST} pieces: check the numbers, this is more than can be reckoned with"
    )]
    TooMany,
}

/// How many spares suffice when the average loss is known.
///
/// If on average this many pieces break in a season, some seasons break more; this is the smallest
/// number of spares that is enough in the chosen share of seasons. It says nothing about how many pieces
/// are lacking in the other seasons.
///
/// `mean` in pieces, above 0; `confidence` strictly between 0 and 1. The smallest `s` with
/// `P(X ≤ s) ≥ confidence` for X Poisson with that mean. Source: any textbook of logistics engineering
/// ("spare-part quantity, Poisson").
pub fn poisson(mean: f64, confidence: f64) -> Result<u64, SparesRefused> {
    check(confidence)?;
    if !mean.is_finite() || mean <= 0.0 {
        return Err(SparesRefused::Mean);
    }
    if mean > LARGEST as f64 {
        return Err(SparesRefused::TooMany);
    }
    let law = Poisson::new(mean).map_err(|_| SparesRefused::Mean)?;
    smallest(confidence, |s| law.cdf(s))
}

/// How many spares the coming season needs, from what broke before.
///
/// Count the pieces that broke or were lost, and how many pieces were in use on how many days. The
/// coming season will be like that, but luck varies and what was seen was luck too; this is the smallest
/// number of spares that is enough with the chosen confidence. If nothing has broken yet, something still
/// can: the answer is then small, but often not zero.
///
/// Uses in pieces × days. With `k` pieces lost in the exposure `T` and the Jeffreys prior Gamma(1/2, 0)
/// for the rate, the loss in the coming exposure `t` is negative binomial with `r = k + 1/2` and
/// `p = T / (T + t)`; mean `(k + 1/2) t / T`. Answers the smallest `s` with `P(Y ≤ s) ≥ confidence`.
/// It supposes that pieces break independently and as often per day as before. Refuses no use before, no
/// use to come, days below zero, a confidence outside (0, 1), and more than [`LARGEST`] pieces. Source:
/// the Gamma-Poisson model of any textbook of Bayesian statistics; H. Jeffreys for the prior.
pub fn spares(
    losses: &[Loss],
    past: &[Use],
    coming: &[Use],
    confidence: f64,
) -> Result<Spares, SparesRefused> {
    check(confidence)?;
    let past = exposure(past)?.ok_or(SparesRefused::NoPast)?;
    let coming = exposure(coming)?.ok_or(SparesRefused::NoFuture)?;
    let counted = losses
        .iter()
        .filter(|loss| !loss.one_off)
        .try_fold(0_u64, |sum, loss| sum.checked_add(loss.pieces))
        .filter(|&sum| sum <= LARGEST)
        .ok_or(SparesRefused::TooMany)?;
    let shape = counted as f64 + 0.5;
    let expected = shape * (coming / past);
    if !expected.is_finite() || expected > LARGEST as f64 {
        return Err(SparesRefused::TooMany);
    }
    // Written so that neither the sum nor the quotient can overflow.
    let law = NegativeBinomial::new(shape, 1.0 / (1.0 + coming / past))
        .map_err(|_| SparesRefused::TooMany)?;
    let spares = smallest(confidence, |s| law.cdf(s))?;
    Ok(Spares {
        spares,
        confidence,
        expected,
        chance: law.cdf(spares),
        counted,
        left_out: losses.iter().filter(|loss| loss.one_off).cloned().collect(),
    })
}

impl Spares {
    /// The answer in a sentence or three, with what was left out.
    pub fn sentence(&self) -> String {
        let seen = match self.counted {
            0 => "Nothing has broken or gone missing yet, which does not mean that nothing will"
                .to_owned(),
            1 => "1 piece broke or went missing before".to_owned(),
            n => format!("{n} pieces broke or went missing before"),
        };
        let percent = self.confidence * 100.0;
        let mut said = format!(
            "{seen}: with {} spare{} you have enough with a confidence of {} %.",
            self.spares,
            if self.spares == 1 { "" } else { "s" },
            (percent * 100.0).round() / 100.0,
        );
        for loss in &self.left_out {
            said.push_str(&format!(
                " Left out as one-off: {} ({} piece{}).",
                loss.what,
                loss.pieces,
                if loss.pieces == 1 { "" } else { "s" },
            ));
        }
        said
    }
}

fn check(confidence: f64) -> Result<(), SparesRefused> {
    if confidence > 0.0 && confidence < 1.0 {
        Ok(())
    } else {
        Err(SparesRefused::Confidence)
    }
}

/// Piece-days; none if nothing was in use.
fn exposure(uses: &[Use]) -> Result<Option<f64>, SparesRefused> {
    if uses.iter().any(|it| !it.days.is_finite() || it.days < 0.0) {
        return Err(SparesRefused::Days);
    }
    let sum: f64 = uses.iter().map(|it| it.pieces as f64 * it.days).sum();
    if !sum.is_finite() {
        return Err(SparesRefused::TooMany);
    }
    Ok((sum > 0.0).then_some(sum))
}

/// The smallest number whose cumulative chance reaches the confidence, by doubling and then halving: the
/// library's own inverse is a general search that does not promise the smallest.
fn smallest(confidence: f64, chance: impl Fn(u64) -> f64) -> Result<u64, SparesRefused> {
    if chance(0) >= confidence {
        return Ok(0);
    }
    let (mut below, mut enough) = (0, 1);
    while chance(enough) < confidence {
        if enough > LARGEST {
            return Err(SparesRefused::TooMany);
        }
        (below, enough) = (enough, enough * 2);
    }
    while enough - below > 1 {
        let middle = below + (enough - below) / 2;
        if chance(middle) < confidence {
            below = middle;
        } else {
            enough = middle;
        }
    }
    if enough > LARGEST {
        return Err(SparesRefused::TooMany);
    }
    Ok(enough)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn season(pieces: u64, days: f64) -> Vec<Use> {
        vec![Use { pieces, days }]
    }

    fn worn(pieces: u64) -> Loss {
        Loss {
            what: "worn".to_owned(),
            pieces,
            one_off: false,
        }
    }

    #[test]
    fn what_makes_no_sense_is_refused() {
        let one = season(10, 5.0);
        let ask = |past: &[Use], coming: &[Use], sure| spares(&[worn(1)], past, coming, sure);
        for sure in [0.0, 1.0, -0.1, 90.0, f64::NAN, f64::INFINITY] {
            assert_eq!(ask(&one, &one, sure), Err(SparesRefused::Confidence));
            assert_eq!(poisson(1.0, sure), Err(SparesRefused::Confidence));
        }
        for days in [-1.0, f64::NAN, f64::INFINITY] {
            let odd = season(10, days);
            assert_eq!(ask(&odd, &one, 0.9), Err(SparesRefused::Days));
            assert_eq!(ask(&one, &odd, 0.9), Err(SparesRefused::Days));
        }
        for none in [vec![], season(0, 5.0), season(5, 0.0)] {
            assert_eq!(ask(&none, &one, 0.9), Err(SparesRefused::NoPast));
            assert_eq!(ask(&one, &none, 0.9), Err(SparesRefused::NoFuture));
        }
        for mean in [0.0, -1.0, f64::NAN, f64::INFINITY] {
            assert_eq!(poisson(mean, 0.9), Err(SparesRefused::Mean));
        }
        assert_eq!(poisson(1e5, 0.9), Err(SparesRefused::TooMany));
        let many = [worn(u64::MAX), worn(1)];
        assert_eq!(spares(&many, &one, &one, 0.9), Err(SparesRefused::TooMany));
        assert_eq!(
            ask(&one, &season(u64::MAX, 1e300), 0.9),
            Err(SparesRefused::TooMany)
        );
    }

    #[test]
    fn a_one_off_is_left_out_and_named() {
        let bag = Loss {
            what: "bag 7 left on the bus".to_owned(),
            pieces: 40,
            one_off: true,
        };
        let one = season(20, 4.0);
        let with = spares(&[worn(2), bag.clone()], &one, &one, 0.9).unwrap();
        assert_eq!(
            with.spares,
            spares(&[worn(2)], &one, &one, 0.9).unwrap().spares
        );
        assert_eq!((with.counted, with.left_out.as_slice()), (2, &[bag][..]));
        assert_eq!(
            with.sentence(),
            "2 pieces broke or went missing before: with 5 spares you have enough with a confidence \
             of 90 %. Left out as one-off: bag 7 left on the bus (40 pieces)."
        );
    }

    #[test]
    fn nothing_broken_is_not_nothing_needed() {
        let one = season(20, 4.0);
        let none = spares(&[], &one, &one, USUAL_CONFIDENCE).unwrap();
        assert_eq!(none.spares, 2);
        assert!(
            none.sentence().starts_with("Nothing has broken"),
            "{}",
            none.sentence()
        );
    }

    /// Adding up the chances one by one, each from the one before, for an uneven `r` and up to the limit.
    #[test]
    fn the_search_agrees_with_adding_up() {
        for (k, past, coming) in [
            (0, 1.0, 100.0),
            (3, 7.0, 2.0),
            (400, 3.0, 5.0),
            (8000, 5.0, 5.0),
        ] {
            let r = k as f64 + 0.5;
            let p: f64 = past / (past + coming);
            for sure in [0.5, 0.9, 0.99] {
                // Logarithms, because the first chance of a large r is too small for a number.
                let (mut log, mut sum, mut s) = (r * p.ln(), 0.0, 0_u64);
                loop {
                    sum += log.exp();
                    if sum >= sure {
                        break;
                    }
                    log += ((s as f64 + r) / (s as f64 + 1.0)).ln() + (1.0 - p).ln();
                    s += 1;
                }
                let answer = spares(&[worn(k)], &season(1, past), &season(1, coming), sure);
                assert_eq!(answer.unwrap().spares, s, "{k} {past} {coming} {sure}");
            }
        }
    }

    proptest::proptest! {
        #[test]
        fn more_sure_more_use_or_more_lost_never_means_fewer(
            k in 0_u64..200, past in 20_u64..500, coming in 1_u64..500, sure in 0.01_f64..0.98,
        ) {
            let ask = |k, coming, sure| {
                spares(&[worn(k)], &season(past, 1.0), &season(coming, 1.0), sure).unwrap().spares
            };
            let here = ask(k, coming, sure);
            proptest::prop_assert!(ask(k + 1, coming, sure) >= here);
            proptest::prop_assert!(ask(k, coming + 1, sure) >= here);
            proptest::prop_assert!(ask(k, coming, sure + 0.01) >= here);
        }
    }
}
