//! Which pieces go, and how many. Pure.

use std::collections::BTreeMap;

use super::Wrong;
use crate::ids::{KitId, PartId};
use crate::ledger::State;

/// One line of a place: a part of a kit in one state. Its number on the form is named after it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct Key {
    pub part: PartId,
    pub kit: KitId,
    pub state: State,
}

const FIELD: &str = "qty-";

impl Key {
    /// The name and id of its field.
    pub fn field(&self) -> String {
        format!(
            "{FIELD}{}-{}-{}",
            self.part.0.simple(),
            self.kit.0.simple(),
            self.state.word().replace(' ', "-")
        )
    }
}

/// What lies there.
#[derive(Debug, Clone)]
pub struct There {
    pub key: Key,
    pub qty: i64,
}

/// How many of each go, from the form's fields. Blank is none.
pub fn chosen(
    there: &[There],
    typed: &BTreeMap<String, String>,
) -> Result<Vec<(Key, i64)>, Vec<Wrong>> {
    let mut going = Vec::new();
    let mut wrongs = Vec::new();
    let mut known = 0;
    for line in there {
        let field = line.key.field();
        let Some(text) = typed.get(&field) else {
            continue;
        };
        known += 1;
        let text = text.trim();
        if text.is_empty() {
            continue;
        }
        match text.parse::<u32>().map(i64::from) {
            Err(_) => wrongs.push(Wrong::new(
                field,
                format!("“{text}” is not a whole number; leave it empty to move none"),
            )),
            Ok(qty) if qty > line.qty => {
                let are = if line.qty == 1 { "is" } else { "are" };
                wrongs.push(Wrong::new(
                    field,
                    format!("only {} {are} here, you asked for {qty}", line.qty),
                ));
            }
            Ok(0) => {}
            Ok(qty) => going.push((line.key, qty)),
        }
    }
    let asked = typed
        .iter()
        .filter(|(name, text)| name.starts_with(FIELD) && !text.trim().is_empty())
        .count();
    let asked_known = there
        .iter()
        .filter(|line| {
            typed
                .get(&line.key.field())
                .is_some_and(|text| !text.trim().is_empty())
        })
        .count();
    if asked > asked_known {
        wrongs.push(Wrong::new(
            "",
            "some of what you chose is no longer here: somebody moved it meanwhile",
        ));
    } else if wrongs.is_empty() && going.is_empty() {
        // The first number's field, so that the summary leads somewhere.
        let field = there
            .first()
            .filter(|_| known > 0)
            .map_or_else(String::new, |line| line.key.field());
        wrongs.push(Wrong::new(field, "say how many of something to move"));
    }
    if wrongs.is_empty() {
        Ok(going)
    } else {
        Err(wrongs)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_are_read_line_by_line() {
        let key = |state| Key {
            part: PartId::new(),
            kit: KitId::new(),
            state,
        };
        let (peg, lamp) = (key(State::Good), key(State::PracticeOnly));
        let there = [There { key: peg, qty: 8 }, There { key: lamp, qty: 1 }];
        type Expected<'a> = Result<Vec<(Key, i64)>, Vec<(Key, &'a str)>>;
        let check = |typed: &[(Key, &str)], expected: Expected<'_>| {
            let typed = typed
                .iter()
                .map(|(key, text)| (key.field(), (*text).to_owned()))
                .collect();
            let expected = expected.map_err(|wrongs| {
                wrongs
                    .into_iter()
                    .map(|(key, text)| Wrong::new(key.field(), text))
                    .collect::<Vec<_>>()
            });
            assert_eq!(chosen(&there, &typed), expected);
        };
        check(&[(peg, " 3 "), (lamp, "")], Ok(vec![(peg, 3)]));
        check(&[(peg, "8"), (lamp, "1")], Ok(vec![(peg, 8), (lamp, 1)]));
        check(
            &[(peg, "9"), (lamp, "one")],
            Err(vec![
                (peg, "only 8 are here, you asked for 9"),
                (
                    lamp,
                    "“one” is not a whole number; leave it empty to move none",
                ),
            ]),
        );
        check(
            &[(lamp, "2")],
            Err(vec![(lamp, "only 1 is here, you asked for 2")]),
        );
        check(
            &[(peg, "-1")],
            Err(vec![(
                peg,
                "“-1” is not a whole number; leave it empty to move none",
            )]),
        );
        check(
            &[(peg, "0"), (lamp, " ")],
            Err(vec![(peg, "say how many of something to move")]),
        );
        let gone = key(State::Good);
        let typed = BTreeMap::from([(gone.field(), "2".to_owned())]);
        let wrongs = chosen(&there, &typed).unwrap_err();
        assert!(wrongs[0].text.contains("no longer here"));
    }
}
