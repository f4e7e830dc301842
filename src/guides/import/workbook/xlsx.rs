//! Reading .xlsx (ECMA-376, Office Open XML: spreadsheets).
//!
//! Which part of the archive is what is looked up in the relationships, one step deep each time, so that
//! none can lead in a circle.

use std::collections::BTreeMap;

use super::numbers::{self, Format};
use super::sheet::{Builder, Place};
use super::texts::{SharedText, rich_text, shared_texts, text, unescape};
use super::xml::{Document, Step, Tag};
use super::{MOST_SHEETS, NotAWorkbook, Reading, Sheet};
use crate::guides::import::table::{Mark, NotATable};

/// The last row and column any sheet has.
const LAST_LINE: u32 = 1_048_576;
const LAST_COLUMN: usize = 16_384;
/// What stands in the cell of a formula that came to nothing known.
const UNKNOWN: &str = "(formula)";

/// The most styles of cells any workbook has.
const MOST_FORMATS: usize = 65_536;

/// What the sheets of a workbook share.
struct Book {
    strings: Vec<SharedText>,
    formats: Vec<Format>,
    from_1904: bool,
}

struct Listed {
    name: String,
    is_hidden: bool,
    relation: String,
}

struct Relation {
    kind: String,
    target: String,
}

pub fn read(reading: &mut Reading<'_>) -> Result<Vec<Sheet>, NotAWorkbook> {
    let top = relations(reading, "_rels/.rels", "")?;
    let workbook = target(&top, "officeDocument").ok_or(NotAWorkbook::NoWorkbook)?;
    if workbook.ends_with(".bin") {
        return Err(NotAWorkbook::OtherKind);
    }
    let folder = workbook.rsplit_once('/').map_or("", |(folder, _)| folder);
    let file = workbook.rsplit('/').next().unwrap_or_default();
    let beside = if folder.is_empty() {
        format!("_rels/{file}.rels")
    } else {
        format!("{folder}/_rels/{file}.rels")
    };
    let parts = relations(reading, &beside, folder)?;
    let (listed, from_1904) = workbook_part(reading, &workbook)?;
    let mut book = Book {
        strings: Vec::new(),
        formats: Vec::new(),
        from_1904,
    };
    if let Some(part) = target(&parts, "sharedStrings") {
        let bytes = self::part(reading, &part)?;
        book.strings = shared_texts(bytes, &mut reading.allowance)?;
    }
    if let Some(part) = target(&parts, "styles") {
        book.formats = formats(reading, &part)?;
    }
    let mut sheets = Vec::with_capacity(listed.len());
    for (at, one) in listed.iter().enumerate() {
        let mut builder = Builder::new(&one.name, one.is_hidden);
        match parts.get(&one.relation) {
            Some(part) if part.kind != "worksheet" => builder.refuse(NotATable::NoHeader),
            Some(part) if reading.wants(at) => sheet(reading, &book, &part.target, &mut builder)?,
            Some(_) => {}
            None => return Err(NotAWorkbook::Damaged),
        }
        sheets.push(builder.finish(&mut reading.counted, &mut reading.allowance)?);
    }
    Ok(sheets)
}

fn part<'a>(reading: &Reading<'a>, name: &str) -> Result<&'a [u8], NotAWorkbook> {
    reading.archive.entry(name).ok_or(NotAWorkbook::Damaged)
}

/// The relationships of a part by their id. Those that lead out of the file are left out.
fn relations(
    reading: &mut Reading<'_>,
    name: &str,
    folder: &str,
) -> Result<BTreeMap<String, Relation>, NotAWorkbook> {
    let bytes = reading
        .archive
        .entry(name)
        .ok_or(NotAWorkbook::NoWorkbook)?;
    let mut document = Document::new(bytes, &mut reading.allowance)?;
    let mut all = BTreeMap::new();
    loop {
        match document.step()? {
            Step::End => return Ok(all),
            Step::Open(tag) if tag.is("Relationship") => {
                let (Some(id), Some(kind), Some(target)) = (
                    tag.attribute("Id"),
                    tag.attribute("Type"),
                    tag.attribute("Target"),
                ) else {
                    continue;
                };
                if tag.attribute("TargetMode").as_deref() == Some("External") {
                    continue;
                }
                let kind = kind.rsplit('/').next().unwrap_or_default().to_owned();
                let target = resolve(folder, &target);
                all.insert(id, Relation { kind, target });
            }
            _ => {}
        }
    }
}

