//! The texts of an .xlsx file: those that cells share, and those that stand in cells.

use super::NotAWorkbook;
use super::xml::{Allowance, Document, Step, TextWrong};
use crate::guides::import::table::{self, LONGEST_CELL};

/// A text of a cell; none if it is longer than a cell may be.
pub type SharedText = Option<Box<str>>;

/// The texts that cells refer to by their number.
pub fn shared_texts(
    bytes: &[u8],
    allowance: &mut Allowance,
) -> Result<Vec<SharedText>, NotAWorkbook> {
    let mut document = Document::new(bytes, allowance)?;
    let mut all = Vec::new();
    loop {
        match document.step()? {
            Step::End => return Ok(all),
            Step::Open(tag) if tag.is("si") => all.push(rich_text(&mut document)?),
            _ => {}
        }
    }
}

/// The text of a tag that may hold it in runs, without blanks around it: many cells may refer to one text,
/// and each would take them off again. Aids to reading aloud are not text.
pub fn rich_text(document: &mut Document<'_, '_>) -> Result<SharedText, NotAWorkbook> {
    let outside = document.depth().saturating_sub(1);
    let mut all = String::new();
    let mut is_too_long = false;
    while document.depth() > outside {
        match document.step()? {
            Step::Open(tag) if tag.is("rPh") => document.skip()?,
            Step::Open(tag) if tag.is("t") => match text(document)? {
                Some(text) => all.push_str(&text),
                None => is_too_long = true,
            },
            Step::End => return Err(NotAWorkbook::Damaged),
            _ => {}
        }
        if all.len() > LONGEST_CELL {
            is_too_long = true;
            all.clear();
        }
    }
    Ok((!is_too_long).then(|| table::trim(&unescape(&all)).into()))
}

/// The text of the tag that was opened last; none if it is longer than a cell may be.
pub fn text(document: &mut Document<'_, '_>) -> Result<Option<String>, NotAWorkbook> {
    let outside = document.depth().saturating_sub(1);
    match document.text(LONGEST_CELL) {
        Ok(text) => Ok(Some(text)),
        Err(TextWrong::Other(wrong)) => Err(wrong),
        Err(TextWrong::TooLong) => {
            while document.depth() > outside {
                document.step()?;
            }
            Ok(None)
        }
    }
}

/// Letters that XML cannot hold stand as `_x000D_` (ECMA-376-1, 22.9.2.19).
pub fn unescape(text: &str) -> String {
    let mut rest = text;
    let mut result = String::with_capacity(text.len());
    while let Some(at) = rest.find("_x") {
        result.push_str(&rest[..at]);
        let code = rest
            .get(at + 2..at + 6)
            .filter(|_| rest[at..].get(6..7) == Some("_"));
        let letter = code
            .and_then(|code| u32::from_str_radix(code, 16).ok())
            .and_then(char::from_u32);
        match letter {
            Some(letter) => {
                result.push(letter);
                rest = &rest[at + 7..];
            }
            None => {
                result.push_str("_x");
                rest = &rest[at + 2..];
            }
        }
    }
    result.push_str(rest);
    result
}
