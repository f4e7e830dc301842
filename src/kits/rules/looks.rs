//! Parts that are only looked at: enough, low or none. Pure.
//!
//! Tape and ties are not worth counting. They have no balance, are never short and never missing; what is low goes
//! on the shopping list, and stops a build only where the part says that nothing can be built without it.

use crate::clock::Instant;
use crate::ids::{PartId, PlaceId};

/// What somebody saw. The later ones are worse.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, sqlx::Type)]
#[sqlx(rename_all = "lowercase")]
pub enum Said {
    Enough,
    Low,
    None,
}

impl Said {
    pub const ALL: [Said; 3] = [Said::Enough, Said::Low, Said::None];

    pub fn word(self) -> &'static str {
        match self {
            Said::Enough => "enough",
            Said::Low => "low",
            Said::None => "none",
        }
    }

    pub fn from_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|said| said.word() == word)
    }

    /// Whether it belongs on the shopping list.
    pub fn is_to_buy(self) -> bool {
        self != Said::Enough
    }
}

/// The last look at a part in one place.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Look {
    pub place: PlaceId,
    /// "Bag 3".
    pub place_name: String,
    pub said: Said,
    pub by: String,
    pub at: Instant,
}

/// A part of a kit that is only looked at.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LookedAt {
    pub part: PartId,
    pub number: String,
    pub name: String,
    pub colour: String,
    /// What the list asks for; nobody counts it.
    pub need: i64,
    /// Nothing can be built without it.
    pub essential: bool,
    /// The last look in each place, in the order of the places.
    pub looks: Vec<Look>,
    /// Where the packing slip says it is.
    pub planned: Vec<PlaceId>,
}

impl LookedAt {
    /// How the kit stands: enough in one place is enough, wherever else it runs low. `None`: nobody looked.
    pub fn said(&self) -> Option<Said> {
        self.looks.iter().map(|look| look.said).min()
    }

    /// Whether it stops a build: only what nothing can be built without, unless somebody saw enough of it.
    pub fn stops_a_build(&self) -> bool {
        self.essential && self.said() != Some(Said::Enough)
    }

    /// Whether somebody who counts a place looks for it there: the slip says so, somebody saw it there before,
    /// or nobody knows where it is.
    pub fn belongs_to(&self, place: PlaceId) -> bool {
        self.planned.contains(&place)
            || self.looks.iter().any(|look| look.place == place)
            || (self.planned.is_empty() && self.looks.is_empty())
    }

    /// The last look in a place.
    pub fn look_in(&self, place: PlaceId) -> Option<&Look> {
        self.looks.iter().find(|look| look.place == place)
    }

    /// "low", "not looked at".
    pub fn words(&self) -> &'static str {
        self.said().map_or("not looked at", Said::word)
    }

    /// "Tape, white".
    pub fn full_name(&self) -> String {
        if self.colour.is_empty() {
            self.name.clone()
        } else {
            format!("{}, {}", self.name, self.colour)
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn looked(essential: bool, said: &[Said]) -> LookedAt {
        LookedAt {
            part: PartId::new(),
            number: String::new(),
            name: "Tape".into(),
            colour: String::new(),
            need: 6,
            essential,
            looks: said
                .iter()
                .map(|said| Look {
                    place: PlaceId::new(),
                    place_name: String::new(),
                    said: *said,
                    by: String::new(),
                    at: Instant(0),
                })
                .collect(),
            planned: Vec::new(),
        }
    }

    #[test]
    fn enough_anywhere_is_enough_and_only_the_essential_stops_a_build() {
        use Said::{Enough, Low, None};
        // essential, what was seen -> how the kit stands, whether it stops a build
        for (essential, said, stands, stops) in [
            (false, &[][..], Option::None, false),
            (true, &[], Option::None, true),
            (true, &[Enough], Some(Enough), false),
            (true, &[None, Enough, Low], Some(Enough), false),
            (true, &[None, Low], Some(Low), true),
            (true, &[None, None], Some(None), true),
            (false, &[None], Some(None), false),
        ] {
            let part = looked(essential, said);
            assert_eq!(
                (part.said(), part.stops_a_build()),
                (stands, stops),
                "{essential} {said:?}"
            );
        }
        assert!(Low.is_to_buy() && None.is_to_buy() && !Enough.is_to_buy());
    }

    #[test]
    fn it_is_looked_for_where_it_should_be_and_everywhere_until_somebody_knows() {
        let here = PlaceId::new();
        let mut part = looked(false, &[]);
        assert!(part.belongs_to(here));
        part.planned = vec![PlaceId::new()];
        assert!(!part.belongs_to(here));
        part.planned.push(here);
        assert!(part.belongs_to(here));
        let seen = looked(false, &[Said::Low]);
        assert!(!seen.belongs_to(here));
        assert!(seen.belongs_to(seen.looks[0].place));
    }

    #[test]
    fn words_are_read_back() {
        for said in Said::ALL {
            assert_eq!(Said::from_word(said.word()), Some(said));
        }
        assert_eq!(Said::from_word("some"), Option::None);
    }
}