fn target(relations: &BTreeMap<String, Relation>, kind: &str) -> Option<String> {
    let mut found = relations.values().filter(|relation| relation.kind == kind);
    found.next().map(|relation| relation.target.clone())
}

/// The name in the archive that a target means. It is only ever compared with names there.
fn resolve(folder: &str, target: &str) -> String {
    let (from, rest) = match target.strip_prefix('/') {
        Some(rest) => ("", rest),
        None => (folder, target),
    };
    let mut steps: Vec<&str> = from.split('/').filter(|step| !step.is_empty()).collect();
    for step in rest.split('/') {
        match step {
            "" | "." => {}
            ".." => {
                steps.pop();
            }
            step => steps.push(step),
        }
    }
    steps.join("/")
}

fn workbook_part(
    reading: &mut Reading<'_>,
    name: &str,
) -> Result<(Vec<Listed>, bool), NotAWorkbook> {
    let bytes = part(reading, name)?;
    let mut document = Document::new(bytes, &mut reading.allowance)?;
    let mut sheets = Vec::new();
    let mut from_1904 = false;
    loop {
        match document.step()? {
            Step::End => return Ok((sheets, from_1904)),
            Step::Open(tag) if tag.is("workbookPr") => from_1904 = tag.says("date1904"),
            Step::Open(tag) if tag.is("sheet") => {
                if sheets.len() == MOST_SHEETS {
                    return Err(NotAWorkbook::TooManySheets);
                }
                sheets.push(Listed {
                    name: tag.attribute("name").unwrap_or_default(),
                    is_hidden: tag
                        .attribute("state")
                        .is_some_and(|state| state != "visible"),
                    relation: tag.attribute("id").ok_or(NotAWorkbook::Damaged)?,
                });
            }
            _ => {}
        }
    }
}

/// The number formats of the cell styles, in the order in which cells refer to them.
fn formats(reading: &mut Reading<'_>, name: &str) -> Result<Vec<Format>, NotAWorkbook> {
    let bytes = part(reading, name)?;
    let mut document = Document::new(bytes, &mut reading.allowance)?;
    let mut own: BTreeMap<u32, Format> = BTreeMap::new();
    let mut all = Vec::new();
    let mut in_cell_styles = false;
    loop {
        match document.step()? {
            Step::End => return Ok(all),
            Step::Open(tag) if tag.is("numFmt") => {
                if own.len() < MOST_FORMATS
                    && let (Some(id), Some(code)) =
                        (tag.number("numFmtId"), tag.attribute("formatCode"))
                {
                    own.insert(id, Format::read(&code));
                }
            }
            Step::Open(tag) if tag.is("cellStyleXfs") => in_cell_styles = false,
            Step::Open(tag) if tag.is("cellXfs") => in_cell_styles = true,
            Step::Open(tag) if tag.is("cellStyles") => in_cell_styles = false,
            Step::Open(tag) if tag.is("xf") && in_cell_styles => {
                if all.len() == MOST_FORMATS {
                    return Err(NotAWorkbook::TooMuchInside);
                }
                let id = tag.number("numFmtId").unwrap_or(0);
                let format = own.get(&id).cloned();
                all.push(format.unwrap_or_else(|| Format::built_in(id)));
            }
            _ => {}
        }
    }
}

fn sheet(
    reading: &mut Reading<'_>,
    book: &Book,
    name: &str,
    builder: &mut Builder,
) -> Result<(), NotAWorkbook> {
    let bytes = part(reading, name)?;
    let mut document = Document::new(bytes, &mut reading.allowance)?;
    let (mut line, mut column, mut is_hidden) = (0, 0, false);
    loop {
        match document.step()? {
            Step::End => return Ok(()),
            Step::Open(tag) if tag.is("col") && tag.says("hidden") => {
                if let (Some(from @ 1..), Some(to)) = (tag.number("min"), tag.number("max")) {
                    builder.hide_columns(from as usize - 1, (to as usize).saturating_sub(1));
                }
            }
            Step::Open(tag) if tag.is("row") => {
                line = tag.number("r").unwrap_or(line + 1);
                column = 0;
                is_hidden = tag.says("hidden");
                if !(1..=LAST_LINE).contains(&line) {
                    return Err(NotAWorkbook::Damaged);
                }
            }
            Step::Open(tag) if tag.is("c") && builder.is_wrong() => document.skip()?,
            Step::Open(tag) if tag.is("c") => {
                if let Some(reference) = tag.attribute("r") {
                    let (at, in_line) = cell_at(&reference).ok_or(NotAWorkbook::Damaged)?;
                    (column, line) = (at, in_line);
                }
                let (text, mark) = cell(&mut document, &tag, book)?;
                match text {
                    Some(text) => {
                        let place = Place {
                            line,
                            column,
                            is_hidden,
                        };
                        builder.put(&mut reading.counted, place, &text, mark)?;
                    }
                    None => builder.refuse(NotATable::CellTooLarge { line }),
                }
                column += 1;
            }
            Step::Open(tag) if tag.is("mergeCell") => {
                let reference = tag.attribute("ref").unwrap_or_default();
                let ends = reference.split_once(':');
                if let Some((from, to)) = ends
                    && let (Some((column, from)), Some((_, to))) = (cell_at(from), cell_at(to))
                {
                    builder.merge(column, from, to);
                }
            }
            _ => {}
        }
    }
}

