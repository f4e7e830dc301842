//! What a seal is worth, from the steps that were taken about it. Pure.

use crate::clock::Instant;
use crate::ids::PersonId;
use crate::ledger::Seq;
use crate::text::tidy;

use super::Wrong;

/// Longest number of a seal, in characters.
const NUMBER: usize = 40;
/// Longest words about what was found, in characters.
const WORDS: usize = 300;

/// One kind of step.
#[derive(Debug, Clone, Copy, PartialEq, Eq, sqlx::Type)]
#[sqlx(rename_all = "lowercase")]
pub enum Kind {
    Sealed,
    Opened,
    #[sqlx(rename = "taken back")]
    TakenBack,
}

impl Kind {
    pub const ALL: [Kind; 3] = [Kind::Sealed, Kind::Opened, Kind::TakenBack];
}

/// What was found when it was opened.
#[derive(Debug, Clone, Copy, PartialEq, Eq, sqlx::Type)]
#[sqlx(rename_all = "lowercase")]
pub enum Found {
    #[sqlx(rename = "")]
    Nothing,
    Intact,
    /// Broken, gone, or with another number.
    Broken,
}

/// A step as it was taken.
#[derive(Debug, Clone)]
pub struct Step {
    pub line: i64,
    pub kind: Kind,
    pub number: String,
    pub found: Found,
    pub words: String,
    pub seq: Seq,
    pub undoes: Option<i64>,
    pub person: PersonId,
    pub done_at: Instant,
}

/// A seal that was put on.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Seal {
    pub number: String,
    pub put_on: Instant,
    /// The ledger's last entry then.
    pub seq: Seq,
}

/// How a crate's seal stands.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Sealing {
    /// It has none now.
    Open,
    /// Opened, and the seal was whole.
    OpenedIntact {
        number: String,
        at: Instant,
    },
    /// Opened, and the seal was broken, gone or another. What was counted before that is not trusted.
    OpenedBroken {
        number: String,
        words: String,
        at: Instant,
        seq: Seq,
    },
    Sealed(Seal),
}

/// Whether a step still counts.
pub fn is_in_force(step: &Step, steps: &[Step]) -> bool {
    step.kind != Kind::TakenBack && steps.iter().all(|other| other.undoes != Some(step.line))
}

/// How a crate's seal stands after its steps: the last one that counts says it.
pub fn stands(steps: &[Step]) -> Sealing {
    let in_force: Vec<&Step> = steps
        .iter()
        .filter(|step| is_in_force(step, steps))
        .collect();
    let Some(last) = in_force.last() else {
        return Sealing::Open;
    };
    let number = in_force
        .iter()
        .rev()
        .find(|step| step.kind == Kind::Sealed)
        .map_or(String::new(), |step| step.number.clone());
    match (last.kind, last.found) {
        (Kind::Sealed, _) => Sealing::Sealed(Seal {
            number,
            put_on: last.done_at,
            seq: last.seq,
        }),
        (_, Found::Broken) => Sealing::OpenedBroken {
            number,
            words: last.words.clone(),
            at: last.done_at,
            seq: last.seq,
        },
        _ => Sealing::OpenedIntact {
            number,
            at: last.done_at,
        },
    }
}

/// The number of a new seal, as it is kept.
pub fn number(typed: &str) -> Result<String, Wrong> {
    let number = tidy(typed);
    if number.is_empty() {
        return Err(Wrong::new("number", "write the number on the seal"));
    }
    if number.chars().count() > NUMBER {
        return Err(Wrong::new(
            "number",
            format!("at most {NUMBER} characters, please"),
        ));
    }
    Ok(number)
}

/// What was found when a crate was opened. One that was not intact wants a word.
pub fn found(intact: &str, words: &str) -> Result<(Found, String), Wrong> {
    match intact {
        "yes" => Ok((Found::Intact, String::new())),
        "no" => {
            let words = tidy(words);
            if words.is_empty() {
                let text = "write what you found: broken, gone, or the other number";
                return Err(Wrong::new("words", text));
            }
            if words.chars().count() > WORDS {
                let text = format!("at most {WORDS} characters, please");
                return Err(Wrong::new("words", text));
            }
            Ok((Found::Broken, words))
        }
        _ => Err(Wrong::new(
            "intact",
            "say whether the seal is there and whole",
        )),
    }
}

/// What is known of the contents: lines that were counted, the oldest of these counts, and the first entry
/// after the seal was put on that reached into the crate.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Contents {
    pub lines: usize,
    pub not_counted: usize,
    pub counted_at: Option<Instant>,
    pub reached_into: Option<Seq>,
    /// Lines last counted before the seal was found broken.
    pub doubted: usize,
}

/// One step as the rest of a sentence that begins with a name.
pub fn step(step: &Step) -> String {
    match (step.kind, step.found) {
        (Kind::Sealed, _) => format!("sealed it with {}", step.number),
        (Kind::Opened, Found::Broken) => {
            format!("opened it, and the seal was not intact: {}", step.words)
        }
        (Kind::Opened, _) => "opened it, and the seal was intact".into(),
        (Kind::TakenBack, _) => "took a step back".into(),
    }
}

