//! Who makes which places, what they may be called, and what may stand in what. Pure.

use super::Wrong;
use crate::people::Role;
use crate::places::{Kind, Place};
use crate::text::{fold, tidy};

/// Whether somebody with this role in the team may make, change or put away such a place: crew those
/// that are carried, keepers the others as well.
pub fn may_make(kind: Kind, role: Option<Role>) -> bool {
    role.is_some_and(|role| kind.is_carried() || role.keeps())
}

/// Whether one place can stand in another.
pub fn may_stand_in(what: Kind, holder: Kind) -> bool {
    match what {
        Kind::Crate | Kind::Box => !matches!(holder, Kind::Bag | Kind::Tray),
        Kind::Bag | Kind::Tray | Kind::Heap => true,
        Kind::Store | Kind::Shelf | Kind::Van | Kind::Venue => !holder.is_carried(),
    }
}

/// What somebody typed about a place.
#[derive(Debug, Clone, Default)]
pub struct Typed {
    pub name: String,
    pub make: String,
    pub tare: String,
    pub note: String,
}

/// The same as it will be kept.
#[derive(Debug, Clone, PartialEq)]
pub struct Kept {
    pub name: String,
    pub make: String,
    pub tare_g: Option<f64>,
    pub note: String,
}

/// Reads what was typed. `others` are the names of places of this kind in the same kit, or in the same
/// team outside of kits.
pub fn read(typed: &Typed, others: &[String]) -> Result<Kept, Vec<Wrong>> {
    let mut wrongs = Vec::new();
    let name = tidy(&typed.name);
    let make = tidy(&typed.make);
    let note = typed.note.trim().to_owned();
    if name.is_empty() {
        wrongs.push(Wrong::new("name", "give it a name"));
    } else if name.chars().count() > 120 {
        wrongs.push(Wrong::new("name", "a name has at most 120 characters"));
    } else if let Some(same) = others.iter().find(|other| fold(other) == fold(&name)) {
        wrongs.push(Wrong::new(
            "name",
            format!("there is one called “{same}” already"),
        ));
    }
    if make.chars().count() > 120 {
        wrongs.push(Wrong::new("make", "a make has at most 120 characters"));
    }
    if note.chars().count() > 2000 {
        wrongs.push(Wrong::new("note", "a note has at most 2,000 characters"));
    }
    let tare_g = match tare(&typed.tare) {
        Ok(tare_g) => tare_g,
        Err(text) => {
            wrongs.push(Wrong::new("tare", text));
            None
        }
    };
    if wrongs.is_empty() {
        Ok(Kept {
            name,
            make,
            tare_g,
            note,
        })
    } else {
        Err(wrongs)
    }
}

/// Above this an empty crate is taken for a slip of the pen.
const HEAVIEST_EMPTY_G: f64 = 500_000.0;

/// The mass of an empty crate in grams: "3.2 kg", "3,2kg", "3200 g". Empty is unknown.
pub fn tare(text: &str) -> Result<Option<f64>, &'static str> {
    let text = text.trim().to_lowercase().replace(',', ".");
    if text.is_empty() {
        return Ok(None);
    }
    let (number, grams) = if let Some(number) = text.strip_suffix("kg") {
        (number, 1000.0)
    } else if let Some(number) = text.strip_suffix('g') {
        (number, 1.0)
    } else {
        return Err("say kg or g, like 3.2 kg or 3200 g");
    };
    let plain = number.trim();
    if plain.is_empty() || !plain.chars().all(|c| c.is_ascii_digit() || c == '.') {
        return Err("give a mass like 3.2 kg or 3200 g");
    }
    let Ok(number) = plain.parse::<f64>() else {
        return Err("give a mass like 3.2 kg or 3200 g");
    };
    let grams = number * grams;
    if grams > HEAVIEST_EMPTY_G {
        return Err("that is above 500 kg for an empty one; look at the unit");
    }
    Ok(Some(grams))
}

