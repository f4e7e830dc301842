//! Writing a parts list as CSV that [`super`] reads back as the same list.
//!
//! Each line of the list is one row. A row with a part puts it into the assembly named; a row
//! without one puts the assembly itself into what it is part of.

use std::borrow::Cow;
use std::iter;

use super::guard;
use super::list::{ListLine, PartsList};
use super::rows::THE_KIT;
use crate::guides::need::{Basis, Child};

/// The list as CSV: UTF-8 with a mark, because spreadsheets take it for something else without.
///
/// Texts that a spreadsheet would run are made harmless; see the reading side for taking that
/// off again. Assemblies that stand nowhere have no line and so are not written.
pub fn export(list: &PartsList) -> Vec<u8> {
    let mut out = csv::WriterBuilder::new()
        .terminator(csv::Terminator::CRLF)
        .from_writer("\u{feff}".as_bytes().to_vec());
    let quantities = list.sizes.iter().map(|size| match size.as_str() {
        "" => Cow::Borrowed("Quantity"),
        size => Cow::Owned(format!("Quantity ({size})")),
    });
    let before = ["Assembly", "Part of", "Part number", "Part name", "Colour"].map(Cow::Borrowed);
    let after = ["For each or for all", "Mass (g)", "How to know it"].map(Cow::Borrowed);
    let header = before.into_iter().chain(quantities).chain(after).collect();
    for row in iter::once(header).chain(list.lines.iter().map(|line| cells(list, line))) {
        let guarded: Vec<Cow<'_, str>> = row.iter().map(|cell| guard::put_on(cell)).collect();
        out.write_record(guarded.iter().map(|cell| cell.as_bytes()))
            .expect("memory takes every row, and all rows are of one length");
    }
    out.into_inner().expect("memory takes everything")
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
