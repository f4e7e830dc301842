//! Archives and workbooks made by hand, honest ones and ones that lie.

#![allow(dead_code)]

use std::io::Write;

use flate2::write::DeflateEncoder;
use flate2::{Compression, Crc};

/// One entry of an archive, and what the archive says about it.
#[derive(Clone)]
pub struct Entry {
    pub name: String,
    pub packed: Vec<u8>,
    pub unpacked: u32,
    pub crc: u32,
    pub method: u16,
    pub flags: u16,
    /// Sizes stand in the form for large archives, as given.
    pub large: Option<[u64; 2]>,
}

impl Entry {
    pub fn new(name: &str, content: impl AsRef<[u8]>) -> Self {
        let content = content.as_ref();
        let mut crc = Crc::new();
        crc.update(content);
        let mut encoder = DeflateEncoder::new(Vec::new(), Compression::default());
        encoder.write_all(content).expect("memory takes it");
        Self {
            name: name.to_owned(),
            packed: encoder.finish().expect("memory takes it"),
            unpacked: content.len() as u32,
            crc: crc.sum(),
            method: 8,
            flags: 0,
            large: None,
        }
    }
}

/// An archive of these entries (PKWARE APPNOTE 4.3).
pub fn archive(entries: &[Entry]) -> Vec<u8> {
    let mut bytes = Vec::new();
    let mut list = Vec::new();
    for entry in entries {
        let starts = bytes.len() as u32;
        let (packed, unpacked) = match entry.large {
            Some(_) => (u32::MAX, u32::MAX),
            None => (entry.packed.len() as u32, entry.unpacked),
        };
        let mut extra = Vec::new();
        if let Some([unpacked, packed]) = entry.large {
            extra.extend([1_u16.to_le_bytes(), 16_u16.to_le_bytes()].concat());
            extra.extend([unpacked.to_le_bytes(), packed.to_le_bytes()].concat());
        }
        let mut said = Vec::new();
        said.extend(
            [20_u16, entry.flags, entry.method, 0, 0x21]
                .map(u16::to_le_bytes)
                .concat(),
        );
        said.extend([entry.crc, packed, unpacked].map(u32::to_le_bytes).concat());
        said.extend((entry.name.len() as u16).to_le_bytes());
        said.extend((extra.len() as u16).to_le_bytes());
        bytes.extend(b"PK\x03\x04");
        bytes.extend(&said);
        bytes.extend(entry.name.as_bytes());
        bytes.extend(&extra);
        bytes.extend(&entry.packed);
        list.extend(b"PK\x01\x02");
        list.extend(20_u16.to_le_bytes());
        list.extend(&said);
        list.extend([0; 10]);
        list.extend(starts.to_le_bytes());
        list.extend(entry.name.as_bytes());
        list.extend(&extra);
    }
    let starts = bytes.len() as u32;
    bytes.extend(&list);
    bytes.extend(b"PK\x05\x06\0\0\0\0");
    bytes.extend([entries.len() as u16; 2].map(u16::to_le_bytes).concat());
    bytes.extend((list.len() as u32).to_le_bytes());
    bytes.extend(starts.to_le_bytes());
    bytes.extend([0, 0]);
    bytes
}

/// The parts of an .xlsx file, before they are packed.
#[derive(Clone)]
pub struct Book {
    /// Name, attributes beside it, and what stands inside `worksheet`.
    pub sheets: Vec<(String, String, String)>,
    /// What stands inside `sst`.
    pub texts: String,
    /// What stands inside `styleSheet`.
    pub styles: String,
    /// What stands before the first tag of the workbook part.
    pub before: String,
    /// What stands inside `workbook` before the sheets.
    pub settings: String,
}

impl Book {
    pub fn of(sheets: &[(&str, &str)]) -> Self {
        let sheets = sheets.iter();
        Self {
            sheets: sheets
                .map(|(name, inside)| ((*name).to_owned(), String::new(), (*inside).to_owned()))
                .collect(),
            texts: String::new(),
            styles: String::new(),
            before: String::new(),
            settings: String::new(),
        }
    }

