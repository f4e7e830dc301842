//! Entries as sentences. Pure.

use std::collections::HashMap;

use crate::ids::{KitId, PartId, PersonId, PlaceId};
use crate::ledger::{Document, Move, Outside, PlaceMove, Recorded};
use crate::places::rules::words::Ways;

/// What things and people are called.
#[derive(Debug, Clone, Default)]
pub struct Names {
    pub parts: HashMap<PartId, String>,
    pub kits: HashMap<KitId, String>,
    pub people: HashMap<PersonId, String>,
    pub places: Ways,
}

impl Names {
    pub fn part(&self, part: PartId) -> &str {
        self.parts.get(&part).map_or("a part", String::as_str)
    }

    pub fn kit(&self, kit: KitId) -> &str {
        self.kits.get(&kit).map_or("another kit", String::as_str)
    }

    /// "a former member" for somebody who was erased.
    pub fn person(&self, person: PersonId) -> &str {
        let name = self.people.get(&person).map_or("", String::as_str);
        crate::people::shown_name(name)
    }
}

/// What an entry did, one sentence a line, without full stops. With `only`, nothing but that part's
/// lines.
pub fn lines(entry: &Recorded, names: &Names, only: Option<PartId>) -> Vec<String> {
    let mut lines = counted(entry, names, only);
    let moves = entry
        .moves
        .iter()
        .filter(|one| only.is_none_or(|part| one.part == part));
    lines.extend(moves.map(|one| moved(one, names)));
    lines.extend(entry.carried.iter().map(|one| carried(one, names)));
    lines
}

/// "Ama counted Bag 2 (7K3-F28): 8 Peg, black, 2 Post, grey": one line a place.
fn counted(entry: &Recorded, names: &Names, only: Option<PartId>) -> Vec<String> {
    let mut places: Vec<(PlaceId, Vec<String>)> = Vec::new();
    for mark in &entry.counted {
        if only.is_some_and(|part| mark.part != part) {
            continue;
        }
        let words = format!("{} {}", mark.qty, names.part(mark.part));
        match places.iter_mut().find(|(place, _)| *place == mark.place) {
            Some((_, all)) => all.push(words),
            None => places.push((mark.place, vec![words])),
        }
    }
    let who = names.person(entry.actor);
    places
        .iter()
        .map(|(place, all)| {
            let place = names.places.called(*place);
            // A count has one who closed it and often many who counted.
            match entry.document {
                Some(Document::Count(_)) => {
                    format!("{who} closed the count of {place}: {}", all.join("; "))
                }
                _ => format!("{who} counted {place}: {}", all.join("; ")),
            }
        })
        .collect()
}

/// "8 Peg, black came from the supplier into Bag 2 (7K3-F28)".
fn moved(one: &Move, names: &Names) -> String {
    let what = format!("{} {}", one.qty, names.part(one.part));
    let from_outside = Outside::from_place(one.from.place);
    let to_outside = Outside::from_place(one.to.place);
    let from = names.places.called(one.from.place);
    let to = names.places.called(one.to.place);
    let mut words = match (from_outside, to_outside) {
        (Some(outside), None) => format!("{what} {} {to}", came(outside, one.qty)),
        (None, Some(outside)) => format!("{what} from {from} {}", went(outside, one.qty)),
        (Some(_), Some(_)) => format!("{what}: set right in the books"),
        (None, None) if one.from.place != one.to.place => {
            format!("{what} moved from {from} to {to}")
        }
        (None, None) => format!("{what} in {from}"),
    };
    if one.from.kit != one.to.kit {
        let (from, to) = (names.kit(one.from.kit), names.kit(one.to.kit));
        words.push_str(&format!(", from kit {from} to kit {to}"));
    }
    if one.from.state != one.to.state {
        let (from, to) = (one.from.state.word(), one.to.state.word());
        words.push_str(&format!(", {from} before, {to} now"));
    } else if one.to.state != crate::ledger::State::Good {
        words.push_str(&format!(" ({})", one.to.state.word()));
    }
    words
}

