//! The quick filter for a lift, without an equation, and what two or three people lift together.

/// Where the hands are, from the top.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Zone {
    ShoulderAndAbove,
    ShoulderToElbow,
    /// Waist height.
    ElbowToKnuckle,
    KnuckleToLowerLeg,
    LowerLegToFloor,
}

/// How far from the body.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Reach {
    Close,
    ArmsOut,
}

/// The filter has two columns.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Adults {
    Women,
    Men,
}

/// Why the filter gives no number, in words for the person who asked.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum NotFiltered {
    #[error("say through which heights the hands go")]
    NoZone,
    #[error("masses, rates and angles are numbers that are not below zero")]
    NotANumber,
    #[error("the filter ends at a twist of 90 degrees: turn the feet, or have the lift assessed")]
    TooTwisted,
    #[error("one person is no team: read the figure for one adult")]
    Alone,
    #[error(
        "more than three people lifting together get in each other's way: split the load or use a trolley"
    )]
    TooMany,
}

/// The filter's figure for one zone, in kilograms.
///
/// At waist height and close to the body most; overhead, at the floor and with the arms out far less.
///
/// For two hands with a good grip, a steady stand and up to about 30 lifts an hour. Adults only: there is
/// no number for young people. Source: HSE INDG143 (rev 4, 2020), lifting and lowering risk filter; its
/// conditions from memory.
pub fn zone_kg(zone: Zone, reach: Reach, adults: Adults) -> f64 {
    let [women_close, women_out, men_close, men_out] = match zone {
        Zone::ShoulderAndAbove | Zone::LowerLegToFloor => [7.0, 3.0, 10.0, 5.0],
        Zone::ShoulderToElbow | Zone::KnuckleToLowerLeg => [13.0, 7.0, 20.0, 10.0],
        Zone::ElbowToKnuckle => [16.0, 10.0, 25.0, 15.0],
    };
    match (adults, reach) {
        (Adults::Women, Reach::Close) => women_close,
        (Adults::Women, Reach::ArmsOut) => women_out,
        (Adults::Men, Reach::Close) => men_close,
        (Adults::Men, Reach::ArmsOut) => men_out,
    }
}

/// Above which mass, in kilograms, a lift should be looked at more closely.
///
/// The hands' way goes through one or more heights; the smallest figure on the way counts. Lifting often
/// and twisting take some of it away. The figure is a filter, not a limit: what is above it needs a fuller
/// assessment, what is below it may still hurt somebody.
///
/// Less 30 % above 30 lifts an hour, 50 % above 2 a minute, 80 % above 8 a minute; less 10 % up to 45° of
/// twist, 20 % up to 90°. L23 names 1-2, 5-8 and more than 12 lifts a minute, 45° and 90° (from memory);
/// what lies between takes the stronger reduction. Refuses no zone, what is no number, and a twist above
/// 90°. Source: HSE INDG143 and L23.
pub fn filter_kg(
    through: &[Zone],
    reach: Reach,
    adults: Adults,
    lifts_per_min: f64,
    twist_deg: f64,
) -> Result<f64, NotFiltered> {
    check(lifts_per_min)?;
    check(twist_deg)?;
    let often = match lifts_per_min {
        rate if rate <= 0.5 => 1.0,
        rate if rate <= 2.0 => 0.7,
        rate if rate <= 8.0 => 0.5,
        _ => 0.2,
    };
    let twisted = match twist_deg {
        0.0 => 1.0,
        twist if twist <= 45.0 => 0.9,
        twist if twist <= 90.0 => 0.8,
        _ => return Err(NotFiltered::TooTwisted),
    };
    through
        .iter()
        .map(|zone| zone_kg(*zone, reach, adults))
        .reduce(f64::min)
        .map(|smallest| smallest * often * twisted)
        .ok_or(NotFiltered::NoZone)
}

/// What two or three adults lift together, in kilograms.
///
/// Two people cannot lift twice what one can: they hinder each other and never share evenly. Two lift two
/// thirds of what they could lift one by one, three lift half of it. On steps the lower one carries most.
///
/// `⅔ · (a + b)`, `½ · (a + b + c)`, each the mass that person lifts alone there, as by [`filter_kg`].
/// Refuses one person and more than three. Source: HSE L23, guidance paragraph 120, which finds teams of
/// more than four unlikely to work and gives no share for four.
pub fn together_kg(alone_kg: &[f64]) -> Result<f64, NotFiltered> {
    for mass in alone_kg {
        check(*mass)?;
    }
    let sum: f64 = alone_kg.iter().sum();
    let team = match alone_kg.len() {
        0 | 1 => return Err(NotFiltered::Alone),
        2 => sum * 2.0 / 3.0,
        3 => sum / 2.0,
        _ => return Err(NotFiltered::TooMany),
    };
    check(team)?;
    Ok(team)
}

fn check(value: f64) -> Result<(), NotFiltered> {
    if value.is_finite() && value >= 0.0 {
        Ok(())
    } else {
        Err(NotFiltered::NotANumber)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_smallest_figure_on_the_way_counts_and_is_reduced() {
        let through = [Zone::LowerLegToFloor, Zone::ElbowToKnuckle];
        let kg = |zones: &[Zone], rate, twist| {
            filter_kg(zones, Reach::Close, Adults::Women, rate, twist)
        };
        assert_eq!(kg(&through, 0.5, 0.0), Ok(7.0));
        assert_eq!(kg(&through[1..], 0.5, 0.0), Ok(16.0));
        for (rate, twist, share) in [
            (2.0, 0.0, 0.7),
            (2.1, 0.0, 0.5),
            (8.0, 0.0, 0.5),
            (12.1, 0.0, 0.2),
            (0.0, 45.0, 0.9),
            (0.0, 46.0, 0.8),
            (1.0, 90.0, 0.56),
        ] {
            let found = kg(&through[1..], rate, twist).unwrap();
            assert!(
                (found - 16.0 * share).abs() < 1e-9,
                "{rate} {twist}: {found}"
            );
        }
        assert_eq!(kg(&[], 0.0, 0.0), Err(NotFiltered::NoZone));
        assert_eq!(kg(&through, 0.0, 91.0), Err(NotFiltered::TooTwisted));
        assert_eq!(kg(&through, -1.0, 0.0), Err(NotFiltered::NotANumber));
    }

    #[test]
    fn a_team_is_two_or_three() {
        assert_eq!(together_kg(&[20.0]), Err(NotFiltered::Alone));
        assert_eq!(together_kg(&[20.0; 4]), Err(NotFiltered::TooMany));
        assert_eq!(together_kg(&[20.0, -1.0]), Err(NotFiltered::NotANumber));
        assert_eq!(together_kg(&[f64::MAX; 2]), Err(NotFiltered::NotANumber));
    }
}
