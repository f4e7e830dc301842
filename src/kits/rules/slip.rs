//! The packing slip: which bag of which box holds how many of what. Pure.
//!
//! `read` turns a pasted or uploaded table into rows; `check` compares them with the parts list. A row
//! that cannot be understood is a doubt; a total that differs from the need is told and kept.

use std::collections::BTreeMap;

use crate::guides::import::table::{self, NotATable};
use crate::ids::PartId;
use crate::text::{fold, tidy};

/// The most bytes a slip may have.
pub const MOST_BYTES: usize = 256 * 1024;
const MOST_ROWS: usize = 5_000;
const MOST_PIECES: i64 = 1_000_000;
const COLUMNS: &str = "The first row must name the columns: box, bag, number, colour and quantity, in any \
    order. Bag, number and quantity are needed.";

/// One row of the slip.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SlipRow {
    /// Its line in the text, from 1.
    pub line: u32,
    /// Empty: the bag stands in no box.
    pub bag_box: String,
    pub bag: String,
    pub number: String,
    pub colour: String,
    pub quantity: i64,
}

/// Something in the slip that could not be understood, and on which line.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SlipDoubt {
    pub line: u32,
    /// What stood there.
    pub cells: String,
    pub text: String,
}

/// What a text came to.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Slip {
    pub rows: Vec<SlipRow>,
    /// Rows that were left out.
    pub doubts: Vec<SlipDoubt>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Column {
    Box,
    Bag,
    Number,
    Colour,
    Quantity,
}

/// Reads a table whose first row names its columns, in any order. Fails when it is no such table.
pub fn read(text: &str) -> Result<Slip, String> {
    if text.trim().is_empty() {
        return Err("Paste the table, or choose a file.".into());
    }
    if text.len() > MOST_BYTES {
        return Err("This is longer than 256 KiB, the most that is read.".into());
    }
    let table = table::read(text).map_err(|refused| match refused {
        NotATable::NoHeader => COLUMNS.to_owned(),
        other => other.to_string(),
    })?;
    if table.rows.len() > MOST_ROWS {
        return Err("There are more than 5,000 rows, the most that is read.".into());
    }
    let columns: Vec<Option<Column>> = table.header.cells.iter().map(|cell| column(cell)).collect();
    let at = |wanted| columns.iter().position(|found| *found == Some(wanted));
    let (Some(bag), Some(number), Some(quantity)) =
        (at(Column::Bag), at(Column::Number), at(Column::Quantity))
    else {
        return Err(COLUMNS.to_owned());
    };
    let (bag_box, colour) = (at(Column::Box), at(Column::Colour));

    let mut slip = Slip::default();
    for record in table.rows.iter().filter(|row| !row.is_blank()) {
        let line = record.line;
        let cell = |column: Option<usize>| {
            column
                .map(|column| tidy(record.cell(column)))
                .unwrap_or_default()
        };
        let written = cell(Some(quantity));
        let row = SlipRow {
            line,
            bag_box: cell(bag_box),
            bag: cell(Some(bag)),
            number: cell(Some(number)),
            colour: cell(colour),
            quantity: written
                .parse()
                .ok()
                .filter(|quantity| (1..=MOST_PIECES).contains(quantity))
                .unwrap_or(0),
        };
        let wrong = if row.quantity == 0 {
            Some(format!("“{written}” is not a whole number of pieces."))
        } else if row.bag.is_empty() {
            Some("No bag is named.".to_owned())
        } else if row.bag.chars().count() > 120 || row.bag_box.chars().count() > 120 {
            Some("The name of a bag or box has at most 120 characters.".to_owned())
        } else if row.number.is_empty() {
            Some("No part number is given.".to_owned())
        } else {
            None
        };
        match wrong {
            Some(text) => slip.doubts.push(SlipDoubt {
                line,
                cells: record.cells.join(" · "),
                text,
            }),
            None => slip.rows.push(row),
        }
    }
    Ok(slip)
}

fn column(name: &str) -> Option<Column> {
    match fold(name).as_str() {
        "box" | "crate" | "carton" => Some(Column::Box),
        "bag" | "bundle" => Some(Column::Bag),
        "number" | "part number" | "part" | "no" | "no." => Some(Column::Number),
        "colour" | "color" => Some(Column::Colour),
        "quantity" | "qty" | "pieces" | "count" => Some(Column::Quantity),
        _ => None,
    }
}

/// A part that the kit's parts list names.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Known {
    pub part: PartId,
    pub number: String,
    pub name: String,
    pub colour: String,
    pub need: i64,
}

/// A bag and what is in it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Bag {
    pub name: String,
    pub bag_box: Option<String>,
    pub lines: Vec<(PartId, i64)>,
}

