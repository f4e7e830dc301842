//! What the demo promises about its lists and slips, checked on the files themselves.

use std::collections::{BTreeMap, BTreeSet};

use super::*;

mod people;

type Row = BTreeMap<String, String>;

fn rows(text: &str) -> Vec<Row> {
    let mut reader = csv::Reader::from_reader(text.as_bytes());
    reader
        .deserialize()
        .collect::<Result<_, _>>()
        .expect("the file is well-formed CSV")
}

fn number(row: &Row, column: &str) -> u32 {
    row[column]
        .parse()
        .unwrap_or_else(|_| panic!("{column} is {:?}", row[column]))
}

/// Each assembly with its parent and how many of it stand in one parent.
fn parents(list: &[Row]) -> BTreeMap<&str, (&str, u32)> {
    let mut parents = BTreeMap::new();
    for row in list {
        let parent = (row["Part of"].as_str(), number(row, "How many of it"));
        let before = parents.insert(row["Assembly"].as_str(), parent);
        assert!(before.is_none_or(|before| before == parent), "{row:?}");
    }
    parents
}

/// The way from an assembly up to its root, itself included.
fn path<'a>(parents: &BTreeMap<&'a str, (&'a str, u32)>, assembly: &'a str) -> Vec<&'a str> {
    let mut path = vec![assembly];
    let mut at = parents[assembly].0;
    while !at.is_empty() {
        assert!(!path.contains(&at), "{at} is part of itself");
        path.push(at);
        at = parents
            .get(at)
            .unwrap_or_else(|| panic!("{at} has no lines"))
            .0;
    }
    path
}

fn need(list: &[Row], size: &str) -> BTreeMap<String, u32> {
    let parents = parents(list);
    let mut need = BTreeMap::new();
    for row in list {
        let times: u32 = path(&parents, &row["Assembly"])
            .iter()
            .map(|assembly| parents[assembly].1)
            .product();
        *need.entry(row["Number"].clone()).or_default() += times * number(row, size);
    }
    need.retain(|_, quantity| *quantity > 0);
    need
}

/// The parts that occur in more than one assembly.
fn shared(list: &[Row]) -> BTreeSet<&str> {
    let mut assemblies: BTreeMap<&str, BTreeSet<&str>> = BTreeMap::new();
    for row in list {
        assemblies
            .entry(&row["Number"])
            .or_default()
            .insert(&row["Assembly"]);
    }
    assemblies.retain(|_, assemblies| assemblies.len() > 1);
    assemblies.into_keys().collect()
}

fn revisions() -> Vec<&'static Revision> {
    SEASONS.iter().flat_map(|season| season.revisions).collect()
}

#[test]
fn a_number_means_one_part_in_every_list() {
    let mut by_number: BTreeMap<String, [String; 4]> = BTreeMap::new();
    let mut by_name: BTreeMap<(String, String), String> = BTreeMap::new();
    for revision in revisions() {
        let mut lines = BTreeSet::new();
        for row in rows(revision.parts_list) {
            let part =
                ["Part", "Colour", "Mass (g)", "How to know it"].map(|column| row[column].clone());
            assert!(number(&row, "Mass (g)") > 0, "{row:?}");
            assert!(part.iter().all(|cell| !cell.is_empty()), "{row:?}");
            let by_name = by_name
                .entry((part[0].clone(), part[1].clone()))
                .or_insert_with(|| row["Number"].clone());
            assert_eq!(by_name, &row["Number"], "{row:?}");
            let by_number = by_number
                .entry(row["Number"].clone())
                .or_insert_with(|| part.clone());
            assert_eq!(by_number, &part, "{row:?}");
            let line = (row["Assembly"].clone(), row["Number"].clone());
            assert!(lines.insert(line), "twice: {row:?}");
        }
    }
}

#[test]
fn full_sets_hold_more_than_half_sets() {
    for revision in revisions() {
        let list = rows(revision.parts_list);
        for row in &list {
            assert!(number(row, FULL) >= number(row, HALF), "{row:?}");
            assert!(number(row, FULL) > 0, "{row:?}");
        }
        let pieces = |size| need(&list, size).into_values().sum::<u32>();
        assert!(pieces(FULL) > pieces(HALF) * 3 / 2);
    }
}

