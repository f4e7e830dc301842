//! Who lifts a crate, as its label says.

/// Who lifts it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Lifters {
    OneAdult,
    /// One adult who has learned how to lift, and only from and to waist height.
    OneTrainedAdult,
    TwoAdults,
    SplitIt,
}

/// Up to these masses, in kilograms; above the last the crate is split. Our own choice, no source for the
/// bands as such: 16 kg is HSE's filter for women at waist height, 23 kg the load constant of NIOSH.
pub const ONE_ADULT_KG: f64 = 11.0;
pub const ONE_TRAINED_ADULT_KG: f64 = 16.0;
pub const TWO_ADULTS_KG: f64 = 23.0;

/// There is no number for young people, at any mass.
pub const YOUNG_HELPERS: &str = "Young helpers: light bags only, ask an adult.";

/// Why a mass gets no label.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error("a label needs a mass that is not below zero: weigh it")]
pub struct NoLabel;

/// Who lifts a crate of this mass.
///
/// Up to 11 kg one adult lifts it; up to 16 kg one adult who has learned how, at waist height; above that
/// two adults; and what is above 23 kg is split before anybody lifts it.
///
/// Kilograms. It is a guide and says nothing of young people: see [`YOUNG_HELPERS`]. Refuses what is no
/// mass. Source: our own bands, from HSE INDG143 and NIOSH 94-110.
pub fn lifters(mass_kg: f64) -> Result<Lifters, NoLabel> {
    if !mass_kg.is_finite() || mass_kg < 0.0 {
        Err(NoLabel)
    } else if mass_kg <= ONE_ADULT_KG {
        Ok(Lifters::OneAdult)
    } else if mass_kg <= ONE_TRAINED_ADULT_KG {
        Ok(Lifters::OneTrainedAdult)
    } else if mass_kg <= TWO_ADULTS_KG {
        Ok(Lifters::TwoAdults)
    } else {
        Ok(Lifters::SplitIt)
    }
}

impl Lifters {
    pub fn words(self) -> &'static str {
        match self {
            Lifters::OneAdult => "one adult lifts",
            Lifters::OneTrainedAdult => "one trained adult lifts, at waist height",
            Lifters::TwoAdults => "two adults lift",
            Lifters::SplitIt => "split it before anybody lifts",
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_band_ends_where_it_says() {
        for (kg, expected) in [
            (0.0, Lifters::OneAdult),
            (11.0, Lifters::OneAdult),
            (11.001, Lifters::OneTrainedAdult),
            (16.0, Lifters::OneTrainedAdult),
            (16.001, Lifters::TwoAdults),
            (23.0, Lifters::TwoAdults),
            (23.001, Lifters::SplitIt),
        ] {
            assert_eq!(lifters(kg), Ok(expected), "{kg}");
        }
        assert_eq!(lifters(-0.1), Err(NoLabel));
        assert_eq!(lifters(f64::NAN), Err(NoLabel));
    }

    #[test]
    fn young_people_get_no_number() {
        assert!(!YOUNG_HELPERS.contains(|letter: char| letter.is_ascii_digit()));
    }
}
