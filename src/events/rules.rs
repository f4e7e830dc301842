//! What an event may be called and when it is, and whether a kit can go. Pure.

use crate::clock::Day;
use crate::text::tidy;
use crate::web::form::Wrong;

/// An event has at most so many days. Longer ones are a slip of the pen.
pub const LONGEST_DAYS: i64 = 62;

/// An event as somebody typed it.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Typed {
    pub name: String,
    pub venue: String,
    pub first_on: String,
    pub last_on: String,
    pub note: String,
}

/// An event as it will be kept.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Details {
    pub name: String,
    pub venue: String,
    pub first_on: Day,
    pub last_on: Day,
    pub note: String,
}

impl Details {
    /// "Pass Meeting, Farrow Hall, 6 Mar 2027 to 7 Mar 2027": what a step keeps of it.
    pub fn words(&self) -> String {
        let venue = if self.venue.is_empty() {
            String::new()
        } else {
            format!(", {}", self.venue)
        };
        format!(
            "{}{venue}, {}",
            self.name,
            span(self.first_on, self.last_on)
        )
    }
}

/// "6 Mar 2027", or "6 Mar 2027 to 7 Mar 2027".
pub fn span(first: Day, last: Day) -> String {
    if first == last {
        first.words()
    } else {
        format!("{} to {}", first.words(), last.words())
    }
}

/// Reads what was typed. An event of one day needs no last day.
pub fn read(typed: &Typed) -> Result<Details, Vec<Wrong>> {
    let mut wrongs = Vec::new();
    let name = tidy(&typed.name);
    if name.is_empty() {
        wrongs.push(Wrong::at("name", "Give the event a name."));
    }
    let venue = tidy(&typed.venue);
    let note = typed.note.trim().replace("\r\n", "\n");
    for (field, what, text, most) in [
        ("name", "name", &name, 120),
        ("venue", "venue", &venue, 200),
        ("note", "note", &note, 2000),
    ] {
        if text.chars().count() > most {
            let text = format!("The {what} has at most {most} characters.");
            wrongs.push(Wrong::at(field, text));
        }
    }
    let first_on = day(&mut wrongs, "first_on", &typed.first_on);
    let last_on = if typed.last_on.trim().is_empty() {
        first_on
    } else {
        day(&mut wrongs, "last_on", &typed.last_on)
    };
    if let (Some(first), Some(last)) = (first_on, last_on) {
        let days = first.days_until(last);
        if days < 0 {
            let text = "The last day cannot be before the first one.";
            wrongs.push(Wrong::at("last_on", text));
        } else if days >= LONGEST_DAYS {
            let text = format!(
                "That would be {} days. An event has at most {LONGEST_DAYS}: check both days.",
                days + 1
            );
            wrongs.push(Wrong::at("last_on", text));
        }
    }
    match (first_on, last_on) {
        (Some(first_on), Some(last_on)) if wrongs.is_empty() => Ok(Details {
            name,
            venue,
            first_on,
            last_on,
            note,
        }),
        _ => Err(wrongs),
    }
}

fn day(wrongs: &mut Vec<Wrong>, field: &'static str, typed: &str) -> Option<Day> {
    let read = typed.trim().parse().ok();
    if read.is_none() {
        let text = "Give the day as year-month-day, like 2027-03-04.";
        wrongs.push(Wrong::at(field, text));
    }
    read
}

/// Days that are taken by another event.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Taken {
    pub name: String,
    pub first_on: Day,
    pub last_on: Day,
}

/// Why something was not done about an event.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum Refused {
    #[error(
        "Somebody else changed this event while you wrote. Look at it again; nothing was saved yet."
    )]
    Changed,
    #[error("This event was called off. Say first that it takes place after all.")]
    CalledOff,
    #[error("This event was not called off.")]
    TakesPlace,
    #[error("Say why it is called off, so that whoever looks it up later knows.")]
    NoReason,
    #[error("A reason has at most 500 characters.")]
    LongReason,
    #[error("Choose the kit that goes.")]
    NoKit,
    #[error("That kit was put away. Bring it back first.")]
    PutAway,
    #[error("That kit goes already.")]
    GoesAlready,
    #[error("That kit does not go to this event.")]
    DoesNotGo,
    #[error(
        "On these days it goes to {}, {}. If it goes to both, say how.",
        .0.name, span(.0.first_on, .0.last_on)
    )]
    Elsewhere(Taken),
}

