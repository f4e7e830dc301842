//! Reading what a team borrowed from somebody outside the league, and pieces that are not ours. Pure.

use crate::clock::Day;
use crate::ids::PartId;
use crate::text::{fold, tidy};
use crate::web::form::Wrong;

/// The form as it was typed.
#[derive(Debug, Clone, Default)]
pub struct Typed {
    pub lender: String,
    pub contact: String,
    pub crates: String,
    /// One line each: "4 Peg".
    pub pieces: String,
    pub purpose: String,
    pub out_on: String,
    pub due_on: String,
}

/// A part as people may call it.
#[derive(Debug, Clone)]
pub struct Called {
    pub part: PartId,
    pub number: String,
    pub name: String,
    pub colour: String,
}

/// So many pieces of something.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Some {
    pub qty: i64,
    pub words: String,
    pub part: Option<PartId>,
}

#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Borrowing {
    pub lender: String,
    pub contact: String,
    pub crates: String,
    pub pieces: Vec<Some>,
    pub purpose: String,
    pub out_on: Day,
    pub due_on: Day,
}

/// More lines than this are somebody's whole book.
const MOST_LINES: usize = 300;

pub fn read(typed: &Typed, parts: &[Called]) -> Result<Borrowing, Vec<Wrong>> {
    let mut wrongs = Vec::new();
    let mut short = |field: &str, text: &str, most: usize| {
        let text = tidy(text);
        if text.chars().count() > most {
            wrongs.push(Wrong::at(field, format!("at most {most} characters")));
        }
        text
    };
    let lender = short("lender", &typed.lender, 120);
    let contact = short("contact", &typed.contact, 200);
    let crates = short("crates", &typed.crates, 500);
    let purpose = short("purpose", &typed.purpose, 200);
    if lender.is_empty() {
        wrongs.push(Wrong::at("lender", "say whose it is"));
    }
    let pieces = pieces(&typed.pieces, parts).unwrap_or_else(|wrong| {
        wrongs.push(wrong);
        Vec::new()
    });
    let says_what = !crates.is_empty() || !typed.pieces.trim().is_empty();
    if !says_what {
        wrongs.push(Wrong::at(
            "crates",
            "say what it is: crates in words, or pieces below",
        ));
    }
    let mut day = |field: &str, text: &str, ask: &str| {
        let read: Option<Day> = text.trim().parse().ok();
        if read.is_none() {
            wrongs.push(Wrong::at(field, ask));
        }
        read
    };
    let out_on = day("out_on", &typed.out_on, "say since when");
    let due_on = day("due_on", &typed.due_on, "say by which day it goes back");
    match (out_on, due_on) {
        (Some(out_on), Some(due_on)) if due_on < out_on => {
            let text = format!("that is before you got it, on {}", out_on.words());
            wrongs.push(Wrong::at("due_on", text));
            Err(wrongs)
        }
        (Some(out_on), Some(due_on)) if wrongs.is_empty() => Ok(Borrowing {
            lender,
            contact,
            crates,
            pieces,
            purpose,
            out_on,
            due_on,
        }),
        _ => Err(wrongs),
    }
}

/// Reads lines such as "4 Peg" or "2 × B-4".
pub fn pieces(text: &str, parts: &[Called]) -> Result<Vec<Some>, Wrong> {
    let mut all = Vec::new();
    for (nth, line) in text.lines().enumerate() {
        let line = tidy(line);
        if line.is_empty() {
            continue;
        }
        let some = one(&line, parts)
            .map_err(|why| Wrong::at("pieces", format!("line {}: {why}", nth + 1)))?;
        all.push(some);
    }
    if all.len() > MOST_LINES {
        let text = format!("at most {MOST_LINES} lines");
        return Err(Wrong::at("pieces", text));
    }
    Ok(all)
}

fn one(line: &str, parts: &[Called]) -> Result<Some, String> {
    let digits = line.chars().take_while(char::is_ascii_digit).count();
    let (number, rest) = line.split_at(digits);
    let rest = rest.trim_start();
    let rest = rest
        .strip_prefix("× ")
        .or_else(|| rest.strip_prefix("x "))
        .unwrap_or(rest)
        .trim();
    let qty = number
        .parse::<i64>()
        .ok()
        .filter(|n| (1..=1_000_000).contains(n));
    match qty {
        None => Err("write how many, then what, like “4 Peg”".into()),
        _ if rest.is_empty() => Err("write what it is, like “4 Peg”".into()),
        _ if rest.chars().count() > 200 => Err("at most 200 characters".into()),
        Some(qty) => Ok(Some {
            qty,
            part: part(rest, parts),
            words: rest.to_owned(),
        }),
    }
}

