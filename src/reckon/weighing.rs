//! Counting by weight: pieces from gross, tare and a weighed sample, and how good that is.

use statrs::distribution::{ContinuousCDF, StudentsT};

/// What was put on the scale, in grams.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Weighed<'a> {
    /// The box with its pieces.
    pub gross: f64,
    /// The box alone.
    pub tare: f64,
    /// The last digit of the scale that weighed the box: 1 if it shows whole grams.
    pub step: f64,
    /// Single pieces, weighed one by one.
    pub sample: &'a [f64],
    /// The last digit of the scale that weighed them.
    pub sample_step: f64,
}

/// What to do if the answer is not good to one piece.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Advice {
    /// It is good to one piece.
    Trust,
    /// Too few pieces were weighed: with more of them it could be good.
    WeighMore,
    /// The scale is too coarse or the pieces differ too much: count by hand or in smaller heaps.
    CountByHand,
}

/// The answer.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Pieces {
    /// The nearest whole number.
    pub pieces: u64,
    /// Before rounding.
    pub exact: f64,
    /// Standard uncertainty, in pieces.
    pub standard: f64,
    /// Effective degrees of freedom; infinite if the sample showed no scatter.
    pub freedom: f64,
    /// Coverage factor for 95.45 %: 2 with many degrees of freedom, more with few.
    pub factor: f64,
    /// Expanded uncertainty, in pieces: the true number lies this near, 19 times of 20.
    pub expanded: f64,
    pub advice: Advice,
}

/// Why no number can be given, in words for the person who weighed.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum WeighingRefused {
    #[error("a mass is a number of grams, zero or more")]
    Mass,
    #[error("the last digit of a scale is a number of grams above zero")]
    Step,
    #[error("the box with its pieces weighs less than the box alone")]
    Tare,
    #[error("weigh at least two pieces one by one; from fewer it cannot be told how they differ")]
    TooFewWeighed,
    #[error("the pieces are too light for this scale")]
    TooLight,
    #[error("these are more pieces than can be counted by weight")]
    TooMany,
}

/// The level at which the factor is 2 for many degrees of freedom.
const LEVEL: f64 = 0.9545;
/// No box holds more pieces; below it every whole number is exact.
const LARGEST: f64 = 1e9;

/// The standard uncertainty of something that lies anywhere within ± `half`, all values as likely.
///
/// A scale that shows whole grams says 7 for anything from 6.5 to 7.5. Half a gram is the most it can be
/// off; typically it is off by about 0.3.
///
/// `half / √3`. Source: JCGM 100:2008, 4.3.7.
pub fn rectangular(half: f64) -> f64 {
    half / 3_f64.sqrt()
}

/// How much is known about a combined uncertainty: its effective degrees of freedom.
///
/// An uncertainty that rests on few measurements is itself uncertain; this says on how many measurements
/// the combined one rests, so to speak.
///
/// Each part is its standard uncertainty and its degrees of freedom (infinite where it is known exactly).
/// Welch and Satterthwaite: `(Σ u²)² / Σ (u⁴ / ν)`; infinite if no part is in doubt. Source: JCGM 100:2008,
/// G.4.1.
pub fn effective_freedom(parts: &[(f64, f64)]) -> f64 {
    let combined: f64 = parts.iter().map(|(u, _)| u * u).sum();
    let doubt: f64 = parts.iter().map(|(u, freedom)| u.powi(4) / freedom).sum();
    if doubt > 0.0 {
        combined * combined / doubt
    } else {
        f64::INFINITY
    }
}

/// By what to multiply a standard uncertainty so that it covers the true value with this chance.
///
/// With many measurements 2 covers 19 of 20; with few it must be more.
///
/// Two-sided quantile of Student's t, degrees of freedom cut to a whole number. Source: JCGM 100:2008,
/// G.4.1 and table G.2. None where a chance is not in (0, 1) or there is less than one degree.
pub fn coverage_factor(freedom: f64, chance: f64) -> Option<f64> {
    if !(chance > 0.0 && chance < 1.0 && freedom >= 1.0) {
        return None;
    }
    // Beyond a million degrees the factor no longer changes in the digits that matter.
    let law = StudentsT::new(0.0, 1.0, freedom.floor().min(1e6)).ok()?;
    Some(law.inverse_cdf(0.5 + chance / 2.0))
}