fn came(outside: Outside, qty: i64) -> String {
    let (was, had) = if qty == 1 {
        ("was", "had")
    } else {
        ("were", "had")
    };
    match outside {
        Outside::Supplier => "came from the supplier into".into(),
        Outside::BroughtIn => format!("{was} brought in, into"),
        Outside::Missing => format!("{had} been missing, now in"),
        Outside::Found => format!("{was} found, now in"),
        Outside::WrittenOff => format!("{had} been written off, now in"),
        Outside::UsedUp => format!("{had} been used up, now in"),
        Outside::Correction => format!("{was} added to set the books right, in"),
    }
}

fn went(outside: Outside, qty: i64) -> String {
    let (was, is) = if qty == 1 {
        ("was", "is")
    } else {
        ("were", "are")
    };
    match outside {
        Outside::Supplier => "never came from the supplier after all".into(),
        Outside::BroughtIn => format!("{was} never brought in after all"),
        Outside::Missing => format!("{is} missing"),
        Outside::Found => format!("{was} not found after all"),
        Outside::WrittenOff => format!("{was} written off"),
        Outside::UsedUp => format!("{was} used up"),
        Outside::Correction => format!("{was} taken out to set the books right"),
    }
}

/// "Crate Ridge (7K3-F28) was carried from shelf Middle to van Blue".
fn carried(one: &PlaceMove, names: &Names) -> String {
    let what = crate::places::rules::words::sentence(&names.places.called(one.place));
    match (one.from, one.to) {
        (Some(from), Some(to)) => format!(
            "{what} was carried from {} to {}",
            names.places.called(from),
            names.places.called(to)
        ),
        (None, Some(to)) => format!("{what} was put in {}", names.places.called(to)),
        (Some(from), None) => format!(
            "{what} was taken out of {} and stands nowhere yet",
            names.places.called(from)
        ),
        (None, None) => what,
    }
}

/// Why something is not taken back, in words for the person.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum NotUndone {
    #[error("a count is taken back by opening it again")]
    IsACount,
    #[error("what a loan moved is put right on the loan's own page")]
    IsALoan,
    #[error("it was taken back already")]
    Already,
    #[error("it moved nothing, so there is nothing to take back")]
    NothingMoved,
    #[error("only {have} {part} are still in {place}; {wanted} would have to go back")]
    NoLongerThere {
        part: String,
        place: String,
        have: i64,
        wanted: i64,
    },
    #[error("{0} was carried elsewhere since; carry it where it belongs instead")]
    CarriedSince(String),
    #[error("{0} would stand in itself; carry it where it belongs instead")]
    InItself(String),
    #[error("{0} was put away since; bring it back first")]
    PutAway(String),
    #[error("this is for the members of the team it belongs to")]
    NotYours,
}

