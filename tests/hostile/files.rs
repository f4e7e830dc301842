//! The hostile files, each made from a number.

use flate2::{Compression, FlushCompress};

use crate::packed::{Book, Entry, archive, document, rows};

/// A file to send.
pub struct File {
    pub name: String,
    pub bytes: Vec<u8>,
    /// What is wrong with it, for whoever looks for it.
    pub what: &'static str,
    /// Whether reading any of it would be a mistake.
    pub must_be_refused: bool,
}

/// Numbers in no order that is easy to see, always the same for the same start (SplitMix64).
struct Chance(u64);

impl Chance {
    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut mixed = self.0;
        mixed = (mixed ^ (mixed >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        mixed ^ (mixed >> 31)
    }

    fn below(&mut self, end: usize) -> usize {
        (self.next() % end.max(1) as u64) as usize
    }

    fn of<'a, T: ?Sized>(&mut self, all: &[&'a T]) -> &'a T {
        all[self.below(all.len())]
    }
}

const HEAD: &[&str] = &["Part", "Assembly", "Qty"];

fn plain() -> Book {
    Book::of(&[(
        "Parts",
        &rows(&[HEAD, &["Peg", "Gate", "4"], &["Post", "Gate", "2"]]),
    )])
}

pub fn honest() -> Vec<u8> {
    plain().bytes()
}

fn table(rows: &[&[&str]]) -> String {
    let mut inside = String::from("<table:table table:name=\"Parts\">");
    for row in rows {
        inside.push_str("<table:table-row>");
        for cell in *row {
            inside.push_str(&format!(
                "<table:table-cell office:value-type=\"string\"><text:p>{cell}</text:p></table:table-cell>"
            ));
        }
        inside.push_str("</table:table-row>");
    }
    inside.push_str("</table:table>");
    inside
}

fn plain_document() -> Vec<Entry> {
    document(&table(&[
        HEAD,
        &["Peg", "Gate", "4"],
        &["Post", "Gate", "2"],
    ]))
}

/// Makes files; what takes long to make is kept.
pub struct Makers {
    /// A mebibyte of zeros, packed so that any number of them may follow each other.
    zeros: Vec<u8>,
}

type Maker = fn(&Makers, &mut Chance) -> (Vec<u8>, bool);

/// What each maker makes, and how it does.
const MAKERS: &[(&str, Maker)] = &[
    ("a bomb", Makers::bomb),
    ("many entries", |_, chance| {
        let many = (0..200 + chance.below(4000)).map(|at| Entry::new(&format!("x{at}.xml"), ""));
        (archive(&many.collect::<Vec<_>>()), true)
    }),
    ("cells far apart", |_, chance| {
        let (line, column) = (
            1 + chance.below(1 << 20),
            chance.of(&["A", "C", "ZZ", "XFD", "XFE"]),
        );
        let row = format!("<row r=\"{line}\"><c r=\"{column}{line}\"><v>1</v></c></row>");
        (with_row("<dimension ref=\"A1:XFD1048576\"/>", &row), false)
    }),
    ("repeated without end", Makers::repeated),
    ("cut off", |_, chance| {
        let mut bytes = any_honest(chance);
        bytes.truncate(chance.below(bytes.len()));
        (bytes, true)
    }),
    ("changed bytes", |_, chance| {
        let mut bytes = any_honest(chance);
        for _ in 0..1 + chance.below(20) {
            let at = chance.below(bytes.len());
            bytes[at] = chance.next() as u8;
        }
        (bytes, false)
    }),
    ("entities of its own", Makers::entities),
    ("relationships in a circle", Makers::relations),
    ("names that lead elsewhere", |_, chance| {
        let name = chance.of(&[
            "../../etc/passwd",
            "/etc/passwd",
            "C:\\x.xml",
            "xl/../../x",
            "..\\x",
            "x\0.xml",
            "\u{202e}lmx/../..",
        ]);
        (with_entry(Entry::new(name, "x")), true)
    }),
    ("sizes that lie", Makers::lies),
    ("locked", Makers::locked),
    ("formulas", |_, chance| {
        let cell = chance.of(&[
            "<c r=\"C9\"><f>1+1</f></c>",
            "<c r=\"C9\" t=\"e\"><f>1/0</f><v>#DIV/0!</v></c>",
            "<c r=\"C9\"><f>HYPERLINK(\"x\")</f><v>4</v></c>",
            "<c r=\"C9\" t=\"str\"><f>CMD|x</f><v>=1+1</v></c>",
            "<c r=\"C9\"><f t=\"shared\" si=\"99999999999\"/><v>NaN</v></c>",
        ]);
        (with_row("", &format!("<row r=\"9\">{cell}</row>")), false)
    }),
    ("nested deep", |_, chance| {
        let depth = 100 + chance.below(20_000);
        let deep = format!("{}{}", "<a>".repeat(depth), "</a>".repeat(depth));
        (with_row(&deep, ""), true)
    }),
    ("texts that are not there", |_, chance| {
        let text = chance.of(&["7", "-1", "99999999999999999999", "", "x", "1e3"]);
        let row = format!("<row r=\"9\"><c r=\"A9\" t=\"s\"><v>{text}</v></c></row>");
        (with_row("", &row), true)
    }),
    ("one text for many cells", |_, chance| {
        let text = "y".repeat(100 + chance.below(10_000));
        let lines: String = (9..9 + 3000 + chance.below(2000))
            .map(|line| format!("<row r=\"{line}\"><c r=\"A{line}\" t=\"s\"><v>0</v></c></row>"))
            .collect();
        let mut book = plain();
        book.sheets[0].2 = put_in(&book.sheets[0].2, "", &lines);
        book.texts = format!("<si><t>{text}</t></si>");
        (book.bytes(), false)
    }),
    ("too many rows", |_, chance| {
        let lines: String = (9..50_100 + chance.below(1000))
            .map(|line| format!("<row><c r=\"A{line}\"><v>1</v></c></row>"))
            .collect();
        (with_row("", &lines), true)
    }),
    ("many merged cells and columns", Makers::merged),
    ("another kind of file", Makers::other),
    ("names twice or bytes shared", Makers::shared),
    ("letters that are none", |_, chance| {
        let junk: &[u8] = chance.of(&[
            b"\xff\xfe<\0a\0".as_slice(),
            b"<a>\xc3</a>",
            b"\0\0\0\0",
            b"<a>&#0;&#xD800;</a>",
            b"<a b='\x01'/>",
            b"",
            b"<",
            b"<?xml",
            b"<!--",
            b"<a></b>",
            b"</a>",
        ]);
        let mut entries = plain().entries();
        let at = chance.below(entries.len());
        entries[at] = Entry::new(&entries[at].name.clone(), junk);
        (archive(&entries), false)
    }),
    ("changed letters", Makers::letters),
    ("strange numbers and dates", |_, chance| {
        let value = chance.of(&[
            "1e308",
            "-1e308",
            "NaN",
            "inf",
            "-0",
            "1e-320",
            "2958466",
            "60",
            "0.99999999",
            "1e999",
            "",
        ]);
        let code = chance.of(&[
            "yyyy",
            "[h]:mm:ss",
            "000000000000",
            "0%",
            "\\",
            "\"",
            "[",
            "_",
            "[$",
        ]);
        let mut book = plain();
        let row = format!("<row r=\"9\"><c r=\"C9\" s=\"0\"><v>{value}</v></c></row>");
        book.sheets[0].2 = put_in(&book.sheets[0].2, "", &row);
        let code = code.replace('"', "&quot;");
        book.styles = format!(
            "<numFmt numFmtId=\"4294967295\" formatCode=\"{code}\"/><cellXfs><xf numFmtId=\"4294967295\"/></cellXfs>"
        );
        (book.bytes(), false)
    }),
    ("places that are none", |_, chance| {
        let place = chance.of(&[
            "A0",
            "A1048577",
            "0",
            "",
            "AAAA1",
            "A-1",
            "\u{e9}1",
            "1A",
            "XFE1",
            "A99999999999",
        ]);
        let row = format!("<row r=\"9\"><c r=\"{place}\"><v>1</v></c></row>");
        (with_row("", &row), false)
    }),
    ("many sheets", |_, chance| {
        let count = 51 + chance.below(60);
        let sheets = vec![("Parts", ""); count];
        (Book::of(&sheets).bytes(), true)
    }),
];

