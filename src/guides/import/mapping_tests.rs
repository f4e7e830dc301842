//! Cases for mappings and for guessing them.

use super::*;
use crate::guides::import::{columns, table};

fn columns_of(roles: &[(Role, &str)]) -> Mapping {
    let mut mapping = Mapping::empty(roles.len());
    for (column, (role, size)) in mapping.columns.iter_mut().zip(roles) {
        *column = Column {
            role: *role,
            size: (*size).to_owned(),
        };
    }
    mapping
}

#[track_caller]
fn wrong(roles: &[(Role, &str)], expected: &[&str]) {
    let wrongs = columns_of(roles).wrongs(roles.len());
    assert_eq!(
        wrongs.iter().map(ToString::to_string).collect::<Vec<_>>(),
        expected
    );
}

use Role::{
    Assembly, Colour, HowMany, Ignored, Mass, Note, PartName, PartNumber, PartOf, Path, Quantity,
    Total,
};

#[test]
fn what_is_wrong_is_said_in_words() {
    wrong(&[(PartName, ""), (Quantity, "")], &[]);
    wrong(
        &[
            (PartNumber, ""),
            (Quantity, "half"),
            (Quantity, "full"),
            (Total, "full"),
        ],
        &[],
    );
    wrong(
        &[(Ignored, "")],
        &[
            "Say which column holds the part's name or its number.",
            "Say which column holds the quantity.",
        ],
    );
    wrong(
        &[(PartName, ""), (PartName, ""), (Quantity, "")],
        &["Columns 1 and 2 are both 'part name'. Only one can be."],
    );
    wrong(
        &[(PartName, ""), (Quantity, ""), (Quantity, "full")],
        &["There are several quantities, so say which size column 2 is for."],
    );
    wrong(
        &[(PartName, ""), (Quantity, "Full"), (Quantity, "full")],
        &["Columns 2 and 3 both hold the quantity of the size 'full'. Give each its own size."],
    );
    wrong(
        &[(PartName, ""), (Quantity, "half"), (Total, "full")],
        &["The total in column 3 is for the size 'full', which has no quantity."],
    );
    wrong(
        &[(PartName, ""), (Quantity, ""), (HowMany, "")],
        &["Column 3 is 'how many of that assembly', so say which column holds the assembly."],
    );
    wrong(
        &[(PartName, ""), (Quantity, ""), (Path, ""), (Assembly, "")],
        &[
            "Assemblies are given twice: by the path in column 3 and by column 4. Leave one of them out.",
        ],
    );
    let mapping = columns_of(&[(PartName, ""), (Quantity, "")]);
    assert_eq!(
        mapping.wrongs(3),
        [MappingWrong::OtherTable { told: 2, found: 3 }]
    );
}

#[test]
fn a_form_carries_the_mapping_there_and_back() {
    let mut mapping = columns_of(&[
        (Path, ""),
        (PartName, ""),
        (Quantity, "half"),
        (Ignored, ""),
    ]);
    mapping.basis = Basis::All;
    mapping.blank_assembly = BlankAssembly::AsAbove;
    mapping.path_separator = '>';
    mapping.left_out = BTreeSet::from([7, 12]);
    let fields = mapping.fields();
    let read = Mapping::from_fields(4, fields.iter().map(|(n, v)| (n.as_str(), v.as_str())));
    assert_eq!(read, Ok(mapping.clone()));
    let json = serde_json::to_string(&mapping).expect("a mapping can be written");
    assert_eq!(
        serde_json::from_str::<Mapping>(&json).expect("and read"),
        mapping
    );
}