/// A reason, which may be asked for.
pub fn reason(typed: &str, is_needed: bool) -> Result<String, Refused> {
    let why = tidy(typed);
    if why.is_empty() && is_needed {
        return Err(Refused::NoReason);
    }
    if why.chars().count() > 500 {
        return Err(Refused::LongReason);
    }
    Ok(why)
}

/// Whether a kit can go from `first` to `last`, given the other events it goes to. A kit can be at two
/// events on one day only where somebody says how.
pub fn goes(first: Day, last: Day, others: &[Taken], why: &str) -> Result<(), Refused> {
    if !why.is_empty() {
        return Ok(());
    }
    let meets = |other: &&Taken| first <= other.last_on && other.first_on <= last;
    match others.iter().find(meets) {
        Some(other) => Err(Refused::Elsewhere(other.clone())),
        None => Ok(()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn typed(name: &str, first: &str, last: &str) -> Typed {
        Typed {
            name: name.into(),
            first_on: first.into(),
            last_on: last.into(),
            ..Typed::default()
        }
    }

    #[track_caller]
    fn check(typed: &Typed, expected: Result<&str, &[&str]>) {
        match (read(typed), expected) {
            (Ok(details), Ok(words)) => assert_eq!(details.words(), words),
            (Err(wrongs), Err(fields)) => {
                let at: Vec<_> = wrongs.iter().map(|wrong| wrong.field.as_str()).collect();
                assert_eq!(at, fields);
            }
            (read, _) => panic!("{read:?}"),
        }
    }

    #[test]
    fn an_event_has_a_name_and_days_in_order() {
        check(
            &typed(" Pass  Meeting ", "2027-03-06", ""),
            Ok("Pass Meeting, 6 Mar 2027"),
        );
        check(
            &typed("Pass Meeting", "2027-03-06", "2027-03-07"),
            Ok("Pass Meeting, 6 Mar 2027 to 7 Mar 2027"),
        );
        check(&typed("", "2027-03-06", ""), Err(&["name"]));
        check(&typed("Pass Meeting", "", ""), Err(&["first_on"]));
        check(
            &typed("Pass Meeting", "2027-02-30", "soon"),
            Err(&["first_on", "last_on"]),
        );
        check(
            &typed("Pass Meeting", "2027-03-06", "2027-03-05"),
            Err(&["last_on"]),
        );
        // 62 days are the most: 6 March and 61 days more.
        check(
            &typed("Long", "2027-03-06", "2027-05-06"),
            Ok("Long, 6 Mar 2027 to 6 May 2027"),
        );
        check(
            &typed("Too long", "2027-03-06", "2027-05-07"),
            Err(&["last_on"]),
        );
        let venue = "x".repeat(201);
        let typed = Typed {
            venue,
            ..typed("Pass Meeting", "2027-03-06", "")
        };
        check(&typed, Err(&["venue"]));
    }

    #[test]
    fn a_kit_is_at_one_event_a_day_unless_somebody_says_how() {
        let day = |text: &str| text.parse::<Day>().unwrap();
        let other = Taken {
            name: "Gable Day".into(),
            first_on: day("2027-03-06"),
            last_on: day("2027-03-08"),
        };
        let others = [other.clone()];
        let cases = [
            ("2027-03-01", "2027-03-05", true),
            ("2027-03-01", "2027-03-06", false),
            ("2027-03-07", "2027-03-07", false),
            ("2027-03-08", "2027-03-20", false),
            ("2027-03-01", "2027-03-20", false),
            ("2027-03-09", "2027-03-20", true),
        ];
        for (first, last, can) in cases {
            let expected = if can {
                Ok(())
            } else {
                Err(Refused::Elsewhere(other.clone()))
            };
            assert_eq!(
                goes(day(first), day(last), &others, ""),
                expected,
                "{first} to {last}"
            );
            assert_eq!(goes(day(first), day(last), &others, "half each"), Ok(()));
        }
        assert_eq!(
            Refused::Elsewhere(other).to_string(),
            "On these days it goes to Gable Day, 6 Mar 2027 to 8 Mar 2027. If it goes to both, say how."
        );
    }
}
