//! Opening a file: whatever it is, the sheets in it, the likeliest parts list first.

use serde::{Deserialize, Serialize};
use thiserror::Error;

use super::decode::{self, NotText};
use super::mapping::{Mapping, Role};
use super::table::{self, NotATable, Table};
use super::workbook::{self, NotAWorkbook, Packed};
use super::{cells, columns};

/// A sheet that a file was found to have, for choosing.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct SheetFound {
    /// Where it stands in the file, from 0.
    pub at: usize,
    pub name: String,
    #[serde(default)]
    pub is_hidden: bool,
    /// How many rows it has below its column names.
    pub rows: usize,
    /// Why it cannot be read, if so.
    #[serde(default)]
    pub wrong: Option<String>,
}

/// A file, opened.
#[derive(Debug)]
pub struct Opened {
    /// The likeliest first; none in a file of text, which is one table.
    pub sheets: Vec<SheetFound>,
    /// The table of the likeliest sheet.
    pub table: Table,
    /// Where that sheet stands in the file.
    pub sheet: usize,
    /// A guess at what its columns mean.
    pub mapping: Mapping,
}

/// Why a file was not read.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum NotOpened {
    #[error("{0}")]
    NotText(#[from] NotText),
    #[error("{0}")]
    NotATable(#[from] NotATable),
    #[error("{0}")]
    NotAWorkbook(#[from] NotAWorkbook),
    #[error("None of the {count} sheets is a parts list. '{name}': {wrong}")]
    NoSheet {
        count: usize,
        name: String,
        wrong: NotATable,
    },
    #[error("That sheet is not in this file.")]
    NoSuchSheet,
}

/// Opens a file for the first time and looks at every sheet.
pub fn open(bytes: &[u8]) -> Result<Opened, NotOpened> {
    if bytes.len() > decode::LARGEST {
        return Err(NotText::TooLarge.into());
    }
    if workbook::packed(bytes) == Packed::No {
        let table = table::read(&decode::decode(bytes)?.text)?;
        return Ok(Opened {
            sheets: Vec::new(),
            sheet: 0,
            mapping: columns::guess(&table),
            table,
        });
    }
    let mut found = Vec::new();
    let mut best: Option<(Likely, usize, Table, Mapping)> = None;
    let mut wrongs = Vec::new();
    for (at, sheet) in workbook::read(bytes, None)?.into_iter().enumerate() {
        let mut one = SheetFound {
            at,
            name: sheet.name,
            is_hidden: sheet.is_hidden,
            rows: 0,
            wrong: None,
        };
        let mut likely = None;
        match sheet.table {
            Err(wrong) => {
                one.wrong = Some(wrong.to_string());
                wrongs.push((one.name.clone(), wrong));
            }
            Ok(table) => {
                let mapping = columns::guess(&table);
                one.rows = table.rows.iter().filter(|row| !row.is_blank()).count();
                let is = Likely::of(&table, &mapping, one.is_hidden);
                likely = Some(is);
                if best.as_ref().is_none_or(|(best, ..)| is > *best) {
                    best = Some((is, at, table, mapping));
                }
            }
        }
        found.push((likely, one));
    }
    let Some((_, sheet, table, mapping)) = best else {
        let count = wrongs.len();
        let first = wrongs.into_iter().next().ok_or(NotAWorkbook::NoSheet)?;
        return Err(match (count, first) {
            (1, (_, wrong)) => wrong.into(),
            (count, (name, wrong)) => NotOpened::NoSheet { count, name, wrong },
        });
    };
    // A stable sort: sheets that are as likely stay in the order of the file.
    found.sort_by_key(|(likely, _)| std::cmp::Reverse(*likely));
    Ok(Opened {
        sheets: found.into_iter().map(|(_, sheet)| sheet).collect(),
        table,
        sheet,
        mapping,
    })
}

/// Reads the table of one sheet of a file that was opened before.
pub fn sheet(bytes: &[u8], sheet: usize) -> Result<Table, NotOpened> {
    if workbook::packed(bytes) == Packed::No {
        return Ok(table::read(&decode::decode(bytes)?.text)?);
    }
    let mut sheets = workbook::read(bytes, Some(sheet))?;
    if sheet >= sheets.len() {
        return Err(NotOpened::NoSuchSheet);
    }
    Ok(sheets.swap_remove(sheet).table?)
}

/// How likely a sheet is the parts list; the greater, the likelier.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
struct Likely {
    makes_a_list: bool,
    is_in_sight: bool,
    columns_known: usize,
    lines: usize,
}

impl Likely {
    fn of(table: &Table, mapping: &Mapping, is_hidden: bool) -> Self {
        let quantity = mapping.find(Role::Quantity);
        let known = |column: &&super::mapping::Column| column.role != Role::Ignored;
        Self {
            makes_a_list: mapping.wrongs(table.width()).is_empty(),
            is_in_sight: !is_hidden,
            columns_known: mapping.columns.iter().filter(known).count(),
            lines: table
                .rows
                .iter()
                .filter(|row| {
                    quantity.is_some_and(|column| cells::quantity(row.cell(column)).is_number())
                })
                .count(),
        }
    }
}
