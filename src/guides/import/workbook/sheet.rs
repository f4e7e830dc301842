//! Building the rows of one sheet, whichever kind of file they come from.

use std::collections::BTreeSet;

use super::xml::Allowance;
use super::{MOST_CELLS, MOST_TEXT, NotAWorkbook, Sheet};
use crate::guides::import::guard;
use crate::guides::import::table::{
    self, LONGEST_CELL, MOST_COLUMNS, MOST_ROWS, Mark, Marked, NotATable, Row,
};

/// The most letters of a sheet's name that are kept.
const LONGEST_SHEET_NAME: usize = 64;

/// How often a sheet may say that columns are hidden: more than once for each that is read.
const MOST_TIMES_HIDDEN: usize = 4 * MOST_COLUMNS;

/// What all sheets of a file have come to so far.
#[derive(Debug, Default)]
pub struct Counted {
    cells: usize,
    text: usize,
}

impl Counted {
    fn cells(&mut self, more: usize) -> Result<(), NotAWorkbook> {
        self.cells += more;
        if self.cells > MOST_CELLS {
            return Err(NotAWorkbook::TooManyCells);
        }
        Ok(())
    }

    pub fn text(&mut self, more: usize) -> Result<(), NotAWorkbook> {
        self.text += more;
        if self.text > MOST_TEXT {
            return Err(NotAWorkbook::TooMuchText);
        }
        Ok(())
    }
}

/// Cells that are one for the eye: rows from one to another in one column.
#[derive(Debug, Clone, Copy)]
struct Merged {
    column: usize,
    from: u32,
    to: u32,
}

/// A sheet being read.
#[derive(Debug)]
pub struct Builder {
    name: String,
    is_hidden: bool,
    rows: Vec<Row>,
    hidden_columns: BTreeSet<usize>,
    times_hidden: usize,
    merged: Vec<Merged>,
    wrong: Option<NotATable>,
}

impl Builder {
    pub fn new(name: &str, is_hidden: bool) -> Self {
        Self {
            name: name.trim().chars().take(LONGEST_SHEET_NAME).collect(),
            is_hidden,
            rows: Vec::new(),
            hidden_columns: BTreeSet::new(),
            times_hidden: 0,
            merged: Vec::new(),
            wrong: None,
        }
    }

    /// Whether the sheet cannot be read any more, so that its other cells need not be looked at.
    pub fn is_wrong(&self) -> bool {
        self.wrong.is_some()
    }

    pub fn refuse(&mut self, wrong: NotATable) {
        self.wrong.get_or_insert(wrong);
        self.rows = Vec::new();
    }

    /// Columns hidden from sight, from 0, the last included.
    pub fn hide_columns(&mut self, from: usize, to: usize) {
        self.times_hidden += 1;
        if self.times_hidden > MOST_TIMES_HIDDEN {
            return;
        }
        self.hidden_columns
            .extend(from..=to.min(MOST_COLUMNS.saturating_sub(1)));
    }

    pub fn merge(&mut self, column: usize, from: u32, to: u32) {
        if to > from && column < MOST_COLUMNS {
            self.merged.push(Merged { column, from, to });
        }
    }

    /// Writes a cell. Rows come in their order, as both kinds of file have them.
    pub fn put(
        &mut self,
        counted: &mut Counted,
        place: Place,
        text: &str,
        mark: Option<Mark>,
    ) -> Result<(), NotAWorkbook> {
        if self.is_wrong() {
            return Ok(());
        }
        let text = guard::take_off(table::trim(text));
        if text.is_empty() {
            return Ok(());
        }
        let Place {
            line,
            column,
            is_hidden,
        } = place;
        if column >= MOST_COLUMNS {
            let found = column + 1;
            self.refuse(NotATable::TooManyColumns { line, found });
            return Ok(());
        }
        if text.len() > LONGEST_CELL {
            self.refuse(NotATable::CellTooLarge { line });
            return Ok(());
        }
        counted.text(text.len())?;
        match self.rows.last().map(|row| row.line) {
            Some(last) if last == line => {}
            Some(last) if last > line => return Err(NotAWorkbook::Damaged),
            // The column names are a row, too.
            _ if self.rows.len() > MOST_ROWS => {
                self.refuse(NotATable::TooManyRows);
                return Ok(());
            }
            _ => self.rows.push(Row {
                line,
                is_hidden,
                ..Row::default()
            }),
        }
        let Some(row) = self.rows.last_mut() else {
            return Ok(());
        };
        if row.cells.len() <= column {
            counted.cells(column + 1 - row.cells.len())?;
            row.cells.resize(column + 1, String::new());
        }
        row.cells[column] = text.to_owned();
        row.marks.extend(mark.map(|mark| Marked { column, mark }));
        Ok(())
    }

    pub fn finish(
        mut self,
        counted: &mut Counted,
        allowance: &mut Allowance,
    ) -> Result<Sheet, NotAWorkbook> {
        self.fill_merged(counted, allowance)?;
        let table = match self.wrong {
            Some(wrong) => Err(wrong),
            None => table::of_rows(self.rows).map(|mut table| {
                table.hidden_columns = self.hidden_columns;
                table
            }),
        };
        Ok(Sheet {
            name: self.name,
            is_hidden: self.is_hidden,
            table,
        })
    }

    /// A merged cell stands for each of its rows. Side by side it stands once: a heading above columns is
    /// not the name of each.
    fn fill_merged(
        &mut self,
        counted: &mut Counted,
        allowance: &mut Allowance,
    ) -> Result<(), NotAWorkbook> {
        for Merged { column, from, to } in std::mem::take(&mut self.merged) {
            allowance.take(1)?;
            let Ok(first) = self.rows.binary_search_by_key(&from, |row| row.line) else {
                continue;
            };
            let text = self.rows[first].cell(column).to_owned();
            if text.is_empty() {
                continue;
            }
            // Copying a long text costs more than a step.
            allowance.take(1 + text.len() as u32 / 64)?;
            let below = self.rows[first + 1..]
                .iter_mut()
                .take_while(|row| row.line <= to);
            for row in below {
                allowance.take(1)?;
                if row.cells.len() <= column {
                    counted.cells(column + 1 - row.cells.len())?;
                    row.cells.resize(column + 1, String::new());
                }
                if row.cells[column].is_empty() {
                    counted.text(text.len())?;
                    row.cells[column].clone_from(&text);
                    let mark = Mark::Merged { line: from };
                    row.marks.push(Marked { column, mark });
                }
            }
        }
        Ok(())
    }
}

/// Where a cell stands.
#[derive(Debug, Clone, Copy)]
pub struct Place {
    /// From 1, as the spreadsheet counts.
    pub line: u32,
    /// From 0.
    pub column: usize,
    /// Whether its row is hidden from sight.
    pub is_hidden: bool,
}