/// Whether an entry can be taken back here at all.
pub fn may_undo(entry: &Recorded) -> Result<(), NotUndone> {
    if let Some(Document::Count(_)) = entry.document {
        return Err(NotUndone::IsACount);
    }
    if entry.kind.starts_with("loan ") {
        return Err(NotUndone::IsALoan);
    }
    if entry.corrected_by.is_some() {
        return Err(NotUndone::Already);
    }
    if entry.moves.is_empty() && entry.carried.is_empty() {
        return Err(NotUndone::NothingMoved);
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::clock::Instant;
    use crate::ids::{CountId, FormId};
    use crate::ledger::{CountMark, Stand, State};
    use crate::places::rules::words::tests::place;
    use crate::places::{Kind, Place};

    struct World {
        names: Names,
        entry: Recorded,
        peg: PartId,
        post: PartId,
        kit: KitId,
        spares: KitId,
        bag: Place,
        krate: Place,
        van: Place,
    }

    fn world() -> World {
        let (peg, post) = (PartId::new(), PartId::new());
        let (kit, spares) = (KitId::new(), KitId::new());
        let ama = PersonId::new();
        let krate = place(Kind::Crate, "Ridge", None);
        let bag = place(Kind::Bag, "Bag 2", Some(&krate));
        let van = place(Kind::Van, "Blue", None);
        let names = Names {
            parts: [(peg, "Peg, black".into()), (post, "Post, grey".into())].into(),
            kits: [(kit, "Kettlehorn".into()), (spares, "Spares".into())].into(),
            people: [(ama, "Ama".into())].into(),
            places: Ways::new([&bag, &krate, &van].map(Clone::clone)),
        };
        let entry = Recorded {
            seq: 1,
            id: FormId::new(),
            kind: "pieces moved".into(),
            actor: ama,
            recorded_at: Instant(0),
            done_at: Instant(0),
            document: None,
            corrects: None,
            corrected_by: None,
            note: None,
            moves: vec![],
            carried: vec![],
            counted: vec![],
        };
        World {
            names,
            entry,
            peg,
            post,
            kit,
            spares,
            bag,
            krate,
            van,
        }
    }

    #[test]
    fn moves_are_sentences() {
        let w = world();
        let good = |place| Stand::good(w.kit, place);
        let state = |place, state| Stand {
            kit: w.kit,
            place,
            state,
        };
        let bag = w.bag.id;
        for (qty, from, to, expected) in [
            (
                8,
                good(Outside::Supplier.place()),
                good(bag),
                "8 Peg, black came from the supplier into Bag 2 (000-001)",
            ),
            (
                1,
                good(Outside::BroughtIn.place()),
                good(bag),
                "1 Peg, black was brought in, into Bag 2 (000-001)",
            ),
            (
                2,
                good(bag),
                good(Outside::Missing.place()),
                "2 Peg, black from Bag 2 (000-001) are missing",
            ),
            (
                3,
                good(bag),
                good(w.krate.id),
                "3 Peg, black moved from Bag 2 (000-001) to crate Ridge (000-001)",
            ),
            (
                1,
                good(bag),
                state(bag, State::Broken),
                "1 Peg, black in Bag 2 (000-001), good before, broken now",
            ),
            (
                1,
                state(bag, State::Broken),
                state(w.krate.id, State::Broken),
                "1 Peg, black moved from Bag 2 (000-001) to crate Ridge (000-001) (broken)",
            ),
            (
                2,
                Stand::good(w.spares, bag),
                good(bag),
                "2 Peg, black in Bag 2 (000-001), from kit Spares to kit Kettlehorn",
            ),
        ] {
            let one = Move {
                part: w.peg,
                qty,
                from,
                to,
            };
            assert_eq!(moved(&one, &w.names), expected);
        }
    }

    #[test]
    fn carrying_is_a_sentence() {
        let w = world();
        let check = |from, to, expected: &str| {
            let one = PlaceMove {
                place: w.krate.id,
                from,
                to,
            };
            assert_eq!(carried(&one, &w.names), expected);
        };
        let van = Some(w.van.id);
        check(None, van, "Crate Ridge (000-001) was put in van Blue");
        check(
            van,
            None,
            "Crate Ridge (000-001) was taken out of van Blue and stands nowhere yet",
        );
        check(
            Some(w.bag.id),
            van,
            "Crate Ridge (000-001) was carried from Bag 2 (000-001) to van Blue",
        );
    }

    #[test]
    fn a_count_tells_each_place_once() {
        let mut w = world();
        let mark = |part, qty| CountMark {
            part,
            kit: w.kit,
            place: w.bag.id,
            qty,
        };
        w.entry.counted = vec![mark(w.peg, 8), mark(w.post, 0)];
        assert_eq!(
            lines(&w.entry, &w.names, None),
            ["Ama counted Bag 2 (000-001): 8 Peg, black; 0 Post, grey"]
        );
        assert_eq!(
            lines(&w.entry, &w.names, Some(w.post)),
            ["Ama counted Bag 2 (000-001): 0 Post, grey"]
        );
        w.names.people.clear();
        w.entry.document = Some(Document::Count(CountId::new()));
        assert_eq!(
            lines(&w.entry, &w.names, Some(w.peg)),
            ["a former member closed the count of Bag 2 (000-001): 8 Peg, black"]
        );
    }

    #[test]
    fn counts_and_what_was_undone_stay() {
        let mut w = world();
        assert_eq!(may_undo(&w.entry), Err(NotUndone::NothingMoved));
        w.entry.carried = vec![PlaceMove {
            place: w.krate.id,
            from: None,
            to: Some(w.van.id),
        }];
        assert_eq!(may_undo(&w.entry), Ok(()));
        w.entry.corrected_by = Some(2);
        assert_eq!(may_undo(&w.entry), Err(NotUndone::Already));
        w.entry.document = Some(Document::Count(CountId::new()));
        assert_eq!(may_undo(&w.entry), Err(NotUndone::IsACount));
    }
}
