//! From bytes to text: what a file or a pasted table is written in.
//!
//! Spreadsheets save text in several encodings and do not say which. What can be told for sure
//! is read; what is not text is refused in a sentence.

use encoding_rs::{Encoding as Coder, UTF_16BE, UTF_16LE, WINDOWS_1252};
use thiserror::Error;

/// The largest file that is read: 5 MiB.
pub const LARGEST: usize = 5 * 1024 * 1024;

/// How the characters of a file were written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Encoding {
    Utf8,
    Utf16,
    /// Nothing in the file says so: it is read this way because it is not valid UTF-8.
    Windows1252,
}

impl Encoding {
    /// How to name it beside the first rows, so that a person sees why an accent is wrong.
    pub fn in_words(self) -> &'static str {
        match self {
            Self::Utf8 => "UTF-8",
            Self::Utf16 => "UTF-16",
            Self::Windows1252 => "Western European (Windows-1252), guessed",
        }
    }
}

/// A file as text.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Decoded {
    pub text: String,
    pub encoding: Encoding,
}

/// Why a file could not be read as text.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Error)]
pub enum NotText {
    #[error("There is nothing in it. Choose a file, or paste the cells.")]
    Empty,
    #[error(
        "This file is larger than 5 MiB, the most that is read. Save only the sheet with the parts list."
    )]
    TooLarge,
    #[error(
        "This is not a text file. It looks like a spreadsheet file: save it as CSV, or copy the cells and paste them."
    )]
    Spreadsheet,
    #[error(
        "This is not a text file. It looks like a PDF: copy the cells of its table and paste them."
    )]
    Pdf,
    #[error(
        "This is not a text file. Save the parts list as CSV, or copy the cells and paste them."
    )]
    Binary,
    #[error("The letters on line {line} cannot be read. Save the file again as CSV in UTF-8.")]
    Unreadable { line: usize },
}

/// Reads a file as text, whichever way it was written.
pub fn decode(bytes: &[u8]) -> Result<Decoded, NotText> {
    if bytes.len() > LARGEST {
        return Err(NotText::TooLarge);
    }
    refuse_known_formats(bytes)?;
    let (text, encoding) = read(bytes)?;
    if text.chars().any(is_binary) {
        return Err(NotText::Binary);
    }
    if text.trim().is_empty() {
        return Err(NotText::Empty);
    }
    Ok(Decoded { text, encoding })
}

fn refuse_known_formats(bytes: &[u8]) -> Result<(), NotText> {
    let zip = bytes.starts_with(b"PK\x03\x04") || bytes.starts_with(b"PK\x05\x06");
    let old_office = bytes.starts_with(b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1");
    if zip || old_office {
        return Err(NotText::Spreadsheet);
    }
    if bytes.starts_with(b"%PDF-") {
        return Err(NotText::Pdf);
    }
    Ok(())
}

fn read(bytes: &[u8]) -> Result<(String, Encoding), NotText> {
    if let Some((coder, mark)) = Coder::for_bom(bytes) {
        let text =
            exactly(coder, &bytes[mark..]).ok_or_else(|| unreadable(coder, &bytes[mark..]))?;
        let utf8 = coder == encoding_rs::UTF_8;
        return Ok((
            text,
            if utf8 {
                Encoding::Utf8
            } else {
                Encoding::Utf16
            },
        ));
    }
    if let Some(coder) = unmarked_utf16(bytes) {
        let text = exactly(coder, bytes).ok_or(NotText::Binary)?;
        return Ok((text, Encoding::Utf16));
    }
    if let Ok(text) = str::from_utf8(bytes) {
        return Ok((text.to_owned(), Encoding::Utf8));
    }
    // Mostly good UTF-8 with a broken place is not another encoding: reading it as one would
    // quietly garble every accent.
    if let Some(line) = damaged_utf8(bytes) {
        return Err(NotText::Unreadable { line });
    }
    let text = exactly(WINDOWS_1252, bytes).ok_or(NotText::Binary)?;
    // Five bytes mean nothing in Windows-1252 and come out as C1 controls.
    if let Some(at) = text.find(|c| matches!(c, '\u{80}'..='\u{9f}')) {
        return Err(NotText::Unreadable {
            line: line_at(&text[..at]),
        });
    }
    Ok((text, Encoding::Windows1252))
}

fn exactly(coder: &'static Coder, bytes: &[u8]) -> Option<String> {
    let text = coder.decode_without_bom_handling_and_without_replacement(bytes)?;
    Some(text.into_owned())
}

fn unreadable(coder: &'static Coder, bytes: &[u8]) -> NotText {
    let (text, _) = coder.decode_without_bom_handling(bytes);
    let at = text.find('\u{fffd}').unwrap_or(0);
    NotText::Unreadable {
        line: line_at(&text[..at]),
    }
}

/// UTF-16 without a mark shows in a table of mostly plain letters: every second byte is zero.
fn unmarked_utf16(bytes: &[u8]) -> Option<&'static Coder> {
    if !bytes.len().is_multiple_of(2) {
        return None;
    }
    let pairs = &bytes[..bytes.len().min(4096)];
    let zeros = |from: usize| {
        pairs
            .iter()
            .skip(from)
            .step_by(2)
            .filter(|b| **b == 0)
            .count()
    };
    let (first, second, enough) = (zeros(0), zeros(1), pairs.len() / 4);
    match (first, second) {
        (0, second) if second > enough => Some(UTF_16LE),
        (first, 0) if first > enough => Some(UTF_16BE),
        _ => None,
    }
}

