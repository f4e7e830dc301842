//! Reading .ods (ISO/IEC 26300, OpenDocument: spreadsheets).
//!
//! The format repeats cells and rows by a number. Repeated emptiness only moves on; what is written and
//! repeated counts against the limits each time.

use super::archive::Archive;
use super::numbers;
use super::sheet::{Builder, Place};
use super::xml::{Document, Step, Tag};
use super::{MOST_SHEETS, NotAWorkbook, Reading, Sheet};
use crate::guides::import::table::{self, LONGEST_CELL, MOST_COLUMNS, Mark, NotATable};

const KIND: &[u8] = b"application/vnd.oasis.opendocument.spreadsheet";
const CONTENT: &str = "content.xml";
/// Parts of a document that hold tables or texts which are not cells.
const ASIDE: [&str; 8] = [
    "annotation",
    "shapes",
    "forms",
    "tracked-changes",
    "dde-links",
    "named-expressions",
    "content-validations",
    "scenario",
];
const UNKNOWN: &str = "(formula)";

/// Whether an archive is such a document.
pub fn is_one(archive: &Archive) -> bool {
    archive
        .entry("mimetype")
        .is_some_and(|kind| kind.trim_ascii().starts_with(KIND))
}

pub fn read(reading: &mut Reading<'_>) -> Result<Vec<Sheet>, NotAWorkbook> {
    if is_locked(reading)? {
        return Err(NotAWorkbook::Locked);
    }
    let content = reading
        .archive
        .entry(CONTENT)
        .ok_or(NotAWorkbook::Damaged)?;
    let mut builders = Vec::new();
    let mut document = Document::new(content, &mut reading.allowance)?;
    loop {
        match document.step()? {
            Step::End => break,
            Step::Open(tag) if ASIDE.iter().any(|name| tag.is(name)) => document.skip()?,
            Step::Open(tag) if tag.is("table") => {
                if builders.len() == MOST_SHEETS {
                    return Err(NotAWorkbook::TooManySheets);
                }
                let name = tag.attribute("table:name").unwrap_or_default();
                let mut builder = Builder::new(&name, false);
                let is_wanted = reading.only.is_none_or(|only| only == builders.len());
                if is_wanted {
                    table(&mut document, &mut reading.counted, &mut builder)?;
                } else {
                    document.skip()?;
                }
                builders.push(builder);
            }
            _ => {}
        }
    }
    let mut sheets = Vec::with_capacity(builders.len());
    for builder in builders {
        sheets.push(builder.finish(&mut reading.counted, &mut reading.allowance)?);
    }
    Ok(sheets)
}

/// The list of files names how each is locked.
fn is_locked(reading: &mut Reading<'_>) -> Result<bool, NotAWorkbook> {
    let Some(list) = reading.archive.entry("META-INF/manifest.xml") else {
        return Ok(false);
    };
    let mut document = Document::new(list, &mut reading.allowance)?;
    loop {
        match document.step()? {
            Step::End => return Ok(false),
            Step::Open(tag) if tag.is("encryption-data") => return Ok(true),
            _ => {}
        }
    }
}

fn repeated(tag: &Tag<'_>, name: &str) -> usize {
    tag.attribute(name)
        .and_then(|text| text.parse().ok())
        .unwrap_or(1)
        .max(1)
}

fn is_hidden(tag: &Tag<'_>) -> bool {
    matches!(
        tag.attribute("table:visibility").as_deref(),
        Some("collapse" | "filter")
    )
}

/// A cell of a row, before the row's place is known to matter.
struct Cell {
    column: usize,
    repeated: usize,
    text: String,
    mark: Option<Mark>,
    rows_spanned: u32,
}

fn table(
    document: &mut Document<'_, '_>,
    counted: &mut super::Counted,
    builder: &mut Builder,
) -> Result<(), NotAWorkbook> {
    let outside = document.depth().saturating_sub(1);
    let mut line: u32 = 1;
    let mut column_at: usize = 0;
    while document.depth() > outside {
        match document.step()? {
            Step::Open(tag) if ASIDE.iter().any(|name| tag.is(name)) => document.skip()?,
            Step::Open(tag) if tag.is("table-column") => {
                let count = repeated(&tag, "table:number-columns-repeated");
                if is_hidden(&tag) {
                    let last = column_at.saturating_add(count - 1);
                    builder.hide_columns(column_at, last);
                }
                column_at = column_at.saturating_add(count);
            }
            Step::Open(tag) if tag.is("table-row") => {
                let count = repeated(&tag, "table:number-rows-repeated");
                let hidden = is_hidden(&tag);
                let cells = row(document, builder, line)?;
                if cells.is_empty() || builder.is_wrong() {
                    let count = u32::try_from(count).unwrap_or(u32::MAX);
                    line = line.saturating_add(count);
                    continue;
                }
                for _ in 0..count {
                    document.allowance().take(1)?;
                    put(document, counted, builder, &cells, line, hidden)?;
                    if builder.is_wrong() {
                        break;
                    }
                    line = line.saturating_add(1);
                }
            }
            Step::End => return Err(NotAWorkbook::Damaged),
            _ => {}
        }
    }
    Ok(())
}

fn put(
    document: &mut Document<'_, '_>,
    counted: &mut super::Counted,
    builder: &mut Builder,
    cells: &[Cell],
    line: u32,
    is_hidden: bool,
) -> Result<(), NotAWorkbook> {
    for cell in cells {
        let last = cell.column.saturating_add(cell.repeated);
        // One behind the last column that is read, so that there is something to refuse.
        for column in cell.column..last.min(MOST_COLUMNS + 1).max(cell.column + 1) {
            document.allowance().take(1)?;
            let place = Place {
                line,
                column,
                is_hidden,
            };
            builder.put(counted, place, &cell.text, cell.mark)?;
        }
        if cell.rows_spanned > 1 {
            let to = line.saturating_add(cell.rows_spanned - 1);
            builder.merge(cell.column, line, to);
        }
    }
    Ok(())
}

