//! The sheet on which a loan is counted back: what is still out with its lines, and what was written on it.

use std::collections::BTreeMap;

use sqlx::SqliteConnection;

use super::rules::back::{Back, Out};
use super::rules::borrowed::{Called, pieces as pieces_of};
use super::store::{self, LoanPlace};
use crate::ids::{LoanId, PlaceId};
use crate::ledger::State as PieceState;
use crate::places;
use crate::places::rules::words::{named, part};
use crate::web::form::Wrong;

/// A crate that is still out, with its bags.
pub struct BackPlace {
    pub place: LoanPlace,
    pub lines: Vec<BackLine>,
}

/// A line to count back: pieces of a part in a bag.
pub struct BackLine {
    pub out: Out,
    pub name: String,
    /// "Bag 2"; empty where they lie loose in the crate.
    pub bag: String,
    /// The names of its two fields.
    pub field: String,
    pub broken_field: String,
}

impl BackLine {
    /// "Peg, black (B-4), in Bag 2".
    pub fn named(&self) -> String {
        if self.bag.is_empty() {
            self.name.clone()
        } else {
            format!("{}, in {}", self.name, self.bag)
        }
    }
}

impl BackPlace {
    /// The field that says what happened to the crate.
    pub fn field(&self) -> String {
        format!("crate-{}", self.place.place.0.simple())
    }

    /// The field for pieces that belong into another crate of the loan.
    pub fn also_field(&self) -> String {
        format!("also-{}", self.place.place.0.simple())
    }

    /// The field for what is in it and not ours.
    pub fn not_ours_field(&self) -> String {
        format!("others-{}", self.place.place.0.simple())
    }

    /// Its lines bag by bag; first those that lie in no bag.
    pub fn bags(&self) -> impl Iterator<Item = &[BackLine]> {
        self.lines.chunk_by(|a, b| a.bag == b.bag)
    }

    /// Where the loose pieces of a loan lay does not matter here: they are in its bag.
    pub fn title(&self) -> String {
        format!("{} ({})", self.place.name, self.place.code)
    }
}

/// The values of a crate's field; "" means that it is still out.
pub const AS_IT_IS: &str = "as it is";
pub const COUNTED: &str = "counted";

/// What of a loan is still out, as the books have it.
pub async fn still_out(db: &mut SqliteConnection, loan: LoanId) -> sqlx::Result<Vec<BackPlace>> {
    let mut out = Vec::new();
    for place in store::places(db, loan).await? {
        if place.back_at.is_some() || place.is_owed() {
            continue;
        }
        let inside: BTreeMap<PlaceId, String> = places::below(db, place.place)
            .await?
            .into_iter()
            .map(|bag| (bag.id, named(&bag)))
            .collect();
        let mut lines: Vec<BackLine> = Vec::new();
        for pieces in places::pieces(db, place.place, true).await? {
            let at = PieceState::ALL
                .iter()
                .position(|state| *state == pieces.state)
                .unwrap_or(0);
            let known = lines.iter_mut().find(|line| {
                (line.out.place, line.out.part, line.out.kit)
                    == (pieces.place, pieces.part, pieces.kit)
            });
            if let Some(line) = known {
                line.out.states[at] += pieces.qty;
                continue;
            }
            let mut states = [0; 4];
            states[at] = pieces.qty;
            let key = format!(
                "{}-{}-{}",
                pieces.place.0.simple(),
                pieces.part.0.simple(),
                pieces.kit.0.simple()
            );
            lines.push(BackLine {
                out: Out {
                    place: pieces.place,
                    part: pieces.part,
                    kit: pieces.kit,
                    states,
                },
                name: part(&pieces.name, &pieces.colour, &pieces.number),
                bag: inside.get(&pieces.place).cloned().unwrap_or_default(),
                field: format!("back-{key}"),
                broken_field: format!("broken-{key}"),
            });
        }
        lines.sort_by(|a, b| (&a.bag, &a.name).cmp(&(&b.bag, &b.name)));
        out.push(BackPlace { place, lines });
    }
    Ok(out)
}

/// What the form says of one crate that is back.
pub(super) struct Said<'a> {
    pub place: &'a BackPlace,
    pub counted: Vec<(Out, Back)>,
    pub not_ours: String,
}

