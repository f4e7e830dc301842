//! Cases for the preview: what is taken and what is doubted.

use super::*;
use crate::guides::import::list::Totals;
use crate::guides::import::{columns, table};
use crate::guides::need::Basis;

#[track_caller]
fn read(text: &str) -> Preview {
    read_knowing(text, &Known::default())
}

#[track_caller]
fn read_knowing(text: &str, known: &Known) -> Preview {
    let table = table::read(text).expect("this text is a table");
    preview(&table, &columns::guess(&table), known).expect("the guess makes a list")
}

/// Each doubt as "line: sentence", stopping ones with an exclamation mark.
fn said(preview: &Preview) -> Vec<String> {
    let said = |doubt: &Doubt| {
        let mark = if doubt.severity() == Severity::Stops {
            "!"
        } else {
            ""
        };
        format!("{}{mark}: {doubt}", doubt.line)
    };
    preview.doubts.iter().map(said).collect()
}

#[track_caller]
fn doubts(text: &str, expected: &[&str]) -> Preview {
    let preview = read(text);
    assert_eq!(said(&preview), expected, "{text}");
    preview
}

/// The totals of the last size by part name.
fn totals(preview: &Preview) -> Vec<(String, u64)> {
    let need = preview
        .list
        .need(preview.list.sizes.len() - 1)
        .expect("the list adds up");
    let name = |part| preview.list.name(Child::Part(part)).to_owned();
    need.parts()
        .map(|(part, total)| (name(part), total))
        .collect()
}

#[track_caller]
fn comes_to(preview: &Preview, expected: &[(&str, u64)]) {
    let expected: Vec<(String, u64)> = expected
        .iter()
        .map(|(name, total)| ((*name).to_owned(), *total))
        .collect();
    assert_eq!(totals(preview), expected);
}

#[test]
fn a_plain_list_is_taken_without_doubt() {
    let preview = doubts(
        "Part number,Name,Colour,Half,Full\nA1,Peg,red,2,4\nA1,Peg,blue,,4\nA2,Pin,red,1,2\n",
        &[],
    );
    assert!(preview.can_be_taken());
    assert_eq!(preview.list.sizes, ["Half", "Full"]);
    comes_to(&preview, &[("Peg", 4), ("Peg", 4), ("Pin", 2)]);
    // Blank for one size says that a kit of that size has none.
    assert_eq!(preview.list.lines[1].quantities, [0, 4]);
    assert!(preview.list.parts.iter().all(|part| part.issue == 0));
}

#[test]
fn assemblies_with_what_they_are_part_of_multiply() {
    let text = "Assembly,Part of,How many of it,Part,Quantity in it\n\
        Hub,Wheel,2,Peg,4\n\
        Wheel,Cart,6,Pin,1\n\
        Wheel,Cart,6,Peg,1\n\
        Cart,,1,Board,1\n";
    let preview = doubts(text, &[]);
    comes_to(&preview, &[("Peg", 54), ("Pin", 6), ("Board", 1)]);
    assert_eq!(
        preview.list.basis_example().as_deref(),
        Some("Line 2: 4 of 'Peg' in 'Hub', of which there are 12: 48 in all, or 4 in all?")
    );
    let table = table::read(text).expect("this text is a table");
    let mut mapping = columns::guess(&table);
    mapping.basis = Basis::All;
    let all = preview_of(&table, &mapping);
    comes_to(&all, &[("Peg", 5), ("Pin", 1), ("Board", 1)]);
}

fn preview_of(table: &Table, mapping: &Mapping) -> Preview {
    preview(table, mapping, &Known::default()).expect("the mapping makes a list")
}

#[test]
fn assembly_rows_place_assemblies_by_size() {
    let preview = doubts(
        "Assembly,Part of,Part,Half,Full\n\
         Gate,,,1,2\n\
         Post,Gate,,2,2\n\
         Post,,Peg,3,3\n\
         Gate,,Bar,1,1\n",
        &[],
    );
    comes_to(&preview, &[("Peg", 12), ("Bar", 2)]);
    let expected = Totals {
        pieces: 14,
        parts: vec![12, 2],
        assemblies: vec![2, 4],
        in_assembly: vec![2, 12],
        in_no_assembly: 0,
    };
    assert_eq!(preview.list.totals(1), Ok(expected));
    assert_eq!(preview.list.need(0).expect("it adds up").total(), 7);
}

