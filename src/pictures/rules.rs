//! Which pictures are taken, and what has to be said about them.

use std::fmt;

use crate::clock::Day;

/// A picture may be so large when it is sent.
pub const MOST_BYTES: usize = 15 * 1024 * 1024;
const LONGEST_SIDE: u32 = 12_000;
const MOST_PIXELS: u64 = 50_000_000;
/// What decoding one may need. Fifty million pixels of three bytes fit.
pub const MOST_MEMORY: u64 = 192 * 1024 * 1024;
/// The longest side of what is kept.
pub const LARGE: u32 = 1600;
/// The longest side of the small one: shown at half its pixels, so that it is sharp on a phone.
pub const THUMB: u32 = 320;
/// Pictures that a team may add in a day.
pub const MOST_A_DAY: i64 = 200;

const LONGEST_WORDS: usize = 300;

/// What is decoded.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Format {
    Jpeg,
    Png,
    WebP,
}

/// Why a picture is not taken, and what to do about it.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum NotTaken {
    #[error("take a picture, or choose one")]
    None,
    #[error("two pictures came at once; take one or choose one, and add the other afterwards")]
    Two,
    #[error(
        "the picture has more than 15 MiB; take it with fewer pixels, or send a screenshot of it"
    )]
    TooManyBytes,
    #[error(
        "this is a HEIC picture, which few browsers can show; set the camera to JPEG (“most compatible”), \
         or send a screenshot of the picture"
    )]
    Heic,
    #[error("this is a {0}; take a photo, or send a JPEG, PNG or WebP picture")]
    Other(&'static str),
    #[error("this is no picture that can be read here; send a JPEG, PNG or WebP picture")]
    Unknown,
    #[error(
        "the picture measures {width} × {height} pixels, which is too much; at most 12,000 on a side and \
         50 million in all"
    )]
    TooManyPixels { width: u32, height: u32 },
    #[error("the picture needs too much memory to be opened; save it smaller, as a plain JPEG")]
    TooMuchMemory,
    #[error("the picture is damaged or did not arrive whole; send it again, or take another one")]
    Damaged,
}

/// What a file is by its first bytes, whatever it is called.
pub fn format_of(bytes: &[u8]) -> Result<Format, NotTaken> {
    // ISO base media: the brand stands behind "ftyp".
    if bytes.get(4..8) == Some(b"ftyp") {
        return Err(match bytes.get(8..12) {
            Some(b"avif" | b"avis") => NotTaken::Other("AVIF picture"),
            Some(b"heic" | b"heix" | b"heim" | b"heis" | b"hevc" | b"mif1" | b"msf1") => {
                NotTaken::Heic
            }
            _ => NotTaken::Other("film"),
        });
    }
    if bytes.starts_with(b"RIFF") && bytes.get(8..12) == Some(b"WEBP") {
        return Ok(Format::WebP);
    }
    let begins = |with: &[u8]| bytes.starts_with(with);
    if bytes.is_empty() {
        Err(NotTaken::None)
    } else if begins(&[0xff, 0xd8, 0xff]) {
        Ok(Format::Jpeg)
    } else if begins(b"\x89PNG\r\n\x1a\n") {
        Ok(Format::Png)
    } else if begins(b"GIF8") {
        Err(NotTaken::Other("GIF"))
    } else if begins(b"BM") {
        Err(NotTaken::Other("BMP picture"))
    } else if begins(b"II*\0") || begins(b"MM\0*") {
        Err(NotTaken::Other("TIFF or raw picture"))
    } else if begins(b"%PDF-") {
        Err(NotTaken::Other("PDF"))
    } else if is_svg(bytes) {
        Err(NotTaken::Other("drawing (SVG)"))
    } else {
        Err(NotTaken::Unknown)
    }
}

fn is_svg(bytes: &[u8]) -> bool {
    let start = String::from_utf8_lossy(&bytes[..bytes.len().min(1024)]).to_lowercase();
    start.contains("<svg") || start.trim_start_matches('\u{feff}').starts_with("<?xml")
}

/// What the header of a picture declares.
#[derive(Debug, Clone, Copy)]
pub struct Declared {
    pub width: u32,
    pub height: u32,
    /// Bytes of all pixels as they will be decoded.
    pub decoded: u64,
    /// How many times that is needed while decoding.
    pub copies: u64,
}

/// Asked before a single pixel is decoded.
pub fn fits(declared: Declared) -> Result<(), NotTaken> {
    let Declared { width, height, .. } = declared;
    if width > LONGEST_SIDE
        || height > LONGEST_SIDE
        || u64::from(width) * u64::from(height) > MOST_PIXELS
    {
        return Err(NotTaken::TooManyPixels { width, height });
    }
    if declared.decoded.saturating_mul(declared.copies) > MOST_MEMORY {
        return Err(NotTaken::TooMuchMemory);
    }
    Ok(())
}

