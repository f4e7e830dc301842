//! Reading the cells of each row by their roles, one row at a time.

use std::collections::{BTreeSet, HashSet};

use super::cells::{self, Mass, Quantity};
use super::doubts::{Doubt, Reason};
use super::mapping::{Mapping, Role};
use super::preview::Known;
use super::table::{Row, Table};
use super::ways;
use crate::guides::need::Basis;
use crate::text::{fold, tidy};

/// What a file writes for the kit itself where others name an assembly.
pub(super) const THE_KIT: &str = "the kit";

/// What one row says, before rows are compared with each other.
#[derive(Debug)]
pub(super) struct Entry {
    pub line: u32,
    pub part: Option<PartCells>,
    /// The assemblies from outside in; the last holds the part. Empty: the kit itself.
    pub way: Vec<String>,
    /// Whether the first assembly of the way is said to stand in the kit itself.
    pub rooted: bool,
    /// How many of the last assembly the one before holds; one for each size.
    pub times: Option<Vec<u64>>,
    /// How many of the part; none if the row says nothing that can be taken.
    pub quantities: Option<Vec<u64>>,
    /// What the row itself says a quantity counts for.
    pub basis: Option<Basis>,
    /// What the total columns say, each with the position of its size.
    pub totals: Vec<(usize, u64)>,
}

/// The cells that tell a part.
#[derive(Debug)]
pub(super) struct PartCells {
    pub number: String,
    pub name: String,
    pub colour: String,
    pub note: String,
    pub mass_mg: Option<u64>,
}

/// A row that adds up the rows above it.
#[derive(Debug)]
pub(super) struct SumRow {
    pub line: u32,
    /// One for each size: what it says, the sum since the last such row, and the sum of all.
    pub told: Vec<(Option<u64>, u64, u64)>,
}

/// All rows, read.
#[derive(Debug, Default)]
pub(super) struct Read {
    pub entries: Vec<Entry>,
    pub sums: Vec<SumRow>,
}

/// The columns by role.
pub(super) struct Columns {
    pub number: Option<usize>,
    pub name: Option<usize>,
    pub colour: Option<usize>,
    pub assembly: Option<usize>,
    pub part_of: Option<usize>,
    pub how_many: Option<usize>,
    pub path: Option<usize>,
    pub basis: Option<usize>,
    pub mass: Option<usize>,
    pub note: Option<usize>,
    pub quantities: Vec<usize>,
    /// Each with the position of its size.
    pub totals: Vec<(usize, usize)>,
}

impl Columns {
    fn of(mapping: &Mapping) -> Self {
        let quantities: Vec<usize> = mapping.with_role(Role::Quantity).collect();
        let size = |column: usize| fold(&mapping.columns[column].size);
        let totals = mapping.with_role(Role::Total).filter_map(|total| {
            let own = quantities
                .iter()
                .position(|quantity| size(*quantity) == size(total));
            let only = (quantities.len() == 1).then_some(0);
            own.or(only).map(|at| (total, at))
        });
        Self {
            number: mapping.find(Role::PartNumber),
            name: mapping.find(Role::PartName),
            colour: mapping.find(Role::Colour),
            assembly: mapping.find(Role::Assembly),
            part_of: mapping.find(Role::PartOf),
            how_many: mapping.find(Role::HowMany),
            path: mapping.find(Role::Path),
            basis: mapping.find(Role::Basis),
            mass: mapping.find(Role::Mass),
            note: mapping.find(Role::Note),
            totals: totals.collect(),
            quantities,
        }
    }
}

/// Reads every row; what is doubtful about a row by itself is said here.
pub(super) fn read(
    table: &Table,
    mapping: &Mapping,
    known: &Known,
    doubts: &mut Vec<Doubt>,
) -> Read {
    let columns = Columns::of(mapping);
    let mut reader = Reader {
        whole_names: ways::whole_names(table, &columns, known),
        some_assembly: some(table, columns.assembly.or(columns.path)),
        since: vec![0; columns.quantities.len()],
        all: vec![0; columns.quantities.len()],
        above: (Vec::new(), false),
        left_out: &mapping.left_out,
        columns,
        table,
        mapping,
        doubts,
    };
    let mut read = Read::default();
    for row in table
        .above
        .iter()
        .filter(|row| !row.is_blank() && row.cells.len() > 1)
    {
        if row.cells.iter().filter(|cell| !cell.is_empty()).count() > 1 {
            reader.doubt(row.line, Reason::AboveHeader);
        }
    }
    reader.hidden_columns();
    for row in table.rows.iter().filter(|row| !row.is_blank()) {
        reader.row(row, &mut read);
    }
    read
}

