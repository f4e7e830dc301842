//! Where to look before a part is reported short, most likely first. Pure.
//!
//! Most pieces that seem to be lacking lie in another bag, or were taken for a part that looks alike.
//! Nothing here changes a number: an over of a look-alike is a place to look, not a piece found.
//! The order is common practice, no source.

use crate::ids::{KitId, PartId, PlaceId};

use super::alike::Likeness;

/// A place of the kit where the part is or should be.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Spot {
    pub place: PlaceId,
    pub name: String,
    /// What the packing slip says; 0 where it says nothing.
    pub planned: i64,
    pub here: i64,
    pub counted: bool,
}

/// Another part of the kit that looks like it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Alike {
    pub part: PartId,
    pub name: String,
    /// Number and colour.
    pub marks: String,
    pub likeness: Likeness,
    pub over: i64,
    /// Where its pieces are, by name.
    pub at: Vec<String>,
}

/// All that is known about one short line.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Case {
    pub spots: Vec<Spot>,
    pub alikes: Vec<Alike>,
    /// Assemblies whose list names the part, with the pieces they take.
    pub assemblies: Vec<(String, i64)>,
    /// Its colour cannot be seen through the film.
    pub film: bool,
    /// Other kits of the team with more of the part than they need.
    pub other_kits: Vec<(KitId, String, i64)>,
}

/// One place to look.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Hint {
    /// Nobody has counted it there yet.
    NotCounted(Spot),
    /// Fewer were counted there than the packing slip says.
    Fewer(Spot),
    /// A look-alike is over: some of its pieces may be this part.
    LooksAlike { alike: Alike, film: bool },
    /// Film hides the colour of the part itself.
    Film,
    /// More were counted there than the packing slip says, or it says nothing: things got mixed there.
    Mixed(Spot),
    /// Counted there as planned.
    AsPlanned(Spot),
    /// It may be built in already.
    Assembly { name: String, pieces: i64 },
    /// Another kit of the team has too many.
    OtherKit { kit: KitId, name: String, over: i64 },
}

impl Hint {
    /// Less is more likely; within one kind the larger amount comes first.
    fn rank(&self) -> (u8, i64) {
        match self {
            Hint::NotCounted(spot) => (0, -spot.planned),
            Hint::LooksAlike { alike, film: true } => (1, -alike.over),
            Hint::Fewer(spot) => (2, spot.here - spot.planned),
            Hint::LooksAlike { alike, film: false } => (3, -alike.over),
            Hint::Film => (4, 0),
            Hint::Mixed(spot) => (5, spot.planned - spot.here),
            Hint::AsPlanned(spot) => (6, -spot.planned),
            Hint::Assembly { pieces, .. } => (7, -pieces),
            Hint::OtherKit { over, .. } => (8, -over),
        }
    }
}

/// The places to look, most likely first. Equal ones keep the order in which they came.
pub fn rank(case: Case) -> Vec<Hint> {
    let film = case.film;
    let mut hints: Vec<Hint> = case.spots.into_iter().filter_map(of_spot).collect();
    hints.extend(
        case.alikes
            .into_iter()
            .filter(|alike| alike.over > 0)
            .map(|alike| Hint::LooksAlike {
                film: film && alike.likeness == Likeness::OtherColour,
                alike,
            }),
    );
    if film {
        hints.push(Hint::Film);
    }
    hints.extend(
        case.assemblies
            .into_iter()
            .map(|(name, pieces)| Hint::Assembly { name, pieces }),
    );
    hints.extend(
        case.other_kits
            .into_iter()
            .filter(|(.., over)| *over > 0)
            .map(|(kit, name, over)| Hint::OtherKit { kit, name, over }),
    );
    hints.sort_by_key(Hint::rank);
    hints
}

fn of_spot(spot: Spot) -> Option<Hint> {
    if !spot.counted && spot.planned > 0 {
        return Some(Hint::NotCounted(spot));
    }
    match spot.here.cmp(&spot.planned) {
        std::cmp::Ordering::Less => Some(Hint::Fewer(spot)),
        std::cmp::Ordering::Greater => Some(Hint::Mixed(spot)),
        // Counted with none there, and none planned: nothing points to it.
        std::cmp::Ordering::Equal => (spot.planned > 0).then_some(Hint::AsPlanned(spot)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn spot(name: &str, planned: i64, here: i64, counted: bool) -> Spot {
        Spot {
            place: PlaceId::new(),
            name: name.into(),
            planned,
            here,
            counted,
        }
    }

    fn alike(name: &str, likeness: Likeness, over: i64) -> Alike {
        Alike {
            part: PartId::new(),
            name: name.into(),
            marks: String::new(),
            likeness,
            over,
            at: Vec::new(),
        }
    }

    #[track_caller]
    fn check(case: Case, expected: &[&str]) {
        let found: Vec<String> = rank(case)
            .into_iter()
            .map(|hint| match hint {
                Hint::NotCounted(spot) => format!("not counted {}", spot.name),
                Hint::Fewer(spot) => format!("fewer {}", spot.name),
                Hint::LooksAlike { alike, film } => {
                    format!("alike {}{}", alike.name, if film { " (film)" } else { "" })
                }
                Hint::Film => "film".into(),
                Hint::Mixed(spot) => format!("mixed {}", spot.name),
                Hint::AsPlanned(spot) => format!("as planned {}", spot.name),
                Hint::Assembly { name, .. } => format!("assembly {name}"),
                Hint::OtherKit { name, .. } => format!("kit {name}"),
            })
            .collect();
        assert_eq!(found, expected);
    }

    #[test]
    fn an_uncounted_bag_comes_before_everything() {
        check(
            Case {
                spots: vec![
                    spot("bag 1", 7, 7, true),
                    spot("bag 2", 5, 1, true),
                    spot("bag 3", 4, 0, false),
                    spot("bag 4", 0, 2, true),
                    spot("bag 5", 6, 4, true),
                    spot("bag 6", 9, 0, false),
                ],
                assemblies: vec![("Gate".into(), 6), ("Beacon".into(), 8)],
                other_kits: vec![
                    (KitId::new(), "even".into(), 0),
                    (KitId::new(), "rich".into(), 2),
                ],
                ..Case::default()
            },
            &[
                "not counted bag 6",
                "not counted bag 3",
                "fewer bag 2",
                "fewer bag 5",
                "mixed bag 4",
                "as planned bag 1",
                "assembly Beacon",
                "assembly Gate",
                "kit rich",
            ],
        );
    }

    #[test]
    fn film_brings_the_other_colour_forward() {
        let case = |film| Case {
            spots: vec![spot("bag 1", 3, 1, true)],
            alikes: vec![
                alike("peg 45", Likeness::OtherMeasure, 5),
                alike("white", Likeness::OtherColour, 2),
                alike("red", Likeness::OtherColour, 0),
            ],
            film,
            ..Case::default()
        };
        check(case(false), &["fewer bag 1", "alike peg 45", "alike white"]);
        check(
            case(true),
            &["alike white (film)", "fewer bag 1", "alike peg 45", "film"],
        );
    }

    #[test]
    fn a_bag_that_holds_and_should_hold_none_is_no_hint() {
        check(
            Case {
                spots: vec![spot("bag 1", 0, 0, true), spot("bag 2", 0, 0, false)],
                ..Case::default()
            },
            &[],
        );
    }
}
