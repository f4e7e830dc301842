//! What a crate weighs, as far as it is known, and who lifts it. Pure.

use std::collections::HashSet;

use crate::ids::PartId;
use crate::places::Kind;
use crate::reckon::lift::label::{self, Lifters};

/// The mass of a place with all that is in it.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Mass {
    /// What is known of it, grams.
    pub known_g: f64,
    /// The part of it that the empty crates and boxes weigh.
    pub empties_g: f64,
    /// Kinds of part without a mass.
    pub parts_unknown: usize,
    /// Crates, boxes and trays whose empty mass nobody noted. Bags and heaps are taken to weigh nothing.
    pub empties_unknown: usize,
}

/// Adds up what the empties and the pieces weigh.
pub fn weigh(
    empties: impl IntoIterator<Item = (Kind, Option<f64>)>,
    pieces: impl IntoIterator<Item = (PartId, i64, Option<f64>)>,
) -> Mass {
    let mut mass = Mass::default();
    for (kind, tare_g) in empties {
        match (tare_g, kind) {
            (Some(tare_g), _) => {
                mass.known_g += tare_g;
                mass.empties_g += tare_g;
            }
            (None, Kind::Crate | Kind::Box | Kind::Tray) => mass.empties_unknown += 1,
            (None, _) => {}
        }
    }
    let mut unknown = HashSet::new();
    for (part, qty, mass_g) in pieces {
        match mass_g {
            Some(mass_g) => mass.known_g += mass_g * qty as f64,
            None => {
                unknown.insert(part);
            }
        }
    }
    mass.parts_unknown = unknown.len();
    mass
}

impl Mass {
    pub fn is_complete(&self) -> bool {
        self.parts_unknown == 0 && self.empties_unknown == 0
    }

    /// "12.4 kg", or "at least 12.4 kg; 3 kinds of part have no mass".
    pub fn words(&self) -> String {
        if self.is_complete() {
            return amount(self.known_g);
        }
        let known = if self.known_g > 0.0 {
            format!("at least {}", amount(self.known_g))
        } else {
            "unknown".into()
        };
        format!("{known}; {}", self.unknown().join(", "))
    }

    fn unknown(&self) -> Vec<String> {
        let mut unknown = Vec::new();
        match self.parts_unknown {
            0 => {}
            1 => unknown.push("1 kind of part has no mass".into()),
            n => unknown.push(format!("{n} kinds of part have no mass")),
        }
        match self.empties_unknown {
            0 => {}
            1 => unknown.push("1 empty crate, box or tray has none".into()),
            n => unknown.push(format!("{n} empty crates, boxes or trays have none")),
        }
        unknown
    }
}

/// "850 g", "12.4 kg".
pub fn amount(grams: f64) -> String {
    if grams < 1000.0 {
        format!("{} g", grams.round())
    } else {
        format!("{:.1} kg", grams / 1000.0)
    }
}

/// Who lifts what is known of it, by the bands of the label. There is no number for young people, at any
/// mass.
pub fn lift(mass: &Mass) -> Lifters {
    // A sum of masses that were checked when they were noted is a mass.
    label::lifters(mass.known_g / 1000.0).unwrap_or(Lifters::SplitIt)
}

/// Who lifts it, in a word, as on the foot of a packing list. What may be heavier than it is known to be
/// is never one adult's.
pub fn lifters(mass: &Mass) -> &'static str {
    match lift(mass) {
        Lifters::SplitIt => Lifters::SplitIt.words(),
        _ if !mass.is_complete() => "try one end first, two adults if in doubt",
        known => known.words(),
    }
}

/// The caution for a place that is lifted: what can happen, and what to do about it. `None` where there
/// is nothing to lift.
pub fn caution(kind: Kind, mass: &Mass) -> Option<(String, String)> {
    if !kind.is_carried() || kind == Kind::Heap {
        return None;
    }
    let hazard = format!(
        "Lifting can strain a back or crush fingers. Mass: {}.",
        mass.words()
    );
    let who = match (lift(mass), mass.is_complete()) {
        (Lifters::OneAdult, true) => "One adult lifts it, close to the body.",
        (Lifters::OneTrainedAdult, true) => {
            "One adult who has learned how to lift takes it, at waist height and close to the body; \
             from the floor or above the shoulders two do."
        }
        (Lifters::OneAdult | Lifters::OneTrainedAdult, false) => {
            "It may be heavier: try one end first. One adult if it is light, two if it is not."
        }
        (Lifters::TwoAdults, true) => "Two adults lift it together.",
        (Lifters::TwoAdults, false) => {
            "Two adults lift it together. It may be heavier: try one end first, and split it if in \
             doubt."
        }
        (Lifters::SplitIt, _) => "Too heavy to lift: split it first.",
    };
    Some((hazard, format!("{who} {}", label::YOUNG_HELPERS)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_unknown_is_said() {
        let (peg, lamp) = (PartId::new(), PartId::new());
        let check =
            |empties: &[(Kind, Option<f64>)], pieces: &[(PartId, i64, Option<f64>)], words| {
                let mass = weigh(empties.iter().copied(), pieces.iter().copied());
                assert_eq!(mass.words(), words);
            };
        check(
            &[(Kind::Crate, Some(3200.0))],
            &[(peg, 8, Some(1150.0))],
            "12.4 kg",
        );
        check(&[(Kind::Bag, None)], &[(peg, 8, Some(10.0))], "80 g");
        check(
            &[(Kind::Crate, Some(3200.0)), (Kind::Box, None)],
            &[(peg, 8, Some(1150.0)), (lamp, 1, None), (lamp, 2, None)],
            "at least 12.4 kg; 1 kind of part has no mass, 1 empty crate, box or tray has none",
        );
        check(
            &[(Kind::Bag, None)],
            &[(peg, 8, None), (lamp, 1, None)],
            "unknown; 2 kinds of part have no mass",
        );
    }

    #[test]
    fn who_lifts_follows_from_what_is_known() {
        let mass = |known_g, parts_unknown| Mass {
            known_g,
            parts_unknown,
            ..Mass::default()
        };
        assert_eq!(lift(&mass(11_000.0, 0)), Lifters::OneAdult);
        assert_eq!(lift(&mass(16_000.0, 0)), Lifters::OneTrainedAdult);
        assert_eq!(lift(&mass(16_001.0, 0)), Lifters::TwoAdults);
        assert_eq!(lift(&mass(23_001.0, 0)), Lifters::SplitIt);
        for (mass, start) in [
            (mass(5_000.0, 0), "One adult lifts it"),
            (mass(12_000.0, 0), "One adult who has learned"),
            (mass(5_000.0, 1), "It may be heavier"),
            (mass(20_000.0, 1), "Two adults lift it together. It may"),
            (mass(40_000.0, 1), "Too heavy"),
        ] {
            let (_, avoid) = caution(Kind::Crate, &mass).unwrap();
            assert!(avoid.starts_with(start), "{avoid}");
            assert!(avoid.ends_with("Young helpers: light bags only, ask an adult."));
        }
        assert_eq!(caution(Kind::Shelf, &mass(1.0, 0)), None);
        assert_eq!(lifters(&mass(5_000.0, 0)), "one adult lifts");
        assert_eq!(
            lifters(&mass(5_000.0, 1)),
            "try one end first, two adults if in doubt"
        );
        assert_eq!(lifters(&mass(40_000.0, 1)), "split it before anybody lifts");
    }
}
