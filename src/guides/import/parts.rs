//! Telling the parts of a file apart: by number, colour and name together.

use std::collections::{BTreeMap, HashMap};

use super::doubts::{Doubt, Reason};
use super::list::Part;
use super::preview::{Known, KnownPart};
use super::rows::{Entry, PartCells};
use crate::text::fold;

/// Number, colour and name, folded.
type Key = (String, String, String);

/// Finds the parts; answers them, and for each entry the position of its part.
pub(super) fn identify(
    entries: &mut [Entry],
    known: &Known,
    doubts: &mut Vec<Doubt>,
) -> (Vec<Part>, Vec<Option<usize>>) {
    fill_names(entries, known, doubts);
    let any_number = cells(entries).any(|(_, part)| !part.number.is_empty());
    let known_keys: HashMap<Key, usize> = known
        .parts
        .iter()
        .enumerate()
        .map(|(at, part)| (known_key(part), at))
        .collect();
    let mut parts: Vec<Part> = Vec::new();
    let mut positions: HashMap<Key, usize> = HashMap::new();
    let mut of_entry = Vec::with_capacity(entries.len());
    for entry in entries.iter() {
        let Some(cells) = &entry.part else {
            of_entry.push(None);
            continue;
        };
        let key = key(cells);
        if any_number && cells.number.is_empty() {
            let reason = Reason::NoNumber {
                name: cells.name.clone(),
            };
            doubts.push(Doubt {
                line: entry.line,
                reason,
            });
        }
        let position = *positions.entry(key.clone()).or_insert(parts.len());
        if position == parts.len() {
            parts.push(Part {
                number: cells.number.clone(),
                name: cells.name.clone(),
                colour: cells.colour.clone(),
                note: cells.note.clone(),
                mass_mg: cells.mass_mg,
                issue: 0,
                known: known_keys.get(&key).copied(),
                line: entry.line,
            });
        } else {
            meet_again(&mut parts[position], cells, entry.line, doubts);
        }
        of_entry.push(Some(position));
    }
    compare_numbers(&mut parts, known, doubts);
    compare_colours(entries, doubts);
    (parts, of_entry)
}

fn cells(entries: &[Entry]) -> impl Iterator<Item = (u32, &PartCells)> {
    entries
        .iter()
        .filter_map(|entry| Some((entry.line, entry.part.as_ref()?)))
}

fn key(part: &PartCells) -> Key {
    (fold(&part.number), fold(&part.colour), fold(&part.name))
}

fn known_key(part: &KnownPart) -> Key {
    (fold(&part.number), fold(&part.colour), fold(&part.name))
}

/// A row with a number but no name takes the name the number has elsewhere.
fn fill_names(entries: &mut [Entry], known: &Known, doubts: &mut Vec<Doubt>) {
    let mut names: HashMap<String, String> = HashMap::new();
    let of_known = known.parts.iter().map(|part| (&part.number, &part.name));
    let of_file = cells(entries).map(|(_, part)| (&part.number, &part.name));
    for (number, name) in of_file.chain(of_known) {
        if !number.is_empty() && !name.is_empty() {
            names.entry(fold(number)).or_insert_with(|| name.clone());
        }
    }
    for entry in entries {
        let Some(part) = entry.part.as_mut().filter(|part| part.name.is_empty()) else {
            continue;
        };
        part.name = names
            .get(&fold(&part.number))
            .unwrap_or(&part.number)
            .clone();
        let reason = Reason::NoName {
            number: part.number.clone(),
            taken_as: part.name.clone(),
        };
        doubts.push(Doubt {
            line: entry.line,
            reason,
        });
    }
}

/// A part that was met before may be spelled otherwise or carry something new.
fn meet_again(part: &mut Part, cells: &PartCells, line: u32, doubts: &mut Vec<Doubt>) {
    let pairs = [
        (&cells.name, &part.name),
        (&cells.number, &part.number),
        (&cells.colour, &part.colour),
    ];
    for (here, there) in pairs {
        if here != there {
            let (here, there) = (here.clone(), there.clone());
            let reason = Reason::Spelling {
                here,
                there,
                line: part.line,
            };
            doubts.push(Doubt { line, reason });
        }
    }
    match (part.mass_mg, cells.mass_mg) {
        (Some(first), Some(now)) if first != now => {
            let reason = Reason::MassDiffers {
                name: part.name.clone(),
                line: part.line,
            };
            doubts.push(Doubt { line, reason });
        }
        (None, now) => part.mass_mg = now,
        _ => {}
    }
    if part.note.is_empty() {
        part.note.clone_from(&cells.note);
    } else if !cells.note.is_empty() && cells.note != part.note {
        let reason = Reason::NoteDiffers {
            name: part.name.clone(),
            line: part.line,
        };
        doubts.push(Doubt { line, reason });
    }
}