/// How far what the books say is in a crate can be trusted, as a sentence without the days in it: `day`
/// tells them.
pub fn trust(sealing: &Sealing, contents: &Contents, day: impl Fn(Instant) -> String) -> String {
    let counted = match (contents.lines, contents.not_counted, contents.counted_at) {
        (0, ..) => "empty by the books".to_owned(),
        (lines, not_counted, _) if lines == not_counted => "never counted".to_owned(),
        (_, 0, Some(at)) => format!("as counted on {}", day(at)),
        (_, not_counted, Some(at)) => {
            format!("as counted on {}, {not_counted} of it never", day(at))
        }
        (.., None) => "never counted".to_owned(),
    };
    match sealing {
        Sealing::Open => format!("Not sealed; {counted}."),
        Sealing::Sealed(seal) if contents.reached_into.is_some() => format!(
            "The books moved or counted something in it after seal {} was put on, so it was opened \
             without a word. Say what became of the seal.",
            seal.number
        ),
        Sealing::Sealed(seal) => format!(
            "{}, seal {}, put on {} and not opened since.",
            super::words::sentence(&counted),
            seal.number,
            day(seal.put_on)
        ),
        Sealing::OpenedIntact { number, at } => format!(
            "Open. Seal {number} was intact when it was opened on {}; {counted}.",
            day(*at)
        ),
        Sealing::OpenedBroken {
            number, words, at, ..
        } if contents.doubted > 0 => format!(
            "Seal {number} was not intact on {}: {words}. What is in it was not counted since.",
            day(*at)
        ),
        Sealing::OpenedBroken { number, at, .. } => format!(
            "Open. Seal {number} was not intact on {}; counted again since: {counted}.",
            day(*at)
        ),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn step(line: i64, kind: Kind, text: &str) -> Step {
        Step {
            line,
            kind,
            number: if kind == Kind::Sealed { text } else { "" }.into(),
            found: match (kind, text) {
                (Kind::Opened, "intact") => Found::Intact,
                (Kind::Opened, _) => Found::Broken,
                _ => Found::Nothing,
            },
            words: if kind == Kind::Opened && text != "intact" {
                text
            } else {
                ""
            }
            .into(),
            seq: line * 10,
            undoes: None,
            person: PersonId::new(),
            done_at: Instant(line),
        }
    }

    fn told(steps: &[Step], contents: &Contents) -> String {
        trust(&stands(steps), contents, |at| format!("day {}", at.0))
    }

    #[test]
    fn a_sealed_crate_is_trusted_in_words() {
        let counted = Contents {
            lines: 3,
            counted_at: Some(Instant(0)),
            ..Contents::default()
        };
        let partly = Contents {
            not_counted: 1,
            ..counted
        };
        let never = Contents {
            not_counted: 3,
            counted_at: None,
            ..counted
        };
        let reached = Contents {
            reached_into: Some(11),
            ..counted
        };
        let doubted = Contents {
            doubted: 2,
            ..counted
        };
        let mut steps = Vec::new();
        assert_eq!(told(&steps, &counted), "Not sealed; as counted on day 0.");
        steps.push(step(1, Kind::Sealed, "0451"));
        for (contents, expected) in [
            (
                counted,
                "As counted on day 0, seal 0451, put on day 1 and not opened since.",
            ),
            (
                partly,
                "As counted on day 0, 1 of it never, seal 0451, put on day 1 and not opened since.",
            ),
            (
                never,
                "Never counted, seal 0451, put on day 1 and not opened since.",
            ),
            (
                Contents::default(),
                "Empty by the books, seal 0451, put on day 1 and not opened since.",
            ),
            (
                reached,
                "The books moved or counted something in it after seal 0451 was put on, so it was \
                 opened without a word. Say what became of the seal.",
            ),
        ] {
            assert_eq!(told(&steps, &contents), expected);
        }
        steps.push(step(2, Kind::Opened, "intact"));
        assert_eq!(
            told(&steps, &counted),
            "Open. Seal 0451 was intact when it was opened on day 2; as counted on day 0."
        );
        steps.push(step(3, Kind::Sealed, "0451"));
        steps.push(step(4, Kind::Opened, "reads 0452"));
        assert_eq!(
            told(&steps, &doubted),
            "Seal 0451 was not intact on day 4: reads 0452. What is in it was not counted since."
        );
        assert_eq!(
            told(&steps, &counted),
            "Open. Seal 0451 was not intact on day 4; counted again since: as counted on day 0."
        );
        // Taken back: it is sealed again, as it was.
        let mut back = step(5, Kind::TakenBack, "");
        back.undoes = Some(4);
        steps.push(back);
        assert!(told(&steps, &counted).ends_with("put on day 3 and not opened since."));
    }

    #[test]
    fn a_seal_has_a_number_and_a_broken_one_wants_a_word() {
        assert_eq!(number(" 04 51 "), Ok("04 51".into()));
        assert!(number(" ").is_err());
        assert!(number(&"4".repeat(41)).is_err());
        assert_eq!(found("yes", "x"), Ok((Found::Intact, String::new())));
        assert_eq!(found("no", " gone "), Ok((Found::Broken, "gone".into())));
        assert_eq!(found("no", " ").unwrap_err().field, "words");
        assert_eq!(found("", "gone").unwrap_err().field, "intact");
    }
}
