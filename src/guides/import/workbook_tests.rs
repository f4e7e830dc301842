//! Sheets as people see them, and what each limit says.

use std::collections::BTreeSet;

use super::*;
use crate::guides::import::table::{MOST_COLUMNS, MOST_ROWS, Mark};

#[path = "../../../tests/hostile/packed.rs"]
mod packed;

use packed::{Book, Entry, archive, document, rows};

const HEAD: &[&str] = &["Part", "Number", "Qty"];

#[track_caller]
fn only_table(bytes: &[u8]) -> Table {
    let mut sheets = read(bytes, None).expect("a workbook");
    assert_eq!(sheets.len(), 1);
    sheets.remove(0).table.expect("a table")
}

/// The rows below the column names.
#[track_caller]
fn cells(bytes: &[u8]) -> Vec<Vec<String>> {
    let table = only_table(bytes);
    table.rows.into_iter().map(|row| row.cells).collect()
}

#[track_caller]
fn marks(bytes: &[u8]) -> Vec<(u32, usize, Mark)> {
    let table = only_table(bytes);
    let of = |row: &crate::guides::import::table::Row| {
        let line = row.line;
        let marks = row.marks.iter();
        marks
            .map(move |marked| (line, marked.column, marked.mark))
            .collect::<Vec<_>>()
    };
    table.rows.iter().flat_map(of).collect()
}

/// A sheet whose second row is this.
fn with_row(row: &str) -> Book {
    let head = rows(&[HEAD]);
    let head = head.trim_end_matches("</sheetData>");
    Book::of(&[(
        "Parts",
        &format!("{head}<row r=\"2\">{row}</row></sheetData>"),
    )])
}

#[test]
fn cells_are_read_as_people_see_them() {
    let mut book = with_row(
        "<c r=\"A2\" t=\"s\"><v>1</v></c><c r=\"B2\" t=\"inlineStr\"><is><t>00123</t></is></c>\
         <c r=\"C2\"><v>12.0</v></c>",
    );
    book.texts = "<si><t>x</t></si><si><r><t>Tile </t></r><r><t xml:space=\"preserve\">red &amp; \
                  &#x41;</t></r><rPh><t>no</t></rPh></si>"
        .into();
    assert_eq!(cells(&book.bytes()), [["Tile red & A", "00123", "12"]]);
}

/// ECMA-376-1, 18.8.30 (formats) and 18.17.4.1 (days counted from 1900 and from 1904; its example: day 1
/// is 1900-01-01 and, from 1904, day 0 is 1904-01-01).
#[test]
fn numbers_are_shown_by_their_format() {
    for (format, value, text) in [
        ("00000", "123", "00123"),
        ("\"B-\"000", "7", "B-007"),
        ("0.00", "12", "12"),
        ("0", "2.5", "2.5"),
        ("#,##0", "1200", "1200"),
        ("0%", "0.5", "50%"),
        ("[$€-407] 0", "4", "€4"),
        ("General", "0.30000000000000004", "0.3"),
        ("General", "-0", "0"),
        ("yyyy\\-mm\\-dd", "46031", "2026-01-09"),
        ("d.m.yy", "1", "1900-01-01"),
        ("d.m.yy", "59", "1900-02-28"),
        ("d.m.yy", "61", "1900-03-01"),
        ("d/m/yy h:mm", "46031.5", "2026-01-09 12:00"),
        ("[h]:mm", "0.25", "06:00"),
        ("mmm", "46031", "2026-01-09"),
        ("yyyy", "-1", "-1"),
    ] {
        let mut book = with_row(&format!(
            "<c r=\"A2\" t=\"inlineStr\"><is><t>Peg</t></is></c><c r=\"B2\" s=\"1\"><v>{value}</v></c>\
             <c r=\"C2\"><v>4</v></c>"
        ));
        let code = format.replace('"', "&quot;");
        book.styles = format!(
            "<numFmts><numFmt numFmtId=\"164\" formatCode=\"{code}\"/></numFmts><cellStyleXfs><xf/>\
             </cellStyleXfs><cellXfs><xf numFmtId=\"0\"/><xf numFmtId=\"164\"/></cellXfs>"
        );
        assert_eq!(cells(&book.bytes())[0][1], text, "{format} {value}");
    }
    let mut book = with_row(
        "<c r=\"A2\" t=\"inlineStr\"><is><t>Peg</t></is></c><c r=\"B2\" s=\"0\"><v>0</v></c>\
         <c r=\"C2\"><v>4</v></c>",
    );
    book.styles = "<cellXfs><xf numFmtId=\"14\"/></cellXfs>".into();
    book.settings = "<workbookPr date1904=\"1\"/>".into();
    assert_eq!(cells(&book.bytes())[0][1], "1904-01-01");
}