/// The written cells of a row.
fn row(
    document: &mut Document<'_, '_>,
    builder: &mut Builder,
    line: u32,
) -> Result<Vec<Cell>, NotAWorkbook> {
    let outside = document.depth().saturating_sub(1);
    let mut cells = Vec::new();
    let mut column: usize = 0;
    while document.depth() > outside {
        match document.step()? {
            Step::Open(tag) if tag.is("table-cell") => {
                let repeated = repeated(&tag, "table:number-columns-repeated");
                match cell(document, &tag)? {
                    Some((text, mark)) => {
                        // Blanks are taken off once, not each time that the cell is repeated.
                        let text = table::trim(&text);
                        if !text.is_empty() {
                            cells.push(Cell {
                                column,
                                repeated,
                                text: text.to_owned(),
                                mark,
                                rows_spanned: tag.number("table:number-rows-spanned").unwrap_or(1),
                            });
                        }
                    }
                    None => builder.refuse(NotATable::CellTooLarge { line }),
                }
                column = column.saturating_add(repeated);
            }
            Step::Open(tag) if tag.is("covered-table-cell") => {
                let repeated = repeated(&tag, "table:number-columns-repeated");
                column = column.saturating_add(repeated);
                document.skip()?;
            }
            Step::End => return Err(NotAWorkbook::Damaged),
            _ => {}
        }
    }
    Ok(cells)
}

/// The text of a cell as people see it; none if it is longer than a cell may be.
fn cell(
    document: &mut Document<'_, '_>,
    tag: &Tag<'_>,
) -> Result<Option<(String, Option<Mark>)>, NotAWorkbook> {
    let kind = tag.attribute("office:value-type");
    let is_error = tag.attribute("calcext:value-type").as_deref() == Some("error");
    let is_formula = tag.attribute("table:formula").is_some();
    let Some(seen) = seen_text(document)? else {
        return Ok(None);
    };
    let formula = is_formula.then_some(Mark::Formula);
    if is_error {
        return Ok(Some((seen, Some(Mark::Error))));
    }
    Ok(Some(match kind.as_deref() {
        Some("float" | "percentage" | "currency") => {
            let value = tag.attribute("office:value");
            match value.and_then(|value| value.trim().parse::<f64>().ok()) {
                Some(number) => {
                    let (text, mark) = number_seen(number, &seen);
                    (text, mark.or(formula))
                }
                None => (seen, formula),
            }
        }
        Some("date") => {
            let day = tag.attribute("office:date-value").unwrap_or(seen);
            (day.replacen('T', " ", 1), Some(Mark::Date))
        }
        Some("time") => (seen, Some(Mark::Date)),
        Some("string") => match tag.attribute("office:string-value") {
            Some(text) if text.len() > LONGEST_CELL => return Ok(None),
            Some(text) => (text, formula),
            None => (seen, formula),
        },
        None if is_formula && seen.is_empty() => (UNKNOWN.to_owned(), Some(Mark::NoValue)),
        _ => (seen, formula),
    }))
}

/// A number as it is seen if that is the same number, such as 007 or 12 pcs; else as it is kept, so that
/// nothing is rounded.
fn number_seen(number: f64, seen: &str) -> (String, Option<Mark>) {
    let digits: String = seen.chars().filter(char::is_ascii_digit).collect();
    let same = digits.parse::<f64>().is_ok_and(|same| same == number)
        && !seen.contains(['.', ',', '-', '%'])
        && seen.matches(|c: char| c.is_ascii_digit()).count() == digits.len();
    if same {
        return (seen.to_owned(), None);
    }
    numbers::shown(number, &numbers::Format::default(), false)
}

/// The paragraphs of a cell, one on each line.
fn seen_text(document: &mut Document<'_, '_>) -> Result<Option<String>, NotAWorkbook> {
    let outside = document.depth().saturating_sub(1);
    let mut all = String::new();
    let mut paragraphs = 0;
    let mut in_paragraph: Option<usize> = None;
    let mut is_too_long = false;
    while document.depth() > outside {
        match document.step()? {
            // Comments, pictures and tables inside a cell are not its text.
            Step::Open(tag)
                if ["annotation", "frame", "table", "ruby-text"]
                    .iter()
                    .any(|name| tag.is(name)) =>
            {
                document.skip()?;
            }
            Step::Open(tag) if tag.is("p") || tag.is("h") => {
                if paragraphs > 0 {
                    all.push('\n');
                }
                paragraphs += 1;
                in_paragraph.get_or_insert(document.depth());
            }
            Step::Open(tag) if tag.is("s") => {
                let count = repeated(&tag, "text:c").min(LONGEST_CELL);
                all.extend(std::iter::repeat_n(' ', count));
            }
            Step::Open(tag) if tag.is("tab") => all.push('\t'),
            Step::Open(tag) if tag.is("line-break") => all.push('\n'),
            Step::Text(text) if in_paragraph.is_some() => all.push_str(&text),
            Step::Close => {
                in_paragraph = in_paragraph.filter(|depth| document.depth() >= *depth);
            }
            Step::End => return Err(NotAWorkbook::Damaged),
            _ => {}
        }
        if all.len() > LONGEST_CELL {
            is_too_long = true;
            all.clear();
        }
    }
    Ok((!is_too_long).then_some(all))
}
