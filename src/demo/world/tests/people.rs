//! What the demo promises about people, places and the counts they have made.

use std::collections::BTreeSet;

use super::super::places::{CRATES, Holds, LOOSE, PLACES};
use super::super::story::{BagCount, CLOSED, Progress, UNDER_WAY, UNTOUCHED};
use super::*;

fn kit(name: &str) -> &'static Kit {
    KITS.iter()
        .find(|kit| kit.name == name)
        .unwrap_or_else(|| panic!("no kit {name}"))
}

fn slip(name: &str) -> Vec<Row> {
    rows(kit(name).slip.expect("this kit has a slip"))
}

fn bags(slip: &[Row]) -> BTreeSet<&str> {
    slip.iter().map(|row| row["Bag"].as_str()).collect()
}

/// A count's lines as (number, slip, counted), for those that differ.
fn differences(count: &BagCount) -> Vec<(&'static str, u32, u32)> {
    let slip = slip(count.kit);
    count
        .differs
        .iter()
        .map(|line| {
            let planned = slip
                .iter()
                .find(|row| row["Bag"] == count.bag && row["Number"] == line.number)
                .unwrap_or_else(|| panic!("{} is not on the slip of {}", line.number, count.bag));
            (line.number, number(planned, "Quantity"), line.counted)
        })
        .collect()
}

#[test]
fn the_count_under_way_has_shorts_an_over_a_mix_up_and_a_disagreement() {
    let told: Vec<_> = UNDER_WAY
        .iter()
        .flat_map(|count| {
            differences(count)
                .into_iter()
                .map(|difference| (count.bag, difference))
        })
        .collect();
    assert_eq!(
        told,
        [
            ("Bag 2", ("S-420", 34, 32)),
            ("Bag 3", ("C-140", 8, 5)),
            ("Bag 4", ("C-145", 4, 7)),
            ("Bag 6", ("L-330", 3, 1)),
            ("Bag 6", ("L-331", 3, 5)),
            ("Bag 8", ("S-316", 12, 11)),
            ("Bag 10", ("B-240", 2, 1)),
            ("Bag 11", ("W-120", 4, 3)),
        ]
    );
    let twice: Vec<_> = UNDER_WAY
        .iter()
        .filter(|count| count.bag == "Bag 8")
        .map(|count| count.person)
        .collect();
    assert_eq!(twice, [PELLORI, JORRIN]);
    assert!(UNDER_WAY.is_sorted_by_key(|count| count.began));
    assert!(UNDER_WAY.iter().all(|count| count.began < Minutes(0)));
}

#[test]
fn every_bag_that_is_here_is_counted_begun_or_untouched() {
    let slip = slip(KETTLEHORN);
    let here: Vec<&str> = DELIVERIES
        .iter()
        .filter(|delivery| delivery.kit == KETTLEHORN && delivery.on <= Days(0))
        .flat_map(|delivery| delivery.boxes)
        .copied()
        .collect();
    let arrived: BTreeSet<&str> = slip
        .iter()
        .filter(|row| here.contains(&row["Box"].as_str()))
        .map(|row| row["Bag"].as_str())
        .collect();
    let counted: BTreeSet<&str> = UNDER_WAY.iter().map(|count| count.bag).collect();
    let untouched: BTreeSet<&str> = UNTOUCHED.iter().copied().collect();
    assert!(counted.is_disjoint(&untouched));
    assert_eq!(&counted | &untouched, arrived);
    assert!(
        arrived.len() < bags(&slip).len(),
        "nothing is still to come"
    );

    let begun: Vec<_> = UNDER_WAY
        .iter()
        .filter_map(|count| match count.progress {
            Progress::Done => None,
            Progress::Lines(lines) => Some((count.bag, lines)),
        })
        .collect();
    assert_eq!(begun, [("Bag 13", 4)]);
    let lines = slip.iter().filter(|row| row["Bag"] == "Bag 13").count();
    assert!(lines > 4);
}

#[test]
fn the_closed_count_covers_every_bag_once_and_found_three_shorts() {
    let slip = slip(LONG_GABLE);
    assert_eq!(CLOSED.len(), bags(&slip).len());
    let counted: BTreeSet<&str> = CLOSED.iter().map(|count| count.bag).collect();
    assert_eq!(counted, bags(&slip));
    let told: Vec<_> = CLOSED.iter().flat_map(differences).collect();
    assert_eq!(told, [("D-725", 3, 2), ("W-122", 4, 3), ("S-516", 12, 9)]);
}

