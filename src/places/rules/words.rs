//! Where things are, in words. Pure.

use std::collections::HashMap;

use crate::ids::PlaceId;
use crate::places::{Kind, Place};
use crate::text::fold;

/// Places by id, with all that they stand in: enough to tell the way to each.
#[derive(Debug, Clone, Default)]
pub struct Ways(HashMap<PlaceId, Place>);

impl Ways {
    pub fn new(places: impl IntoIterator<Item = Place>) -> Self {
        Self(places.into_iter().map(|place| (place.id, place)).collect())
    }

    pub fn get(&self, place: PlaceId) -> Option<&Place> {
        self.0.get(&place)
    }

    /// A place and what it stands in, from the inside outwards.
    pub fn way(&self, place: PlaceId) -> Vec<&Place> {
        let mut way: Vec<&Place> = Vec::new();
        let mut next = Some(place);
        while let Some(step) = next.and_then(|id| self.0.get(&id)) {
            if way.iter().any(|known| known.id == step.id) {
                break;
            }
            way.push(step);
            next = step.parent;
        }
        way
    }

    /// "in Bag 2 (7K3-F28), in crate Ridge (9PD-K4C), on shelf Middle, in store Cellar".
    pub fn inside(&self, place: PlaceId) -> String {
        outwards(&self.way(place))
    }

    /// What a place stands in, in words; "nowhere yet" for a crate that was never put anywhere.
    pub fn stands(&self, place: PlaceId) -> String {
        let way = self.way(place);
        match way.as_slice() {
            [] => String::new(),
            [only] if only.kind.is_carried() => "nowhere yet".into(),
            [_, above @ ..] => above.iter().map(|p| step(p)).collect::<Vec<_>>().join(", "),
        }
    }

    /// What a place is called, with its code.
    pub fn called(&self, place: PlaceId) -> String {
        self.get(place)
            .map_or_else(|| "somewhere else".into(), called)
    }
}

/// What a place is called: "Bag 2 (7K3-F28)", "crate Ridge (9PD-K4C)", "store Cellar". Codes are said
/// only of what is carried, since nobody looks for the code of a room.
pub fn called(place: &Place) -> String {
    let name = named(place);
    if place.kind.is_carried() {
        format!("{name} ({})", place.code)
    } else {
        name
    }
}

/// Kind and name, without saying the kind twice: "Bag 2", "crate Ridge".
pub fn named(place: &Place) -> String {
    if place.with_borrower {
        return place.name.clone();
    }
    let kind = place.kind.word();
    let says_its_kind = fold(&place.name)
        .split(|c: char| !c.is_alphanumeric())
        .any(|word| word == kind);
    if says_its_kind {
        place.name.clone()
    } else {
        format!("{kind} {}", place.name)
    }
}

/// The first letter as a sentence begins.
pub fn sentence(text: &str) -> String {
    let mut letters = text.chars();
    match letters.next() {
        Some(first) => first.to_uppercase().chain(letters).collect(),
        None => String::new(),
    }
}

fn outwards(way: &[&Place]) -> String {
    let mut words: Vec<String> = way.iter().map(|place| step(place)).collect();
    if way
        .last()
        .is_some_and(|outermost| outermost.kind.is_carried())
    {
        words.push("nowhere yet".into());
    }
    words.join(", ")
}

fn step(place: &Place) -> String {
    let word = match place.kind {
        _ if place.with_borrower => "with",
        Kind::Shelf | Kind::Heap => "on",
        Kind::Store
        | Kind::Van
        | Kind::Venue
        | Kind::Crate
        | Kind::Box
        | Kind::Bag
        | Kind::Tray => "in",
    };
    format!("{word} {}", called(place))
}

/// A part in words: "Peg, black (B-4)".
pub fn part(name: &str, colour: &str, number: &str) -> String {
    let mut words = name.to_owned();
    if !colour.is_empty() {
        words.push_str(", ");
        words.push_str(colour);
    }
    if !number.is_empty() {
        words.push_str(" (");
        words.push_str(number);
        words.push(')');
    }
    words
}

/// "1 piece", "8 pieces".
pub fn pieces(n: i64) -> String {
    if n == 1 {
        "1 piece".into()
    } else {
        format!("{n} pieces")
    }
}

#[cfg(test)]
pub mod tests {
    use super::*;
    use crate::code::Code;
    use crate::ids::TeamId;

    /// A place of one and the same team, with the code `000-001`.
    pub fn place(kind: Kind, name: &str, parent: Option<&Place>) -> Place {
        Place {
            id: PlaceId::new(),
            code: Code::from_random(0),
            kind,
            team: parent.map_or(TeamId(uuid::Uuid::nil()), |parent| parent.team),
            kit: None,
            name: name.into(),
            make: String::new(),
            tare_g: None,
            parent: parent.map(|parent| parent.id),
            usual_parent: None,
            note: String::new(),
            put_away: false,
            with_borrower: false,
            version: 1,
        }
    }

    #[test]
    fn the_way_is_told_from_the_inside_outwards() {
        let store = place(Kind::Store, "Cellar", None);
        let shelf = place(Kind::Shelf, "Middle", Some(&store));
        let krate = place(Kind::Crate, "Ridge", Some(&shelf));
        let bag = place(Kind::Bag, "Bag 2", Some(&krate));
        let loose = place(Kind::Heap, "Table top", None);
        let ways = Ways::new([&store, &shelf, &krate, &bag, &loose].map(Clone::clone));
        assert_eq!(
            ways.inside(bag.id),
            "in Bag 2 (000-001), in crate Ridge (000-001), on shelf Middle, in store Cellar"
        );
        assert_eq!(ways.stands(krate.id), "on shelf Middle, in store Cellar");
        assert_eq!(ways.stands(store.id), "");
        assert_eq!(ways.stands(loose.id), "nowhere yet");
        assert_eq!(
            ways.inside(loose.id),
            "on heap Table top (000-001), nowhere yet"
        );
        assert_eq!(ways.inside(PlaceId::new()), "");
    }

    #[test]
    fn the_kind_is_said_once() {
        for (kind, name, expected) in [
            (Kind::Bag, "Bag 2", "Bag 2"),
            (Kind::Bag, "Large bag", "Large bag"),
            (Kind::Bag, "Baggage", "bag Baggage"),
            (Kind::Crate, "Ridge", "crate Ridge"),
        ] {
            assert_eq!(named(&place(kind, name, None)), expected);
        }
    }

    #[test]
    fn a_part_is_named_with_what_is_known() {
        assert_eq!(part("Peg", "black", "B-4"), "Peg, black (B-4)");
        assert_eq!(part("Lamp", "", ""), "Lamp");
    }
}
