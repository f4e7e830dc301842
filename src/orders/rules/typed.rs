//! What the forms about order lines say.

use crate::clock::Day;
use crate::ids::PlaceId;
use crate::text::tidy;
use crate::web::form::Wrong;

/// Longest words, in characters.
const WORDS: usize = 500;
/// Most pieces of a line.
const MOST: i64 = 1_000_000;

/// A line as somebody wants it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Wanted {
    pub qty: i64,
    pub needed_on: Option<Day>,
    pub why: String,
}

/// From whom it was ordered, when, and by when it is expected.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Ordered {
    pub from: String,
    pub day: Day,
    pub by: Option<Day>,
}

/// How many arrived, when, and where they were put.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Came {
    pub qty: i64,
    pub day: Day,
    pub place: PlaceId,
}

type Wrongs = Vec<Wrong>;

/// Reads how many are wanted, by when and why. An empty number is one.
pub fn wanted(qty: &str, needed_on: &str, why: &str) -> Result<Wanted, Wrongs> {
    let mut wrongs = Vec::new();
    let qty = match qty.trim() {
        "" => Some(1),
        typed => number(typed),
    };
    if qty.is_none() {
        wrongs.push(Wrong::at("qty", "write a whole number, like 2"));
    }
    let needed_on = day(&mut wrongs, "needed_on", needed_on);
    let why = words(&mut wrongs, "why", why);
    match qty {
        Some(qty) if wrongs.is_empty() => Ok(Wanted {
            qty,
            needed_on,
            why,
        }),
        _ => Err(wrongs),
    }
}

/// Reads from whom it was ordered. An empty day is today.
pub fn ordered(from: &str, on: &str, by: &str, today: Day) -> Result<Ordered, Wrongs> {
    let mut wrongs = Vec::new();
    let from = words(&mut wrongs, "supplier", from);
    if from.is_empty() && wrongs.is_empty() {
        wrongs.push(Wrong::at(
            "supplier",
            "write from whom, so that somebody can ask where it is",
        ));
    }
    let on = past(&mut wrongs, "ordered_on", on, today);
    let by = day(&mut wrongs, "by", by);
    if by.is_some_and(|by| by < on) && wrongs.is_empty() {
        wrongs.push(Wrong::at(
            "by",
            "it cannot be expected before it was ordered",
        ));
    }
    match wrongs.is_empty() {
        true => Ok(Ordered { from, day: on, by }),
        false => Err(wrongs),
    }
}

/// Reads what arrived and where it was put: one of the kit's places.
pub fn came(
    qty: &str,
    place: &str,
    on: &str,
    places: &[PlaceId],
    today: Day,
) -> Result<Came, Wrongs> {
    let mut wrongs = Vec::new();
    let qty = number(qty.trim());
    if qty.is_none() {
        wrongs.push(Wrong::at("came", "write how many arrived, like 2"));
    }
    let place = place.parse().ok().filter(|place| places.contains(place));
    if place.is_none() {
        wrongs.push(Wrong::at("place", "choose where they were put"));
    }
    let day = past(&mut wrongs, "came_on", on, today);
    match (qty, place) {
        (Some(qty), Some(place)) if wrongs.is_empty() => Ok(Came { qty, day, place }),
        _ => Err(wrongs),
    }
}

/// Reads why a line is called off.
pub fn why(typed: &str) -> Result<String, Wrongs> {
    let mut wrongs = Vec::new();
    let why = words(&mut wrongs, "off_why", typed);
    if why.is_empty() && wrongs.is_empty() {
        wrongs.push(Wrong::at("off_why", "write a word why"));
    }
    match wrongs.is_empty() {
        true => Ok(why),
        false => Err(wrongs),
    }
}

fn number(typed: &str) -> Option<i64> {
    typed.parse().ok().filter(|qty| (1..=MOST).contains(qty))
}

fn day(wrongs: &mut Wrongs, field: &str, typed: &str) -> Option<Day> {
    match typed.trim() {
        "" => None,
        typed => typed
            .parse()
            .map_err(|_| wrongs.push(Wrong::at(field, "give the day as 2027-03-04")))
            .ok(),
    }
}

/// A day that is over or today; an empty one is today.
fn past(wrongs: &mut Wrongs, field: &str, typed: &str, today: Day) -> Day {
    let day = day(wrongs, field, typed).unwrap_or(today);
    if day > today {
        wrongs.push(Wrong::at(field, "that day is still to come"));
    }
    day
}

fn words(wrongs: &mut Wrongs, field: &str, typed: &str) -> String {
    let words = tidy(typed);
    if words.chars().count() > WORDS {
        let why = format!("at most {WORDS} characters, please");
        wrongs.push(Wrong::at(field, why));
    }
    words
}

#[cfg(test)]
mod tests {
    use super::*;

    fn today() -> Day {
        "2027-03-04".parse().expect("a day")
    }

    fn fields<T: std::fmt::Debug>(read: Result<T, Wrongs>) -> Vec<String> {
        let wrongs = read.expect_err("it is refused");
        wrongs.into_iter().map(|wrong| wrong.field).collect()
    }

    #[test]
    fn a_line_is_wanted_with_little_said() {
        let read = wanted("", "", " ").expect("one, some day");
        assert_eq!((read.qty, read.needed_on), (1, None));
        for (qty, day, field) in [
            ("0", "", "qty"),
            ("-1", "", "qty"),
            ("1.5", "", "qty"),
            ("1000001", "", "qty"),
            ("1", "soon", "needed_on"),
        ] {
            assert_eq!(fields(wanted(qty, day, "")), [field], "{qty} {day}");
        }
        assert_eq!(fields(wanted("1", "", &"x".repeat(501))), ["why"]);
    }

    #[test]
    fn ordered_says_from_whom() {
        let read = ordered("Kolm Works", "", "2027-03-20", today()).expect("today");
        assert_eq!(read.day, today());
        for (from, on, by, field) in [
            (" ", "", "", "supplier"),
            ("Kolm", "2027-03-05", "", "ordered_on"),
            ("Kolm", "2027-03-03", "2027-03-02", "by"),
            ("Kolm", "", "later", "by"),
        ] {
            assert_eq!(fields(ordered(from, on, by, today())), [field], "{on} {by}");
        }
    }

    #[test]
    fn what_arrives_is_put_somewhere_of_the_kit() {
        let (own, other) = (PlaceId::new(), PlaceId::new());
        let ask = |qty: &str, place: PlaceId, on: &str| {
            came(qty, &place.to_string(), on, &[own], today())
        };
        assert_eq!(ask(" 12 ", own, "").expect("today").qty, 12);
        assert_eq!(fields(ask("", own, "")), ["came"]);
        assert_eq!(fields(ask("1", other, "")), ["place"]);
        assert_eq!(fields(ask("1", own, "2027-03-05")), ["came_on"]);
        assert_eq!(fields(why("")), ["off_why"]);
    }
}
