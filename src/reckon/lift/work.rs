//! How long people lift, with their rests, and how often.

use super::{Outside, Refused, not_below_zero};

/// How long the lifting takes: NIOSH 94-110, pp. 13-14.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Duration {
    /// At most one hour, then light work for at least as long.
    Short,
    /// At most two hours, then light work for at least three tenths as long.
    Moderate,
    /// At most eight hours with the usual breaks.
    Long,
}

/// Lifting, and the rest or light work that follows it until the next stretch.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stretch {
    pub lifting_min: f64,
    pub rest_min: f64,
}

/// Whether a day's lifting is short, moderate or long.
///
/// Up to an hour is short if the rest after it is at least as long; up to two hours are moderate if the
/// rest is at least three tenths as long. If the rest is too short, the next stretch adds to the last as if
/// there had been none.
///
/// Stretches add up until the rest after them is long enough: `rest ≥ work` up to 60 min, `rest ≥ 0.3 ·
/// work` up to 120 min. The longest class met on the day is the answer. After the last stretch the day's
/// lifting is over, so its rest is not asked for. Refuses no work at all, negative times, and more than
/// eight hours of lifting, for which the equation was not made. Source: NIOSH 94-110, pp. 13-14.
pub fn duration(day: &[Stretch]) -> Result<Duration, Refused> {
    let (mut all, mut together) = (0.0, 0.0);
    let mut longest = Duration::Short;
    for stretch in day {
        not_below_zero(stretch.lifting_min)?;
        not_below_zero(stretch.rest_min)?;
        all += stretch.lifting_min;
        together += stretch.lifting_min;
        let (class, rest_needed) = if together <= 60.0 {
            (Duration::Short, together)
        } else if together <= 120.0 {
            (Duration::Moderate, 0.3 * together)
        } else {
            (Duration::Long, f64::INFINITY)
        };
        longest = longest.max(class);
        if stretch.rest_min >= rest_needed {
            together = 0.0;
        }
    }
    if all > 480.0 {
        Err(Refused::DoesNotApply(vec![Outside::OverEightHours]))
    } else if all == 0.0 {
        Err(Refused::NoWork)
    } else {
        Ok(longest)
    }
}

/// How often people lift on average when they lift for part of every quarter of an hour.
///
/// Ten lifts a minute for eight minutes, then seven minutes of light work, are 80 lifts in 15 minutes: as
/// if 5.33 were lifted every minute.
///
/// `F = rate · minutes / 15`. Refuses more than 15 minutes, for which nothing is adjusted, and none.
/// Source: NIOSH 94-110, p. 16.
pub fn averaged(lifts_per_min: f64, minutes_of_fifteen: f64) -> Result<f64, Refused> {
    not_below_zero(lifts_per_min)?;
    not_below_zero(minutes_of_fifteen)?;
    if minutes_of_fifteen == 0.0 || minutes_of_fifteen > 15.0 {
        return Err(Refused::NotWithinFifteen);
    }
    Ok(lifts_per_min * minutes_of_fifteen / 15.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn day(stretches: &[(f64, f64)]) -> Result<Duration, Refused> {
        let day: Vec<Stretch> = stretches
            .iter()
            .map(|&(lifting_min, rest_min)| Stretch {
                lifting_min,
                rest_min,
            })
            .collect();
        duration(&day)
    }

    #[test]
    fn a_rest_too_short_joins_what_it_parts() {
        assert_eq!(day(&[(60.0, 0.0)]), Ok(Duration::Short));
        assert_eq!(day(&[(60.0, 60.0), (60.0, 60.0)]), Ok(Duration::Short));
        assert_eq!(day(&[(60.0, 59.0), (60.0, 0.0)]), Ok(Duration::Moderate));
        assert_eq!(day(&[(121.0, 900.0)]), Ok(Duration::Long));
        assert_eq!(day(&[(120.0, 35.0), (1.0, 0.0)]), Ok(Duration::Long));
        assert_eq!(day(&[(480.0, 0.0)]), Ok(Duration::Long));
    }

    #[test]
    fn what_makes_no_sense_is_refused() {
        assert_eq!(day(&[]), Err(Refused::NoWork));
        assert_eq!(day(&[(-1.0, 0.0)]), Err(Refused::BelowZero));
        assert_eq!(
            day(&[(300.0, 100.0), (181.0, 0.0)]),
            Err(Refused::DoesNotApply(vec![Outside::OverEightHours]))
        );
        assert_eq!(averaged(10.0, 0.0), Err(Refused::NotWithinFifteen));
        assert_eq!(averaged(10.0, 15.1), Err(Refused::NotWithinFifteen));
        assert_eq!(averaged(f64::NAN, 5.0), Err(Refused::NotANumber));
    }
}
