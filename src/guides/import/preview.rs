//! What a table comes to under a mapping: a parts list, and everything doubtful about it.
//!
//! No row is swallowed. Each is blank, or makes lines of the list, or has a doubt that names its
//! line; most doubtful rows make lines and have a doubt.

use std::collections::{BTreeMap, BTreeSet, HashMap, HashSet};

use super::doubts::{Doubt, Reason, Severity};
use super::list::{ListLine, PartsList};
use super::mapping::{Mapping, MappingWrong};
use super::parts;
use super::rows::{self, Entry, SumRow};
use super::table::Table;
use super::tree::{Placed, Tree};
use crate::guides::need::{Child, NeedRefused};
use crate::text::fold;

/// What is known before the file is read, from earlier lists.
#[derive(Debug, Clone, Default)]
pub struct Known {
    pub parts: Vec<KnownPart>,
    /// The names of assemblies of the same guide.
    pub assemblies: Vec<String>,
}

/// A part known from earlier lists.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct KnownPart {
    pub number: String,
    pub colour: String,
    pub name: String,
}

/// A file read under a mapping.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Preview {
    pub list: PartsList,
    /// In the order of the file.
    pub doubts: Vec<Doubt>,
    /// What became of each row below the column names.
    pub rows: Vec<(u32, Fate)>,
}

/// What became of a row.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Fate {
    Blank,
    /// It stands in the list.
    Taken,
    /// A doubt says why it does not.
    NotTaken,
}

impl Preview {
    /// Whether nothing stops the list from being taken as it is.
    pub fn can_be_taken(&self) -> bool {
        !self.list.lines.is_empty()
            && self
                .doubts
                .iter()
                .all(|doubt| doubt.severity() == Severity::Look)
    }

    /// The lines that must be mended or left out first.
    pub fn stopped_lines(&self) -> BTreeSet<u32> {
        let stops = self
            .doubts
            .iter()
            .filter(|doubt| doubt.severity() == Severity::Stops);
        stops.map(|doubt| doubt.line).collect()
    }
}

/// Reads a table under a mapping. A mapping that makes no list is refused with everything that
/// is wrong with it.
pub fn preview(
    table: &Table,
    mapping: &Mapping,
    known: &Known,
) -> Result<Preview, Vec<MappingWrong>> {
    let wrongs = mapping.wrongs(table.width());
    if !wrongs.is_empty() {
        return Err(wrongs);
    }
    let sizes = mapping.sizes();
    let mut doubts = Vec::new();
    let mut read = rows::read(table, mapping, known, &mut doubts);
    let (parts, part_of_entry) = parts::identify(&mut read.entries, known, &mut doubts);

    let known_assemblies: HashMap<String, usize> = known
        .assemblies
        .iter()
        .enumerate()
        .map(|(at, name)| (fold(name), at))
        .collect();
    let mut tree = Tree::default();
    let placed: Vec<Placed> = read
        .entries
        .iter()
        .map(|entry| tree.place(entry, &known_assemblies, &mut doubts))
        .collect();

    let mut lines = Vec::new();
    let mut seen = Seen::default();
    for ((entry, part), placed) in read.entries.iter().zip(part_of_entry).zip(&placed) {
        let Some(part) = part else {
            continue;
        };
        let line = ListLine {
            line: entry.line,
            parent: placed.holder,
            child: Child::Part(part),
            basis: entry.basis.unwrap_or(mapping.basis),
            quantities: entry.quantities.clone().unwrap_or_default(),
        };
        seen.note_place(&line, placed);
        if entry.quantities.is_some()
            && seen.is_new(&line, placed, &parts[part].in_words(), &tree, &mut doubts)
        {
            lines.push(line);
        }
    }
    seen.compare_contents(&tree, &mut doubts);
    let (assemblies, mut tree_lines) = tree.finish(sizes.len(), &mut doubts);
    // A row that cannot be taken brings no part; what it says about assemblies stays, so that
    // the rest of the preview makes sense.
    let stopped: HashSet<u32> = doubts
        .iter()
        .filter(|doubt| doubt.severity() == Severity::Stops)
        .map(|doubt| doubt.line)
        .collect();
    lines.retain(|line| !stopped.contains(&line.line));

    seen.holders
        .extend(tree_lines.iter().filter_map(|line| line.parent));
    for (at, assembly) in assemblies.iter().enumerate() {
        if !seen.holders.contains(&at) {
            let reason = Reason::HoldsNothing {
                assembly: assembly.name.clone(),
            };
            doubts.push(Doubt {
                line: assembly.line,
                reason,
            });
        }
    }
    tree_lines.append(&mut lines);
    tree_lines.sort_by_key(|line| line.line);
    let list = PartsList {
        sizes,
        parts,
        assemblies,
        lines: tree_lines,
    };

    check_half_and_full(&list, &mut doubts);
    check_sums(&list, &read.entries, &read.sums, &mut doubts);
    doubts.sort_by_key(|doubt| doubt.line);
    let rows = fates(table, &list, &doubts);
    Ok(Preview { list, doubts, rows })
}