/// The part that is called so, if only one is.
pub fn part(words: &str, parts: &[Called]) -> Option<PartId> {
    let wanted = fold(words);
    let is_called = |one: &&Called| {
        let full = format!("{}, {}", one.name, one.colour);
        let with_number = format!("{full} ({})", one.number);
        [one.number.clone(), one.name.clone(), full, with_number]
            .iter()
            .any(|known| !known.is_empty() && fold(known) == wanted)
    };
    let mut found = parts.iter().filter(is_called);
    match (found.next(), found.next()) {
        (Some(only), None) => Some(only.part),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn parts() -> Vec<Called> {
        [
            ("B-4", "Peg", "black"),
            ("B-6", "Shade", "amber"),
            ("B-6", "Shade", "white"),
        ]
        .into_iter()
        .map(|(number, name, colour)| Called {
            part: PartId::new(),
            number: number.into(),
            name: name.into(),
            colour: colour.into(),
        })
        .collect()
    }

    #[test]
    fn pieces_are_a_number_and_what() {
        let parts = parts();
        let read = |text: &str| {
            pieces(text, &parts).map(|all| {
                let each = all.into_iter();
                each.map(|some| (some.qty, some.words, some.part.is_some()))
                    .collect::<Vec<_>>()
            })
        };
        let known = |qty, words: &str, is_part| (qty, words.to_owned(), is_part);
        assert_eq!(
            read("4 peg\n\n 2 × B-4\n1 Shade\n3 shade, amber\n12x long pole").unwrap(),
            [
                known(4, "peg", true),
                known(2, "B-4", true),
                known(1, "Shade", false),
                known(3, "shade, amber", true),
                known(12, "x long pole".trim_start_matches("x "), false),
            ]
        );
        for (text, expected) in [
            ("peg", "line 1: write how many"),
            ("4 peg\n0 lamp", "line 2: write how many"),
            ("4", "line 1: write what it is"),
            ("99999999 peg", "line 1: write how many"),
        ] {
            let wrong = read(text).unwrap_err();
            assert!(wrong.text.starts_with(expected), "{text}: {}", wrong.text);
        }
        assert!(read(&"1 peg\n".repeat(301)).is_err());
    }

    #[test]
    fn what_is_wrong_is_said_at_its_field() {
        let typed = Typed {
            lender: "Tin Mill".into(),
            crates: "two green crates".into(),
            out_on: "2027-03-01".into(),
            due_on: "2027-03-09".into(),
            ..Typed::default()
        };
        let wrongs = |typed: &Typed| -> Vec<String> {
            let wrongs = read(typed, &parts()).err().unwrap_or_default();
            wrongs.into_iter().map(|wrong| wrong.field).collect()
        };
        assert!(wrongs(&typed).is_empty());
        for (change, expected) in [
            (
                Typed {
                    lender: " ".into(),
                    ..typed.clone()
                },
                vec!["lender"],
            ),
            (
                Typed {
                    crates: " ".into(),
                    ..typed.clone()
                },
                vec!["crates"],
            ),
            (
                Typed {
                    pieces: "peg".into(),
                    ..typed.clone()
                },
                vec!["pieces"],
            ),
            (
                Typed {
                    due_on: "2027-02-28".into(),
                    ..typed.clone()
                },
                vec!["due_on"],
            ),
            (
                Typed {
                    due_on: "soon".into(),
                    ..typed.clone()
                },
                vec!["due_on"],
            ),
            (
                Typed::default(),
                vec!["lender", "crates", "out_on", "due_on"],
            ),
        ] {
            assert_eq!(wrongs(&change), expected);
        }
        let pieces_alone = Typed {
            crates: String::new(),
            pieces: "4 peg".into(),
            ..typed
        };
        assert!(wrongs(&pieces_alone).is_empty());
    }
}