#[test]
fn paths_make_a_tree() {
    let preview = doubts(
        "Path,Part,Quantity\nGate / Post,Peg,3\nGate / Post / Foot,Pin,1\nGate,Bar 3/8,1\n",
        &[],
    );
    comes_to(&preview, &[("Peg", 3), ("Pin", 1), ("Bar 3/8", 1)]);
    let names: Vec<&str> = preview
        .list
        .assemblies
        .iter()
        .map(|a| a.name.as_str())
        .collect();
    assert_eq!(names, ["Gate", "Post", "Foot"]);
}

#[test]
fn an_assembly_listed_in_each_place_is_taken_once() {
    let preview = doubts(
        "Path,Part,Quantity\n\
         Left / Foot,Peg,2\n\
         Right / Foot,Peg,2\n\
         Right / Foot,Pin,1\n\
         Back / Foot,Peg,3\n",
        &[
            "3: 'Foot' stands in another place here; what it holds is taken once, from line 2.",
            "3: 'Foot' does not list the same parts here as on line 2. It is taken as one assembly that holds them all; if they are different, give them different names.",
            "5!: 'Foot' holds another quantity here than on line 2. If they are different assemblies, give them different names.",
        ],
    );
    comes_to(&preview, &[("Peg", 6), ("Pin", 3)]);
    assert!(!preview.can_be_taken());
}

#[test]
fn an_assembly_named_once_goes_on_below() {
    let preview = doubts(
        "Assembly,Part,Quantity\nHub,Peg,4\n,Pin,4\n,Nut,4\nRim,Pin,1\n",
        &[],
    );
    assert_eq!(
        preview
            .list
            .lines
            .iter()
            .filter(|line| line.parent == Some(0))
            .count(),
        3
    );
}

#[test]
fn numbers_and_names_that_disagree_are_doubted() {
    let preview = doubts(
        "Number,Name,Quantity\nA1,Peg,1\nA1,Pin,2\nA2,Peg,3\n,Nut,4\n?,Cap,1\nA1,,5\n1.2E+11,Rod,1\n,,7\n",
        &[
            "3: Number A1 is 'Pin' here and 'Peg' on line 2. They are taken as two parts.",
            "4: 'Peg' has the number A2 here and A1 on line 2. They are taken as two parts.",
            "5: 'Nut' has no number, while other rows have one. It is taken without.",
            "6: 'Cap' has no number, while other rows have one. It is taken without.",
            "7: Number A1 has no name here; it is taken as 'Peg'.",
            "7: 'Peg' (A1) stands in the kit on line 2 already. Both are taken and added up.",
            "8: The number 1.2E+11 looks like a long one that a spreadsheet shortened. Look it up.",
            "9!: There is neither a part name nor a number.",
        ],
    );
    comes_to(
        &preview,
        &[
            ("Peg", 6),
            ("Pin", 2),
            ("Peg", 3),
            ("Nut", 4),
            ("Cap", 1),
            ("Rod", 1),
        ],
    );
    assert_eq!(
        preview
            .list
            .parts
            .iter()
            .map(|part| part.issue)
            .collect::<Vec<_>>()[..3],
        [0, 1, 0]
    );
    assert_eq!(preview.stopped_lines(), BTreeSet::from([9]));
}

#[test]
fn colour_and_spelling_are_compared() {
    doubts(
        "Number,Name,Colour,Quantity\nA1,Long peg,red,1\nA1,long  Peg,RED,2\nA1,Long peg,,1\n",
        &[
            "3: 'long Peg' is spelled 'Long peg' on line 2. They are taken as the same.",
            "3: 'RED' is spelled 'red' on line 2. They are taken as the same.",
            "3: 'Long peg' (A1, red) stands in the kit on line 2 already. Both are taken and added up.",
            "4: 'Long peg' has no colour here, but is red on line 2. It is taken without colour, as another part.",
        ],
    );
}