/// What each assembly has been seen to hold, to find rows that say the same again.
#[derive(Debug, Default)]
struct Seen {
    /// By holder and part.
    first: HashMap<(Option<usize>, Child<usize, usize>), First>,
    /// By holder, in the order of the file.
    places: BTreeMap<usize, Vec<Place>>,
    /// Holder and what stands around it → the position among the holder's places.
    positions: HashMap<(usize, String), usize>,
    holders: HashSet<usize>,
}

/// The first row that puts a part into a holder, and what stood around the holder there.
#[derive(Debug)]
struct First {
    line: ListLine,
    around: Option<String>,
}

/// What is listed for a holder in one of the places it stands in.
#[derive(Debug)]
struct Place {
    line: u32,
    parts: BTreeSet<usize>,
}

impl Seen {
    /// Whether a row's part is to be added, rather than being what another row says for the
    /// same assembly in another place.
    fn is_new(
        &mut self,
        line: &ListLine,
        placed: &Placed,
        part: &str,
        tree: &Tree,
        doubts: &mut Vec<Doubt>,
    ) -> bool {
        let key = (line.parent, line.child);
        let Some(First {
            line: first,
            around,
        }) = self.first.get(&key)
        else {
            let first = First {
                line: line.clone(),
                around: placed.around.clone(),
            };
            self.first.insert(key, first);
            return true;
        };
        let elsewhere = match (around, &placed.around) {
            (Some(there), Some(here)) => there != here && placed.holder.is_some(),
            _ => false,
        };
        let holder = tree.holder_in_words(placed.holder);
        let assembly = holder.trim_matches('\'').to_owned();
        let same = first.quantities == line.quantities && first.basis == line.basis;
        let reason = match (elsewhere, same) {
            (false, _) => Reason::SameLine {
                part: part.to_owned(),
                parent: holder,
                line: first.line,
            },
            (true, true) => Reason::Repeated {
                assembly,
                line: first.line,
            },
            (true, false) => Reason::RepeatedDiffers {
                assembly,
                line: first.line,
            },
        };
        doubts.push(Doubt {
            line: line.line,
            reason,
        });
        !elsewhere
    }

    fn note_place(&mut self, line: &ListLine, placed: &Placed) {
        self.holders.extend(placed.holder);
        let (Some(holder), Some(around), Child::Part(part)) =
            (placed.holder, &placed.around, line.child)
        else {
            return;
        };
        let places = self.places.entry(holder).or_default();
        let position = *self
            .positions
            .entry((holder, around.clone()))
            .or_insert(places.len());
        if position == places.len() {
            places.push(Place {
                line: line.line,
                parts: BTreeSet::new(),
            });
        }
        places[position].parts.insert(part);
    }

