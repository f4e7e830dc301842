//! The archive a workbook is: every entry is unpacked and counted here, before anything reads it.
//!
//! What an archive says about itself is not believed. Entries are unpacked one after the other against
//! one allowance, all of them, wanted or not; only those the reader may want are kept. Names are compared,
//! never used as paths.

use std::collections::BTreeMap;
use std::io::Read;

use flate2::Crc;
use flate2::read::DeflateDecoder;

use super::{MOST_ENTRIES, MOST_TIMES, MOST_UNPACKED, NotAWorkbook};

/// Entries smaller than this are never called too tightly packed.
const SMALL: u64 = 1024 * 1024;
const LONGEST_NAME: usize = 255;

const END: &[u8] = b"PK\x05\x06";
const END_LENGTH: usize = 22;
const LISTED: &[u8] = b"PK\x01\x02";
const LISTED_LENGTH: usize = 46;
const LOCAL: &[u8] = b"PK\x03\x04";
const LOCAL_LENGTH: usize = 30;

/// The entries of an archive, unpacked.
#[derive(Debug)]
pub struct Archive {
    entries: BTreeMap<String, Vec<u8>>,
    /// How many bytes all entries came to, those that were not kept included.
    pub unpacked: u64,
}

impl Archive {
    pub fn entry(&self, name: &str) -> Option<&[u8]> {
        self.entries.get(name).map(Vec::as_slice)
    }
}

/// What the list at the end of the archive says about one entry.
struct Listed<'a> {
    name: &'a str,
    is_locked: bool,
    method: u16,
    crc: u32,
    packed: u64,
    unpacked: u64,
    starts: u64,
}

/// Unpacks an archive within the limits. Other entries than XML and the note of the kind of file are
/// counted and thrown away.
pub fn open(bytes: &[u8]) -> Result<Archive, NotAWorkbook> {
    let mut archive = Archive {
        entries: BTreeMap::new(),
        unpacked: 0,
    };
    let mut packed = 0_u64;
    for listed in list(bytes)? {
        // Entries that share their bytes would multiply what the file holds.
        packed = packed.saturating_add(listed.packed);
        if packed > bytes.len() as u64 {
            return Err(NotAWorkbook::Damaged);
        }
        if archive.entries.contains_key(listed.name) {
            return Err(NotAWorkbook::TwiceNamed {
                name: shown(listed.name),
            });
        }
        let content = unpack(bytes, &listed, &mut archive.unpacked)?;
        archive.entries.insert(listed.name.to_owned(), content);
    }
    Ok(archive)
}

fn list(bytes: &[u8]) -> Result<Vec<Listed<'_>>, NotAWorkbook> {
    // A comment of up to 64 KiB may follow the end.
    let from = bytes.len().saturating_sub(END_LENGTH + 0xffff);
    let end = bytes[from..]
        .windows(END.len())
        .rposition(|window| window == END)
        .map(|at| from + at)
        .ok_or(NotAWorkbook::Damaged)?;
    let entries = usize::from(u16_at(bytes, end + 10)?);
    if entries > MOST_ENTRIES {
        return Err(NotAWorkbook::TooManyEntries);
    }
    let mut at = u32_at(bytes, end + 16)? as usize;
    let mut all = Vec::with_capacity(entries);
    for _ in 0..entries {
        let (listed, next) = listed(bytes, at)?;
        all.push(listed);
        at = next;
    }
    Ok(all)
}

fn listed(bytes: &[u8], at: usize) -> Result<(Listed<'_>, usize), NotAWorkbook> {
    if slice(bytes, at, 4)? != LISTED {
        return Err(NotAWorkbook::Damaged);
    }
    let flags = u16_at(bytes, at + 8)?;
    let name_length = usize::from(u16_at(bytes, at + 28)?);
    let extra_length = usize::from(u16_at(bytes, at + 30)?);
    let comment_length = usize::from(u16_at(bytes, at + 32)?);
    let name = slice(bytes, at + LISTED_LENGTH, name_length)?;
    let name = str::from_utf8(name).map_err(|_| NotAWorkbook::OddName {
        name: shown(&String::from_utf8_lossy(name)),
    })?;
    check_name(name)?;
    let extra = slice(bytes, at + LISTED_LENGTH + name_length, extra_length)?;
    let mut listed = Listed {
        name,
        is_locked: flags & 1 != 0,
        method: u16_at(bytes, at + 10)?,
        crc: u32_at(bytes, at + 16)?,
        packed: u32_at(bytes, at + 20)?.into(),
        unpacked: u32_at(bytes, at + 24)?.into(),
        starts: u32_at(bytes, at + 42)?.into(),
    };
    large_sizes(extra, &mut listed)?;
    let next = at + LISTED_LENGTH + name_length + extra_length + comment_length;
    Ok((listed, next))
}

