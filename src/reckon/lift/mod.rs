//! Whether a load is too heavy for the way it is lifted: the revised NIOSH lifting equation.
//!
//! The source is Waters, Putz-Anderson and Garg, *Applications Manual for the Revised NIOSH Lifting
//! Equation*, DHHS (NIOSH) Publication No. 94-110, revised September 2021; "p." is its printed page. The
//! metric and the US form of the equation differ by two to three in a hundred, so everything is reckoned in
//! inches and pounds; metric measures are converted where they come in and go out.
//!
//! What comes out is a guide. The maker's guide, local rules and trained people come first.

pub mod filter;
pub mod label;
pub mod outside;
pub mod tables;
pub mod work;

pub use outside::{Outside, Refused};
pub use work::Duration;

use crate::reckon::units::{CM_PER_INCH, KG_PER_POUND};

/// What could be lifted if everything were ideal, in pounds (23 kg): p. 7.
pub const LOAD_CONSTANT_LB: f64 = 51.0;
/// The hands are never nearer than this to the ankles: p. 8. The smallest travel, too: p. 10.
const SHORTEST_IN: f64 = 10.0;
const FARTHEST_IN: f64 = 25.0;
const HIGHEST_IN: f64 = 70.0;
const MOST_TWIST_DEG: f64 = 135.0;

/// A length, kept in inches.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd)]
pub struct Length(f64);

impl Length {
    pub fn inches(inches: f64) -> Self {
        Self(inches)
    }

    pub fn cm(cm: f64) -> Self {
        Self(cm / CM_PER_INCH)
    }

    pub fn in_inches(self) -> f64 {
        self.0
    }

    pub fn in_cm(self) -> f64 {
        self.0 * CM_PER_INCH
    }
}

/// A mass, kept in pounds.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd)]
pub struct Weight(f64);

impl Weight {
    pub fn pounds(pounds: f64) -> Self {
        Self(pounds)
    }

    pub fn kg(kg: f64) -> Self {
        Self(kg / KG_PER_POUND)
    }

    pub fn in_pounds(self) -> f64 {
        self.0
    }

    pub fn in_kg(self) -> f64 {
        self.0 * KG_PER_POUND
    }
}

/// How well the hands hold it: Table 6, p. 17. In doubt, the worse. Gloves, sharp edges and contents that
/// shift make it worse.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Coupling {
    /// A box of at most 16 in (40 cm) by 12 in (30 cm) high with good handles or cut-outs, or a loose part
    /// that the hand wraps around.
    Good,
    /// Such a box with poor handles or none, where the fingers bend under it at a right angle.
    Fair,
    /// Anything larger, irregular, sharp or sagging, a bag among them.
    Poor,
}

/// Where the hands are at one end of a lift.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Hands {
    /// From the middle between the ankles forward to the middle between the hands.
    pub horizontal: Length,
    /// From the floor up to the hands.
    pub vertical: Length,
    /// How far the load is to the side of straight ahead, in degrees.
    pub twist_deg: f64,
}

/// How the lift ends.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Arrival {
    /// Put down or let go without care, at this height: only the start is assessed.
    LetGo { vertical: Length },
    /// Regripped, held, or placed with care: the end strains as the start does (p. 21).
    Placed(Hands),
}

/// One kind of lift, done again and again.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Task {
    pub load: Weight,
    pub origin: Hands,
    pub arrival: Arrival,
    /// Averaged over 15 minutes.
    pub lifts_per_min: f64,
    pub duration: Duration,
    pub coupling: Coupling,
}

/// How much each circumstance leaves of the load constant; 1 is ideal.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Multipliers {
    pub horizontal: f64,
    pub vertical: f64,
    pub distance: f64,
    pub asymmetry: f64,
    pub frequency: f64,
    pub coupling: f64,
}

/// One end of a lift, assessed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct End {
    pub multipliers: Multipliers,
    /// The recommended weight limit (RWL).
    pub limit: Weight,
    /// The lifting index (LI): load over limit.
    pub index: f64,
}

/// A lift, assessed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Assessed {
    pub origin: End,
    /// Where the load is placed with care.
    pub destination: Option<End>,
}

/// What an index means: p. 20.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Meaning {
    WithinGoal,
    RaisedForSome,
    RaisedForNearlyAll,
}

impl Assessed {
    /// The end that decides: the one with the lower limit (pp. 21, 26).
    pub fn governing(&self) -> &End {
        match &self.destination {
            Some(end) if end.limit < self.origin.limit => end,
            _ => &self.origin,
        }
    }

    pub fn meaning(&self) -> Meaning {
        Meaning::of(self.governing().index)
    }
}

impl Meaning {
    /// The glossary says "1.0 or more" (p. 74), the text "above 1.0" (p. 20); the text is taken.
    fn of(index: f64) -> Self {
        if index > 3.0 {
            Meaning::RaisedForNearlyAll
        } else if index > 1.0 {
            Meaning::RaisedForSome
        } else {
            Meaning::WithinGoal
        }
    }