    pub fn entries(&self) -> Vec<Entry> {
        const KIND: &str = "http://schemas.openxmlformats.org/officeDocument/2006/relationships";
        let relation = |id: &str, kind: &str, target: &str| {
            format!("<Relationship Id=\"{id}\" Type=\"{KIND}/{kind}\" Target=\"{target}\"/>")
        };
        let mut listed = String::new();
        let mut relations = relation("t", "sharedStrings", "sharedStrings.xml");
        relations.push_str(&relation("s", "styles", "/xl/styles.xml"));
        let mut entries = Vec::new();
        for (at, (name, more, inside)) in self.sheets.iter().enumerate() {
            listed.push_str(&format!(
                "<sheet name=\"{name}\" sheetId=\"{at}\" r:id=\"r{at}\" {more}/>"
            ));
            let target = format!("worksheets/sheet{at}.xml");
            relations.push_str(&relation(&format!("r{at}"), "worksheet", &target));
            entries.push(Entry::new(
                &format!("xl/{target}"),
                format!("<?xml version=\"1.0\"?><worksheet>{inside}</worksheet>"),
            ));
        }
        let top = relation("w", "officeDocument", "xl/workbook.xml");
        entries.extend([
            Entry::new("[Content_Types].xml", "<Types/>"),
            Entry::new(
                "_rels/.rels",
                format!("<Relationships>{top}</Relationships>"),
            ),
            Entry::new(
                "xl/workbook.xml",
                format!(
                    "{}<workbook xmlns:r=\"r\">{}<sheets>{listed}</sheets></workbook>",
                    self.before, self.settings
                ),
            ),
            Entry::new(
                "xl/_rels/workbook.xml.rels",
                format!("<Relationships>{relations}</Relationships>"),
            ),
            Entry::new("xl/sharedStrings.xml", format!("<sst>{}</sst>", self.texts)),
            Entry::new(
                "xl/styles.xml",
                format!("<styleSheet>{}</styleSheet>", self.styles),
            ),
        ]);
        entries
    }

    pub fn bytes(&self) -> Vec<u8> {
        archive(&self.entries())
    }
}

/// Rows of plain texts and numbers, from cell A1, inside `worksheet`.
pub fn rows(rows: &[&[&str]]) -> String {
    let mut inside = String::from("<sheetData>");
    for (line, row) in (1..).zip(rows) {
        inside.push_str(&format!("<row r=\"{line}\">"));
        for (letter, text) in ('A'..).zip(*row) {
            let cell = if text.parse::<f64>().is_ok() {
                format!("<c r=\"{letter}{line}\"><v>{text}</v></c>")
            } else {
                format!("<c r=\"{letter}{line}\" t=\"inlineStr\"><is><t>{text}</t></is></c>")
            };
            inside.push_str(&cell);
        }
        inside.push_str("</row>");
    }
    inside.push_str("</sheetData>");
    inside
}

/// An .ods file whose `office:spreadsheet` holds this.
pub fn document(inside: &str) -> Vec<Entry> {
    let mut kind = Entry::new("mimetype", "");
    let text = b"application/vnd.oasis.opendocument.spreadsheet";
    let mut crc = Crc::new();
    crc.update(text);
    kind.packed = text.to_vec();
    kind.unpacked = text.len() as u32;
    kind.crc = crc.sum();
    kind.method = 0;
    vec![
        kind,
        Entry::new("META-INF/manifest.xml", "<manifest:manifest/>"),
        Entry::new(
            "content.xml",
            format!(
                "<?xml version=\"1.0\"?><office:document-content><office:body><office:spreadsheet>\
                 {inside}</office:spreadsheet></office:body></office:document-content>"
            ),
        ),
    ]
}