#[test]
fn every_bag_of_the_half_kit_stands_somewhere_once() {
    let mut stored: Vec<&str> = LOOSE.iter().map(|(_, bag, _)| *bag).collect();
    for krate in CRATES {
        match krate.holds {
            Holds::Bags { kit, bags } => {
                assert_eq!(kit, LONG_GABLE);
                stored.extend(bags);
            }
            Holds::Assemblies { kit, assemblies } => {
                assert_eq!(kit, OLD_NEEDLE);
                assert!(!assemblies.is_empty());
            }
            Holds::Nothing => {}
        }
    }
    let slip = slip(LONG_GABLE);
    assert_eq!(stored.len(), bags(&slip).len());
    assert_eq!(stored.into_iter().collect::<BTreeSet<_>>(), bags(&slip));
}

#[test]
fn every_assembly_of_the_last_season_lies_in_one_crate() {
    let list = rows(SEASONS[0].revisions[0].parts_list);
    let mut stored: Vec<&str> = CRATES
        .iter()
        .flat_map(|krate| match krate.holds {
            Holds::Assemblies { assemblies, .. } => assemblies,
            Holds::Bags { .. } | Holds::Nothing => &[],
        })
        .copied()
        .collect();
    stored.sort_unstable();
    assert_eq!(stored, parents(&list).into_keys().collect::<Vec<_>>());
}

#[test]
fn names_that_point_at_something_find_it() {
    let team = |name: &str| TEAMS.iter().any(|team| team.name == name);
    let place = |name: &str| PLACES.iter().any(|place| place.name == name);
    for person in PEOPLE {
        assert!(team(person.team), "{}", person.name);
        assert!(person.email.ends_with(".example"), "{}", person.email);
    }
    for count in UNDER_WAY.iter().chain(CLOSED) {
        let person = PEOPLE.iter().find(|person| person.name == count.person);
        assert_eq!(person.expect("a person").team, kit(count.kit).team);
    }
    for (at, here) in PLACES.iter().enumerate() {
        assert!(team(here.team), "{}", here.name);
        let before = &PLACES[..at];
        assert!(
            here.parent
                .is_none_or(|parent| before.iter().any(|place| place.name == parent)),
            "{}",
            here.name
        );
    }
    for krate in CRATES {
        assert!(
            place(krate.place) && place(krate.usual_place),
            "{}",
            krate.name
        );
    }
    assert!(LOOSE.iter().all(|(_, _, at)| place(at)));
    for kit in KITS {
        assert!(team(kit.team), "{}", kit.name);
        let season = SEASONS.iter().find(|season| season.name == kit.season);
        let revisions = season.expect("a season").revisions;
        assert!(
            revisions
                .iter()
                .any(|revision| revision.label == kit.revision && revision.issued <= kit.received),
            "{}",
            kit.name
        );
    }
    for team in TEAMS {
        assert!(jiff::tz::TimeZone::get(team.zone).is_ok(), "{}", team.zone);
    }
}

#[test]
fn what_is_told_about_parts_is_about_listed_parts() {
    let list: Vec<Row> = revisions()
        .iter()
        .flat_map(|revision| rows(revision.parts_list))
        .collect();
    let listed = |number: &str| list.iter().find(|row| row["Number"] == number);
    let pairs = parts::FILM_PAIRS.iter().chain(parts::LOOK_ALIKES);
    let mut told: Vec<&str> = pairs.flat_map(|(one, other)| [*one, *other]).collect();
    told.extend(parts::GROUPS.iter().map(|(number, _)| *number));
    told.extend(parts::BY_LOOK);
    told.extend(parts::CAUTIONS.iter().map(|(number, _)| *number));
    for number in told {
        assert!(listed(number).is_some(), "{number}");
    }
    for (one, other) in parts::FILM_PAIRS {
        let (one, other) = (listed(one), listed(other));
        let (one, other) = (one.expect("listed"), other.expect("listed"));
        assert_eq!(one["Part"], other["Part"]);
        assert_ne!(one["Colour"], other["Colour"]);
        assert!(one["How to know it"].contains("peel a corner"));
    }
    for (assembly, _) in parts::HINTS {
        assert!(
            list.iter().any(|row| row["Assembly"] == *assembly),
            "{assembly}"
        );
    }
}