/// One number with two names, one name with two numbers, and numbers known or not known.
fn compare_numbers(parts: &mut [Part], known: &Known, doubts: &mut Vec<Doubt>) {
    let mut known_names: HashMap<String, Vec<&KnownPart>> = HashMap::new();
    for part in known.parts.iter().filter(|part| !part.number.is_empty()) {
        known_names
            .entry(fold(&part.number))
            .or_default()
            .push(part);
    }
    let numbered = parts.iter().filter(|part| !part.number.is_empty());
    let (of_old, all) = numbered.fold((0, 0), |(of_old, all), part| {
        (
            of_old + usize::from(known_names.contains_key(&fold(&part.number))),
            all + 1,
        )
    });
    // In a list of a new season every number is new; only among old ones is it strange.
    let mostly_old = of_old * 2 > all;

    // Folded number → the folded names it has, each with the spelling and line of the first.
    let mut names: HashMap<String, Vec<(String, String, u32)>> = HashMap::new();
    let mut numbers: HashMap<(String, String), (String, u32)> = HashMap::new();
    for part in parts.iter_mut().filter(|part| !part.number.is_empty()) {
        let (number, name) = (fold(&part.number), fold(&part.name));
        let mut doubt = |reason| {
            doubts.push(Doubt {
                line: part.line,
                reason,
            })
        };

        let of_number = names.entry(number.clone()).or_default();
        let issue = of_number.iter().position(|(other, _, _)| *other == name);
        if issue.is_none() {
            if let Some((_, other, line)) = of_number.first() {
                doubt(Reason::TwoNames {
                    number: part.number.clone(),
                    name: part.name.clone(),
                    other: other.clone(),
                    line: *line,
                });
            }
            of_number.push((name.clone(), part.name.clone(), part.line));
        }
        let issue = issue.unwrap_or(of_number.len() - 1);
        part.issue = u32::try_from(issue).unwrap_or(u32::MAX);

        let first = numbers
            .entry((name.clone(), fold(&part.colour)))
            .or_insert_with(|| (part.number.clone(), part.line));
        if fold(&first.0) != number {
            doubt(Reason::TwoNumbers {
                name: part.name.clone(),
                number: part.number.clone(),
                other: first.0.clone(),
                line: first.1,
            });
        }

        let of_known = known_names.get(&number);
        match of_known {
            Some(olds) if olds.iter().all(|old| fold(&old.name) != name) => {
                doubt(Reason::NumberKnownAs {
                    number: part.number.clone(),
                    name: part.name.clone(),
                    known: olds[0].name.clone(),
                });
            }
            None if mostly_old => {
                doubt(Reason::NumberNotKnown {
                    number: part.number.clone(),
                });
            }
            _ => {}
        }
    }
}

/// Rows without a colour among rows of the same part that have one.
fn compare_colours(entries: &[Entry], doubts: &mut Vec<Doubt>) {
    let identity = |part: &PartCells| {
        if part.number.is_empty() {
            (false, fold(&part.name))
        } else {
            (true, fold(&part.number))
        }
    };
    let mut coloured: BTreeMap<(bool, String), (String, u32)> = BTreeMap::new();
    for (line, part) in cells(entries).filter(|(_, part)| !part.colour.is_empty()) {
        coloured
            .entry(identity(part))
            .or_insert_with(|| (part.colour.clone(), line));
    }
    if coloured.is_empty() {
        return;
    }
    for (line, part) in cells(entries).filter(|(_, part)| part.colour.is_empty()) {
        if let Some((colour, other)) = coloured.get(&identity(part)) {
            let (name, colour) = (part.name.clone(), colour.clone());
            let reason = Reason::ColourMissing {
                name,
                colour,
                line: *other,
            };
            doubts.push(Doubt { line, reason });
        }
    }
}