/// A mass as `tare` reads it back.
pub fn tare_text(tare_g: Option<f64>) -> String {
    match tare_g {
        None => String::new(),
        Some(grams) if grams >= 1000.0 => format!("{} kg", (grams * 1000.0).round() / 1_000_000.0),
        Some(grams) => format!("{grams} g"),
    }
}

/// The name of the next bag that nobody labelled. `names` are those of the kit so far, put away or not.
pub fn unlabelled(names: &[String]) -> String {
    const START: &str = "Bag without label";
    let last = names
        .iter()
        .filter_map(|name| name.strip_prefix(START)?.trim().parse::<u64>().ok())
        .max()
        .unwrap_or(0);
    format!("{START} {}", last + 1)
}

/// What keeps a place from being put away.
#[derive(Debug, Clone, Copy, Default)]
pub struct Holds {
    pub pieces: i64,
    pub places: i64,
    pub in_an_open_count: bool,
}

/// Whether a place can be put away: only when nothing is in it.
pub fn put_away(holds: Holds) -> Result<(), Wrong> {
    let text = if holds.in_an_open_count {
        "it is being counted; close the count first".to_owned()
    } else if holds.pieces > 0 {
        format!("{} still in it; move them first", pieces(holds.pieces))
    } else if holds.places == 1 {
        "something still stands in it; carry that elsewhere first".to_owned()
    } else if holds.places > 1 {
        format!(
            "{} things still stand in it; carry them elsewhere first",
            holds.places
        )
    } else {
        return Ok(());
    };
    Err(Wrong::new("", text))
}

fn pieces(n: i64) -> String {
    if n == 1 {
        "1 piece is".into()
    } else {
        format!("{n} pieces are")
    }
}

