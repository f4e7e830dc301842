//! Writing a parts list as CSV or as a spreadsheet that [`super`] reads back as the same list.
//!
//! Each line of the list is one row. A row with a part puts it into the assembly named; a row
//! without one puts the assembly itself into what it is part of.

use std::borrow::Cow;
use std::iter;

use rust_xlsxwriter::XlsxError;

use super::guard;
use super::list::{ListLine, PartsList};
use super::rows::THE_KIT;
use crate::guides::need::{Basis, Child};
use crate::spreadsheet;

/// How many columns stand before the quantities.
const COLUMNS_BEFORE: usize = 5;

/// The list as CSV: UTF-8 with a mark, because spreadsheets take it for something else without.
///
/// Texts that a spreadsheet would run are made harmless; see the reading side for taking that
/// off again. Assemblies that stand nowhere have no line and so are not written.
pub fn csv(list: &PartsList) -> Vec<u8> {
    let mut out = csv::WriterBuilder::new()
        .terminator(csv::Terminator::CRLF)
        .from_writer("\u{feff}".as_bytes().to_vec());
    for row in rows(list) {
        out.write_record(row.iter().map(|cell| cell.as_bytes()))
            .expect("memory takes every row, and all rows are of one length");
    }
    out.into_inner().expect("memory takes everything")
}

/// The list as an .xlsx file, with the rows of [`csv`]. Only quantities are numbers there; everything else
/// is text, so that a number such as 00123 keeps its zeros.
pub fn xlsx(list: &PartsList) -> Result<Vec<u8>, XlsxError> {
    let quantities = COLUMNS_BEFORE..COLUMNS_BEFORE + list.sizes.len();
    let is_number = |column| quantities.contains(&column);
    spreadsheet::write("Parts list", rows(list), is_number)
}

/// The column names and the lines, guarded against being run.
fn rows(list: &PartsList) -> impl Iterator<Item = Vec<Cow<'_, str>>> {
    let quantities = list.sizes.iter().map(|size| match size.as_str() {
        "" => Cow::Borrowed("Quantity"),
        size => Cow::Owned(format!("Quantity ({size})")),
    });
    let before: [_; COLUMNS_BEFORE] =
        ["Assembly", "Part of", "Part number", "Part name", "Colour"].map(Cow::Borrowed);
    let after = ["For each or for all", "Mass (g)", "How to know it"].map(Cow::Borrowed);
    let header = before.into_iter().chain(quantities).chain(after).collect();
    iter::once(header)
        .chain(list.lines.iter().map(|line| cells(list, line)))
        .map(|row: Vec<Cow<'_, str>>| row.into_iter().map(guarded).collect())
}

fn guarded(cell: Cow<'_, str>) -> Cow<'_, str> {
    match guard::put_on(&cell) {
        Cow::Owned(changed) => Cow::Owned(changed),
        Cow::Borrowed(_) => cell,
    }
}

fn cells<'a>(list: &'a PartsList, line: &ListLine) -> Vec<Cow<'a, str>> {
    let holder = line
        .parent
        .map_or(THE_KIT, |parent| list.name(Child::Assembly(parent)));
    let mut cells = match line.child {
        Child::Part(part) => {
            let part = &list.parts[part];
            [holder, "", &part.number, &part.name, &part.colour]
                .map(Cow::Borrowed)
                .to_vec()
        }
        Child::Assembly(assembly) => {
            let name = list.name(Child::Assembly(assembly));
            [name, holder, "", "", ""].map(Cow::Borrowed).to_vec()
        }
    };
    cells.extend(
        line.quantities
            .iter()
            .map(|quantity| Cow::Owned(quantity.to_string())),
    );
    cells.push(Cow::Borrowed(match line.basis {
        Basis::Each => "each",
        Basis::All => "all",
    }));
    match line.child {
        Child::Part(part) => {
            let part = &list.parts[part];
            cells.push(Cow::Owned(part.mass_mg.map_or(String::new(), grams)));
            cells.push(Cow::Borrowed(&part.note));
        }
        Child::Assembly(_) => cells.extend([Cow::Borrowed(""), Cow::Borrowed("")]),
    }
    cells
}

/// Milligrams as grams with no more places than needed.
fn grams(milligrams: u64) -> String {
    let (whole, rest) = (milligrams / 1000, milligrams % 1000);
    if rest == 0 {
        return whole.to_string();
    }
    format!("{whole}.{rest:03}")
        .trim_end_matches('0')
        .to_owned()
}

#[cfg(test)]
#[path = "export_tests.rs"]
mod tests;
