//! Writing rows as an .xlsx file.

use rust_xlsxwriter::{DocProperties, ExcelDateTime, Format, Workbook, XlsxError};

/// The columns of a sheet are at most this wide, in letters.
const WIDEST: usize = 60;

/// A file with one sheet; the first row holds the column names. Cells of columns that hold numbers become
/// numbers where they are whole ones; everything else is written as text, never as a formula.
///
/// The same rows make the same bytes: the file does not say when it was made.
pub fn write<R, C>(
    name: &str,
    rows: impl Iterator<Item = R>,
    is_number: impl Fn(usize) -> bool,
) -> Result<Vec<u8>, XlsxError>
where
    R: IntoIterator<Item = C>,
    C: AsRef<str>,
{
    let mut book = Workbook::new();
    let long_ago = ExcelDateTime::from_ymd(2000, 1, 1)?;
    book.set_properties(&DocProperties::new().set_creation_datetime(&long_ago));
    let bold = Format::new().set_bold();
    let sheet = book.add_worksheet();
    sheet.set_name(name)?;
    sheet.set_freeze_panes(1, 0)?;
    let mut widths: Vec<usize> = Vec::new();
    for (line, row) in (0_u32..).zip(rows) {
        for (column, cell) in (0_u16..).zip(row) {
            let cell = cell.as_ref();
            let at = usize::from(column);
            if widths.len() <= at {
                widths.resize(at + 1, 0);
            }
            widths[at] = widths[at].max(cell.chars().count()).min(WIDEST);
            let number = cell.parse::<u32>().ok().filter(|_| is_number(at));
            match number {
                _ if cell.is_empty() => {}
                Some(number) if line > 0 => {
                    sheet.write_number(line, column, number)?;
                }
                _ if line == 0 => {
                    sheet.write_string_with_format(line, column, cell, &bold)?;
                }
                _ => {
                    sheet.write_string(line, column, cell)?;
                }
            }
        }
    }
    for (column, width) in (0_u16..).zip(widths) {
        sheet.set_column_width(column, (width + 2) as f64)?;
    }
    book.save_to_buffer()
}

/// What such a file is called in a response.
pub const KIND: &str = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet";