/// Some programs write all sizes in the form meant for large archives (APPNOTE 4.5.3): those that are all
/// ones stand in the extra field, in this order.
fn large_sizes(mut extra: &[u8], listed: &mut Listed<'_>) -> Result<(), NotAWorkbook> {
    const ALL_ONES: u64 = u32::MAX as u64;
    let mut wanted: Vec<&mut u64> = Vec::new();
    for size in [&mut listed.unpacked, &mut listed.packed, &mut listed.starts] {
        if *size == ALL_ONES {
            wanted.push(size);
        }
    }
    if wanted.is_empty() {
        return Ok(());
    }
    while extra.len() >= 4 {
        let length = usize::from(u16_at(extra, 2)?);
        let field = slice(extra, 4, length)?;
        if u16_at(extra, 0)? == 1 {
            for (nth, size) in wanted.into_iter().enumerate() {
                let eight = slice(field, nth * 8, 8)?;
                *size = u64::from_le_bytes(eight.try_into().map_err(|_| NotAWorkbook::Damaged)?);
            }
            return Ok(());
        }
        extra = &extra[4 + length..];
    }
    Err(NotAWorkbook::Damaged)
}

fn check_name(name: &str) -> Result<(), NotAWorkbook> {
    let odd = name.is_empty()
        || name.len() > LONGEST_NAME
        || name.starts_with('/')
        || name.contains(['\\', ':'])
        || name.chars().any(char::is_control)
        || name.split('/').any(|step| step == "..");
    if odd {
        return Err(NotAWorkbook::OddName { name: shown(name) });
    }
    Ok(())
}

fn unpack(
    bytes: &[u8],
    listed: &Listed<'_>,
    all_unpacked: &mut u64,
) -> Result<Vec<u8>, NotAWorkbook> {
    if listed.is_locked {
        return Err(NotAWorkbook::Locked);
    }
    let starts = usize::try_from(listed.starts).map_err(|_| NotAWorkbook::Damaged)?;
    let packed = usize::try_from(listed.packed).map_err(|_| NotAWorkbook::Damaged)?;
    if slice(bytes, starts, 4)? != LOCAL {
        return Err(NotAWorkbook::Damaged);
    }
    let name = usize::from(u16_at(bytes, starts.saturating_add(26))?);
    let extra = usize::from(u16_at(bytes, starts.saturating_add(28))?);
    let packed = slice(bytes, starts + LOCAL_LENGTH + name + extra, packed)?;
    match listed.method {
        0 => count(packed, listed, all_unpacked),
        8 => count(DeflateDecoder::new(packed), listed, all_unpacked),
        _ => Err(NotAWorkbook::OddPacking),
    }
}

/// Reads an entry to its end, and stops as soon as a limit is passed.
fn count(
    mut reader: impl Read,
    listed: &Listed<'_>,
    all_unpacked: &mut u64,
) -> Result<Vec<u8>, NotAWorkbook> {
    let is_kept = is_kept(listed.name);
    let mut content = Vec::new();
    let mut crc = Crc::new();
    let mut found = 0_u64;
    let mut buffer = [0; 16 * 1024];
    loop {
        let read = reader
            .read(&mut buffer)
            .map_err(|_| NotAWorkbook::Damaged)?;
        if read == 0 {
            break;
        }
        found += read as u64;
        *all_unpacked += read as u64;
        if *all_unpacked > MOST_UNPACKED {
            return Err(NotAWorkbook::UnpacksTooLarge);
        }
        if found > SMALL && found / MOST_TIMES > listed.packed {
            return Err(NotAWorkbook::PackedTooTightly {
                name: shown(listed.name),
            });
        }
        crc.update(&buffer[..read]);
        if is_kept {
            content.extend_from_slice(&buffer[..read]);
        }
    }
    if found != listed.unpacked || crc.sum() != listed.crc {
        return Err(NotAWorkbook::Damaged);
    }
    Ok(content)
}

fn is_kept(name: &str) -> bool {
    [".xml", ".rels"].iter().any(|end| name.ends_with(end)) || name == "mimetype"
}

/// A name as it is quoted in a sentence.
fn shown(name: &str) -> String {
    let plain = |c: char| if c.is_control() { '?' } else { c };
    name.chars().map(plain).take(60).collect()
}

fn slice(bytes: &[u8], at: usize, length: usize) -> Result<&[u8], NotAWorkbook> {
    at.checked_add(length)
        .and_then(|end| bytes.get(at..end))
        .ok_or(NotAWorkbook::Damaged)
}

fn u16_at(bytes: &[u8], at: usize) -> Result<u16, NotAWorkbook> {
    let two = slice(bytes, at, 2)?;
    Ok(u16::from_le_bytes([two[0], two[1]]))
}

fn u32_at(bytes: &[u8], at: usize) -> Result<u32, NotAWorkbook> {
    let four = slice(bytes, at, 4)?;
    Ok(u32::from_le_bytes([four[0], four[1], four[2], four[3]]))
}
