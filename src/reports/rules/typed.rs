//! What the forms about a report say.

use std::collections::BTreeMap;

use super::standing::Line;
use crate::clock::Day;
use crate::ids::{PartId, PlaceId};
use crate::text::tidy;
use crate::web::form::Wrong;

/// Longest words, in characters.
const WORDS: usize = 1000;
/// Most pieces of a line that arrive at once.
const MOST: i64 = 1_000_000;

/// The form that says a report was sent, as typed.
#[derive(Debug, Clone, Default)]
pub struct Typed {
    pub day: String,
    pub words: String,
}

/// A day and words that were read.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Said {
    pub day: Day,
    pub words: String,
}

/// What was answered: for each line of the report that was spoken of, so many pieces.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Answer {
    pub day: Day,
    pub words: String,
    pub by: Option<Day>,
    pub promised: Vec<(i64, i64)>,
}

/// What arrived.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Came {
    pub day: Day,
    pub words: String,
    pub place: PlaceId,
    pub pieces: Vec<(PartId, i64)>,
}

/// When and how a report was sent.
pub fn sent(typed: &Typed, today: Day) -> Result<Said, Vec<Wrong>> {
    let mut wrongs = Vec::new();
    let day = past_day(&mut wrongs, "day", &typed.day, None, today);
    let words = words(&mut wrongs, &typed.words);
    match day {
        Some(day) if wrongs.is_empty() => Ok(Said { day, words }),
        _ => Err(wrongs),
    }
}

/// The name of a line's field.
pub fn field(what: &str, line: i64) -> String {
    format!("{what}-{line}")
}

/// What was answered. A line that is left blank was not spoken of.
pub fn answer(
    fields: &BTreeMap<String, String>,
    lines: &[Line],
    sent_on: Day,
    today: Day,
) -> Result<Answer, Vec<Wrong>> {
    let mut wrongs = Vec::new();
    let day = past_day(
        &mut wrongs,
        "answer-day",
        of(fields, "answer-day"),
        Some(sent_on),
        today,
    );
    let words = words_at(&mut wrongs, "answer-words", of(fields, "answer-words"));
    let mut promised = Vec::new();
    for line in lines.iter().filter(|line| line.short > 0) {
        let name = field("promised", line.line);
        match number(of(fields, &name)) {
            Ok(None) => {}
            Ok(Some(qty)) if qty > line.short => wrongs.push(Wrong::at(
                name,
                format!("only {} were reported short", line.short),
            )),
            Ok(Some(qty)) => promised.push((line.line, qty)),
            Err(why) => wrongs.push(Wrong::at(name, why)),
        }
    }
    let by_text = of(fields, "by").trim();
    let by = read_day(by_text);
    if !by_text.is_empty() && by.is_none() {
        wrongs.push(Wrong::at("by", "give the day as 2027-03-04"));
    }
    if by.is_some() && promised.iter().all(|(_, qty)| *qty == 0) && wrongs.is_empty() {
        wrongs.push(Wrong::at("by", "say how many of which line come by then"));
    }
    if let (Some(by), Some(day)) = (by, day)
        && by < day
    {
        wrongs.push(Wrong::at("by", "that is before the day of the answer"));
    }
    if promised.is_empty() && words.is_empty() && wrongs.is_empty() {
        wrongs.push(Wrong::at(
            "answer-words",
            "write what was answered, or how many of a line are promised",
        ));
    }
    match day {
        Some(day) if wrongs.is_empty() => Ok(Answer {
            day,
            words,
            by,
            promised,
        }),
        _ => Err(wrongs),
    }
}

/// What arrived, and where it was put.
pub fn came(
    fields: &BTreeMap<String, String>,
    lines: &[Line],
    places: &[PlaceId],
    sent_on: Day,
    today: Day,
) -> Result<Came, Vec<Wrong>> {
    let mut wrongs = Vec::new();
    let day = past_day(
        &mut wrongs,
        "came-day",
        of(fields, "came-day"),
        Some(sent_on),
        today,
    );
    let words = words_at(&mut wrongs, "came-words", of(fields, "came-words"));
    let mut pieces = Vec::new();
    for line in lines.iter().filter(|line| line.short > 0) {
        let name = field("came", line.line);
        match number(of(fields, &name)) {
            Ok(None | Some(0)) => {}
            Ok(Some(qty)) => pieces.push((line.part, qty)),
            Err(why) => wrongs.push(Wrong::at(name, why)),
        }
    }
    if pieces.is_empty() && wrongs.is_empty() {
        let first = lines.iter().find(|line| line.short > 0);
        let name = first.map_or(String::new(), |line| field("came", line.line));
        wrongs.push(Wrong::at(name, "say how many of a line arrived"));
    }
    let place = of(fields, "place")
        .parse()
        .ok()
        .filter(|place| places.contains(place));
    if place.is_none() {
        wrongs.push(Wrong::at(
            "place",
            "say which of the kit’s crates or bags they were put into",
        ));
    }
    match (day, place) {
        (Some(day), Some(place)) if wrongs.is_empty() => Ok(Came {
            day,
            words,
            place,
            pieces,
        }),
        _ => Err(wrongs),
    }
}

/// Why a report is closed.
pub fn why(typed: &str, is_needed: bool) -> Result<String, Vec<Wrong>> {
    let mut wrongs = Vec::new();
    let why = words_at(&mut wrongs, "why", typed);
    if is_needed && why.is_empty() {
        wrongs.push(Wrong::at(
            "why",
            "not all of it arrived: write a word why the rest is given up",
        ));
    }
    if wrongs.is_empty() {
        Ok(why)
    } else {
        Err(wrongs)
    }
}

