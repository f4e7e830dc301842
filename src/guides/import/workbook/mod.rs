//! Workbooks: the sheets of an .xlsx or .ods file as rows of cells, as people see them.
//!
//! A file is known by what is in it, never by its name. Reading is bounded at every step, and each bound
//! has its sentence: [`archive`] unpacks and counts before anything is read, [`xml`] allows so many steps
//! for the whole file, [`sheet`] so many rows, columns, cells and letters. Cells are read one after the
//! other; what a sheet says about its own extent is not looked at.

mod archive;
mod numbers;
mod ods;
mod sheet;
mod texts;
mod xlsx;
mod xml;

use thiserror::Error;

use self::archive::Archive;
use self::sheet::Counted;
use self::xml::Allowance;
use super::table::{NotATable, Table};

/// The most entries an archive may have.
pub const MOST_ENTRIES: usize = 128;
/// The most that all entries together may unpack to.
pub const MOST_UNPACKED: u64 = 48 * 1024 * 1024;
/// The most an entry may grow by being unpacked.
pub const MOST_TIMES: u64 = 200;
/// The most sheets that are looked at.
pub const MOST_SHEETS: usize = 50;
/// The most cells of all sheets, empty ones before written ones included.
pub const MOST_CELLS: usize = 500_000;
/// The most text all cells may hold.
pub const MOST_TEXT: usize = 5 * 1024 * 1024;
/// How many steps of XML are read: enough for the most cells.
const MOST_STEPS: u32 = 6_000_000;
/// How deep XML may be nested.
const MOST_DEPTH: usize = 64;

/// Why a file could not be read as a workbook.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum NotAWorkbook {
    #[error(
        "This spreadsheet file is damaged or did not arrive whole. Open it in a spreadsheet, save it anew, and choose it again."
    )]
    Damaged,
    #[error(
        "This file is locked with a password. Save it without one, or copy the cells and paste them."
    )]
    Locked,
    #[error(
        "This spreadsheet file is of an older or another kind, or locked with a password. Save it as .xlsx, .ods or CSV without a password."
    )]
    OtherKind,
    #[error(
        "This is a packed file, but no spreadsheet in it can be read. Choose the .xlsx, .ods or CSV file itself."
    )]
    NoWorkbook,
    #[error(
        "This spreadsheet file is packed in an unusual way. Open it in a spreadsheet and save it anew as .xlsx or .ods."
    )]
    OddPacking,
    #[error(
        "This file holds something under the name '{name}', which no spreadsheet writes. Nothing of it is read."
    )]
    OddName { name: String },
    #[error("This file holds '{name}' twice, so it is not clear which counts. Save it anew.")]
    TwiceNamed { name: String },
    #[error(
        "This file has more than {MOST_ENTRIES} things packed in it, the most that is read. Save only the sheet with the parts list."
    )]
    TooManyEntries,
    #[error(
        "This file unpacks to more than {} MiB, the most that is read. Save only the sheet with the parts list, without pictures.",
        MOST_UNPACKED / 1024 / 1024
    )]
    UnpacksTooLarge,
    #[error(
        "'{name}' in this file unpacks to more than {MOST_TIMES} times its size, which is more than is read. Save only the cells of the parts list, without empty rows."
    )]
    PackedTooTightly { name: String },
    #[error(
        "This file defines abbreviations of its own inside, which no spreadsheet does. Open it in a spreadsheet and save it anew."
    )]
    OwnEntities,
    #[error(
        "This file is nested deeper inside than any spreadsheet. Open it in a spreadsheet and save it anew."
    )]
    TooDeep,
    #[error(
        "There is more in this file than is read at once. Save only the sheet with the parts list, without formats for empty cells."
    )]
    TooMuchInside,
    #[error("This file has more than {MOST_SHEETS} sheets, the most that is looked at.")]
    TooManySheets,
    #[error(
        "The sheets hold more than {MOST_CELLS} cells, the most that is read. Save only the sheet with the parts list."
    )]
    TooManyCells,
    #[error(
        "The cells hold more than {} MiB of text, the most that is read. Save only the sheet with the parts list.",
        MOST_TEXT / 1024 / 1024
    )]
    TooMuchText,
    #[error("There is no sheet in this file.")]
    NoSheet,
}

/// One sheet of a workbook.
#[derive(Debug)]
pub struct Sheet {
    pub name: String,
    pub is_hidden: bool,
    /// Its table, or why it has none.
    pub table: Result<Table, NotATable>,
}

/// What a file was found to be by its first bytes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Packed {
    /// An archive, so perhaps a workbook.
    Archive,
    /// The container of older spreadsheets, and of locked new ones.
    OldContainer,
    /// Neither: text, or something else.
    No,
}

/// Whether bytes may be a workbook.
pub fn packed(bytes: &[u8]) -> Packed {
    const OLD: &[u8] = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1";
    match () {
        () if bytes.starts_with(b"PK\x03\x04") || bytes.starts_with(b"PK\x05\x06") => {
            Packed::Archive
        }
        () if bytes.starts_with(OLD) => Packed::OldContainer,
        () => Packed::No,
    }
}

/// Reads the sheets of a workbook, or only one of them; the others then have no rows.
pub fn read(bytes: &[u8], only: Option<usize>) -> Result<Vec<Sheet>, NotAWorkbook> {
    let archive = match packed(bytes) {
        Packed::Archive => archive::open(bytes)?,
        Packed::OldContainer if holds_locked(bytes) => return Err(NotAWorkbook::Locked),
        Packed::OldContainer => return Err(NotAWorkbook::OtherKind),
        Packed::No => return Err(NotAWorkbook::NoWorkbook),
    };
    let mut reading = Reading {
        archive: &archive,
        allowance: Allowance::new(),
        counted: Counted::default(),
        only,
    };
    let sheets = if ods::is_one(&archive) {
        ods::read(&mut reading)?
    } else {
        xlsx::read(&mut reading)?
    };
    if sheets.is_empty() {
        return Err(NotAWorkbook::NoSheet);
    }
    Ok(sheets)
}

/// Counts what a file unpacks to without reading it: what the tests of hostile files assert.
pub fn unpacked(bytes: &[u8]) -> Result<u64, NotAWorkbook> {
    Ok(archive::open(bytes)?.unpacked)
}

/// A locked workbook lies in the old container, under a name in two-byte letters.
fn holds_locked(bytes: &[u8]) -> bool {
    let name: Vec<u8> = "EncryptedPackage"
        .encode_utf16()
        .flat_map(u16::to_le_bytes)
        .collect();
    bytes
        .windows(name.len())
        .any(|window| window == name.as_slice())
}

/// A workbook being read: what it holds, and what may still be read of it.
struct Reading<'a> {
    archive: &'a Archive,
    allowance: Allowance,
    counted: Counted,
    only: Option<usize>,
}

impl Reading<'_> {
    /// Whether the cells of this sheet are wanted.
    fn wants(&self, sheet: usize) -> bool {
        self.only.is_none_or(|only| only == sheet)
    }
}

#[cfg(test)]
#[path = "../workbook_tests.rs"]
mod tests;