    pub fn words(self) -> &'static str {
        match self {
            Meaning::WithinGoal => {
                "Within the recommended limit for this lift. It is a guide: the maker's guide, local \
                 rules and trained people come first."
            }
            Meaning::RaisedForSome => {
                "Above the recommended limit: some people are more likely to hurt their back. Make it \
                 lighter, nearer or less often."
            }
            Meaning::RaisedForNearlyAll => {
                "More than three times the recommended limit: many experts say nearly everybody is \
                 more likely to hurt their back. Split the load or lift it another way."
            }
        }
    }
}

/// How far in front of the ankles the hands are, guessed from how wide the crate is.
///
/// A wide crate keeps the hands away from the body: half its width, and eight inches for the body; ten
/// where the hands are so low that the knees are in the way.
///
/// `8 + W / 2` inches, `10 + W / 2` with hands below 10 in; `W` is measured away from the body. Only where
/// it cannot be measured: p. 8.
pub fn horizontal_from_width(width: Length, vertical: Length) -> Result<Length, Refused> {
    not_below_zero(width.0)?;
    not_below_zero(vertical.0)?;
    let body = if vertical.0 < 10.0 { 10.0 } else { 8.0 };
    Ok(Length(body + width.0 / 2.0))
}

/// How heavy a load may be for the way it is lifted, and how far this load is above or below it.
///
/// Held close at hip height, lifted rarely and without turning, 51 pounds (23 kg) are the recommended limit
/// for healthy adults. The farther away, the lower or higher, the longer the way, the more to the side, the
/// more often and the worse the grip, the less remains. The index says how many times the limit the load
/// is: 1 or less is the goal.
///
/// `RWL = 51 lb · HM · VM · DM · AM · FM · CM` with `HM = 10 / H`, `VM = 1 - 0.0075 · |V - 30|`,
/// `DM = 0.82 + 1.8 / D`, `AM = 1 - 0.0032 · A`, FM from Table 5 (height at the start) and CM from Table 7
/// (height at the end assessed); `LI = load / RWL`. Inches, degrees; H and D below 10 in count as 10 in,
/// rates below one in five minutes as that. Where the load is placed with care both ends are assessed and
/// the lower limit decides.
///
/// Refuses, with all reasons, what the equation was not made for (`outside`); says "not that way" where the
/// manual makes a multiplier zero: H above 25 in (63 cm), V above 70 in (175 cm), A above 135°, a rate
/// beyond the table. Source: NIOSH 94-110, pp. 6-26.
pub fn assess(task: &Task, outside: &[Outside]) -> Result<Assessed, Refused> {
    if !outside.is_empty() {
        return Err(Refused::DoesNotApply(outside.to_vec()));
    }
    not_below_zero(task.load.0)?;
    not_below_zero(task.lifts_per_min)?;
    if task.load.0 == 0.0 {
        return Err(Refused::NothingLifted);
    }
    within(&task.origin)?;
    let arrives = match &task.arrival {
        Arrival::LetGo { vertical } => {
            height(*vertical)?;
            *vertical
        }
        Arrival::Placed(hands) => {
            within(hands)?;
            hands.vertical
        }
    };
    let frequency = tables::frequency(task.lifts_per_min, task.duration, task.origin.vertical.0)
        .ok_or(Refused::TooOften)?;
    // Both heights are at most 70 in, so the travel is within the manual's bound of 70 in, too.
    let travel = (arrives.0 - task.origin.vertical.0).abs().max(SHORTEST_IN);
    let end = |hands: &Hands| {
        let multipliers = Multipliers {
            horizontal: 10.0 / hands.horizontal.0.max(SHORTEST_IN),
            vertical: 1.0 - 0.0075 * (hands.vertical.0 - 30.0).abs(),
            distance: 0.82 + 1.8 / travel,
            asymmetry: 1.0 - 0.0032 * hands.twist_deg,
            frequency,
            coupling: tables::coupling(task.coupling, hands.vertical.0),
        };
        let limit = LOAD_CONSTANT_LB * multipliers.product();
        End {
            multipliers,
            limit: Weight(limit),
            index: task.load.0 / limit,
        }
    };
    Ok(Assessed {
        origin: end(&task.origin),
        destination: match &task.arrival {
            Arrival::LetGo { .. } => None,
            Arrival::Placed(hands) => Some(end(hands)),
        },
    })
}

impl Multipliers {
    fn product(&self) -> f64 {
        self.horizontal
            * self.vertical
            * self.distance
            * self.asymmetry
            * self.frequency
            * self.coupling
    }
}

fn within(hands: &Hands) -> Result<(), Refused> {
    not_below_zero(hands.horizontal.0)?;
    not_below_zero(hands.twist_deg)?;
    height(hands.vertical)?;
    if hands.horizontal.0 > FARTHEST_IN {
        Err(Refused::TooFar)
    } else if hands.twist_deg > MOST_TWIST_DEG {
        Err(Refused::TooTwisted)
    } else {
        Ok(())
    }
}