#[test]
fn formulas_are_read_as_what_was_kept_and_said() {
    let book = with_row(
        "<c r=\"A2\" t=\"str\"><f>A1</f><v>Peg</v></c><c r=\"B2\"><f>1+</f></c>\
         <c r=\"C2\" t=\"e\"><f>1/0</f><v>#DIV/0!</v></c><c r=\"D2\"><v>1234567890123456789</v></c>\
         <c r=\"E2\"><f>2*2</f><v>4</v></c><c r=\"F2\" t=\"str\"><f>IF(1,\"\")</f><v></v></c>",
    );
    assert_eq!(
        marks(&book.bytes()),
        [
            (2, 0, Mark::Formula),
            (2, 1, Mark::NoValue),
            (2, 2, Mark::Error),
            (2, 3, Mark::LongNumber),
            (2, 4, Mark::Formula)
        ]
    );
    let read = cells(&book.bytes());
    assert_eq!(read[0][..3], ["Peg", "(formula)", "#DIV/0!"]);
    assert_eq!(read[0].len(), 5, "what came to nothing is nothing");
}

#[test]
fn merged_and_hidden_cells_are_known() {
    let table = [
        HEAD,
        &["Peg", "B1", "4"],
        &["", "B2", "5"],
        &["Post", "B3", "6"],
    ];
    let inside = rows(&table).replace("<row r=\"4\">", "<row r=\"4\" hidden=\"1\">");
    let inside = format!(
        "<cols><col min=\"2\" max=\"16384\" hidden=\"true\"/></cols>{inside}\
         <mergeCells><mergeCell ref=\"A2:A3\"/><mergeCell ref=\"A1:C1\"/></mergeCells>"
    );
    let bytes = Book::of(&[("Parts", &inside)]).bytes();
    assert_eq!(cells(&bytes)[1][0], "Peg");
    assert_eq!(marks(&bytes), [(3, 0, Mark::Merged { line: 2 })]);
    let table = only_table(&bytes);
    assert_eq!(
        table.header.cells, HEAD,
        "a heading merged sideways stands once"
    );
    let hidden: Vec<bool> = table.rows.iter().map(|row| row.is_hidden).collect();
    assert_eq!(hidden, [false, false, true]);
    let columns: BTreeSet<usize> = (1..MOST_COLUMNS).collect();
    assert_eq!(table.hidden_columns, columns);
}

#[test]
fn sheets_have_names_and_may_be_hidden_or_empty() {
    let mut book = Book::of(&[
        ("Cover", &rows(&[&["Hello"]])),
        ("Old &amp; new", &rows(&[HEAD, &["Peg", "B1", "4"]])),
    ]);
    book.sheets[1].1 = "state=\"hidden\"".into();
    let sheets = read(&book.bytes(), None).unwrap();
    assert_eq!(sheets[1].name, "Old & new");
    assert!(sheets[1].is_hidden && !sheets[0].is_hidden);
    assert!(sheets[0].table.is_err());
    let second = read(&book.bytes(), Some(1)).unwrap();
    assert_eq!(second[1].table, sheets[1].table);
}

