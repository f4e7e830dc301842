//! What a spreadsheet says about cells beside what is written in them, as doubts.

use super::doubts::Reason;
use super::mapping::Role;
use super::rows::{Reader, shown};
use super::table::{Mark, Row};

impl Reader<'_> {
    /// Columns that nobody sees in the spreadsheet, but that mean something here.
    pub fn hidden_columns(&mut self) {
        for column in &self.table.hidden_columns {
            if self.role(*column) != Role::Ignored {
                let column = self.column_in_words(*column);
                self.doubt(self.table.header.line, Reason::HiddenColumn { column });
            }
        }
    }

    /// What is to be said about the cells of a row. Columns left out are not talked about.
    pub fn marks(&mut self, row: &Row) {
        if row.is_hidden {
            self.doubt(row.line, Reason::HiddenRow);
        }
        for marked in &row.marks {
            let role = self.role(marked.column);
            if role == Role::Ignored {
                continue;
            }
            let column = self.column_in_words(marked.column);
            let cell = shown(row.cell(marked.column));
            let reason = match marked.mark {
                Mark::Formula => Reason::Formula { column, cell },
                Mark::NoValue => Reason::FormulaUnknown { column },
                Mark::Error => Reason::FormulaWrong { column, cell },
                Mark::Date => Reason::DateMade { column, cell },
                Mark::LongNumber => Reason::DigitsLost { column },
                Mark::Merged { line } if is_number(role) => Reason::MergedNumber { column, line },
                Mark::Merged { line } => Reason::Merged { column, line },
            };
            self.doubt(row.line, reason);
        }
    }

    fn role(&self, column: usize) -> Role {
        let said = self.mapping.columns.get(column);
        said.map_or(Role::Ignored, |said| said.role)
    }

    fn column_in_words(&self, column: usize) -> String {
        let name = shown(self.table.header.cell(column));
        if name.is_empty() {
            format!("Column {}", column + 1)
        } else {
            name
        }
    }
}

/// One number over several rows may be for each of them or for all.
fn is_number(role: Role) -> bool {
    matches!(role, Role::Quantity | Role::HowMany | Role::Total)
}
