//! Lifts that the equation was not made for, and those that must not be done that way.

/// A circumstance the equation does not cover: NIOSH 94-110, p. 6. That young people are among them is our
/// own rule: the equation speaks of adult workers.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Outside {
    OneHanded,
    OverEightHours,
    SeatedOrKneeling,
    RestrictedSpace,
    UnstableObject,
    CarryingPushingOrPulling,
    WheelbarrowOrShovel,
    /// Faster than about 30 inches (76 cm) a second.
    Jerked,
    /// Friction between sole and floor below 0.4.
    SlipperyFloor,
    /// Outside 19 to 26 °C (66 to 79 °F), or 35 to 50 % humidity.
    HeatColdOrDamp,
    YoungPerson,
}

impl Outside {
    pub fn words(self) -> &'static str {
        match self {
            Outside::OneHanded => "the load is lifted with one hand",
            Outside::OverEightHours => "the work takes more than eight hours",
            Outside::SeatedOrKneeling => "the person sits or kneels",
            Outside::RestrictedSpace => "there is not enough room to stand upright and move",
            Outside::UnstableObject => "the contents shift or the load is unstable",
            Outside::CarryingPushingOrPulling => "the load is carried, pushed or pulled meanwhile",
            Outside::WheelbarrowOrShovel => "a wheelbarrow or a shovel is used",
            Outside::Jerked => "the load is lifted faster than about 75 cm a second",
            Outside::SlipperyFloor => "the floor is slippery",
            Outside::HeatColdOrDamp => {
                "it is colder than 19 °C, warmer than 26 °C, or the air is very dry or damp"
            }
            Outside::YoungPerson => {
                "a young person lifts (young helpers: light bags only, ask an adult)"
            }
        }
    }
}

/// Why a lift is not assessed, in words for the person who asked.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum Refused {
    #[error("the lifting equation does not apply: {}", reasons(.0))]
    DoesNotApply(Vec<Outside>),
    #[error(
        "this lift must not be done that way: the hands are more than 25 in (63 cm) in front of the \
         ankles; bring the load nearer, or let two adults lift it"
    )]
    TooFar,
    #[error(
        "this lift must not be done that way: the hands are higher than 70 in (175 cm); use a step, a \
         lower shelf, or smaller loads"
    )]
    TooHigh,
    #[error(
        "this lift must not be done that way: the body is twisted by more than 135 degrees; turn the feet"
    )]
    TooTwisted,
    #[error(
        "this lift must not be done that way: it is done too often for so long; rest, or share the work"
    )]
    TooOften,
    #[error("a lift needs a load: give its mass")]
    NothingLifted,
    #[error("masses, lengths, angles, rates and times are not below zero")]
    BelowZero,
    #[error("that is not a number")]
    NotANumber,
    #[error("there is no lifting to reckon with: give at least one stretch of work")]
    NoWork,
    #[error(
        "the adjustment is for lifting that stops within every 15 minutes: give 0 to 15 minutes"
    )]
    NotWithinFifteen,
}

fn reasons(outside: &[Outside]) -> String {
    let words: Vec<&str> = outside.iter().map(|reason| reason.words()).collect();
    words.join("; ")
}