fn some(table: &Table, column: Option<usize>) -> bool {
    column.is_some_and(|column| table.rows.iter().any(|row| !row.cell(column).is_empty()))
}

pub(super) struct Reader<'a> {
    pub table: &'a Table,
    pub mapping: &'a Mapping,
    pub columns: Columns,
    pub left_out: &'a BTreeSet<u32>,
    pub whole_names: HashSet<String>,
    pub some_assembly: bool,
    /// What the quantities add up to since the last row that adds up, and from the first row.
    pub since: Vec<u64>,
    pub all: Vec<u64>,
    /// The way of the row above, for files that name an assembly once.
    pub above: (Vec<String>, bool),
    pub doubts: &'a mut Vec<Doubt>,
}

pub(super) fn cell(row: &Row, column: Option<usize>) -> &str {
    column.map_or("", |column| row.cell(column))
}

impl Reader<'_> {
    pub fn doubt(&mut self, line: u32, reason: Reason) {
        self.doubts.push(Doubt { line, reason });
    }

    fn row(&mut self, row: &Row, read: &mut Read) {
        let line = row.line;
        if row.stray_quote {
            self.doubt(line, Reason::StrayQuote);
        }
        if self.left_out.contains(&line) {
            self.doubt(line, Reason::LeftOut);
            return;
        }
        if self.is_header_again(row) {
            self.doubt(line, Reason::HeaderAgain);
            return;
        }
        let named = self.table.header.cells.len();
        if row.cells.iter().skip(named).any(|cell| !cell.is_empty()) {
            self.doubt(line, Reason::ExtraCells);
        }
        if self.is_sum(row) {
            read.sums.push(self.sum_row(row));
            return;
        }
        self.marks(row);
        let (way, rooted) = self.way(row);
        let part = self.part(row);
        let times = self.how_many(row);
        let basis = self.basis(row);
        let quantity_columns = self.columns.quantities.clone();
        let quantity_cells = || quantity_columns.iter().map(|column| row.cell(*column));
        let mut entry = Entry {
            line,
            part,
            way,
            rooted,
            times,
            quantities: None,
            basis,
            totals: Vec::new(),
        };
        if entry.part.is_some() {
            entry.quantities = self.quantities(line, quantity_cells());
            for (sum, quantity) in (0..).zip(entry.quantities.iter().flatten()) {
                let sum: usize = sum;
                self.since[sum] += quantity;
                self.all[sum] += quantity;
            }
            entry.totals = self.totals(row);
        } else if entry.way.is_empty() || self.names_no_assembly(row) {
            self.doubt(line, Reason::NoPart);
            return;
        } else if quantity_cells().any(|cell| !cell.is_empty()) {
            // Without a part, a quantity is that of the assembly, where the file says no other way.
            if self.columns.part_of.is_none() || self.columns.how_many.is_some() {
                self.doubt(line, Reason::NoPart);
            } else {
                entry.times = self.quantities(line, quantity_cells());
                if quantity_cells().all(|cell| cells::quantity(cell) == Quantity::Whole(0)) {
                    entry.times = Some(vec![0; quantity_columns.len()]);
                }
            }
        }
        read.entries.push(entry);
    }

    fn is_header_again(&self, row: &Row) -> bool {
        let header = &self.table.header.cells;
        row.cells.len() == header.len()
            && row
                .cells
                .iter()
                .zip(header)
                .all(|(cell, name)| fold(cell) == fold(name))
    }

    /// The part's name says "total" or the like; or the first written cell does, and no part is
    /// named.
    fn is_sum(&self, row: &Row) -> bool {
        let number = cell(row, self.columns.number);
        let name = cell(row, self.columns.name);
        let first = row.cells.iter().find(|cell| !cell.is_empty());
        let first = first.is_some_and(|first| cells::is_sum(first));
        (cells::is_sum(name) && number.is_empty())
            || (first && name.is_empty() && (number.is_empty() || cells::is_sum(number)))
    }

    fn sum_row(&mut self, row: &Row) -> SumRow {
        let told =
            self.columns
                .quantities
                .iter()
                .map(|column| match cells::quantity(row.cell(*column)) {
                    Quantity::Whole(told) | Quantity::ReadAs(told) => Some(told),
                    _ => None,
                });
        let sums = self.since.iter().zip(&self.all);
        let told = told
            .zip(sums)
            .map(|(told, (since, all))| (told, *since, *all))
            .collect();
        self.since.fill(0);
        SumRow {
            line: row.line,
            told,
        }
    }

    fn part(&mut self, row: &Row) -> Option<PartCells> {
        let text = |column| {
            let text = tidy(cell(row, column));
            if cells::is_placeholder(&text) {
                String::new()
            } else {
                text
            }
        };
        let number = text(self.columns.number);
        let name = tidy(cell(row, self.columns.name));
        if number.is_empty() && !name.chars().any(char::is_alphanumeric) {
            return None;
        }
        if cells::is_mangled(&number) {
            self.doubt(
                row.line,
                Reason::NumberMangled {
                    number: number.clone(),
                },
            );
        }
        let mass = cell(row, self.columns.mass);
        let mass_mg = match cells::mass(mass) {
            Mass::Milligrams(mass) => Some(mass),
            Mass::Blank => None,
            Mass::Wrong => {
                self.doubt(row.line, Reason::MassNotRead { cell: shown(mass) });
                None
            }
        };
        let colour = text(self.columns.colour);
        let note = tidy(cell(row, self.columns.note));
        Some(PartCells {
            number,
            name,
            colour,
            note,
            mass_mg,
        })
    }

    fn how_many(&mut self, row: &Row) -> Option<Vec<u64>> {
        let text = cell(row, self.columns.how_many);
        match cells::quantity(text) {
            Quantity::Blank | Quantity::Dash => None,
            Quantity::Whole(times) | Quantity::ReadAs(times) => {
                Some(vec![times; self.columns.quantities.len()])
            }
            _ => {
                self.doubt(row.line, Reason::HowManyNotRead { cell: shown(text) });
                None
            }
        }
    }

    fn basis(&mut self, row: &Row) -> Option<Basis> {
        let text = cell(row, self.columns.basis);
        cells::basis(text).unwrap_or_else(|()| {
            self.doubt(row.line, Reason::BasisNotRead { cell: shown(text) });
            None
        })
    }

    /// The quantities for all sizes; none if nothing can be taken, which is then said.
    fn quantities<'c>(
        &mut self,
        line: u32,
        cells: impl Iterator<Item = &'c str>,
    ) -> Option<Vec<u64>> {
        let read: Vec<(&str, Quantity)> = cells.map(|cell| (cell, cells::quantity(cell))).collect();
        let empty = |quantity| matches!(quantity, Quantity::Blank | Quantity::Dash);
        if read.iter().all(|(_, quantity)| empty(*quantity)) {
            let dash = read
                .iter()
                .find(|(_, quantity)| *quantity == Quantity::Dash);
            self.doubt(
                line,
                match dash {
                    Some((cell, _)) => Reason::QuantityDash { cell: shown(cell) },
                    None => Reason::QuantityBlank,
                },
            );
            return None;
        }
        let mut quantities = Vec::with_capacity(read.len());
        for (cell, quantity) in &read {
            let cell = shown(cell);
            let wrong = match quantity {
                // With a quantity for another size, blank says: not in this one.
                Quantity::Blank | Quantity::Dash => {
                    quantities.push(0);
                    continue;
                }
                Quantity::Whole(value) => {
                    quantities.push(*value);
                    continue;
                }
                Quantity::ReadAs(value) => {
                    quantities.push(*value);
                    Reason::QuantityReadAs { cell, read: *value }
                }
                Quantity::Fraction => Reason::QuantityFraction { cell },
                Quantity::Negative => Reason::QuantityNegative { cell },
                Quantity::TooLarge => Reason::QuantityTooLarge { cell },
                Quantity::NotANumber => Reason::QuantityNotANumber { cell },
            };
            self.doubt(line, wrong);
        }
        if quantities.len() < read.len() {
            return None;
        }
        if quantities.iter().all(|quantity| *quantity == 0) {
            self.doubt(line, Reason::QuantityZero);
            return None;
        }
        Some(quantities)
    }

    fn totals(&mut self, row: &Row) -> Vec<(usize, u64)> {
        let mut totals = Vec::new();
        for (column, size) in self.columns.totals.clone() {
            let text = row.cell(column);
            match cells::quantity(text) {
                Quantity::Blank | Quantity::Dash => {}
                Quantity::Whole(total) | Quantity::ReadAs(total) => totals.push((size, total)),
                _ => self.doubt(row.line, Reason::TotalNotRead { cell: shown(text) }),
            }
        }
        totals
    }
}

/// A cell as it is quoted in a sentence: in one line and not too long.
pub(super) fn shown(cell: &str) -> String {
    const LONGEST: usize = 80;
    let mut text = tidy(cell);
    if text.chars().count() > LONGEST {
        text = text.chars().take(LONGEST).collect();
        text.push('…');
    }
    text
}