/// Column from 0 and line from 1 of a cell such as `AB12`.
fn cell_at(reference: &str) -> Option<(usize, u32)> {
    let digits = reference.find(|c: char| c.is_ascii_digit())?;
    let (letters, line) = reference.split_at(digits);
    if letters.is_empty() || letters.len() > 3 {
        return None;
    }
    let mut column = 0;
    for letter in letters.bytes() {
        let nth = letter.to_ascii_uppercase().checked_sub(b'A')?;
        if nth > 25 {
            return None;
        }
        column = column * 26 + usize::from(nth) + 1;
    }
    let line = line.parse().ok()?;
    ((1..=LAST_LINE).contains(&line) && column <= LAST_COLUMN).then(|| (column - 1, line))
}

/// The text of a cell as people see it, none if it is too long; and what is to be said about it.
fn cell(
    document: &mut Document<'_, '_>,
    tag: &Tag<'_>,
    book: &Book,
) -> Result<(SharedText, Option<Mark>), NotAWorkbook> {
    let kind = tag.attribute("t").unwrap_or_default();
    let format = tag
        .number("s")
        .and_then(|style| book.formats.get(style as usize));
    let outside = document.depth().saturating_sub(1);
    let (mut is_formula, mut value, mut inline) = (false, None, None);
    while document.depth() > outside {
        match document.step()? {
            Step::Open(tag) if tag.is("f") => {
                is_formula = true;
                document.skip()?;
            }
            Step::Open(tag) if tag.is("v") => match text(document)? {
                Some(text) => value = Some(text),
                None => return too_long(document, outside),
            },
            Step::Open(tag) if tag.is("is") => match rich_text(document)? {
                Some(text) => inline = Some(text),
                None => return too_long(document, outside),
            },
            Step::Open(_) => document.skip()?,
            Step::End => return Err(NotAWorkbook::Damaged),
            _ => {}
        }
    }
    let formula = is_formula.then_some(Mark::Formula);
    if let Some(text) = inline {
        return Ok((Some(text), formula));
    }
    let Some(value) = value else {
        return Ok(if is_formula {
            (Some(UNKNOWN.into()), Some(Mark::NoValue))
        } else {
            (Some("".into()), None)
        });
    };
    let (text, mark): (SharedText, Option<Mark>) = match kind.as_str() {
        "s" => {
            let at: usize = value.trim().parse().map_err(|_| NotAWorkbook::Damaged)?;
            (
                book.strings.get(at).ok_or(NotAWorkbook::Damaged)?.clone(),
                None,
            )
        }
        "str" | "inlineStr" => (Some(unescape(&value).into()), None),
        "b" => {
            let word = if value.trim() == "1" { "true" } else { "false" };
            (Some(word.into()), None)
        }
        "e" => (Some(value.into()), Some(Mark::Error)),
        "d" => (Some(value.into()), Some(Mark::Date)),
        _ => match value.trim().parse::<f64>() {
            Ok(number) => {
                let plain = Format::default();
                let (text, mark) = numbers::shown(number, format.unwrap_or(&plain), book.from_1904);
                (Some(text.into()), mark)
            }
            Err(_) => (Some(value.into()), None),
        },
    };
    Ok((text, mark.or(formula)))
}

/// Goes to the end of a cell that is too long to be read.
fn too_long(
    document: &mut Document<'_, '_>,
    outside: usize,
) -> Result<(SharedText, Option<Mark>), NotAWorkbook> {
    while document.depth() > outside {
        document.step()?;
    }
    Ok((None, None))
}