fn of<'a>(fields: &'a BTreeMap<String, String>, name: &str) -> &'a str {
    fields.get(name).map_or("", String::as_str)
}

fn words(wrongs: &mut Vec<Wrong>, typed: &str) -> String {
    words_at(wrongs, "words", typed)
}

fn words_at(wrongs: &mut Vec<Wrong>, field: &str, typed: &str) -> String {
    let words = tidy(typed);
    if words.chars().count() > WORDS {
        wrongs.push(Wrong::at(
            field,
            format!("at most {WORDS} characters, please"),
        ));
    }
    words
}

/// Years of more or fewer than four digits do not sort as text, which is how days are stored.
fn read_day(text: &str) -> Option<Day> {
    text.parse().ok().filter(|_| text.len() == 10)
}

/// A day that is not in the future, nor before the report was sent.
fn past_day(
    wrongs: &mut Vec<Wrong>,
    field: &str,
    typed: &str,
    sent_on: Option<Day>,
    today: Day,
) -> Option<Day> {
    let day = read_day(typed.trim());
    let why = match day {
        None => "say on which day",
        Some(day) if day > today => "that day is still to come",
        Some(day) if sent_on.is_some_and(|sent| day < sent) => "that is before the report was sent",
        Some(_) => return day,
    };
    wrongs.push(Wrong::at(field, why));
    None
}

fn number(typed: &str) -> Result<Option<i64>, &'static str> {
    match typed.trim() {
        "" => Ok(None),
        text => match text.parse() {
            Ok(qty) if (0..=MOST).contains(&qty) => Ok(Some(qty)),
            _ => Err("write a whole number"),
        },
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::ids::PartId;

    fn day(text: &str) -> Day {
        text.parse().unwrap()
    }

    fn line(number: i64, short: i64) -> Line {
        Line {
            line: number,
            part: PartId::new(),
            number: String::new(),
            name: "Peg".into(),
            colour: String::new(),
            need: 9,
            received: 9 - short,
            not_good: 0,
            short,
            over: 0,
            promised: None,
            by: None,
            arrived: 0,
        }
    }

    fn fields(pairs: &[(&str, &str)]) -> BTreeMap<String, String> {
        pairs
            .iter()
            .map(|(name, value)| ((*name).to_owned(), (*value).to_owned()))
            .collect()
    }

    fn told(wrongs: &[Wrong]) -> Vec<(&str, &str)> {
        wrongs
            .iter()
            .map(|wrong| (wrong.field.as_str(), wrong.text.as_str()))
            .collect()
    }

    #[test]
    fn an_answer_speaks_of_some_lines() {
        let lines = [line(1, 4), line(2, 1), line(3, 2)];
        let read = |pairs: &[(&str, &str)]| {
            answer(&fields(pairs), &lines, day("2027-03-03"), day("2027-03-10"))
        };
        let typed = [
            ("answer-day", "2027-03-09"),
            ("answer-words", " Sorry,  3 are on the way "),
            ("promised-1", "3"),
            ("promised-2", "0"),
            ("promised-3", ""),
            ("by", "2027-03-20"),
        ];
        let expected = Answer {
            day: day("2027-03-09"),
            words: "Sorry, 3 are on the way".into(),
            by: Some(day("2027-03-20")),
            promised: vec![(1, 3), (2, 0)],
        };
        assert_eq!(read(&typed), Ok(expected));
        for (typed, expected) in [
            (
                vec![("answer-day", "2027-03-11"), ("promised-1", "5")],
                vec![
                    ("answer-day", "that day is still to come"),
                    ("promised-1", "only 4 were reported short"),
                ],
            ),
            (
                vec![("answer-day", "2027-03-02"), ("promised-1", "-1")],
                vec![
                    ("answer-day", "that is before the report was sent"),
                    ("promised-1", "write a whole number"),
                ],
            ),
            (
                vec![("answer-day", "2027-03-09")],
                vec![(
                    "answer-words",
                    "write what was answered, or how many of a line are promised",
                )],
            ),
            (
                vec![
                    ("answer-day", "2027-03-09"),
                    ("promised-1", "1"),
                    ("by", "2027-03-08"),
                ],
                vec![("by", "that is before the day of the answer")],
            ),
            (
                vec![("answer-day", "2027-03-09"), ("by", "2027-03-12")],
                vec![("by", "say how many of which line come by then")],
            ),
        ] {
            assert_eq!(told(&read(&typed).unwrap_err()), expected);
        }
    }

    #[test]
    fn what_arrives_is_put_somewhere() {
        let lines = [line(1, 4), line(2, 1)];
        let bag = PlaceId::new();
        let read = |pairs: &[(&str, &str)]| {
            let today = day("2027-03-10");
            came(&fields(pairs), &lines, &[bag], day("2027-03-03"), today)
        };
        let into = bag.to_string();
        let whole = read(&[
            ("came-day", "2027-03-10"),
            ("came-1", "5"),
            ("came-2", "0"),
            ("place", &into),
        ]);
        assert_eq!(whole.unwrap().pieces, [(lines[0].part, 5)]);
        let none = read(&[("came-day", "2027-03-10"), ("place", "elsewhere")]);
        assert_eq!(
            told(&none.unwrap_err()),
            [
                ("came-1", "say how many of a line arrived"),
                (
                    "place",
                    "say which of the kit’s crates or bags they were put into"
                ),
            ]
        );
    }

    #[test]
    fn giving_up_wants_a_word() {
        assert!(why("  ", true).is_err());
        assert_eq!(why("  ", false), Ok(String::new()));
        assert_eq!(why(" found at  home", true), Ok("found at home".into()));
    }
}