/// Reads the form: what is back, and what was counted in it.
pub(super) fn read<'a>(
    out: &'a [BackPlace],
    typed: &BTreeMap<String, String>,
    parts: &[Called],
) -> Result<Vec<Said<'a>>, Vec<Wrong>> {
    let text = |field: &str| typed.get(field).map_or("", |text| text.trim());
    let mut wrongs = Vec::new();
    let mut said = Vec::new();
    for place in out {
        let not_ours = text(&place.not_ours_field()).to_owned();
        if not_ours.chars().count() > 500 {
            let wrong = Wrong::at(place.not_ours_field(), "at most 500 characters");
            wrongs.push(wrong);
        }
        match text(&place.field()) {
            // Numbers are never dropped without a word.
            chosen if chosen != COUNTED && has_numbers(place, typed) => wrongs.push(Wrong::at(
                place.field(),
                format!(
                    "{}: you wrote numbers for it. Choose that it was counted, or take them away",
                    place.place.name
                ),
            )),
            AS_IT_IS => said.push(Said {
                place,
                counted: Vec::new(),
                not_ours,
            }),
            COUNTED => {
                let mut counted = Vec::new();
                let blank = |line: &&BackLine| text(&line.field).is_empty();
                let blanks: Vec<&BackLine> = place.lines.iter().filter(blank).collect();
                if let [first, _, _, _, ..] = blanks.as_slice() {
                    // One sentence for a sheet that is not filled in, not one for each line.
                    let (name, n) = (&place.place.name, blanks.len());
                    let text = format!("{name}: {n} lines have no number yet; write 0 for none");
                    wrongs.push(Wrong::at(&first.field, text));
                    continue;
                }
                for line in &place.lines {
                    match read_line(line, text(&line.field), text(&line.broken_field)) {
                        Ok(back) => counted.push((line.out.clone(), back)),
                        Err(wrong) => wrongs.push(wrong),
                    }
                }
                match also(place, text(&place.also_field()), out, parts) {
                    Ok(more) => counted.extend(more),
                    Err(wrong) => wrongs.push(wrong),
                }
                said.push(Said {
                    place,
                    counted,
                    not_ours,
                });
            }
            _ => {}
        }
    }
    if said.is_empty() && wrongs.is_empty() {
        let field = out.first().map_or_else(String::new, BackPlace::field);
        wrongs.push(Wrong::at(field, "say which of it is back"));
    }
    if wrongs.is_empty() {
        Ok(said)
    } else {
        Err(wrongs)
    }
}

fn has_numbers(place: &BackPlace, typed: &BTreeMap<String, String>) -> bool {
    let is_typed = |field: &str| typed.get(field).is_some_and(|text| !text.trim().is_empty());
    place
        .lines
        .iter()
        .any(|line| is_typed(&line.field) || is_typed(&line.broken_field))
        || is_typed(&place.also_field())
}

/// Reads pieces that lie in a crate and belong into another one of the loan: "2 Edge foot", one kind a line.
fn also(
    place: &BackPlace,
    typed: &str,
    out: &[BackPlace],
    parts: &[Called],
) -> Result<Vec<(Out, Back)>, Wrong> {
    let field = place.also_field();
    let pieces = pieces_of(typed, parts).map_err(|wrong| Wrong::at(&field, wrong.text))?;
    let mut all: Vec<(Out, Back)> = Vec::new();
    for one in pieces {
        let is_it = |line: &&BackLine| Some(line.out.part) == one.part;
        if let Some(line) = place.lines.iter().find(is_it) {
            let text = format!("{} belongs here: count it on its line", line.name);
            return Err(Wrong::at(field, text));
        }
        let mut lines = out.iter().flat_map(|other| &other.lines);
        let Some(line) = lines.find(is_it) else {
            let text = format!(
                "no other crate of this loan that is out holds “{}”. If it is not ours, say so below",
                one.words
            );
            return Err(Wrong::at(field, text));
        };
        let found = Out {
            place: place.place.place,
            states: [0; 4],
            ..line.out.clone()
        };
        let back = Back {
            back: one.qty,
            broken: 0,
        };
        match all.iter_mut().find(|(known, _)| known.part == found.part) {
            Some((_, known)) => known.back += back.back,
            None => all.push((found, back)),
        }
    }
    Ok(all)
}

/// Reads a line. Blank is not zero: a counted crate has a number on every line.
pub(super) fn read_line(line: &BackLine, back: &str, broken: &str) -> Result<Back, Wrong> {
    let a_number = || format!("{}: write a number of pieces", line.name);
    let number = |text: &str| {
        text.parse::<i64>()
            .ok()
            .filter(|n| (0..=1_000_000).contains(n))
    };
    if back.is_empty() {
        return Err(Wrong::at(
            &line.field,
            format!("{}: write how many you counted, 0 for none", line.name),
        ));
    }
    let Some(back) = number(back) else {
        return Err(Wrong::at(&line.field, a_number()));
    };
    let broken = if broken.is_empty() {
        Some(0)
    } else {
        number(broken)
    };
    match broken {
        Some(broken) if broken <= back => Ok(Back { back, broken }),
        Some(_) => Err(Wrong::at(
            &line.broken_field,
            format!("{}: no more can be broken than are back", line.name),
        )),
        None => Err(Wrong::at(&line.broken_field, a_number())),
    }
}