/// The shape of a JPEG (ISO/IEC 10918-1, annex B), read without decoding it.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct JpegShape {
    /// All coefficients must be held at once.
    pub is_progressive: bool,
    /// It comes to its end marker. Decoders fill up one that does not with grey.
    pub is_whole: bool,
}

pub fn jpeg_shape(bytes: &[u8]) -> JpegShape {
    let mut shape = JpegShape::default();
    let mut at = 2;
    while let Some(&[first, marker]) = bytes.get(at..at + 2) {
        if first != 0xff {
            return shape;
        }
        at += 2;
        match marker {
            // A fill byte.
            0xff => at -= 1,
            0xd9 => {
                shape.is_whole = true;
                return shape;
            }
            0x01 | 0xd0..=0xd8 => {}
            _ => {
                let Some(&[high, low]) = bytes.get(at..at + 2) else {
                    return shape;
                };
                at += usize::from(u16::from_be_bytes([high, low])).max(2);
                shape.is_progressive |= matches!(marker, 0xc2 | 0xc6 | 0xca | 0xce);
                if marker == 0xda {
                    at = end_of_scan(bytes, at);
                }
            }
        }
    }
    shape
}

/// Where the next marker stands behind coded data: 0xff followed by neither 0 nor a restart.
fn end_of_scan(bytes: &[u8], from: usize) -> usize {
    bytes
        .get(from..)
        .and_then(|rest| {
            rest.windows(2)
                .position(|pair| pair[0] == 0xff && !matches!(pair[1], 0 | 0xd0..=0xd7 | 0xff))
        })
        .map_or(bytes.len(), |found| from + found)
}

/// Why what was said about a picture is not enough.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum Refused {
    #[error("say in a few words what is to be seen; people who cannot see the picture hear them")]
    NoWords,
    #[error("at most 300 characters")]
    ManyWords,
    #[error("a layer is a number from 1 (at the bottom) to 99; leave it empty for the whole")]
    NoLayer,
    #[error("give the day as a date")]
    NoDay,
    #[error("this day is still to come")]
    Future,
    #[error("choose the team whose picture it is")]
    NoTeam,
    #[error("the picture to be replaced is no longer shown")]
    NotShown,
    #[error("{MOST_A_DAY} pictures were added today; go on tomorrow")]
    Enough,
    #[error("this picture was erased for good")]
    Erased,
    #[error("remove it first; what is shown is not erased")]
    StillShown,
    #[error("somebody else changed what is said about it; look at the new words below")]
    ChangedMeanwhile,
}

/// What is said about a picture, as it was typed.
#[derive(Debug, Clone, Default)]
pub struct Said {
    pub words: String,
    pub taken_on: String,
    pub layer: String,
}

/// The same, understood.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Caption {
    pub words: String,
    pub taken_on: Day,
    pub layer: Option<i64>,
}

pub type Wrongs = Vec<(&'static str, Refused)>;

pub fn caption(said: &Said, today: Day) -> Result<Caption, Wrongs> {
    let mut wrongs = Vec::new();
    let words = said.words.split_whitespace().collect::<Vec<_>>().join(" ");
    if words.is_empty() {
        wrongs.push(("words", Refused::NoWords));
    } else if words.chars().count() > LONGEST_WORDS {
        wrongs.push(("words", Refused::ManyWords));
    }
    let taken_on = said.taken_on.trim().parse::<Day>();
    match taken_on {
        Err(_) => wrongs.push(("taken_on", Refused::NoDay)),
        Ok(day) if day > today => wrongs.push(("taken_on", Refused::Future)),
        Ok(_) => {}
    }
    let typed = said.layer.trim();
    let layer = typed
        .parse::<i64>()
        .ok()
        .filter(|layer| (1..=99).contains(layer));
    if layer.is_none() && !typed.is_empty() {
        wrongs.push(("layer", Refused::NoLayer));
    }
    match taken_on {
        Ok(taken_on) if wrongs.is_empty() => Ok(Caption {
            words,
            taken_on,
            layer,
        }),
        _ => Err(wrongs),
    }
}

/// What was done with a picture.
#[derive(Debug, Clone, Copy, PartialEq, Eq, sqlx::Type)]
#[sqlx(rename_all = "lowercase")]
pub enum Act {
    Added,
    Described,
    #[sqlx(rename = "put first")]
    PutFirst,
    Removed,
    Replaced,
    #[sqlx(rename = "brought back")]
    BroughtBack,
    Erased,
}

impl Act {
    pub const ALL: [Act; 7] = [
        Act::Added,
        Act::Described,
        Act::PutFirst,
        Act::Removed,
        Act::Replaced,
        Act::BroughtBack,
        Act::Erased,
    ];

    pub fn word(self) -> &'static str {
        match self {
            Act::Added => "added",
            Act::Described => "described",
            Act::PutFirst => "put first",
            Act::Removed => "removed",
            Act::Replaced => "replaced",
            Act::BroughtBack => "brought back",
            Act::Erased => "erased",
        }
    }
}

impl fmt::Display for Act {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.word())
    }
}

#[cfg(test)]
#[path = "rules_tests.rs"]
mod tests;
