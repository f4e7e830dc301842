//! The makers of hostile files that take more than a few lines.

use crate::files::{Chance, HEAD, Makers, honest, plain, plain_document, put_in, table, unpack};
use crate::packed::{Entry, archive, document};

impl Makers {
    /// A packed mebibyte, hundreds of times, wherever it is unpacked.
    pub fn bomb(&self, chance: &mut Chance) -> (Vec<u8>, bool) {
        let times = 60 + chance.below(4000);
        let mut entries = plain().entries();
        let name = chance.of(&[
            "xl/media/image1.png",
            "xl/worksheets/sheet0.xml",
            "docProps/app.xml",
        ]);
        entries.retain(|entry| entry.name != name);
        let mut packed = self.zeros.repeat(times);
        // An empty last block ends the stream.
        packed.extend([0x03, 0x00]);
        let size = (times as u64) << 20;
        let mut bomb = Entry::new(name, "");
        bomb.packed = packed;
        bomb.unpacked = if chance.below(2) == 0 {
            100
        } else {
            size as u32
        };
        entries.insert(chance.below(entries.len()), bomb);
        (archive(&entries), true)
    }

    pub fn repeated(&self, chance: &mut Chance) -> (Vec<u8>, bool) {
        let columns = chance.of(&["1", "60", "16384", "4294967295", "99999999999999999999"]);
        let lines = chance.of(&["1", "1000", "1048576", "4294967295", "99999999999999999999"]);
        let text = chance.of(&["", "1", "<text:s text:c=\"4294967295\"/>", "Peg"]);
        let inside = format!(
            "{}<table:table><table:table-row table:number-rows-repeated=\"{lines}\"><table:table-cell \
             table:number-columns-repeated=\"{columns}\" table:number-rows-spanned=\"{lines}\">\
             <text:p>{text}</text:p></table:table-cell></table:table-row></table:table>",
            table(&[HEAD, &["Peg", "Gate", "4"]])
        );
        (archive(&document(&inside)), false)
    }

    pub fn entities(&self, chance: &mut Chance) -> (Vec<u8>, bool) {
        let mut laughs = String::from("<!DOCTYPE x [<!ENTITY a0 \"aaaaaaaaaa\">");
        for at in 1..10 {
            let before = format!("&a{};", at - 1).repeat(10);
            laughs.push_str(&format!("<!ENTITY a{at} \"{before}\">"));
        }
        laughs.push_str("]>");
        let outside = "<!DOCTYPE x [<!ENTITY a9 SYSTEM \"file:///etc/passwd\">]>".to_owned();
        let before = if chance.below(2) == 0 {
            laughs
        } else {
            outside
        };
        if chance.below(2) == 0 {
            let mut book = plain();
            book.before = before;
            return (book.bytes(), true);
        }
        let mut entries = document(&table(&[HEAD, &["&a9;", "Gate", "4"]]));
        let content = format!(
            "{before}<office:document-content>{}</office:document-content>",
            table(&[HEAD, &["&a9;", "Gate", "4"]])
        );
        entries[2] = Entry::new("content.xml", content);
        (archive(&entries), true)
    }

    pub fn relations(&self, chance: &mut Chance) -> (Vec<u8>, bool) {
        const KIND: &str = "http://x/relationships";
        let mut entries = plain().entries();
        let (part, kind) = if chance.below(2) == 0 {
            ("_rels/.rels", "officeDocument")
        } else {
            ("xl/_rels/workbook.xml.rels", "worksheet")
        };
        let deep = "../".repeat(1000);
        let target = chance.of(&[
            "_rels/.rels",
            "/xl/workbook.xml",
            "../../../etc/passwd",
            "",
            ".",
            "http://localhost/x",
            &deep,
            "xl/vbaProject.bin",
        ]);
        let mode = chance.of(&["", "TargetMode=\"External\""]);
        let content = format!(
            "<Relationships><Relationship Id=\"r0\" Type=\"{KIND}/{kind}\" Target=\"{target}\" {mode}/></Relationships>"
        );
        entries.retain(|entry| entry.name != part);
        entries.push(Entry::new(part, content));
        (archive(&entries), false)
    }

    pub fn lies(&self, chance: &mut Chance) -> (Vec<u8>, bool) {
        let mut entries = plain().entries();
        let at = chance.below(entries.len());
        let entry = &mut entries[at];
        let (unpacked, packed) = (u64::from(entry.unpacked), entry.packed.len() as u64);
        match chance.below(6) {
            0 => entry.unpacked = entry.unpacked.wrapping_add(1),
            1 => entry.unpacked = u32::MAX - 1,
            2 => entry.crc ^= 1,
            3 => entry.large = Some([unpacked, u64::MAX]),
            4 => entry.large = Some([u64::MAX, packed]),
            _ => entry.large = Some([unpacked + 1, packed]),
        }
        (archive(&entries), true)
    }