#[test]
fn both_revisions_are_long_deep_and_full_of_shared_parts() {
    for revision in SEASONS[1].revisions {
        let list = rows(revision.parts_list);
        let parents = parents(&list);
        let depth = parents
            .keys()
            .map(|assembly| path(&parents, assembly).len())
            .max();
        assert!(list.len() >= 130, "{} lines", list.len());
        assert!(parents.len() >= 18, "{} assemblies", parents.len());
        assert_eq!(depth, Some(5));
        assert!(shared(&list).len() >= 25, "{:?}", shared(&list));
    }
}

#[test]
fn the_seasons_share_some_parts() {
    let numbers = |season: &Season| -> BTreeSet<String> {
        let list = rows(season.revisions.last().expect("a revision").parts_list);
        list.into_iter().map(|row| row["Number"].clone()).collect()
    };
    let (last, this) = (numbers(&SEASONS[0]), numbers(&SEASONS[1]));
    assert_eq!(last.intersection(&this).count(), 28);
    assert_eq!(last.difference(&this).count(), 12);
}

#[test]
fn the_second_revision_changes_eight_things() {
    let quantities = |revision: &Revision| -> BTreeMap<(String, String), (u32, u32)> {
        let list = rows(revision.parts_list);
        let cell = |row: &Row, column: &str| row[column].clone();
        list.iter()
            .map(|row| {
                (
                    (cell(row, "Assembly"), cell(row, "Number")),
                    (number(row, HALF), number(row, FULL)),
                )
            })
            .collect()
    };
    let old = quantities(&SEASONS[1].revisions[0]);
    let new = quantities(&SEASONS[1].revisions[1]);
    let only_in = |one: &BTreeMap<(String, String), (u32, u32)>,
                   other: &BTreeMap<(String, String), (u32, u32)>|
     -> Vec<String> {
        one.keys()
            .filter(|line| !other.contains_key(*line))
            .map(|(assembly, number)| format!("{assembly}: {number}"))
            .collect()
    };
    // The snap clips moved from the bridge to its handrails; they are in both.
    assert_eq!(
        only_in(&new, &old),
        [
            "Bridge handrail: C-170",
            "Gate latch: S-505",
            "Pulley head: W-125"
        ]
    );
    assert_eq!(
        only_in(&old, &new),
        ["Night Pass: D-716", "Rope bridge: C-170"]
    );
    let changed: Vec<_> = new
        .iter()
        .filter(|(line, quantity)| old.get(*line).is_some_and(|before| before != *quantity))
        .map(|((_, number), _)| number.as_str())
        .collect();
    assert_eq!(changed, ["E-120", "L-330", "K-606", "C-140"]);
}

#[test]
fn the_slips_hold_exactly_what_the_newest_revision_needs() {
    let list = rows(SEASONS[1].revisions[1].parts_list);
    for (text, size, boxes, least_bags) in [(SLIP_HALF, HALF, 2, 10), (SLIP_FULL, FULL, 3, 14)] {
        let slip = rows(text);
        let mut packed: BTreeMap<String, u32> = BTreeMap::new();
        let mut bags_of: BTreeMap<&str, BTreeSet<&str>> = BTreeMap::new();
        let mut box_of: BTreeMap<&str, &str> = BTreeMap::new();
        for row in &slip {
            *packed.entry(row["Number"].clone()).or_default() += number(row, "Quantity");
            let bags = bags_of.entry(&row["Number"]).or_default();
            assert!(bags.insert(&row["Bag"]), "twice: {row:?}");
            let in_box = box_of.entry(&row["Bag"]).or_insert(&row["Box"]);
            assert_eq!(*in_box, row["Box"], "{row:?}");
            let part = list.iter().find(|part| part["Number"] == row["Number"]);
            assert_eq!(part.expect("a listed part")["Colour"], row["Colour"]);
        }
        assert_eq!(packed, need(&list, size), "{size}");
        assert_eq!(box_of.values().collect::<BTreeSet<_>>().len(), boxes);
        let real_bags = box_of.keys().filter(|bag| bag.starts_with("Bag "));
        assert!(real_bags.count() >= least_bags);
        let spread = shared(&list)
            .into_iter()
            .filter(|part| bags_of.get(part).is_some_and(|bags| bags.len() > 1))
            .count();
        assert!(
            spread >= 20,
            "{size}: {spread} shared parts in several bags"
        );
    }
}

#[test]
fn days_are_counted_from_today() {
    let today = jiff::civil::date(2025, 3, 1);
    assert_eq!(Days(-1).date(today), jiff::civil::date(2025, 2, 28));
    assert_eq!(Days(0).date(today), today);
    assert_eq!(Days(31).date(today), jiff::civil::date(2025, 4, 1));
}
