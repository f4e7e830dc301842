//! Cases of reading a packing slip.

use super::*;

fn known(number: &str, colour: &str, need: i64) -> Known {
    Known {
        part: PartId::new(),
        number: number.into(),
        name: number.into(),
        colour: colour.into(),
        need,
    }
}

fn parts() -> [Known; 3] {
    [
        known("B-4", "black", 20),
        known("B-6", "amber", 1),
        known("B-6", "white", 1),
    ]
}

#[test]
fn columns_may_stand_in_any_order_and_be_cut_in_four_ways() {
    let row = SlipRow {
        line: 2,
        bag_box: "Box 1".into(),
        bag: "Bag 2".into(),
        number: "B-4".into(),
        colour: "black".into(),
        quantity: 12,
    };
    for text in [
        "Box,Bag,Number,Colour,Quantity\nBox 1,Bag 2,B-4,black,12\n",
        "\u{feff}qty;color;NUMBER;bag;box\r\n12;black;B-4;Bag 2;Box 1\r\n\r\n",
        "Bag\tBox\tPart number\tPieces\tColour\tNote\nBag 2\tBox 1\tB-4\t12\tblack\tx\n",
        "Box|Bag|Number|Colour|Quantity\nBox 1| Bag  2 |B-4|black|12",
        "\"Box\",\"Bag\",\"Number\",\"Colour\",\"Quantity\"\n\"Box 1\",\"Bag 2\",\"B-4\",\"black\",\"12\"\n",
    ] {
        let slip = read(text).unwrap();
        assert_eq!(slip.rows, std::slice::from_ref(&row), "{text}");
        assert_eq!(slip.doubts, []);
    }
}

#[test]
fn what_is_no_table_is_refused() {
    for (text, expected) in [
        ("", "Paste"),
        (" \n ", "Paste"),
        ("Bag 1, B-4, 12", "must name the columns"),
        ("bag,number\nBag 1,B-4", "must name the columns"),
        (&"x".repeat(MOST_BYTES + 1), "256 KiB"),
    ] {
        let refused = read(text).unwrap_err();
        assert!(refused.contains(expected), "{refused}");
    }
}

#[test]
fn a_row_that_cannot_be_understood_is_named_with_its_line() {
    let text = "bag,number,quantity\n\
        Bag 1,B-4,some\n\
        ,B-4,3\n\
        Bag 1,,3\n\
        Bag 1,B-4,0\n\
        Bag 1,B-4,-2\n\
        Bag 1,B-4,1.5\n\
        Bag 1,B-4,1000001\n\
        Bag 1,B-4,3\n";
    let slip = read(text).unwrap();
    let lines: Vec<u32> = slip.doubts.iter().map(|doubt| doubt.line).collect();
    assert_eq!(lines, [2, 3, 4, 5, 6, 7, 8]);
    assert_eq!(slip.rows.len(), 1);
    assert_eq!(
        slip.doubts[0].text,
        "“some” is not a whole number of pieces."
    );
}

#[track_caller]
fn doubts_of(text: &str) -> Vec<String> {
    check(read(text).unwrap(), &parts())
        .doubts
        .into_iter()
        .map(|doubt| format!("{}: {}", doubt.line, doubt.text))
        .collect()
}

#[test]
fn a_part_is_found_by_number_and_colour() {
    assert_eq!(
        doubts_of(
            "bag,number,colour,quantity\n\
             Bag 1,b-4,BLACK,8\n\
             Bag 1,B-4,,12\n\
             Bag 1,B-6,amber,1\n\
             Bag 1,B-6,white,1\n"
        ),
        Vec::<String>::new()
    );
    assert_eq!(
        doubts_of(
            "bag,number,colour,quantity\n\
             Bag 1,B-9,black,8\n\
             Bag 1,B-6,,1\n\
             Bag 1,B-4,red,1\n"
        ),
        [
            "2: The parts list has no part B-9.",
            "3: The parts list has B-6 in amber, white.",
            "4: The parts list has B-4 in black.",
        ]
    );
}

#[test]
fn a_bag_stands_in_one_box() {
    assert_eq!(
        doubts_of(
            "box,bag,number,colour,quantity\n\
             Box 1,Bag 1,B-4,black,8\n\
             BOX 1,bag 1,B-6,amber,1\n\
             Box 2,Bag 1,B-4,black,12\n\
             ,Bag 1,B-6,white,1\n"
        ),
        [
            "4: “Bag 1” stands in “Box 1” further up, here in “Box 2”. Give the two bags different names.",
            "5: “Bag 1” stands in “Box 1” further up, here in no box. Give the two bags different names.",
        ]
    );
}

#[test]
fn the_plan_adds_up_bags_and_tells_what_differs_from_the_need() {
    let parts = parts();
    let slip = read(
        "box,bag,number,colour,quantity\n\
         Box 1,Bag 1,B-4,black,8\n\
         Box 1,Bag 2,B-4,black,6\n\
         Box 1,Bag 2,B-4,black,4\n\
         ,Loose,B-6,white,2\n",
    )
    .unwrap();
    let plan = check(slip, &parts);
    assert_eq!(plan.boxes, ["Box 1"]);
    let bag = |name: &str, bag_box: Option<&str>, part: PartId, quantity| Bag {
        name: name.into(),
        bag_box: bag_box.map(str::to_owned),
        lines: vec![(part, quantity)],
    };
    assert_eq!(
        plan.bags,
        [
            bag("Bag 1", Some("Box 1"), parts[0].part, 8),
            bag("Bag 2", Some("Box 1"), parts[0].part, 10),
            bag("Loose", None, parts[2].part, 2),
        ]
    );
    let differences: Vec<(PartId, i64)> = plan
        .differences
        .iter()
        .map(|difference| (difference.known.part, difference.on_slip))
        .collect();
    assert_eq!(
        differences,
        [(parts[0].part, 18), (parts[1].part, 0), (parts[2].part, 2)]
    );
    assert_eq!(plan.lines(), 3);
}
