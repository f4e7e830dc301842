//! The sheets of an archive that people open: what is where, what is needed, what moved.

use crate::guides::import::guard;

use super::store::Cells;

/// Where they are in an archive. Nothing of it is read in.
pub const FOLDER: &str = "for-people/";

pub const PIECES: [&str; 11] = [
    "Team",
    "Kit",
    "Part number",
    "Part",
    "Colour",
    "State",
    "Pieces",
    "Kept in",
    "Name",
    "Code",
    "Which stands in",
];

pub const NEEDS: [&str; 7] = [
    "Guide",
    "Revision",
    "Size",
    "Part number",
    "Part",
    "Colour",
    "Pieces needed",
];

pub const MOVES: [&str; 16] = [
    "Entry",
    "Recorded (UTC)",
    "Done (UTC)",
    "By",
    "Act",
    "Part number",
    "Part",
    "Colour",
    "Pieces",
    "From kit",
    "From",
    "State before",
    "To kit",
    "To",
    "State after",
    "Note",
];

/// A sheet as CSV (RFC 4180), with cells that a spreadsheet would take for formulas guarded.
pub fn csv(header: &[&str], rows: &[Cells]) -> Result<Vec<u8>, csv::Error> {
    let mut writer = csv::WriterBuilder::new()
        .terminator(csv::Terminator::CRLF)
        .from_writer(Vec::new());
    writer.write_record(header)?;
    for row in rows {
        writer.write_record(row.iter().map(|cell| guard::put_on(cell).into_owned()))?;
    }
    writer
        .into_inner()
        .map_err(|error| csv::Error::from(std::io::Error::other(error.to_string())))
}
