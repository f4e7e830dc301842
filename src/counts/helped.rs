//! Counting by somebody without an account: one place of an open count as a sheet to type into. What is typed
//! is made of tallies like every other count's.

use std::collections::HashMap;

use sqlx::SqliteConnection;

use super::rules::close::Purpose;
use super::rules::typed;
use super::tallying::TypedLine;
use super::{CountSheet, Part, Stint, stint_and_count, store};
use crate::error::AppError;
use crate::ids::{PartId, StintId};

/// One part of the sheet.
#[derive(Debug, Clone)]
pub struct Line {
    pub part: Part,
    /// What should be there; `None` where nobody said, and in a count that knows nothing of the one before.
    pub due: Option<i64>,
    /// What this stint has counted.
    pub shown: Option<i64>,
}

/// A stint as a sheet.
#[derive(Debug, Clone)]
pub struct Sheet {
    pub count: CountSheet,
    pub stint: Stint,
    pub lines: Vec<Line>,
}

impl Sheet {
    pub fn is_open(&self) -> bool {
        self.count.is_open() && self.stint.is_open()
    }
}

/// Reads a stint as a sheet: what is due in its place, else everything that the kit's list names. It shows
/// nothing of what others counted.
pub async fn sheet(db: &mut SqliteConnection, stint: StintId) -> Result<Sheet, AppError> {
    let (stint, count) = stint_and_count(db, stint).await?;
    let due = store::due_of_place(db, count.id, stint.place).await?;
    let mut parts: HashMap<PartId, Part> = HashMap::new();
    let mut order: Vec<(PartId, Option<i64>)> = Vec::new();
    for part in store::parts_of_count(db, count.id).await? {
        parts.insert(part.id, part);
    }
    if due.is_empty() {
        for part in store::parts_of_kit(db, count.kit).await? {
            if part.is_looked_at() {
                continue;
            }
            order.push((part.id, None));
            parts.insert(part.id, part);
        }
    } else {
        order.extend(due.into_iter().map(|(part, due)| (part, Some(due))));
    }
    let totals: HashMap<PartId, Option<i64>> = store::totals(db, stint.id)
        .await?
        .into_iter()
        .map(|(part, standing)| (part, standing.total))
        .collect();
    let hides_need = stint.blind && count.purpose == Purpose::Recount;
    let lines = order
        .into_iter()
        .filter_map(|(part, due)| {
            Some(Line {
                shown: totals.get(&part).copied().flatten(),
                part: parts.remove(&part)?,
                due: due.filter(|_| !hides_need),
            })
        })
        .collect();
    Ok(Sheet {
        count,
        stint,
        lines,
    })
}

/// A number as it was typed beside a part.
#[derive(Debug, Clone, Default)]
pub struct Typed {
    pub number: String,
    /// What the sheet showed then.
    pub was: String,
    /// The person was asked whether it is right, and says so.
    pub sure: bool,
}

/// What has to be put right about a line, and whether the person may say that it is right as it is.
pub type Wrong = (PartId, String, bool);

/// Reads a sheet: the lines that changed, as the differences they make.
pub fn read(lines: &[Line], typed: &HashMap<PartId, Typed>) -> Result<Vec<TypedLine>, Vec<Wrong>> {
    let (mut changed, mut wrongs) = (Vec::new(), Vec::new());
    for line in lines {
        let part = line.part.id;
        let Some(typed) = typed.get(&part) else {
            continue;
        };
        let was: Option<i64> = typed.was.parse().ok();
        match typed::read(&typed.number) {
            Err(why) => wrongs.push((part, why.to_string(), false)),
            Ok(None) => {
                if let Some(was) = was {
                    let why = format!("{was} stand here; type 0 if there are none");
                    wrongs.push((part, why, false));
                }
            }
            Ok(number) if number == was => {}
            Ok(Some(number)) if typed::is_doubtful(number, line.due) && !typed.sure => {
                let due = line.due.unwrap_or(0);
                let why = format!(
                    "you typed {number}, and {due} should be there; type it again, or tick that it is \
                     right"
                );
                wrongs.push((part, why, true));
            }
            Ok(Some(number)) => changed.push(TypedLine {
                part,
                amount: number - was.unwrap_or(0),
                shown: was,
            }),
        }
    }
    match wrongs.is_empty() {
        true => Ok(changed),
        false => Err(wrongs),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn line(due: Option<i64>) -> Line {
        Line {
            part: Part {
                id: PartId::new(),
                number: String::new(),
                name: "Peg".into(),
                colour: String::new(),
                how_to_know: String::new(),
                hazard: String::new(),
                counted_by: "piece".into(),
                group_of: None,
            },
            due,
            shown: None,
        }
    }

    #[test]
    fn a_sheet_is_read_as_differences() {
        let lines = [line(Some(20))];
        let read = |number: &str, was: &str, sure| {
            let typed = Typed {
                number: number.into(),
                was: was.into(),
                sure,
            };
            let typed = HashMap::from([(lines[0].part.id, typed)]);
            read(&lines, &typed)
                .map(|changed| changed.iter().map(|one| one.amount).collect::<Vec<_>>())
                .map_err(|wrongs| {
                    wrongs
                        .into_iter()
                        .map(|(_, _, ask)| ask)
                        .collect::<Vec<_>>()
                })
        };
        for (number, was, sure, expected) in [
            ("", "", false, Ok(vec![])),
            ("20", "", false, Ok(vec![20])),
            ("19", "20", false, Ok(vec![-1])),
            ("20", "20", false, Ok(vec![])),
            ("0", "", false, Ok(vec![0])),
            ("", "20", false, Err(vec![false])),
            ("many", "", false, Err(vec![false])),
            ("200", "", false, Err(vec![true])),
            ("200", "", true, Ok(vec![200])),
        ] {
            assert_eq!(read(number, was, sure), expected, "{number} {was}");
        }
    }
}