/// A part whose total over the bags is not what the kit needs.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Difference {
    pub known: Known,
    pub on_slip: i64,
}

/// The boxes and bags to be made.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Plan {
    pub boxes: Vec<String>,
    pub bags: Vec<Bag>,
    pub doubts: Vec<SlipDoubt>,
    pub differences: Vec<Difference>,
}

impl Plan {
    pub fn lines(&self) -> usize {
        self.bags.iter().map(|bag| bag.lines.len()).sum()
    }
}

/// Compares a slip with the parts the kit knows. Rows in doubt are left out of the plan.
pub fn check(slip: Slip, known: &[Known]) -> Plan {
    let mut plan = Plan {
        doubts: slip.doubts,
        ..Plan::default()
    };
    let mut box_at: BTreeMap<String, usize> = BTreeMap::new();
    let mut bag_at: BTreeMap<String, usize> = BTreeMap::new();
    let mut totals: BTreeMap<PartId, i64> = BTreeMap::new();
    for row in slip.rows {
        let part = match find(known, &row) {
            Ok(part) => part,
            Err(text) => {
                plan.doubts.push(doubt(&row, text));
                continue;
            }
        };
        let bag_box = (!row.bag_box.is_empty()).then(|| {
            let at = *box_at.entry(fold(&row.bag_box)).or_insert_with(|| {
                plan.boxes.push(row.bag_box.clone());
                plan.boxes.len() - 1
            });
            plan.boxes.get(at).cloned().unwrap_or_default()
        });
        let at = *bag_at.entry(fold(&row.bag)).or_insert_with(|| {
            plan.bags.push(Bag {
                name: row.bag.clone(),
                bag_box: bag_box.clone(),
                lines: Vec::new(),
            });
            plan.bags.len() - 1
        });
        let Some(bag) = plan.bags.get_mut(at) else {
            continue;
        };
        if bag.bag_box != bag_box {
            let text = format!(
                "“{}” stands in {} further up, here in {}. Give the two bags different names.",
                bag.name,
                in_words(bag.bag_box.as_deref()),
                in_words(bag_box.as_deref())
            );
            plan.doubts.push(doubt(&row, text));
            continue;
        }
        // One part twice in one bag: the slip means both.
        match bag.lines.iter_mut().find(|(known, _)| *known == part) {
            Some((_, quantity)) if *quantity + row.quantity > MOST_PIECES => {
                let text = "More than a million pieces in one bag cannot be.".to_owned();
                plan.doubts.push(doubt(&row, text));
                continue;
            }
            Some((_, quantity)) => *quantity += row.quantity,
            None => bag.lines.push((part, row.quantity)),
        }
        *totals.entry(part).or_default() += row.quantity;
    }
    plan.doubts.sort_by_key(|doubt| doubt.line);
    plan.differences = known
        .iter()
        .map(|known| Difference {
            on_slip: totals.get(&known.part).copied().unwrap_or(0),
            known: known.clone(),
        })
        .filter(|difference| difference.on_slip != difference.known.need)
        .collect();
    plan
}

fn find(known: &[Known], row: &SlipRow) -> Result<PartId, String> {
    let number = fold(&row.number);
    let colour = fold(&row.colour);
    let same_number: Vec<&Known> = known
        .iter()
        .filter(|known| fold(&known.number) == number)
        .collect();
    let mut same_colour = same_number
        .iter()
        .filter(|known| fold(&known.colour) == colour);
    match (same_colour.next(), same_colour.next()) {
        (Some(one), None) => return Ok(one.part),
        (Some(_), Some(_)) => {
            return Err("The parts list has two parts with this number and colour.".into());
        }
        (None, _) => {}
    }
    match same_number.as_slice() {
        [] => Err(format!("The parts list has no part {}.", row.number)),
        [one] if colour.is_empty() => Ok(one.part),
        several => {
            let colours: Vec<&str> = several
                .iter()
                .map(|known| match known.colour.as_str() {
                    "" => "no colour",
                    colour => colour,
                })
                .collect();
            Err(format!(
                "The parts list has {} in {}.",
                row.number,
                colours.join(", ")
            ))
        }
    }
}

fn doubt(row: &SlipRow, text: String) -> SlipDoubt {
    SlipDoubt {
        line: row.line,
        cells: [
            &row.bag_box,
            &row.bag,
            &row.number,
            &row.colour,
            &row.quantity.to_string(),
        ]
        .map(String::as_str)
        .join(" · "),
        text,
    }
}

fn in_words(bag_box: Option<&str>) -> String {
    bag_box.map_or("no box".to_owned(), |name| format!("“{name}”"))
}

#[cfg(test)]
#[path = "slip_tests.rs"]
mod tests;