    /// An assembly that is listed for several places must hold the same in each.
    fn compare_contents(&self, tree: &Tree, doubts: &mut Vec<Doubt>) {
        for (holder, places) in &self.places {
            let Some((first, others)) = places.split_first() else {
                continue;
            };
            for other in others.iter().filter(|other| other.parts != first.parts) {
                let assembly = tree.assemblies[*holder].name.clone();
                let reason = Reason::ContentDiffers {
                    assembly,
                    line: first.line,
                };
                doubts.push(Doubt {
                    line: other.line,
                    reason,
                });
            }
        }
    }
}

fn check_half_and_full(list: &PartsList, doubts: &mut Vec<Doubt>) {
    let size = |name: &str| list.sizes.iter().position(|size| fold(size) == name);
    let (Some(half), Some(full)) = (size("half"), size("full")) else {
        return;
    };
    for line in &list.lines {
        let (half, full) = (line.quantities[half], line.quantities[full]);
        if half > full {
            doubts.push(Doubt {
                line: line.line,
                reason: Reason::HalfAboveFull { half, full },
            });
        }
    }
}

/// Compares totals and sums the file gives with what the lines come to.
fn check_sums(list: &PartsList, entries: &[Entry], sums: &[SumRow], doubts: &mut Vec<Doubt>) {
    let mut needs = Vec::new();
    for size in 0..list.sizes.len() {
        match list.need(size) {
            Ok(need) => needs.push(Some(need)),
            Err(NeedRefused::TooMany(child)) => {
                let name = list.name(child).to_owned();
                let line = list.lines.iter().find(|line| line.child == child);
                let line = line.map_or(0, |line| line.line);
                let reason = Reason::TooMany { name };
                if !doubts
                    .iter()
                    .any(|doubt| doubt.line == line && doubt.reason == reason)
                {
                    doubts.push(Doubt { line, reason });
                }
                needs.push(None);
            }
            // What would close a cycle was taken out of the tree.
            Err(NeedRefused::Cycle(_)) => needs.push(None),
        }
    }
    let mut of_line: HashMap<u32, usize> = HashMap::new();
    for (at, line) in list.lines.iter().enumerate() {
        if matches!(line.child, Child::Part(_)) {
            of_line.insert(line.line, at);
        }
    }
    for entry in entries {
        let Some(at) = of_line.get(&entry.line) else {
            continue;
        };
        for (size, told) in &entry.totals {
            let reckoned = needs[*size].as_ref().map(|need| need.pieces(*at));
            if let Some(reckoned) = reckoned.filter(|reckoned| reckoned != told) {
                let reason = Reason::TotalDiffers {
                    told: *told,
                    reckoned,
                };
                doubts.push(Doubt {
                    line: entry.line,
                    reason,
                });
            }
        }
    }
    for sum in sums {
        let mut reason = Reason::SumRow;
        for ((told, since, all), need) in sum.told.iter().zip(&needs) {
            let in_kit = need.as_ref().map(|need| need.total());
            if let Some(told) = *told
                && told != *since
                && told != *all
                && Some(told) != in_kit
            {
                reason = Reason::SumDiffers {
                    told,
                    reckoned: *since,
                };
                break;
            }
        }
        doubts.push(Doubt {
            line: sum.line,
            reason,
        });
    }
}

fn fates(table: &Table, list: &PartsList, doubts: &[Doubt]) -> Vec<(u32, Fate)> {
    let mut taken: HashSet<u32> = list.lines.iter().map(|line| line.line).collect();
    for doubt in doubts
        .iter()
        .filter(|doubt| doubt.severity() == Severity::Stops)
    {
        taken.remove(&doubt.line);
    }
    let fate = |row: &super::table::Row| match () {
        () if row.is_blank() => Fate::Blank,
        () if taken.contains(&row.line) => Fate::Taken,
        () => Fate::NotTaken,
    };
    table.rows.iter().map(|row| (row.line, fate(row))).collect()
}

#[cfg(test)]
#[path = "preview_tests.rs"]
mod tests;

#[cfg(test)]
#[path = "preview_properties.rs"]
mod properties;