#[test]
fn quantities_that_are_not_plain_are_doubted() {
    let preview = doubts(
        "Part,Quantity\na,\nb,-\nc,1/2\nd,-3\ne,some\nf,0\ng,\"1,000\"\nh,12 pcs\ni,2000000\nj,1.000\nk,2\nl,3\nm,4\nn,5\n",
        &[
            "2!: The quantity is blank. Blank is not zero.",
            "3!: The quantity is '-', which is not a number.",
            "4!: The quantity '1/2' is not a whole number of pieces.",
            "5!: The quantity '-3' is below zero.",
            "6!: The quantity 'some' cannot be read as a number of pieces.",
            "7: The quantity is zero, so nothing is taken.",
            "8: The quantity '1,000' is read as 1000.",
            "9: The quantity '12 pcs' is read as 12.",
            "10!: The quantity '2000000' is more than a million.",
            "11!: The quantity '1.000' is not a whole number of pieces.",
        ],
    );
    assert_eq!(preview.list.lines.len(), 6);
}

#[test]
fn lines_left_out_by_choice_no_longer_stop() {
    let table = table::read("Part,Quantity\nPeg,4\nPin,some\n").expect("this text is a table");
    let mut mapping = columns::guess(&table);
    assert_eq!(
        preview_of(&table, &mapping).stopped_lines(),
        BTreeSet::from([3])
    );
    mapping.left_out.insert(3);
    let preview = preview_of(&table, &mapping);
    assert!(preview.can_be_taken());
    assert_eq!(said(&preview), ["3: Left out by choice."]);
    assert_eq!(preview.rows, [(2, Fate::Taken), (3, Fate::NotTaken)]);
}

#[test]
fn a_cycle_is_named_and_cut() {
    let preview = doubts(
        "Assembly,Part of,Part,Quantity\nHub,Wheel,Peg,1\nWheel,Axle,Pin,1\nAxle,Hub,Nut,1\nCap,Cap,Rod,1\n",
        &[
            "3!: 'Wheel' holds 'Hub', which holds 'Axle', which holds 'Wheel' again.",
            "5!: 'Cap' holds itself.",
        ],
    );
    assert!(preview.list.need(0).is_ok());
}

#[test]
fn assemblies_that_do_not_fit_are_doubted() {
    doubts(
        "Assembly,Part of,How many of it,Part,Quantity\n\
         Hub,Wheel,2,Peg,1\n\
         Hub,Wheel,3,Pin,1\n\
         hub,Wheel,2,Nut,1\n\
         Rim,Wheel,,,\n\
         Rim,Wheel,,,\n\
         ,,,Cap,1\n",
        &[
            "2: 'Wheel' holds others, but no row says where it belongs. It is taken to be in the kit once.",
            "3!: Line 2 says another number of 'Hub' in 'Wheel'.",
            "4: 'hub' is spelled 'Hub' on line 2. They are taken as the same.",
            "5: 'Rim' holds nothing.",
            "6: Line 5 places 'Rim' there already. It is taken once.",
            "7: The assembly is blank, while other rows have one. It is counted for the kit itself.",
        ],
    );
}

#[test]
fn several_assemblies_in_one_cell_are_not_guessed_apart() {
    let preview = doubts(
        "Part,Used in,Quantity\nPeg,\"Hub, Rim\",4\nPin,Hub,1\nNut,Rim,1\nCap,\"Hub, left\",1\n",
        &[
            "2: 'Hub, Rim' names 2 assemblies, and how the quantity divides is not said. It is counted once, for the kit itself; give each assembly its own row to divide it.",
            "5: 'Hub, left' may name several assemblies. It is taken as the name of one.",
        ],
    );
    assert_eq!(
        preview
            .list
            .lines
            .iter()
            .filter(|line| line.parent.is_none())
            .count(),
        4
    );
    comes_to(&preview, &[("Peg", 4), ("Pin", 1), ("Nut", 1), ("Cap", 1)]);
}