/// How many pieces are in a box, from its weight.
///
/// Weigh the box with its pieces, the empty box, and some pieces one by one. The pieces' weight divided by
/// the weight of one is their number. Pieces differ a little and scales round, so the answer says how far
/// off it may be; only if that is less than half a piece is the count good to one piece.
///
/// Grams. With net mass `M = gross − tare`, mean `w` and standard deviation `s` of the `n` pieces weighed:
/// `N = M / w`. Combined in quadrature, in pieces: gross and tare, each `step / (2 √3) / w`; the mean, from
/// scatter `N s / (w √n)` and, not averaged away, its scale `N · sample_step / (2 √3) / w`; the scatter of
/// the pieces in the box `√N s / w`. Both scatter terms rest on the same `n − 1` degrees of freedom, the
/// others count as exactly known; expanded by Student's t at 95.45 % with the effective degrees. Covers
/// only what is in these terms: a scale out of adjustment or a foreign piece in the box is not. Refuses
/// what is no mass, a tare above the gross, fewer than two pieces weighed and pieces lighter than half a
/// step. Source: JCGM 100:2008 (GUM), 4.2, 4.3.7, 5.1.2, G.4.
pub fn pieces(weighed: &Weighed<'_>) -> Result<Pieces, WeighingRefused> {
    let mass = |grams: f64| grams.is_finite() && grams >= 0.0;
    if !mass(weighed.gross) || !mass(weighed.tare) || !weighed.sample.iter().all(|&it| mass(it)) {
        return Err(WeighingRefused::Mass);
    }
    if [weighed.step, weighed.sample_step]
        .iter()
        .any(|step| !step.is_finite() || *step <= 0.0)
    {
        return Err(WeighingRefused::Step);
    }
    if weighed.gross < weighed.tare {
        return Err(WeighingRefused::Tare);
    }
    if weighed.sample.len() < 2 {
        return Err(WeighingRefused::TooFewWeighed);
    }
    let n = weighed.sample.len() as f64;
    let mean = weighed.sample.iter().sum::<f64>() / n;
    if mean <= weighed.sample_step / 2.0 {
        return Err(WeighingRefused::TooLight);
    }
    let variance = weighed
        .sample
        .iter()
        .map(|it| (it - mean).powi(2))
        .sum::<f64>()
        / (n - 1.0);
    let exact = (weighed.gross - weighed.tare) / mean;
    if !exact.is_finite() || exact > LARGEST || !variance.is_finite() {
        return Err(WeighingRefused::TooMany);
    }
    let scale = rectangular(weighed.step / 2.0) / mean;
    let sample_scale = exact * rectangular(weighed.sample_step / 2.0) / mean;
    let scatter =
        |weighed_pieces: f64| (variance * (exact * exact / weighed_pieces + exact)).sqrt() / mean;
    let known = f64::INFINITY;
    let budget = [
        (scale, known),
        (scale, known),
        (sample_scale, known),
        (scatter(n), n - 1.0),
    ];
    let standard = combined(&budget);
    let freedom = effective_freedom(&budget);
    let factor = coverage_factor(freedom, LEVEL).ok_or(WeighingRefused::TooFewWeighed)?;
    let expanded = factor * standard;
    // With ever more pieces weighed the mean's scatter goes and the factor becomes 2; the rest stays.
    let mut best = budget;
    best[3].0 = scatter(f64::INFINITY);
    let advice = if expanded < 0.5 {
        Advice::Trust
    } else if 2.0 * combined(&best) < 0.5 {
        Advice::WeighMore
    } else {
        Advice::CountByHand
    };
    Ok(Pieces {
        pieces: exact.round() as u64,
        exact,
        standard,
        freedom,
        factor,
        expanded,
        advice,
    })
}

/// Standard uncertainties in quadrature: JCGM 100:2008, 5.1.2.
fn combined(budget: &[(f64, f64)]) -> f64 {
    budget.iter().map(|(u, _)| u * u).sum::<f64>().sqrt()
}

#[cfg(test)]
mod tests {
    use super::*;

    const SAMPLE: [f64; 5] = [10.0, 10.1, 9.9, 10.0, 10.0];

    fn weighed(gross: f64, sample: &[f64]) -> Weighed<'_> {
        Weighed {
            gross,
            tare: 100.0,
            step: 1.0,
            sample,
            sample_step: 0.01,
        }
    }

    #[test]
    fn what_makes_no_sense_is_refused() {
        let ask = |it: Weighed<'_>| pieces(&it).unwrap_err();
        assert_eq!(ask(weighed(f64::NAN, &SAMPLE)), WeighingRefused::Mass);
        assert_eq!(ask(weighed(-1.0, &SAMPLE)), WeighingRefused::Mass);
        assert_eq!(ask(weighed(99.0, &SAMPLE)), WeighingRefused::Tare);
        assert_eq!(ask(weighed(200.0, &[10.0])), WeighingRefused::TooFewWeighed);
        assert_eq!(ask(weighed(200.0, &[0.0, 0.0])), WeighingRefused::TooLight);
        assert_eq!(ask(weighed(1e300, &SAMPLE)), WeighingRefused::TooMany);
        for step in [0.0, -1.0, f64::NAN] {
            let odd = Weighed {
                step,
                ..weighed(200.0, &SAMPLE)
            };
            assert_eq!(ask(odd), WeighingRefused::Step);
        }
    }

    #[test]
    fn it_says_when_it_is_not_good_to_one_piece() {
        let ask = |it: Weighed<'_>| pieces(&it).unwrap();
        let few = ask(weighed(300.0, &SAMPLE));
        assert_eq!((few.pieces, few.advice), (20, Advice::Trust));
        let many = ask(weighed(1100.0, &SAMPLE));
        assert_eq!((many.pieces, many.advice), (100, Advice::WeighMore));
        let coarse = Weighed {
            step: 20.0,
            ..weighed(300.0, &SAMPLE)
        };
        assert_eq!(ask(coarse).advice, Advice::CountByHand);
    }

    /// By hand: w = 10, s² = 0.005, N = 20. Scale 1/(2√3)/10 = 0.028868 twice; the sample's scale
    /// 20 × 0.0028868/10 = 0.0057735; scatter √(0.005 × (400/5 + 20))/10 = 0.0707107.
    #[test]
    fn the_terms_add_in_quadrature() {
        let it = pieces(&weighed(300.0, &SAMPLE)).unwrap();
        let squares = 2.0 * 0.0288675_f64.powi(2) + 0.0057735_f64.powi(2) + 0.0707107_f64.powi(2);
        assert!((it.standard - squares.sqrt()).abs() < 1e-6, "{it:?}");
        let freedom = squares.powi(2) / (0.0707107_f64.powi(4) / 4.0);
        assert!((it.freedom - freedom).abs() < 1e-3, "{it:?}");
    }
}
