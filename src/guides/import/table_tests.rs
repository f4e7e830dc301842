//! Cases for reading tables.

use proptest::prelude::*;

use super::*;

#[track_caller]
fn table(text: &str) -> Table {
    read(text).expect("this text is a table")
}

#[track_caller]
fn cells(table: &Table) -> Vec<(u32, Vec<&str>)> {
    let cells = |row: &'_ Row| row.cells.len();
    assert!(table.rows.iter().all(|row| cells(row) > 0));
    table
        .rows
        .iter()
        .map(|row| (row.line, row.cells.iter().map(String::as_str).collect()))
        .collect()
}

#[test]
fn the_separator_is_found() {
    for (text, separator) in [
        ("Part,Quantity\nPeg,4\n", Separator::Comma),
        ("Part;Quantity\nPeg;4\n", Separator::Semicolon),
        ("Part\tQuantity\nPeg\t4\n", Separator::Tab),
        (
            "| Part | Quantity |\n|------|-----|\n| Peg | 4 |\n",
            Separator::Bar,
        ),
        // Commas inside cells and decimal commas do not win over the true separator.
        (
            "Part;Quantity;Mass\nPeg, long;4;2,5\nPin, short;2;1,5\n",
            Separator::Semicolon,
        ),
        (
            "Part\tQuantity\nPeg, long\t4\nPin, short\t3\n",
            Separator::Tab,
        ),
        (
            "Part,Quantity\n\"Peg; long; red\",4\n\"Pin; short; red\",4\n",
            Separator::Comma,
        ),
        ("sep=;\nPart;Quantity\nPeg;4\n", Separator::Semicolon),
    ] {
        assert_eq!(table(text).separator, Some(separator), "{text}");
    }
}

#[test]
fn lines_are_numbered_as_an_editor_does() {
    for end in ["\n", "\r\n", "\r"] {
        let text = [
            "Field kit",
            "",
            "Part,Quantity",
            "",
            "\"Long",
            "peg\",4",
            "",
            "",
            "Pin,2",
            "",
        ];
        let found = table(&text.join(end));
        assert_eq!(
            found.above.iter().map(|row| row.line).collect::<Vec<_>>(),
            [1]
        );
        assert_eq!(found.header.line, 3);
        let long = format!("Long{end}peg");
        assert_eq!(
            cells(&found),
            [(5, vec![&*long, "4"]), (9, vec!["Pin", "2"])],
            "{end:?}"
        );
    }
    assert_eq!(table("sep=,\r\nPart,Quantity\r\nPeg,4").rows[0].line, 3);
}

#[test]
fn cells_are_read_as_they_were_written() {
    let found = table("Part,Quantity\n\"0.5\"\" tube\", 4 \n'=1+1,2\n'-,3\n'tis a peg,1\n");
    let expected = [
        (2, vec!["0.5\" tube", "4"]),
        (3, vec!["=1+1", "2"]),
        (4, vec!["-", "3"]),
        (5, vec!["'tis a peg", "1"]),
    ];
    assert_eq!(cells(&found), expected);
}

#[test]
fn rows_of_uneven_length_are_kept() {
    let found = table("Part,Quantity,Note\nPeg\nPin,2,short,extra\n");
    assert_eq!(found.rows[0].cell(2), "");
    assert_eq!(found.rows[1].cells.len(), 4);
    assert_eq!(found.width(), 4);
}

#[test]
fn a_pasted_table_may_hold_bare_quotation_marks() {
    let found = table("Part\tQuantity\n\"A\" frame\t4\n0.5\" tube\t2\n\"Open\t1\n");
    let expected = [
        (2, vec!["\"A\" frame", "4"]),
        (3, vec!["0.5\" tube", "2"]),
        (4, vec!["\"Open", "1"]),
    ];
    assert_eq!(cells(&found), expected);
    let found = table("Part\tQuantity\n\"Long\npeg\"\t4\n");
    assert_eq!(cells(&found), [(2, vec!["Long\npeg", "4"])]);
}

