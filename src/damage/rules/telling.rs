//! What somebody tells: reading the form.

use crate::ids::EventId;
use crate::ledger::State;
use crate::text::tidy;

/// Pictures that one report may have.
pub const PICTURES: usize = 8;

/// What a report is about.
#[derive(Debug, Clone, Copy, PartialEq, Eq, sqlx::Type)]
#[sqlx(rename_all = "lowercase")]
pub enum What {
    Broken,
    /// Pieces are not where they should be.
    Lost,
    /// Pieces turned up.
    Found,
    /// A crate stands where it does not belong.
    Astray,
}

impl What {
    pub const ALL: [What; 4] = [What::Broken, What::Lost, What::Found, What::Astray];

    pub fn word(self) -> &'static str {
        match self {
            What::Broken => "broken",
            What::Lost => "lost",
            What::Found => "found",
            What::Astray => "astray",
        }
    }

    /// As a choice on a form.
    pub fn sentence(self) -> &'static str {
        match self {
            What::Broken => "Something is broken",
            What::Lost => "We lost something",
            What::Found => "We found something",
            What::Astray => "A crate is out of place",
        }
    }

    pub fn from_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|what| what.word() == word)
    }
}

/// Whether a broken piece can still be used.
#[derive(Debug, Clone, Copy, PartialEq, Eq, sqlx::Type)]
#[sqlx(rename_all = "lowercase")]
pub enum Usable {
    Yes,
    No,
    Unsure,
}

impl Usable {
    pub const ALL: [Usable; 3] = [Usable::No, Usable::Yes, Usable::Unsure];

    pub fn word(self) -> &'static str {
        match self {
            Usable::Yes => "yes",
            Usable::No => "no",
            Usable::Unsure => "unsure",
        }
    }

    pub fn sentence(self) -> &'static str {
        match self {
            Usable::Yes => "Yes, it still works",
            Usable::No => "No",
            Usable::Unsure => "I am not sure",
        }
    }

    pub fn from_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|usable| usable.word() == word)
    }

    /// The state that pieces are in from now on. What may still work stays in use and is looked at.
    pub fn state(self) -> State {
        match self {
            Usable::No => State::Broken,
            Usable::Yes | Usable::Unsure => State::Doubtful,
        }
    }
}

/// What can happen to a piece; others are written into the note.
pub const HAPPENED: [&str; 6] = [
    "cracked",
    "bent",
    "torn",
    "worn out",
    "came apart",
    "stopped working",
];

/// A report as it was typed.
#[derive(Debug, Clone, Default)]
pub struct Typed {
    pub what: String,
    pub qty: String,
    pub usable: String,
    pub happened: String,
    /// An event that was offered.
    pub event_id: String,
    /// Words for another one.
    pub event: String,
    pub note: String,
    pub reporter: String,
}

/// A report as it is kept.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Told {
    pub what: What,
    pub qty: i64,
    pub usable: Usable,
    pub happened: String,
    pub event_id: Option<EventId>,
    pub event: String,
    pub note: String,
    pub reporter: String,
}

