//! Round trips: a list that was written is read back as the same list.

use proptest::prelude::*;

use super::*;
use crate::guides::import::list::{Assembly, Part};
use crate::guides::import::preview::{Known, Preview, preview};
use crate::guides::import::{columns, decode, opened, table};

fn read_back(bytes: &[u8]) -> Preview {
    let decoded = decode::decode(bytes).expect("text was written");
    let table = table::read(&decoded.text).expect("a table was written");
    let mapping = columns::guess(&table);
    preview(&table, &mapping, &Known::default()).expect("the guess makes a list")
}

fn read_sheet_back(bytes: &[u8]) -> Preview {
    let opened = opened::open(bytes).expect("a workbook was written");
    assert_eq!(opened.sheets.len(), 1);
    preview(&opened.table, &opened.mapping, &Known::default()).expect("the guess makes a list")
}

/// A line by the names and notes of what it joins, whatever their positions.
fn in_full(list: &PartsList) -> Vec<String> {
    let name = |assembly: usize| list.assemblies[assembly].name.clone();
    let line = |line: &ListLine| {
        let child = match line.child {
            Child::Assembly(assembly) => format!("assembly {:?}", name(assembly)),
            Child::Part(part) => {
                let Part {
                    number,
                    name,
                    colour,
                    note,
                    mass_mg,
                    ..
                } = &list.parts[part];
                format!("{number:?} {name:?} {colour:?} {note:?} {mass_mg:?}")
            }
        };
        format!(
            "{:?} {child} {:?} {:?}",
            line.parent.map(name),
            line.basis,
            line.quantities
        )
    };
    list.lines.iter().map(line).collect()
}

fn part(number: &str, name: &str, colour: &str) -> Part {
    Part {
        number: number.to_owned(),
        name: name.to_owned(),
        colour: colour.to_owned(),
        note: String::new(),
        mass_mg: None,
        issue: 0,
        known: None,
        line: 0,
    }
}

fn line(parent: Option<usize>, child: Child<usize, usize>, quantities: &[u64]) -> ListLine {
    ListLine {
        line: 0,
        parent,
        child,
        basis: Basis::Each,
        quantities: quantities.to_vec(),
    }
}

#[test]
fn the_file_looks_as_described() {
    let list = PartsList {
        sizes: vec!["half".to_owned(), "full".to_owned()],
        parts: vec![Part {
            mass_mg: Some(2_500),
            ..part("-7", "=SUM(A1)", "red, \"dark\"")
        }],
        assemblies: vec![Assembly {
            name: "@hub".to_owned(),
            known: None,
            line: 0,
        }],
        lines: vec![
            line(None, Child::Assembly(0), &[1, 2]),
            ListLine {
                basis: Basis::All,
                ..line(Some(0), Child::Part(0), &[3, 4])
            },
        ],
    };
    let text = String::from_utf8(csv(&list)).expect("text was written");
    assert_eq!(
        text,
        "\u{feff}Assembly,Part of,Part number,Part name,Colour,Quantity (half),Quantity (full),For each or for all,Mass (g),How to know it\r\n\
         '@hub,the kit,,,,1,2,each,,\r\n\
         '@hub,,'-7,'=SUM(A1),\"red, \"\"dark\"\"\",3,4,all,2.5,\r\n"
    );
    let again = read_back(text.as_bytes());
    assert_eq!(in_full(&again.list), in_full(&list));
    assert_eq!(again.doubts, []);
}

#[test]
fn every_dangerous_beginning_comes_back() {
    for start in ["=", "+", "-", "@", "'=", "''+"] {
        let name = format!("{start}1+1");
        let list = PartsList {
            sizes: vec![String::new()],
            parts: vec![part("", &name, "")],
            assemblies: Vec::new(),
            lines: vec![line(None, Child::Part(0), &[4])],
        };
        let bytes = csv(&list);
        assert!(
            String::from_utf8_lossy(&bytes).contains(&format!(",'{name},")),
            "{name}"
        );
        assert_eq!(in_full(&read_back(&bytes).list), in_full(&list));
    }
}