#[test]
fn a_quotation_mark_out_of_place_is_marked() {
    let found = table("Part,Quantity\n\"A\" frame,4\nPeg,4\nPin, \"2\"\n0.5\" tube,1\n");
    let marked: Vec<bool> = found.rows.iter().map(|row| row.stray_quote).collect();
    assert_eq!(marked, [true, false, true, false]);
}

#[test]
fn the_column_names_are_found() {
    for (text, line) in [
        ("Part,Quantity\nPeg,4\n", 1),
        ("Field kit\n\nRevision 3,,\nPart,Quantity,Note\nPeg,4,\n", 4),
        (",,\nPart,Quantity,Note\nPeg,4,\n", 2),
        ("Parts of,half the kit,\nPart,Quantity,Note\nPeg,4,\n", 2),
        ("Part,Quantity\nPeg,\nPart name,count\nPin,4\n", 1),
        // None of the words is known, but numbers follow.
        ("Teil,Anzahl\nNagel,4\n", 1),
        ("Liste,\nTeil,Anzahl\nNagel,4\n", 2),
    ] {
        assert_eq!(table(text).header.line, line, "{text}");
    }
}

#[test]
fn what_is_no_table_is_refused_in_a_sentence() {
    let refused = |text: &str| read(text).expect_err("this is no table");
    assert_eq!(refused("Part\nPeg\nPin\n"), NotATable::OneColumn);
    assert_eq!(refused("Peg,4\nPin,2\n"), NotATable::NoHeader);
    assert_eq!(refused("Peg,4\nPart of a pin,count\n"), NotATable::NoHeader);
    assert_eq!(refused("Part,Quantity\n"), NotATable::NoRows { line: 1 });
    assert_eq!(
        refused("Part,Quantity\n,\n , \n"),
        NotATable::NoRows { line: 1 }
    );
    let open = "Part,Quantity\nPeg,4\n\"Pin,2\nPin,3\n";
    assert_eq!(refused(open), NotATable::OpenQuote { line: 3 });
    let wide = format!("Part,Quantity\nPeg{}\n", ",4".repeat(64));
    assert_eq!(
        refused(&wide),
        NotATable::TooManyColumns { line: 2, found: 65 }
    );
    let long = format!("Part,Quantity\n{},4\n", "p".repeat(LONGEST_CELL + 1));
    assert_eq!(refused(&long), NotATable::CellTooLong { line: 2 });
    let many = format!("Part,Quantity\n{}", "Peg,4\n".repeat(MOST_ROWS + 1));
    assert_eq!(refused(&many), NotATable::TooManyRows);
    assert_eq!(
        NotATable::TooManyRows.to_string(),
        "There are more than 50000 rows, the most that is read."
    );
}

proptest! {
    #[test]
    fn any_text_is_read_or_refused(text in "[a-c1-3,;\t|\"\r\n' =-]{0,80}") {
        if let Ok(table) = read(&text) {
            let mut before = table.header.line;
            for row in &table.rows {
                prop_assert!(row.line > before);
                before = row.line;
            }
        }
    }

    #[test]
    fn quoted_cells_come_back(rows in prop::collection::vec(
        ("[a-z\",;\n]{1,8}", "[a-z\"\n ]{0,8}"), 1..10
    )) {
        let mut writer = csv::Writer::from_writer(Vec::new());
        writer.write_record(["Part", "Note", "Quantity"]).expect("memory takes everything");
        for (part, note) in &rows {
            writer.write_record([part, note, "4"]).expect("memory takes everything");
        }
        let bytes = writer.into_inner().expect("memory takes everything");
        let table = read(&String::from_utf8(bytes).expect("text was written"))
            .expect("a table was written");
        let found: Vec<(&str, &str)> =
            table.rows.iter().map(|row| (row.cell(0), row.cell(1))).collect();
        let expected: Vec<(&str, &str)> =
            rows.iter().map(|(part, note)| (part.trim(), note.trim())).collect();
        prop_assert_eq!(found, expected);
        prop_assert!(table.rows.iter().all(|row| !row.stray_quote));
    }
}