#[test]
fn an_ods_is_read_as_people_see_it() {
    let cell = |kind: &str, text: &str| {
        format!(
            "<table:table-cell office:value-type={kind}><text:p>{text}</text:p></table:table-cell>"
        )
    };
    let text = |text: &str| cell("\"string\"", text);
    let inside = format!(
        "<table:tracked-changes><table:table-row>{}</table:table-row></table:tracked-changes>\
         <table:table table:name=\"Parts\"><table:table-column/><table:table-column \
         table:visibility=\"collapse\"/>\
         <table:table-row>{}{}{}<table:table-cell table:number-columns-repeated=\"16381\"/></table:table-row>\
         <table:table-row table:number-rows-repeated=\"2\">{}{}{}</table:table-row>\
         <table:table-row table:visibility=\"filter\">{}{}{}</table:table-row>\
         <table:table-row table:number-rows-repeated=\"1048570\"><table:table-cell/></table:table-row>\
         </table:table>",
        text("Not this"),
        text("Part"),
        text("Number"),
        text("Qty"),
        text(
            "Tile<text:s text:c=\"2\"/>red<office:annotation><text:p>no</text:p></office:annotation>"
        ),
        cell("\"float\" office:value=\"7\"", "007"),
        cell("\"float\" office:value=\"2.5\"", "3"),
        "<table:table-cell table:formula=\"of:=1\"><text:p/></table:table-cell>",
        cell("\"date\" office:date-value=\"2027-03-04\"", "4 March"),
        cell(
            "\"float\" office:value=\"4\" table:formula=\"of:=2*2\"",
            "4"
        ),
    );
    let bytes = archive(&document(&inside));
    assert_eq!(
        cells(&bytes),
        [
            ["Tile  red", "007", "2.5"],
            ["Tile  red", "007", "2.5"],
            ["(formula)", "2027-03-04", "4"]
        ]
    );
    assert_eq!(
        marks(&bytes),
        [
            (4, 0, Mark::NoValue),
            (4, 1, Mark::Date),
            (4, 2, Mark::Formula)
        ]
    );
    let table = only_table(&bytes);
    assert!(table.rows[2].is_hidden && !table.rows[1].is_hidden);
    assert_eq!(table.hidden_columns, BTreeSet::from([1]));
}

#[test]
fn merged_cells_of_an_ods_stand_for_each_row() {
    let text = |text: &str| format!("<table:table-cell><text:p>{text}</text:p></table:table-cell>");
    let inside = format!(
        "<table:table><table:table-row>{}{}</table:table-row><table:table-row>\
         <table:table-cell table:number-rows-spanned=\"2\"><text:p>Gate</text:p></table:table-cell>{}\
         </table:table-row><table:table-row><table:covered-table-cell/>{}</table:table-row></table:table>",
        text("Assembly"),
        text("Part"),
        text("Peg"),
        text("4"),
    );
    let bytes = archive(&document(&inside));
    assert_eq!(cells(&bytes), [["Gate", "Peg"], ["Gate", "4"]]);
}

