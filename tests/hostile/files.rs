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
pub struct Chance(u64);

impl Chance {
    pub fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut mixed = self.0;
        mixed = (mixed ^ (mixed >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        mixed ^ (mixed >> 31)
    }

    pub fn below(&mut self, end: usize) -> usize {
        (self.next() % end.max(1) as u64) as usize
    }

    pub fn of<'a, T: ?Sized>(&mut self, all: &[&'a T]) -> &'a T {
        all[self.below(all.len())]
    }
}

pub const HEAD: &[&str] = &["Part", "Assembly", "Qty"];

pub fn plain() -> Book {
    Book::of(&[(
        "Parts",
        &rows(&[HEAD, &["Peg", "Gate", "4"], &["Post", "Gate", "2"]]),
    )])
}

pub fn honest() -> Vec<u8> {
    plain().bytes()
}

pub fn table(rows: &[&[&str]]) -> String {
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

pub fn plain_document() -> Vec<Entry> {
    document(&table(&[
        HEAD,
        &["Peg", "Gate", "4"],
        &["Post", "Gate", "2"],
    ]))
}

/// Makes files; what takes long to make is kept.
pub struct Makers {
    /// A mebibyte of zeros, packed so that any number of them may follow each other.
    pub zeros: Vec<u8>,
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
        let lines: String = (9..9 + 1300 + chance.below(1500))
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
    ("text that is nothing", |_, chance| {
        let spaces = " ".repeat(4000);
        let cell = "<c t=\"s\"><v>0</v></c>".repeat(chance.below(40_000));
        let mut book = plain();
        let row = format!("<row r=\"9\">{cell}</row>");
        book.sheets[0].2 = put_in(&book.sheets[0].2, "", &row);
        book.texts = format!("<si><t>{spaces}</t></si>");
        (book.bytes(), false)
    }),
    ("signs without end", |_, chance| {
        let signs = chance
            .of(&["&", "_x", "&#", "&amp;", "&#x"])
            .repeat(100_000);
        let row = format!("<row r=\"9\"><c r=\"A9\" t=\"{signs}\"><v>1</v></c></row>");
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
}

pub fn unpack(entry: &Entry) -> Vec<u8> {
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

pub fn any_honest(chance: &mut Chance) -> Vec<u8> {
    if chance.below(2) == 0 {
        honest()
    } else {
        archive(&plain_document())
    }
}

/// The inside of a sheet with more before its rows and more rows.
pub fn put_in(inside: &str, before: &str, more: &str) -> String {
    let rows = inside.replace("</sheetData>", &format!("{more}</sheetData>"));
    format!("{before}{rows}")
}

pub fn with_row(before: &str, row: &str) -> Vec<u8> {
    let mut book = plain();
    book.sheets[0].2 = put_in(&book.sheets[0].2, before, row);
    book.bytes()
}

pub fn with_entry(entry: Entry) -> Vec<u8> {
    let mut entries = plain().entries();
    entries.push(entry);
    archive(&entries)
}
