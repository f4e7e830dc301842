//! Reading which assemblies a row names: in a path, beside what they are part of, or alone.

use std::collections::HashSet;

use super::doubts::Reason;
use super::mapping::BlankAssembly;
use super::preview::Known;
use super::rows::{Columns, Reader, THE_KIT, cell, shown};
use super::table::{Row, Table};
use crate::text::{fold, tidy};

/// Every assembly cell as a whole, so that a cell listing several can be told from a long name.
pub(super) fn whole_names(table: &Table, columns: &Columns, known: &Known) -> HashSet<String> {
    let cells = table.rows.iter().flat_map(|row| {
        let cells = [columns.assembly, columns.part_of];
        cells
            .into_iter()
            .flatten()
            .map(|column| fold(row.cell(column)))
    });
    cells
        .chain(known.assemblies.iter().map(|name| fold(name)))
        .collect()
}

impl Reader<'_> {
    /// The assemblies of a row from outside in, and whether the first is said to stand in the kit.
    pub fn way(&mut self, row: &Row) -> (Vec<String>, bool) {
        let own = self.columns.path.or(self.columns.assembly);
        let Some(column) = own else {
            return (Vec::new(), true);
        };
        let text = row.cell(column);
        let part_of = tidy(cell(row, self.columns.part_of));
        if text.is_empty() && !part_of.is_empty() && fold(&part_of) != THE_KIT {
            return (vec![part_of], false);
        }
        if text.is_empty() {
            if self.mapping.blank_assembly == BlankAssembly::AsAbove {
                return self.above.clone();
            }
            if self.some_assembly && part_of.is_empty() {
                self.doubt(row.line, Reason::NoAssembly);
            }
            return (Vec::new(), true);
        }
        let mut way = if self.columns.path.is_some() {
            let whole = split_path(text, self.mapping.path_separator);
            (whole, true)
        } else {
            self.assembly(row, text)
        };
        if way.0.first().is_some_and(|first| fold(first) == THE_KIT) {
            way.0.remove(0);
            way.1 = true;
        }
        self.above = way.clone();
        way
    }

    fn assembly(&mut self, row: &Row, text: &str) -> (Vec<String>, bool) {
        let pieces: Vec<String> = text
            .split([',', ';', '\n'])
            .map(tidy)
            .filter(|piece| !piece.is_empty())
            .collect();
        if pieces.len() > 1 && self.columns.part_of.is_none() {
            let named = pieces
                .iter()
                .filter(|piece| self.whole_names.contains(&fold(piece)))
                .count();
            if named == pieces.len() {
                let reason = Reason::SeveralAssemblies {
                    cell: shown(text),
                    count: pieces.len(),
                };
                self.doubt(row.line, reason);
                return (Vec::new(), true);
            }
            if named > 0 {
                self.doubt(row.line, Reason::PerhapsSeveral { cell: shown(text) });
            }
        }
        let assembly = tidy(text);
        let part_of = tidy(cell(row, self.columns.part_of));
        if part_of.is_empty() {
            (vec![assembly], false)
        } else if fold(&part_of) == THE_KIT {
            (vec![assembly], true)
        } else {
            (vec![part_of, assembly], false)
        }
    }

    /// Whether the row has an assembly only because the one above goes on.
    pub fn names_no_assembly(&self, row: &Row) -> bool {
        let columns = [
            self.columns.path,
            self.columns.assembly,
            self.columns.part_of,
        ];
        columns
            .into_iter()
            .all(|column| cell(row, column).is_empty())
    }
}

/// Cuts a path. Where a slash stands between spaces somewhere, only such slashes cut.
fn split_path(text: &str, separator: char) -> Vec<String> {
    let spaced = format!(" {separator} ");
    let pieces: Vec<&str> = if text.contains(&spaced) {
        text.split(&spaced).collect()
    } else {
        text.split(separator).collect()
    };
    pieces
        .into_iter()
        .map(tidy)
        .filter(|piece| !piece.is_empty())
        .collect()
}
