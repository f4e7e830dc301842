//! Whatever a table holds, no row of it is swallowed.

use proptest::prelude::*;

use super::*;
use crate::guides::import::mapping::{BlankAssembly, Column, Role};
use crate::guides::import::{columns, decode, table};

/// Cells in which much can be wrong.
fn any_cell() -> impl Strategy<Value = String> {
    prop::sample::select(vec![
        "", "", "-", "A", "B", "a", "A / B", "A, B", "B / A", "1", "2", "4", "1/2", "-1", "1,000",
        "Total", "Subtotal", "each", "all", "the kit", "red", "name", "\"", "---", "=x", "1.5E+09",
    ])
    .prop_map(str::to_owned)
}

fn any_mapping(width: usize) -> impl Strategy<Value = Mapping> {
    let role = prop::sample::select(Role::ALL.to_vec());
    let size = prop::sample::select(vec!["", "half", "full"]);
    let column = (role, size).prop_map(|(role, size)| Column {
        role,
        size: size.to_owned(),
    });
    (
        prop::collection::vec(column, width),
        any::<bool>(),
        0_u32..12,
    )
        .prop_map(move |(mut columns, above, left_out)| {
            columns[0].role = Role::PartName;
            columns[1].role = Role::Quantity;
            // Of roles that only one column may have, the first keeps it.
            for at in 2..width {
                let role = columns[at].role;
                if columns[..at].iter().any(|column| column.role == role) {
                    columns[at].role = Role::Ignored;
                }
            }
            let blank_assembly = if above {
                BlankAssembly::AsAbove
            } else {
                BlankAssembly::Kit
            };
            let left_out = BTreeSet::from([left_out]);
            Mapping {
                columns,
                blank_assembly,
                left_out,
                ..Mapping::empty(width)
            }
        })
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(2_000))]

    #[test]
    fn no_row_is_swallowed(
        rows in prop::collection::vec(prop::collection::vec(any_cell(), 6), 1..10),
        mapping in any_mapping(6),
    ) {
        let header = ["name", "quantity", "c", "d", "e", "f"].map(str::to_owned).to_vec();
        let rows = std::iter::once(header).chain(rows);
        let rows = (1..).zip(rows).map(|(line, cells)| table::Row { line, cells, ..table::Row::default() });
        let mut rows: Vec<table::Row> = rows.collect();
        let header = rows.remove(0);
        let separator = Some(table::Separator::Comma);
        let table = Table { separator, above: Vec::new(), header, rows, hidden_columns: std::collections::BTreeSet::new() };
        let Ok(preview) = preview(&table, &mapping, &Known::default()) else {
            prop_assert!(!mapping.wrongs(6).is_empty());
            return Ok(());
        };
        prop_assert_eq!(preview.rows.len(), table.rows.len());
        for (row, (line, fate)) in table.rows.iter().zip(&preview.rows) {
            prop_assert_eq!(row.line, *line);
            let taken = preview.list.lines.iter().any(|made| made.line == row.line);
            let doubted = preview.doubts.iter().any(|doubt| doubt.line == row.line);
            prop_assert!(row.is_blank() || taken || doubted, "{:?}", row);
            match fate {
                Fate::Blank => prop_assert!(row.is_blank() && !taken),
                Fate::Taken => prop_assert!(taken),
                Fate::NotTaken => prop_assert!(doubted),
            }
        }
        // Every quantity that was taken is in some row, and the list adds up.
        for doubt in &preview.doubts {
            prop_assert!(table.rows.iter().any(|row| row.line == doubt.line));
        }
        for line in &preview.list.lines {
            prop_assert!(table.rows.iter().any(|row| row.line == line.line));
            prop_assert_eq!(line.quantities.len(), preview.list.sizes.len());
            let part = matches!(line.child, Child::Part(_));
            prop_assert!(!part || !preview.stopped_lines().contains(&line.line));
        }
        for size in 0..preview.list.sizes.len() {
            prop_assert!(preview.list.need(size).is_ok());
        }
    }

    #[test]
    fn any_table_is_guessed_and_read(
        header in prop::collection::vec(prop::sample::select(vec![
            "Part", "Name", "Number", "Item", "Assembly", "Part of", "Path", "How many of it",
            "Half", "Full", "Quantity", "Qty (half)", "Total", "Total full", "Each or all", "Note",
            "Mass", "Price", "", "Whatever",
        ]), 2..8),
        rows in prop::collection::vec(prop::collection::vec(any_cell(), 0..9), 1..12),
    ) {
        let mut writer = csv::WriterBuilder::new().flexible(true).from_writer(Vec::new());
        writer.write_record(&header).expect("memory takes everything");
        for row in &rows {
            writer.write_record(row).expect("memory takes everything");
        }
        let bytes = writer.into_inner().expect("memory takes everything");
        let decoded = decode::decode(&bytes).expect("text was written");
        let Ok(table) = table::read(&decoded.text) else {
            return Ok(());
        };
        let mapping = columns::guess(&table);
        match preview(&table, &mapping, &Known::default()) {
            // A guess may lack what the file does not tell, but never contradicts itself.
            Err(wrongs) => for wrong in wrongs {
                prop_assert!(matches!(wrong, MappingWrong::NoPart | MappingWrong::NoQuantity
                    | MappingWrong::SizeMissing { .. }), "{wrong:?} {mapping:?}");
            },
            Ok(preview) => for row in table.rows.iter().filter(|row| !row.is_blank()) {
                let taken = preview.list.lines.iter().any(|made| made.line == row.line);
                let doubted = preview.doubts.iter().any(|doubt| doubt.line == row.line);
                prop_assert!(taken || doubted, "{row:?}");
            },
        }
    }
}
