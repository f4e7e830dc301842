//! The whole league in one file that other programs can read, and back from it.
//!
//! An archive is a ZIP file with
//! - `tables/NAME.jsonl`: every table, one row a line as a JSON object, in the order of its key; bytes as
//!   hexadecimal digits,
//! - `files/ID.jpg` and `files/ID.pdf`: pictures and guides as they are shown,
//! - `for-people/NAME.csv`: what is where, what is needed and what moved, for a spreadsheet,
//! - `contents.json`: the version of the tables, the last entry's mark, and SHA-256 of every other file in it.
//!
//! Passwords, sessions and links to sign in with are left out: an archive travels, and nobody signs in with it.
//! (A helper pass that still holds is in it with its code, as it hangs on the wall.) Everything else comes back as
//! it was. The same data makes the same archive, byte for byte, so whoever reads one in and writes it
//! out again can see that nothing was lost.
//!
//! A backup is the database itself and the way back after an accident; an archive is for moving elsewhere,
//! for keeping for many years, and for programs of other people.

mod read;
mod sheets;
mod store;
mod write;

pub use read::read;
pub use write::{Written, write};

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

/// The name of the one file that tells about the others.
const CONTENTS: &str = "contents.json";
/// What an archive calls itself.
const FORMAT: &str = "Fieldstow archive";
/// How archives are laid out. Tables have a version of their own.
const LAYOUT: u32 = 1;

/// What is in an archive.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
struct Contents {
    format: String,
    layout: u32,
    /// The newest migration of the database it was made from.
    schema: i64,
    /// How many entries the ledger has, and the last one's mark.
    entries: i64,
    mark: String,
    /// SHA-256 of each file, in hexadecimal digits.
    files: BTreeMap<String, String>,
}

impl Contents {
    /// The files that are read in: all but those that are only for people.
    fn kept(&self) -> BTreeMap<&str, &str> {
        self.files
            .iter()
            .filter(|(name, _)| !name.starts_with(sheets::FOLDER))
            .map(|(name, hash)| (name.as_str(), hash.as_str()))
            .collect()
    }
}

fn hex(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("{byte:02x}")).collect()
}

/// The bytes that hexadecimal digits stand for.
fn unhex(digits: &str) -> Option<Vec<u8>> {
    if !digits.len().is_multiple_of(2) || !digits.bytes().all(|digit| digit.is_ascii_hexdigit()) {
        return None;
    }
    digits
        .as_bytes()
        .chunks(2)
        .map(|pair| u8::from_str_radix(str::from_utf8(pair).ok()?, 16).ok())
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bytes_and_digits_stand_for_each_other() {
        for bytes in [vec![], vec![0], vec![0, 255, 16, 9]] {
            assert_eq!(unhex(&hex(&bytes)), Some(bytes));
        }
        assert_eq!(hex(&[0, 255, 16]), "00ff10");
        for wrong in ["0", "0g", "+1", "é", "000"] {
            assert_eq!(unhex(wrong), None, "{wrong}");
        }
    }
}