/// A name with marks that could break a file, made unlike the others by its position.
fn any_name(tail: &'static str) -> impl Strategy<Value = String> {
    (
        prop::sample::select(vec!["", "=", "+", "-", "@", "'", "'=", "#", "0.5\" "]),
        prop::sample::select(vec![
            "Peg",
            "Élan",
            "long, red; peg",
            "a / b",
            "x|y",
            "9",
            "\"q\"",
            "漢字",
        ]),
    )
        .prop_map(move |(start, middle)| format!("{start}{middle}{tail}"))
}

fn any_part() -> impl Strategy<Value = Part> {
    (
        prop::sample::select(vec!["", "A1", "-12", "0042", "=7"]),
        any_name(""),
        prop::sample::select(vec!["", "red", "@blue"]),
        prop::sample::select(vec!["", "peel the film, then look", "=danger"]),
        prop::option::of(0_u64..5_000_000),
    )
        .prop_map(|(number, name, colour, note, mass_mg)| Part {
            note: note.to_owned(),
            mass_mg,
            ..part(number, &name, colour)
        })
}

fn any_list() -> impl Strategy<Value = PartsList> {
    let sizes = prop::sample::select(vec![
        vec![""],
        vec!["full"],
        vec!["half", "full"],
        vec!["Half", "Full", "long field"],
    ]);
    let parts = prop::collection::vec(any_part(), 6);
    let names = prop::collection::vec(any_name(" assembly"), 4);
    // For each assembly the one before it that holds it, if any; then lines of parts.
    let holders = prop::collection::vec(0_usize..4, 4);
    let held = prop::collection::vec(
        (
            0_usize..5,
            0_usize..6,
            any::<bool>(),
            prop::collection::vec(0_u64..1_000, 3),
        ),
        1..15,
    );
    (sizes, parts, names, holders, held).prop_map(|(sizes, mut parts, names, holders, held)| {
        for (at, part) in parts.iter_mut().enumerate() {
            part.name = format!("{} {at}", part.name);
        }
        let mut lines = Vec::new();
        for (at, holder) in holders.iter().enumerate() {
            let parent = holder.checked_sub(1).filter(|holder| *holder < at);
            lines.push(line(parent, Child::Assembly(at), &[1, 2, 3][..sizes.len()]));
        }
        for (parent, child, all, mut quantities) in held {
            quantities.truncate(sizes.len());
            // A line that counts nothing for any size is not a line.
            quantities[0] += 1;
            let basis = if all { Basis::All } else { Basis::Each };
            let parent = parent.checked_sub(1);
            lines.push(ListLine {
                basis,
                ..line(parent, Child::Part(child), &quantities)
            });
        }
        let assemblies = names.into_iter().enumerate().map(|(at, name)| Assembly {
            name: format!("{name} {at}"),
            known: None,
            line: 0,
        });
        PartsList {
            sizes: sizes.into_iter().map(str::to_owned).collect(),
            parts,
            assemblies: assemblies.collect(),
            lines,
        }
    })
}

proptest! {
    #[test]
    fn what_was_written_is_read_back_the_same(list in any_list()) {
        let bytes = csv(&list);
        let again = read_back(&bytes);
        prop_assert_eq!(&again.list.sizes, &list.sizes);
        prop_assert_eq!(in_full(&again.list), in_full(&list));
        prop_assert!(again.can_be_taken());
        for size in 0..list.sizes.len() {
            let total = |list: &PartsList| list.need(size).map(|need| need.total());
            prop_assert_eq!(total(&again.list), total(&list));
        }
        // Written again, it is the same file to the byte.
        prop_assert_eq!(csv(&again.list), bytes);
    }

    #[test]
    fn what_was_written_as_a_spreadsheet_is_read_back_the_same(list in any_list()) {
        let bytes = xlsx(&list).expect("every list can be written");
        let again = read_sheet_back(&bytes);
        prop_assert_eq!(&again.list.sizes, &list.sizes);
        prop_assert_eq!(in_full(&again.list), in_full(&list));
        prop_assert!(again.can_be_taken());
        // The same cells as in the file of text.
        prop_assert_eq!(csv(&again.list), csv(&list));
        prop_assert_eq!(xlsx(&again.list).expect("again"), bytes);
    }
}