#[test]
fn a_form_with_foreign_values_is_refused() {
    let read = |field| Mapping::from_fields(2, [field]);
    assert_eq!(
        read(("role-0", "price")),
        Err(MappingWrong::Unknown("price".to_owned()))
    );
    assert_eq!(
        read(("role-2", "note")),
        Err(MappingWrong::OtherTable { told: 3, found: 2 })
    );
    assert_eq!(
        read(("leave-out", "x")),
        Err(MappingWrong::Unknown("x".to_owned()))
    );
    assert_eq!(
        read(("path-separator", "")),
        Err(MappingWrong::Unknown(String::new()))
    );
    assert!(read(("role-99999999999999999999", "note")).is_err());
    assert!(read(("form_id", "whatever")).is_ok());
    assert_eq!(
        read(("path-separator", "é")).expect("one letter").wrongs(2)[0],
        MappingWrong::PathSeparator('é')
    );
}

#[track_caller]
fn guesses(text: &str, expected: &[(Role, &str)]) -> Mapping {
    let table = table::read(text).expect("this text is a table");
    let mapping = columns::guess(&table);
    let found: Vec<(Role, &str)> = mapping
        .columns
        .iter()
        .map(|column| (column.role, column.size.as_str()))
        .collect();
    assert_eq!(found, expected, "{text}");
    assert_eq!(mapping.wrongs(table.width()), []);
    mapping
}

#[test]
fn plain_names_are_understood() {
    guesses("Part,Quantity\nPeg,4\n", &[(PartName, ""), (Quantity, "")]);
    guesses(
        "Item,Description,Qty\n1,Peg,4\n2,Pin,1\n",
        &[(Ignored, ""), (PartName, ""), (Quantity, "")],
    );
    guesses(
        "Part number,Name,Color,Assembly,Half,Full,Weight (g),Notes\nA1,Peg,red,Hub,2,4,3.5,\"film\"\n",
        &[
            (PartNumber, ""),
            (PartName, ""),
            (Colour, ""),
            (Assembly, ""),
            (Quantity, "Half"),
            (Quantity, "Full"),
            (Mass, ""),
            (Note, ""),
        ],
    );
    guesses(
        "P/N;Piece;Qty per assembly;Weight (kg)\nA1;Peg;2;1\n",
        &[
            (PartNumber, ""),
            (PartName, ""),
            (Quantity, ""),
            (Ignored, ""),
        ],
    );
    guesses(
        "Part,Quantity (long field),Quantity (half),Total half\nPeg,2,1,4\n",
        &[
            (PartName, ""),
            (Quantity, "long field"),
            (Quantity, "half"),
            (Total, "half"),
        ],
    );
}

#[test]
fn words_of_buying_are_left_out() {
    guesses(
        "Part Name,Ref Code,Sold in packs of,Total used,Quantity to buy,Price each,Used in sections\n\
         Peg,A1,100,28,1,$3.45 ,Body\n",
        &[
            (PartName, ""),
            (PartNumber, ""),
            (Ignored, ""),
            (Quantity, ""),
            (Ignored, ""),
            (Ignored, ""),
            (Assembly, ""),
        ],
    );
}

#[test]
fn the_three_ways_to_name_assemblies_are_understood() {
    guesses(
        "Assembly,Part of,How many of it,Part,Quantity in it\nHub,Wheel,2,Peg,4\nWheel,,1,Pin,4\n",
        &[
            (Assembly, ""),
            (PartOf, ""),
            (HowMany, ""),
            (PartName, ""),
            (Quantity, ""),
        ],
    );
    let mapping = guesses(
        "Assembly,Part,Quantity\nGoal > Post,Peg,4\nGoal > Post > Foot,Pin 3/8,4\n",
        &[(Path, ""), (PartName, ""), (Quantity, "")],
    );
    assert_eq!(mapping.path_separator, '>');
    guesses(
        "Assembly,Part,Quantity\nHub 3/8,Peg,4\nHub 1/2,Pin,4\n",
        &[(Assembly, ""), (PartName, ""), (Quantity, "")],
    );
    let mapping = guesses(
        "Assembly,Part,Quantity\nHub,Peg,4\n,Pin,4\n,Nut,4\nWheel,Pin,4\n",
        &[(Assembly, ""), (PartName, ""), (Quantity, "")],
    );
    assert_eq!(mapping.blank_assembly, BlankAssembly::AsAbove);
}