/// The line of the first broken place, if most of what is beyond plain letters is good UTF-8.
fn damaged_utf8(bytes: &[u8]) -> Option<usize> {
    let mut good = 0;
    let mut broken = 0;
    let mut line = 1;
    let mut first_broken = None;
    for chunk in bytes.utf8_chunks() {
        good += chunk.valid().chars().filter(|c| !c.is_ascii()).count();
        line += chunk.valid().matches('\n').count();
        if !chunk.invalid().is_empty() {
            broken += 1;
            first_broken.get_or_insert(line);
        }
    }
    first_broken.filter(|_| good > broken)
}

fn line_at(before: &str) -> usize {
    before.matches('\n').count() + 1
}

/// Control characters no table holds. The old end-of-file mark (0x1A) and form feeds do occur.
fn is_binary(c: char) -> bool {
    c.is_ascii_control() && !matches!(c, '\t' | '\n' | '\r' | '\u{b}' | '\u{c}' | '\u{1a}')
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[track_caller]
    fn reads(bytes: &[u8], text: &str, encoding: Encoding) {
        assert_eq!(
            decode(bytes),
            Ok(Decoded {
                text: text.to_owned(),
                encoding
            })
        );
    }

    fn utf16(text: &str, bytes: impl Fn(u16) -> [u8; 2]) -> Vec<u8> {
        text.encode_utf16().flat_map(bytes).collect()
    }

    #[test]
    fn every_usual_encoding_is_read() {
        let text = "Name,Qty\r\nÉlan – 6 µm,4\r\n";
        reads(text.as_bytes(), text, Encoding::Utf8);
        reads(
            &[b"\xef\xbb\xbf", text.as_bytes()].concat(),
            text,
            Encoding::Utf8,
        );
        let little = utf16(text, u16::to_le_bytes);
        let big = utf16(text, u16::to_be_bytes);
        reads(&[b"\xff\xfe", &little[..]].concat(), text, Encoding::Utf16);
        reads(&[b"\xfe\xff", &big[..]].concat(), text, Encoding::Utf16);
        // Without a mark only where every high byte is zero, so without the dash.
        let plain = "Name,Qty\r\nÉlan,4\r\n";
        reads(&utf16(plain, u16::to_le_bytes), plain, Encoding::Utf16);
        reads(&utf16(plain, u16::to_be_bytes), plain, Encoding::Utf16);
        reads(
            b"Name,Qty\r\n\xc9lan \x96 6 \xb5m,4\r\n",
            text,
            Encoding::Windows1252,
        );
    }

    #[test]
    fn what_is_not_text_is_refused_with_what_to_do() {
        let refused = |bytes: &[u8]| decode(bytes).expect_err("this is no text");
        assert_eq!(refused(b""), NotText::Empty);
        assert_eq!(refused(b"\xef\xbb\xbf \r\n"), NotText::Empty);
        assert_eq!(refused(b"PK\x03\x04\x14\x00\x06\x00"), NotText::Spreadsheet);
        assert!(
            refused(b"PK\x03\x04")
                .to_string()
                .contains("save it as CSV")
        );
        assert_eq!(
            refused(b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1\x00"),
            NotText::Spreadsheet
        );
        assert_eq!(refused(b"%PDF-1.7\n"), NotText::Pdf);
        assert_eq!(
            refused(b"\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR"),
            NotText::Binary
        );
        assert_eq!(refused(b"Name,Qty\nPeg\0,4\n"), NotText::Binary);
        assert_eq!(refused(b"Name,Qty\nPeg\x01,4\n"), NotText::Binary);
        assert_eq!(refused(&vec![b'a'; LARGEST + 1]), NotText::TooLarge);
        assert!(decode(&vec![b'a'; LARGEST]).is_ok());
    }

    #[test]
    fn a_list_of_part_numbers_beginning_with_pk_is_text() {
        reads(b"PK,Qty\nPK1,4\n", "PK,Qty\nPK1,4\n", Encoding::Utf8);
    }

    #[test]
    fn a_broken_place_is_named_by_its_line() {
        let mut damaged = "Name\nÉlan\nMühle\nGröße ".as_bytes().to_vec();
        damaged.push(0xc3);
        assert_eq!(decode(&damaged), Err(NotText::Unreadable { line: 4 }));
        assert_eq!(
            decode(b"Name\nfa\x8dade\n"),
            Err(NotText::Unreadable { line: 2 })
        );
        assert_eq!(
            decode(b"\xff\xfea\x00\n\x00\x00\xd8"),
            Err(NotText::Unreadable { line: 2 })
        );
    }

    proptest! {
        #[test]
        fn any_bytes_are_read_or_refused(bytes in prop::collection::vec(any::<u8>(), 0..200)) {
            if let Ok(decoded) = decode(&bytes) {
                prop_assert!(!decoded.text.contains('\0'));
            }
        }

        #[test]
        fn any_text_comes_back(text in "[a-zA-Z0-9é→漢,;\\n\"]{1,40}") {
            prop_assume!(!text.trim().is_empty());
            prop_assert_eq!(decode(text.as_bytes()).map(|d| d.text), Ok(text.clone()));
            let marked = utf16(&format!("\u{feff}{text}"), u16::to_le_bytes);
            prop_assert_eq!(decode(&marked).map(|d| d.text), Ok(text));
        }
    }
}