fn height(vertical: Length) -> Result<(), Refused> {
    not_below_zero(vertical.0)?;
    if vertical.0 > HIGHEST_IN {
        Err(Refused::TooHigh)
    } else {
        Ok(())
    }
}

fn not_below_zero(value: f64) -> Result<(), Refused> {
    if !value.is_finite() {
        Err(Refused::NotANumber)
    } else if value < 0.0 {
        Err(Refused::BelowZero)
    } else {
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn hands(horizontal: f64, vertical: f64, twist_deg: f64) -> Hands {
        Hands {
            horizontal: Length::inches(horizontal),
            vertical: Length::inches(vertical),
            twist_deg,
        }
    }

    fn ideal() -> Task {
        Task {
            load: Weight::pounds(40.0),
            origin: hands(10.0, 30.0, 0.0),
            arrival: Arrival::LetGo {
                vertical: Length::inches(40.0),
            },
            lifts_per_min: 0.2,
            duration: Duration::Short,
            coupling: Coupling::Good,
        }
    }

    #[test]
    fn the_bounds_are_allowed_and_what_is_beyond_is_not_done_that_way() {
        let check = |origin, expected: Option<Refused>| {
            let task = Task { origin, ..ideal() };
            assert_eq!(assess(&task, &[]).err(), expected, "{origin:?}");
        };
        check(hands(25.0, 30.0, 0.0), None);
        check(hands(25.01, 30.0, 0.0), Some(Refused::TooFar));
        check(hands(10.0, 70.0, 0.0), None);
        check(hands(10.0, 70.01, 0.0), Some(Refused::TooHigh));
        check(hands(10.0, 0.0, 135.0), None);
        check(hands(10.0, 0.0, 135.01), Some(Refused::TooTwisted));
        check(hands(-1.0, 0.0, 0.0), Some(Refused::BelowZero));
        check(hands(f64::NAN, 0.0, 0.0), Some(Refused::NotANumber));
        let high = Task {
            arrival: Arrival::LetGo {
                vertical: Length::inches(71.0),
            },
            ..ideal()
        };
        assert_eq!(assess(&high, &[]), Err(Refused::TooHigh));
        let often = Task {
            lifts_per_min: 16.0,
            ..ideal()
        };
        assert_eq!(assess(&often, &[]), Err(Refused::TooOften));
        let nothing = Task {
            load: Weight::kg(0.0),
            ..ideal()
        };
        assert_eq!(assess(&nothing, &[]), Err(Refused::NothingLifted));
    }

    #[test]
    fn what_the_equation_was_not_made_for_is_refused_with_every_reason() {
        let refused = assess(&ideal(), &[Outside::OneHanded, Outside::YoungPerson]).unwrap_err();
        assert_eq!(
            refused.to_string(),
            "the lifting equation does not apply: the load is lifted with one hand; a young person \
             lifts (young helpers: light bags only, ask an adult)"
        );
    }

    #[test]
    fn the_end_with_the_lower_limit_decides() {
        let careful = |destination| {
            let task = Task {
                arrival: Arrival::Placed(destination),
                ..ideal()
            };
            assess(&task, &[]).unwrap()
        };
        let far = careful(hands(20.0, 40.0, 0.0));
        assert_eq!(far.governing(), &far.destination.unwrap());
        let near = careful(hands(10.0, 30.0, 0.0));
        assert_eq!(near.governing(), &near.origin);
    }

    #[test]
    fn an_index_is_read_as_the_manual_does_and_never_promises_more() {
        for (index, expected) in [
            (1.0, Meaning::WithinGoal),
            (1.01, Meaning::RaisedForSome),
            (3.0, Meaning::RaisedForSome),
            (3.01, Meaning::RaisedForNearlyAll),
        ] {
            let meaning = Meaning::of(index);
            assert_eq!(meaning, expected);
            assert!(!meaning.words().to_lowercase().contains("safe"));
        }
    }

    #[test]
    fn a_wide_crate_keeps_the_hands_away() {
        let from = |width, vertical| {
            horizontal_from_width(Length::inches(width), Length::inches(vertical))
                .map(Length::in_inches)
        };
        assert_eq!(from(16.0, 10.0), Ok(16.0));
        assert_eq!(from(16.0, 9.9), Ok(18.0));
        assert_eq!(from(-1.0, 9.9), Err(Refused::BelowZero));
    }

    proptest! {
        #[test]
        fn no_way_of_lifting_beats_the_ideal_one(
            horizontal in 0.0..25.0f64,
            vertical in 0.0..70.0f64,
            twist in 0.0..135.0f64,
            to in 0.0..70.0f64,
            rate in 0.0..8.0f64,
        ) {
            let task = Task {
                origin: hands(horizontal, vertical, twist),
                arrival: Arrival::LetGo { vertical: Length::inches(to) },
                lifts_per_min: rate,
                duration: Duration::Long,
                coupling: Coupling::Poor,
                ..ideal()
            };
            let limit = assess(&task, &[]).unwrap().governing().limit.in_pounds();
            prop_assert!(limit > 0.0 && limit < LOAD_CONSTANT_LB);
        }
    }
}