#[test]
fn sums_are_checked_and_not_taken_as_parts() {
    let preview = doubts(
        "Part,Quantity\nPeg,4\nPin,2\nSubtotal,6\nNut,1\nSubtotal,2\nTotal,7\nTotal:,8\n",
        &[
            "4: This row adds up others. It is not taken as a part.",
            "6: This row says the sum is 2, but the rows above it add up to 1. It is not taken as a part.",
            "7: This row adds up others. It is not taken as a part.",
            "8: This row says the sum is 8, but the rows above it add up to 0. It is not taken as a part.",
        ],
    );
    comes_to(&preview, &[("Peg", 4), ("Pin", 2), ("Nut", 1)]);
    doubts(
        "Assembly,Part of,How many of it,Part,Quantity,Total\n\
         Hub,,6,Peg,4,24\nHub,,6,Pin,4,20\nHub,,6,Nut,1,about 6\n",
        &[
            "3: The total says 20, but the line makes 24 in the kit.",
            "4: The total 'about 6' cannot be read, so it is not checked.",
        ],
    );
    doubts(
        "Part,Half,Full\nPeg,4,2\nPin,1,\n",
        &[
            "2: Half needs 4 and full only 2.",
            "3: Half needs 1 and full only 0.",
        ],
    );
}

#[test]
fn rows_that_are_no_rows_are_named() {
    doubts(
        "Field,kit\n\nPart,Quantity,\nPeg,4\n,,\nPart,Quantity,\nPin,2,,more\n\"A\" frame,1\n",
        &[
            "1: This row stands above the column names. It is left out.",
            "6: The column names stand here again. They are left out.",
            "7: The row has more cells than there are column names.",
            "8: A quotation mark stands where none belongs. Look whether the cells were cut rightly.",
        ],
    );
}

#[test]
fn what_is_known_is_recognised() {
    let part = |number: &str, name: &str| KnownPart {
        number: number.to_owned(),
        colour: String::new(),
        name: name.to_owned(),
    };
    let known = Known {
        parts: vec![part("A1", "Peg"), part("A2", "Pin"), part("A3", "Nut")],
        assemblies: vec!["hub".to_owned()],
    };
    let preview = read_knowing(
        "Number,Name,Assembly,Quantity\na1,peg,Hub,1\nA2,Pin,Rim,1\nA3,Cap,Rim,1\nA9,Rod,Rim,1\n",
        &known,
    );
    assert_eq!(
        said(&preview),
        [
            "4: Number A3 is known as 'Nut', and here it is 'Cap'. It becomes a part of its own.",
            "5: The number A9 is not known yet. It becomes a new part.",
        ]
    );
    let parts: Vec<Option<usize>> = preview.list.parts.iter().map(|part| part.known).collect();
    assert_eq!(parts, [Some(0), Some(1), None, None]);
    let assemblies: Vec<Option<usize>> = preview
        .list
        .assemblies
        .iter()
        .map(|assembly| assembly.known)
        .collect();
    assert_eq!(assemblies, [Some(0), None]);
}

#[test]
fn mass_notes_and_basis_are_read() {
    let preview = doubts(
        "Assembly,Part of,How many of it,Part,Qty,Basis,Mass (g),Note\n\
         Hub,,3,Peg,4,each,2.5,film\nHub,,3,Pin,4,all,heavy,\nHub,,3,Nut,4,some,,\nCap,,1,Peg,1,,3,other\n",
        &[
            "3: The mass 'heavy' cannot be read as grams. It is left out.",
            "4!: 'some' says neither 'each' nor 'all'.",
            "5: 'Peg' has another mass here than on line 2. The first is taken.",
            "5: 'Peg' has another note here than on line 2. The first is taken.",
        ],
    );
    comes_to(&preview, &[("Peg", 13), ("Pin", 4)]);
    assert_eq!(preview.list.parts[0].mass_mg, Some(2_500));
}

#[test]
fn quantities_beyond_counting_are_doubted() {
    let mut text = "Assembly,Part of,How many of it,Part,Quantity\nA0,,1000000,,\n".to_owned();
    for level in 1..5 {
        text += &format!("A{level},A{},1000000,,\n", level - 1);
    }
    let preview = read(&(text + "A4,,,Peg,1\n"));
    assert_eq!(
        said(&preview),
        ["5!: The quantities of 'A3' multiply to more than can be counted."]
    );
}

#[test]
fn a_mapping_that_makes_no_list_is_refused() {
    let table = table::read("Part,Quantity\nPeg,4\n").expect("this text is a table");
    let refused = preview(&table, &Mapping::empty(2), &Known::default());
    assert_eq!(
        refused,
        Err(vec![MappingWrong::NoPart, MappingWrong::NoQuantity])
    );
}
