//! From text to rows of cells, each with the line it begins on.
//!
//! The separator is found by trying each; the row with the column names is found by its words.

use std::collections::{BTreeMap, BTreeSet};

use thiserror::Error;

use super::{guard, names};
use crate::text::fold;

/// The most rows that are read.
pub const MOST_ROWS: usize = 50_000;
/// The most columns that are read.
pub const MOST_COLUMNS: usize = 64;
/// The longest cell that is read, in bytes.
pub const LONGEST_CELL: usize = 4 * 1024;
/// How far down the column names are looked for.
const TITLE_ROWS: usize = 20;
/// How many rows the separator is judged by.
const SAMPLE_ROWS: usize = 200;

/// What stands between two cells.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Separator {
    Tab,
    Semicolon,
    Comma,
    Bar,
}

impl Separator {
    /// In the order in which they win a tie.
    const ALL: [Self; 4] = [Self::Tab, Self::Semicolon, Self::Comma, Self::Bar];

    fn byte(self) -> u8 {
        match self {
            Self::Tab => b'\t',
            Self::Semicolon => b';',
            Self::Comma => b',',
            Self::Bar => b'|',
        }
    }

    /// Its name in a sentence.
    pub fn in_words(self) -> &'static str {
        match self {
            Self::Tab => "tabs",
            Self::Semicolon => "semicolons",
            Self::Comma => "commas",
            Self::Bar => "upright bars",
        }
    }
}

/// What a spreadsheet says about a cell beside what is written in it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Mark {
    /// A formula; what it came to when the file was saved is read.
    Formula,
    /// A formula, and the file does not say what it comes to.
    NoValue,
    /// A formula that went wrong.
    Error,
    /// A day or a time, perhaps made of what was typed as something else.
    Date,
    /// A whole number so long that the spreadsheet lost its last digits.
    LongNumber,
    /// The cell is one with that on an earlier line.
    Merged { line: u32 },
}

/// A mark and the column of its cell.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Marked {
    pub column: usize,
    pub mark: Mark,
}

/// One row of cells.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Row {
    /// The line of the file it begins on, from 1, as a text editor counts.
    pub line: u32,
    /// The cells without the spaces around them.
    pub cells: Vec<String>,
    /// A quotation mark stands where none belongs, so the cells may have been cut wrongly.
    pub stray_quote: bool,
    /// It is hidden from sight in the spreadsheet.
    pub is_hidden: bool,
    /// What a spreadsheet says about its cells.
    pub marks: Vec<Marked>,
}

impl Row {
    /// The cell of a column; a row that ends early has empty cells there.
    pub fn cell(&self, column: usize) -> &str {
        self.cells.get(column).map_or("", String::as_str)
    }

    /// Whether nothing is written in it. A ruled line of dashes is nothing, too.
    pub fn is_blank(&self) -> bool {
        self.cells.iter().all(String::is_empty) || self.is_ruled_line()
    }

    fn is_ruled_line(&self) -> bool {
        let mut written = self.cells.iter().filter(|cell| !cell.is_empty()).peekable();
        written.peek().is_some()
            && written.all(|cell| {
                cell.len() >= 3 && cell.chars().all(|c| matches!(c, '-' | '=' | ':' | '_'))
            })
    }

    fn written(&self) -> usize {
        self.cells.iter().filter(|cell| !cell.is_empty()).count()
    }
}

/// A table with its column names.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Table {
    /// None in a spreadsheet, where cells need nothing between them.
    pub separator: Option<Separator>,
    /// Titles and the like above the column names.
    pub above: Vec<Row>,
    /// The column names.
    pub header: Row,
    /// The rows below, blank ones included. Lines with no character at all are not rows.
    pub rows: Vec<Row>,
    /// Columns that are hidden from sight in the spreadsheet.
    pub hidden_columns: BTreeSet<usize>,
}

impl Table {
    /// How many columns the widest row has.
    pub fn width(&self) -> usize {
        let below = self
            .rows
            .iter()
            .map(|row| row.cells.len())
            .max()
            .unwrap_or(0);
        below.max(self.header.cells.len())
    }
}

/// Why a text could not be read as a table.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum NotATable {
    #[error(
        "Only one column was found. Cells must be separated by commas, semicolons or tabs; copying them from a spreadsheet does that."
    )]
    OneColumn,
    #[error(
        "No row with column names was found. Put names such as Part, Assembly and Quantity above the columns."
    )]
    NoHeader,
    #[error("There are column names on line {line}, but no row below them.")]
    NoRows { line: u32 },
    #[error("There are more than {MOST_ROWS} rows, the most that is read.")]
    TooManyRows,
    #[error("Line {line} has {found} columns; at most {MOST_COLUMNS} are read.")]
    TooManyColumns { line: u32, found: usize },
    #[error(
        "A cell of the row on line {line} is longer than 4 KiB, the most that is read. A quotation mark may be missing."
    )]
    CellTooLong { line: u32 },
    #[error("A cell on line {line} is longer than 4 KiB, the most that is read.")]
    CellTooLarge { line: u32 },
    #[error(
        "A quotation mark opens on line {line} and is never closed. Close it, or write it twice if it means inches."
    )]
    OpenQuote { line: u32 },
}