#[test]
fn every_limit_has_its_sentence() {
    let plain = Book::of(&[("Parts", &rows(&[HEAD, &["Peg", "B1", "4"]]))]);
    let with = |entry: Entry| {
        let mut entries = plain.entries();
        entries.push(entry);
        archive(&entries)
    };
    let refused = |bytes: &[u8]| read(bytes, None).expect_err("too much");
    let many: Vec<Entry> = (0..=MOST_ENTRIES)
        .map(|at| Entry::new(&format!("{at}"), ""))
        .collect();
    assert_eq!(refused(&archive(&many)), NotAWorkbook::TooManyEntries);
    let zeros = vec![0; 3 * 1024 * 1024];
    assert!(matches!(
        refused(&with(Entry::new("xl/media/1.png", &zeros))),
        NotAWorkbook::PackedTooTightly { .. }
    ));
    // Larger than allowed without being packed tightly: letters in no order that shrinks well.
    let mut letter = 1_u32;
    let noise: Vec<u8> = (0..MOST_UNPACKED / 4)
        .flat_map(|_| {
            letter = letter.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            [(letter >> 24) as u8 & 1; 5]
        })
        .collect();
    assert_eq!(
        refused(&with(Entry::new("xl/media/1.png", &noise))),
        NotAWorkbook::UnpacksTooLarge
    );
    for name in ["../x.xml", "/etc/x", "a\\b", "C:x", ""] {
        assert!(matches!(
            refused(&with(Entry::new(name, "x"))),
            NotAWorkbook::OddName { .. }
        ));
    }
    assert!(matches!(
        refused(&with(Entry::new("_rels/.rels", "x"))),
        NotAWorkbook::TwiceNamed { .. }
    ));
    let mut locked = Entry::new("x", "x");
    locked.flags = 1;
    assert_eq!(refused(&with(locked)), NotAWorkbook::Locked);
    let mut odd = Entry::new("x", "x");
    odd.method = 12;
    assert_eq!(refused(&with(odd)), NotAWorkbook::OddPacking);
    let mut lie = Entry::new("x", "xxxx");
    lie.unpacked = 3;
    assert_eq!(refused(&with(lie.clone())), NotAWorkbook::Damaged);
    lie.unpacked = 4;
    lie.crc ^= 1;
    assert_eq!(refused(&with(lie)), NotAWorkbook::Damaged);
    let mut large = Entry::new("x", "xxxx");
    large.large = Some([4, large.packed.len() as u64]);
    assert!(
        read(&with(large.clone()), None).is_ok(),
        "an honest large form"
    );
    large.large = Some([4, u64::MAX]);
    assert_eq!(refused(&with(large)), NotAWorkbook::Damaged);

    let mut entities = plain.clone();
    entities.before = "<!DOCTYPE x [<!ENTITY a \"aa\">]>".into();
    assert_eq!(refused(&entities.bytes()), NotAWorkbook::OwnEntities);
    let deep = format!("{}{}", "<a>".repeat(100), "</a>".repeat(100));
    assert_eq!(
        refused(&Book::of(&[("P", &deep)]).bytes()),
        NotAWorkbook::TooDeep
    );
    let steps = "<a/>".repeat(MOST_STEPS as usize / 2);
    let steps = refused(&Book::of(&[("P", &steps)]).bytes());
    assert!(matches!(
        steps,
        NotAWorkbook::TooMuchInside | NotAWorkbook::PackedTooTightly { .. }
    ));
    let sheets = vec![("P", ""); MOST_SHEETS + 1];
    assert_eq!(
        refused(&Book::of(&sheets).bytes()),
        NotAWorkbook::TooManySheets
    );
    assert_eq!(refused(&Book::of(&[]).bytes()), NotAWorkbook::NoSheet);
    assert_eq!(
        refused(&archive(&[Entry::new("a.txt", "x")])),
        NotAWorkbook::NoWorkbook
    );
    assert_eq!(
        refused(b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"),
        NotAWorkbook::OtherKind
    );
    let locked =
        b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1E\0n\0c\0r\0y\0p\0t\0e\0d\0P\0a\0c\0k\0a\0g\0e\0";
    assert_eq!(refused(locked), NotAWorkbook::Locked);
}

#[test]
fn a_sheet_that_is_too_large_is_refused_without_the_others() {
    let wrong = |inside: &str| {
        let fine = rows(&[HEAD, &["Peg", "B1", "4"]]);
        let book = Book::of(&[("Large", inside), ("Parts", &fine)]);
        let mut sheets = read(&book.bytes(), None).unwrap();
        assert!(sheets[1].table.is_ok());
        sheets.remove(0).table.unwrap_err()
    };
    let lines: String = (1..=MOST_ROWS + 2)
        .map(|line| format!("<row r=\"{line}\"><c r=\"A{line}\"><v>{line}</v></c></row>"))
        .collect();
    assert_eq!(
        wrong(&format!("<sheetData>{lines}</sheetData>")),
        NotATable::TooManyRows
    );
    // Two cells far apart, and a size that is told, need no room for what lies between them.
    let far = "<dimension ref=\"A1:XFD1048576\"/><sheetData><row r=\"1\"><c r=\"A1\"><v>1</v></c></row>\
               <row r=\"1048576\"><c r=\"XFD1048576\"><v>1</v></c></row></sheetData>";
    assert_eq!(
        wrong(far),
        NotATable::TooManyColumns {
            line: 1_048_576,
            found: 16_384
        }
    );
    let long = "x".repeat(5000);
    assert_eq!(
        wrong(&rows(&[HEAD, &[&long]])),
        NotATable::CellTooLarge { line: 2 }
    );
}

#[test]
fn text_that_many_cells_share_counts_for_each() {
    let text = "y".repeat(4000);
    let lines: String = (1..=4000)
        .map(|line| format!("<row r=\"{line}\"><c r=\"A{line}\" t=\"s\"><v>0</v></c></row>"))
        .collect();
    let mut book = Book::of(&[("P", &format!("<sheetData>{lines}</sheetData>"))]);
    book.texts = format!("<si><t>{text}</t></si>");
    assert_eq!(
        read(&book.bytes(), None).unwrap_err(),
        NotAWorkbook::TooMuchText
    );
    let wide: String = (1..=10_000)
        .map(|line| format!("<row r=\"{line}\"><c r=\"BL{line}\"><v>1</v></c></row>"))
        .collect();
    let wide = Book::of(&[("P", &format!("<sheetData>{wide}</sheetData>"))]);
    assert_eq!(
        read(&wide.bytes(), None).unwrap_err(),
        NotAWorkbook::TooManyCells
    );
}