/// What has to be put right: the field, and the sentence.
pub type Wrong = (&'static str, String);

/// Reads a report. Everything but what it is about may be left out.
pub fn read(typed: &Typed) -> Result<Told, Vec<Wrong>> {
    let mut wrongs = Vec::new();
    let what = match typed.what.trim() {
        "" => What::Broken,
        word => What::from_word(word).unwrap_or_else(|| {
            wrongs.push(("what", "choose one of these".to_owned()));
            What::Broken
        }),
    };
    let qty = quantity(&typed.qty).unwrap_or_else(|why| {
        wrongs.push(("qty", why));
        1
    });
    let usable = Usable::from_word(typed.usable.trim()).unwrap_or(Usable::Unsure);
    let happened = match typed.happened.trim() {
        "" => String::new(),
        word if HAPPENED.contains(&word) => word.to_owned(),
        _ => {
            wrongs.push(("happened", "choose one of the list".to_owned()));
            String::new()
        }
    };
    let event_id = match typed.event_id.trim() {
        "" => None,
        id => id.parse().map(Some).unwrap_or_else(|_| {
            wrongs.push(("event_id", "choose one of the list".to_owned()));
            None
        }),
    };
    let mut short = |field, text: &str, limit: usize| {
        let text = tidy(text);
        if text.chars().count() > limit {
            wrongs.push((field, format!("at most {limit} characters, please")));
        }
        text
    };
    let told = Told {
        what,
        qty,
        usable,
        happened,
        event_id,
        event: short("event", &typed.event, 120),
        note: short("note", &typed.note, 2000),
        reporter: short("reporter", &typed.reporter, 40),
    };
    if wrongs.is_empty() {
        Ok(told)
    } else {
        Err(wrongs)
    }
}

/// How many; an empty field is one.
pub fn quantity(typed: &str) -> Result<i64, String> {
    let typed = typed.trim();
    if typed.is_empty() {
        return Ok(1);
    }
    match typed.parse::<i64>() {
        Ok(0) => Err("none is nothing to tell; write 1 or more".into()),
        Ok(qty) if (1..=1_000_000).contains(&qty) => Ok(qty),
        _ => Err("write a whole number, like 2".into()),
    }
}

/// How the pieces that are reported go into their new state: from those in good order first, then from
/// those that are doubtful already. Answers what moves from good and from doubtful.
pub fn take(good: i64, doubtful: i64, qty: i64, to: State) -> Result<(i64, i64), String> {
    let there = good + doubtful;
    if qty > there {
        return Err(match there {
            0 => "none of them is in use there".into(),
            1 => "only 1 of them is in use there".into(),
            _ => format!("only {there} of them are in use there"),
        });
    }
    let from_good = qty.min(good);
    // Doubtful pieces stay where they are when doubtful is what they become.
    let from_doubtful = match to {
        State::Doubtful => 0,
        _ => qty - from_good,
    };
    Ok((from_good, from_doubtful))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn everything_may_be_left_out() {
        let told = read(&Typed::default()).expect("nothing is asked for");
        assert_eq!(
            told,
            Told {
                what: What::Broken,
                qty: 1,
                usable: Usable::Unsure,
                happened: String::new(),
                event_id: None,
                event: String::new(),
                note: String::new(),
                reporter: String::new(),
            }
        );
    }

    #[test]
    fn what_cannot_be_meant_is_told_at_its_field() {
        let check = |typed: Typed, field: &str| {
            let wrongs = read(&typed).expect_err(field);
            assert_eq!(
                wrongs.iter().map(|wrong| wrong.0).collect::<Vec<_>>(),
                [field]
            );
        };
        for qty in ["0", "-1", "two", "1.5", "1000001", "99999999999999999999"] {
            check(
                Typed {
                    qty: qty.into(),
                    ..Typed::default()
                },
                "qty",
            );
        }
        check(
            Typed {
                what: "eaten".into(),
                ..Typed::default()
            },
            "what",
        );
        check(
            Typed {
                happened: "eaten".into(),
                ..Typed::default()
            },
            "happened",
        );
        check(
            Typed {
                note: "x".repeat(2001),
                ..Typed::default()
            },
            "note",
        );
    }

    #[test]
    fn good_pieces_are_taken_first() {
        for (good, doubtful, qty, to, expected) in [
            (4, 0, 1, State::Broken, Ok((1, 0))),
            (1, 2, 2, State::Broken, Ok((1, 1))),
            (1, 2, 2, State::Doubtful, Ok((1, 0))),
            (0, 2, 2, State::Doubtful, Ok((0, 0))),
            (0, 0, 1, State::Broken, Err("none of them is in use there")),
            (
                1,
                0,
                2,
                State::Broken,
                Err("only 1 of them is in use there"),
            ),
            (
                1,
                2,
                4,
                State::Broken,
                Err("only 3 of them are in use there"),
            ),
        ] {
            assert_eq!(
                take(good, doubtful, qty, to),
                expected.map_err(str::to_owned),
                "{qty} of {good} and {doubtful}"
            );
        }
    }
}