/// Reads a text as a table with column names.
pub fn read(text: &str) -> Result<Table, NotATable> {
    let (text, told, skipped) = told_separator(text);
    let separator = match told {
        Some(separator) => separator,
        None => sniff(text).ok_or(NotATable::OneColumn)?,
    };
    let rows = rows(text, separator, skipped)?;
    split_at_header(Some(separator), rows)
}

/// Makes a table of rows that are cut into cells already.
pub fn of_rows(rows: Vec<Row>) -> Result<Table, NotATable> {
    split_at_header(None, rows)
}

/// Some spreadsheets write the separator into a first line of its own: `sep=;`.
fn told_separator(text: &str) -> (&str, Option<Separator>, u32) {
    let line_end = text.find(['\r', '\n']).unwrap_or(text.len());
    let (first, rest) = text.split_at(line_end);
    let told = first.trim_matches('"').strip_prefix("sep=");
    let separator = told.and_then(|told| {
        Separator::ALL
            .into_iter()
            .find(|separator| told.as_bytes() == [separator.byte()])
    });
    if separator.is_none() {
        return (text, None, 0);
    }
    let rest = rest
        .strip_prefix("\r\n")
        .unwrap_or(rest.get(1..).unwrap_or(""));
    (rest, separator, 1)
}

fn reader(text: &str, separator: Separator, quoting: bool) -> csv::Reader<&[u8]> {
    csv::ReaderBuilder::new()
        .delimiter(separator.byte())
        .quoting(quoting)
        .has_headers(false)
        .flexible(true)
        .from_reader(text.as_bytes())
}

/// The separator that cuts most rows into the same number of cells, quotation marks respected.
fn sniff(text: &str) -> Option<Separator> {
    let judged = Separator::ALL.into_iter().filter_map(|separator| {
        let mut widths: BTreeMap<usize, usize> = BTreeMap::new();
        let mut rows = 0;
        for record in reader(text, separator, true)
            .records()
            .take(SAMPLE_ROWS)
            .flatten()
        {
            *widths.entry(record.len()).or_default() += 1;
            rows += 1;
        }
        widths.remove(&1);
        let (width, alike) = widths
            .into_iter()
            .max_by_key(|(width, alike)| (*alike, *width))?;
        // Whole percents, so that one odd row among many does not decide.
        Some((separator, alike * 100 / rows, width))
    });
    let mut best: Option<(Separator, usize, usize)> = None;
    for (separator, alike, width) in judged {
        let better = best.is_none_or(|(found, most, widest)| {
            alike > most || (alike == most && found != Separator::Tab && width > widest)
        });
        if better {
            best = Some((separator, alike, width));
        }
    }
    best.map(|(separator, _, _)| separator)
}

fn rows(text: &str, separator: Separator, skipped: u32) -> Result<Vec<Row>, NotATable> {
    // A pasted table writes inches as they are; there a quotation mark is often just a mark.
    let pasted = matches!(separator, Separator::Tab | Separator::Bar);
    let quoted = rows_quoted(text, separator, skipped, true);
    let doubtful = match &quoted {
        Ok(rows) => rows.iter().any(|row| row.stray_quote),
        Err(NotATable::OpenQuote { .. } | NotATable::CellTooLong { .. }) => true,
        Err(_) => false,
    };
    if pasted && doubtful {
        rows_quoted(text, separator, skipped, false)
    } else {
        quoted
    }
}

fn rows_quoted(
    text: &str,
    separator: Separator,
    skipped: u32,
    quoting: bool,
) -> Result<Vec<Row>, NotATable> {
    let mut reader = reader(text, separator, quoting);
    let mut rows: Vec<Row> = Vec::new();
    let mut record = csv::StringRecord::new();
    let mut line = skipped + 1;
    let mut from = 0;
    loop {
        let begins = position(&reader, text);
        // The text is valid, so the reader cannot meet broken letters.
        if !reader.read_record(&mut record).unwrap_or(false) {
            break;
        }
        // The reader takes empty lines along with the row that follows them.
        let begins = begins + leading_line_ends(&text.as_bytes()[begins..]);
        let ends = position(&reader, text);
        line += line_ends(&text.as_bytes()[from..begins]);
        from = begins;
        let raw = &text[begins..ends];
        let quotes = if quoting {
            check_quotes(raw, separator)
        } else {
            Quotes::Good
        };
        if quotes == Quotes::Open {
            return Err(NotATable::OpenQuote { line });
        }
        // The column names are a row, too.
        if rows.len() > MOST_ROWS {
            return Err(NotATable::TooManyRows);
        }
        if record.len() > MOST_COLUMNS {
            return Err(NotATable::TooManyColumns {
                line,
                found: record.len(),
            });
        }
        if record.iter().any(|cell| cell.len() > LONGEST_CELL) {
            return Err(NotATable::CellTooLong { line });
        }
        let cells = record
            .iter()
            .map(|cell| guard::take_off(trim(cell)).to_owned())
            .collect();
        rows.push(Row {
            line,
            cells,
            stray_quote: quotes == Quotes::Stray,
            ..Row::default()
        });
    }
    Ok(rows)
}