impl Makers {
    pub fn new() -> Self {
        let mut packer = flate2::Compress::new(Compression::best(), false);
        let mut zeros = Vec::with_capacity(64 * 1024);
        packer
            .compress_vec(&vec![b' '; 1 << 20], &mut zeros, FlushCompress::Full)
            .expect("memory takes it");
        assert_eq!(packer.total_in(), 1 << 20);
        Self { zeros }
    }

    pub fn make(&self, number: u64) -> File {
        let kind = (number % MAKERS.len() as u64) as usize;
        let (what, maker) = MAKERS[kind];
        let mut chance = Chance(number);
        let (bytes, must_be_refused) = maker(self, &mut chance);
        let ending = chance.of(&["xlsx", "ods", "csv", "xlsx.exe", "png", "XLSX"]);
        File {
            name: format!("{number}.{ending}"),
            bytes,
            what,
            must_be_refused,
        }
    }

    /// A packed mebibyte, hundreds of times, wherever it is unpacked.
    fn bomb(&self, chance: &mut Chance) -> (Vec<u8>, bool) {
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

    fn repeated(&self, chance: &mut Chance) -> (Vec<u8>, bool) {
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

    fn entities(&self, chance: &mut Chance) -> (Vec<u8>, bool) {
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

    fn relations(&self, chance: &mut Chance) -> (Vec<u8>, bool) {
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

    fn lies(&self, chance: &mut Chance) -> (Vec<u8>, bool) {
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

    fn locked(&self, chance: &mut Chance) -> (Vec<u8>, bool) {
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

    fn merged(&self, chance: &mut Chance) -> (Vec<u8>, bool) {
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

    fn other(&self, chance: &mut Chance) -> (Vec<u8>, bool) {
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

    fn shared(&self, chance: &mut Chance) -> (Vec<u8>, bool) {
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
    fn letters(&self, chance: &mut Chance) -> (Vec<u8>, bool) {
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

fn unpack(entry: &Entry) -> Vec<u8> {
    use std::io::Read;
    let mut content = Vec::new();
    if entry.method == 0 {
        return entry.packed.clone();
    }
    flate2::read::DeflateDecoder::new(entry.packed.as_slice())
        .read_to_end(&mut content)
        .expect("an honest entry");
    content
}

fn any_honest(chance: &mut Chance) -> Vec<u8> {
    if chance.below(2) == 0 {
        honest()
    } else {
        archive(&plain_document())
    }
}

/// The inside of a sheet with more before its rows and more rows.
fn put_in(inside: &str, before: &str, more: &str) -> String {
    let rows = inside.replace("</sheetData>", &format!("{more}</sheetData>"));
    format!("{before}{rows}")
}

fn with_row(before: &str, row: &str) -> Vec<u8> {
    let mut book = plain();
    book.sheets[0].2 = put_in(&book.sheets[0].2, before, row);
    book.bytes()
}

fn with_entry(entry: Entry) -> Vec<u8> {
    let mut entries = plain().entries();
    entries.push(entry);
    archive(&entries)
}