    pub fn locked(&self, chance: &mut Chance) -> (Vec<u8>, bool) {
        let bytes = match chance.below(3) {
            0 => {
                let mut entries = plain().entries();
                let at = chance.below(entries.len());
                entries[at].flags = 1;
                archive(&entries)
            }
            1 => {
                let mut entries = plain_document();
                entries[1] = Entry::new(
                    "META-INF/manifest.xml",
                    "<m:manifest><m:file-entry><m:encryption-data/></m:file-entry></m:manifest>",
                );
                archive(&entries)
            }
            _ => {
                let mut old = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1".to_vec();
                old.resize(512 + chance.below(4096), 0);
                old.extend("EncryptedPackage".encode_utf16().flat_map(u16::to_le_bytes));
                old
            }
        };
        (bytes, true)
    }

    pub fn merged(&self, chance: &mut Chance) -> (Vec<u8>, bool) {
        let count = 1000 + chance.below(30_000);
        let one = chance.of(&[
            "<mergeCell ref=\"A1:XFD1048576\"/>",
            "<mergeCell ref=\"B1:B1048576\"/>",
            "<col min=\"1\" max=\"16384\" hidden=\"1\"/>",
            "<mergeCell ref=\"A5:A1\"/>",
            "<mergeCell ref=\":\"/>",
        ]);
        let mut book = plain();
        let lines: String = (9..4000)
            .map(|line| format!("<row r=\"{line}\"><c r=\"C{line}\"><v>1</v></c></row>"))
            .collect();
        book.sheets[0].2 = put_in(&book.sheets[0].2, "", &lines) + &one.repeat(count);
        let many: String = (0..count).map(|at| format!(" a{at}=\"x\"")).collect();
        book.sheets[0].2.push_str(&format!("<x{many}/>"));
        (book.bytes(), false)
    }

    pub fn other(&self, chance: &mut Chance) -> (Vec<u8>, bool) {
        let noise: Vec<u8> = (0..chance.below(5000))
            .map(|_| chance.next() as u8)
            .collect();
        let bytes = match chance.below(6) {
            0 => archive(&[Entry::new("word/document.xml", "<w/>")]),
            1 => archive(&[]),
            2 => [b"PK\x03\x04".as_slice(), &noise].concat(),
            3 => [b"\x89PNG\r\n\x1a\n\0".as_slice(), &noise].concat(),
            4 => archive(&[Entry::new("inner.xlsx", honest())]),
            _ => {
                let mut entries = plain().entries();
                entries[0].method = chance.of(&[&1_u16, &9, &12, &14, &93, &99]).to_owned();
                archive(&entries)
            }
        };
        (bytes, true)
    }

    pub fn shared(&self, chance: &mut Chance) -> (Vec<u8>, bool) {
        if chance.below(2) == 0 {
            let mut entries = plain().entries();
            let at = chance.below(entries.len());
            let again = entries[at].clone();
            entries.push(again);
            return (archive(&entries), true);
        }
        // Every entry of the list says it starts where the first one does.
        let text = "x".repeat(200_000);
        let mut stored = Entry::new("a.xml", &text);
        stored.packed = text.into_bytes();
        stored.method = 0;
        let count = 20 + chance.below(100);
        let mut bytes = archive(std::slice::from_ref(&stored));
        let list_at = bytes.len() - 22 - 46 - stored.name.len();
        let one = bytes[list_at..bytes.len() - 22].to_vec();
        bytes.truncate(list_at);
        for at in 0..count {
            let mut one = one.clone();
            one[46] = b'a' + (at % 26) as u8;
            one[47] = b'0' + (at / 26) as u8;
            bytes.extend(one);
        }
        bytes.extend(b"PK\x05\x06\0\0\0\0");
        bytes.extend([count as u16; 2].map(u16::to_le_bytes).concat());
        bytes.extend(((count * one.len()) as u32).to_le_bytes());
        bytes.extend((list_at as u32).to_le_bytes());
        bytes.extend([0, 0]);
        (bytes, true)
    }

    /// Letters inside a part are changed and the archive around it is honest, so that they are read.
    pub fn letters(&self, chance: &mut Chance) -> (Vec<u8>, bool) {
        let mut entries = if chance.below(2) == 0 {
            plain().entries()
        } else {
            plain_document()
        };
        let at = chance.below(entries.len());
        let name = entries[at].name.clone();
        let mut content = unpack(&entries[at]);
        for _ in 0..1 + chance.below(8) {
            let place = chance.below(content.len());
            let piece: &[u8] = chance.of(&[
                b"<".as_slice(),
                b">",
                b"\"",
                b"&",
                b"/",
                b"9999999999",
                b"-",
                b"<v>",
                b"</c>",
                b"]]>",
                b"<![CDATA[",
                b"\xc3\xa9",
                b"table:",
            ]);
            let end = (place + chance.below(6)).min(content.len());
            content.splice(place..end, piece.iter().copied());
        }
        entries[at] = Entry::new(&name, content);
        (archive(&entries), false)
    }
}