/// Whether a place can be carried to another, or to "nowhere yet". `below` are the places that stand in
/// it, however deep.
pub fn carry(place: &Place, to: Option<&Place>, below: &[Place]) -> Result<(), Wrong> {
    let refuse = |text: String| Err(Wrong::new("to", text));
    if place.put_away {
        return refuse("it was put away; bring it back first".into());
    }
    let Some(to) = to else {
        return if place.parent.is_none() {
            refuse("it stands nowhere already".into())
        } else {
            Ok(())
        };
    };
    if to.id == place.id || below.iter().any(|inner| inner.id == to.id) {
        return refuse(format!("{} cannot stand in itself", place.name));
    }
    if place.parent == Some(to.id) {
        return refuse(format!("it is in {} already", to.name));
    }
    if to.team != place.team {
        return refuse(format!("{} belongs to another team", to.name));
    }
    if to.put_away {
        return refuse(format!("{} was put away; bring it back first", to.name));
    }
    if !may_stand_in(place.kind, to.kind) {
        return refuse(format!(
            "a {} does not go into a {}",
            place.kind.word(),
            to.kind.word()
        ));
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::super::words::tests::place;
    use super::*;

    #[test]
    fn crew_make_what_is_carried_and_keepers_the_rest() {
        for (kind, role, expected) in [
            (Kind::Bag, Some(Role::Crew), true),
            (Kind::Crate, Some(Role::Crew), true),
            (Kind::Store, Some(Role::Crew), false),
            (Kind::Van, Some(Role::Deputy), true),
            (Kind::Shelf, Some(Role::Keeper), true),
            (Kind::Bag, None, false),
        ] {
            assert_eq!(may_make(kind, role), expected, "{kind:?} by {role:?}");
        }
    }

    #[test]
    fn a_mass_is_read_with_its_unit() {
        for (text, expected) in [
            ("", Ok(None)),
            ("3.2 kg", Ok(Some(3200.0))),
            ("3,2KG", Ok(Some(3200.0))),
            ("850 g", Ok(Some(850.0))),
            ("0 g", Ok(Some(0.0))),
            ("3.2", Err("say kg or g, like 3.2 kg or 3200 g")),
            ("-3 kg", Err("give a mass like 3.2 kg or 3200 g")),
            ("1e3 g", Err("give a mass like 3.2 kg or 3200 g")),
            ("1.2.3 kg", Err("give a mass like 3.2 kg or 3200 g")),
            (
                "3200 kg",
                Err("that is above 500 kg for an empty one; look at the unit"),
            ),
        ] {
            assert_eq!(tare(text), expected, "{text:?}");
        }
        for text in ["3.2 kg", "850 g", "12.345 kg", ""] {
            let grams = tare(text).unwrap();
            assert_eq!(tare_text(grams), text);
        }
    }

    #[test]
    fn bags_without_a_label_are_numbered_on() {
        let names = |names: &[&str]| names.iter().map(|n| (*n).to_owned()).collect::<Vec<_>>();
        for (known, expected) in [
            (names(&[]), "Bag without label 1"),
            (names(&["Bag 7"]), "Bag without label 1"),
            (
                names(&["Bag without label 2", "Bag without label 1"]),
                "Bag without label 3",
            ),
            (names(&["Bag without label x"]), "Bag without label 1"),
        ] {
            assert_eq!(unlabelled(&known), expected);
        }
    }

    #[test]
    fn only_what_is_empty_is_put_away() {
        let check = |pieces, places, in_an_open_count, expected: Option<&str>| {
            let found = put_away(Holds {
                pieces,
                places,
                in_an_open_count,
            });
            assert_eq!(found.err().map(|w| w.text).as_deref(), expected);
        };
        check(0, 0, false, None);
        check(1, 0, false, Some("1 piece is still in it; move them first"));
        check(
            0,
            2,
            false,
            Some("2 things still stand in it; carry them elsewhere first"),
        );
        check(
            0,
            0,
            true,
            Some("it is being counted; close the count first"),
        );
    }

    #[test]
    fn nothing_is_carried_into_itself() {
        let store = place(Kind::Store, "Cellar", None);
        let krate = place(Kind::Crate, "Ridge", Some(&store));
        let bag = place(Kind::Bag, "Bag 1", Some(&krate));
        let said = |result: Result<(), Wrong>| result.err().map(|wrong| wrong.text);
        let below = [bag.clone()];
        assert_eq!(
            said(carry(&krate, Some(&bag), &below)).as_deref(),
            Some("Ridge cannot stand in itself")
        );
        assert_eq!(
            said(carry(&krate, Some(&krate), &below)).as_deref(),
            Some("Ridge cannot stand in itself")
        );
        assert_eq!(
            said(carry(&krate, Some(&store), &below)).as_deref(),
            Some("it is in Cellar already")
        );
        assert_eq!(said(carry(&krate, None, &below)), None);
        assert_eq!(
            said(carry(&store, Some(&krate), &[])).as_deref(),
            Some("a store does not go into a crate")
        );
        let mut theirs = place(Kind::Crate, "Theirs", None);
        theirs.team = crate::ids::TeamId::new();
        assert_eq!(
            said(carry(&bag, Some(&theirs), &[])).as_deref(),
            Some("Theirs belongs to another team")
        );
    }

    #[test]
    fn what_was_typed_is_read_or_named() {
        let typed = Typed {
            name: " bag  1 ".into(),
            tare: "3".into(),
            ..Typed::default()
        };
        let wrongs = read(&typed, &["Bag 1".into()]).unwrap_err();
        let fields: Vec<&str> = wrongs.iter().map(|wrong| wrong.field.as_str()).collect();
        assert_eq!(fields, ["name", "tare"]);
        let kept = read(
            &Typed {
                tare: "1 kg".into(),
                ..typed
            },
            &[],
        )
        .unwrap();
        assert_eq!((kept.name.as_str(), kept.tare_g), ("bag 1", Some(1000.0)));
    }
}