fn position(reader: &csv::Reader<&[u8]>, text: &str) -> usize {
    usize::try_from(reader.position().byte()).map_or(text.len(), |byte| byte.min(text.len()))
}

pub(super) fn trim(cell: &str) -> &str {
    cell.trim_matches(|c: char| {
        c.is_whitespace() || matches!(c, '\u{feff}' | '\u{200b}' | '\u{1a}')
    })
}

fn leading_line_ends(bytes: &[u8]) -> usize {
    bytes
        .iter()
        .take_while(|byte| matches!(byte, b'\r' | b'\n'))
        .count()
}

/// Line ends as an editor counts them: CR LF is one, and so is either alone.
fn line_ends(bytes: &[u8]) -> u32 {
    let mut count = 0;
    let mut before = 0;
    for byte in bytes {
        if *byte == b'\r' || (*byte == b'\n' && before != b'\r') {
            count += 1;
        }
        before = *byte;
    }
    count
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Quotes {
    Good,
    /// A closed quotation goes on after its end, or one opens after a space.
    Stray,
    Open,
}

/// Whether the quotation marks of one row are where RFC 4180 has them.
fn check_quotes(raw: &str, separator: Separator) -> Quotes {
    #[derive(Clone, Copy, PartialEq)]
    enum At {
        Start,
        Spaces,
        Bare,
        Inside,
        Closed,
    }
    let mut at = At::Start;
    let mut result = Quotes::Good;
    for byte in raw.bytes() {
        let ends_cell = byte == separator.byte() || matches!(byte, b'\r' | b'\n');
        at = match (at, byte) {
            (At::Start, b'"') | (At::Closed, b'"') => At::Inside,
            (At::Inside, b'"') => At::Closed,
            (At::Inside, _) => At::Inside,
            (_, _) if ends_cell => At::Start,
            (At::Start | At::Spaces, b' ') => At::Spaces,
            (At::Closed, _) | (At::Spaces, b'"') => {
                result = Quotes::Stray;
                At::Bare
            }
            (At::Start | At::Spaces | At::Bare, _) => At::Bare,
        };
    }
    if at == At::Inside {
        Quotes::Open
    } else {
        result
    }
}

fn split_at_header(separator: Option<Separator>, mut rows: Vec<Row>) -> Result<Table, NotATable> {
    let found = find_header(&rows).ok_or(NotATable::NoHeader)?;
    let below = rows.split_off(found + 1);
    let header = rows.pop().expect("the row was found above");
    if below.iter().all(Row::is_blank) {
        return Err(NotATable::NoRows { line: header.line });
    }
    Ok(Table {
        separator,
        above: rows,
        header,
        rows: below,
        hidden_columns: BTreeSet::new(),
    })
}

/// The row whose words are column names; failing that, the first wide row without a number.
fn find_header(rows: &[Row]) -> Option<usize> {
    let sample = &rows[..rows.len().min(SAMPLE_ROWS)];
    let width = sample.iter().map(Row::written).max().unwrap_or(0);
    let is_wide = |row: &Row| row.written() >= 2 && row.written() * 3 >= width * 2;
    // The names stand above the first row of data, which has a quantity.
    let first_data = rows.iter().position(|row| is_wide(row) && has_number(row));
    let top = &rows[..first_data.unwrap_or(rows.len()).min(TITLE_ROWS)];
    let known = |row: &Row| {
        row.cells
            .iter()
            .filter(|cell| names::is_column_name(cell))
            .count()
    };
    let most = top.iter().map(known).max().unwrap_or(0);
    if most >= 2 {
        return top.iter().position(|row| known(row) == most);
    }
    let candidate = top.iter().position(is_wide)?;
    // Names of columns differ from each other, and numbers stand below them.
    let cells = top[candidate].cells.iter().map(|cell| fold(cell));
    let mut names: Vec<String> = cells.filter(|name| !name.is_empty()).collect();
    let written = names.len();
    names.sort_unstable();
    names.dedup();
    (names.len() == written && first_data.is_some()).then_some(candidate)
}

fn has_number(row: &Row) -> bool {
    row.cells.iter().any(|cell| {
        cell.chars().any(|c| c.is_ascii_digit())
            && cell
                .chars()
                .all(|c| c.is_ascii_digit() || matches!(c, '.' | ',' | '-' | ' '))
    })
}

#[cfg(test)]
#[path = "table_tests.rs"]
mod tests;
