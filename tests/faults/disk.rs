//! A disk as it may look after the power went: what was synced is there, of the rest some, any or none.
//!
//! The rules are POSIX's, not those of one file system. A file's bytes are certain once the file was synced, its
//! name once the folder was. What was not synced may have reached the disk all the same, in any order, and a
//! write may be torn at a sector. When a sync fails, what it should have written may be lost although later
//! syncs succeed (Rebello et al., "Can Applications Recover from fsync Failures?", USENIX ATC 2020).

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};

use crate::dice::Dice;

/// What disks write whole.
const SECTOR: usize = 512;

/// A file, whatever it is called at the moment.
pub type FileNumber = u64;

/// One thing that was done to files, in the order in which it was done.
#[derive(Debug, Clone)]
pub enum Step {
    Made(PathBuf, FileNumber),
    MadeFolder(PathBuf),
    Removed(PathBuf),
    Renamed(PathBuf, PathBuf),
    Wrote(FileNumber, Change),
    Synced(FileNumber),
    /// Was asked to be synced, and the answer was an error.
    NotSynced(FileNumber),
    FolderSynced(PathBuf),
    /// Somebody was told that this is recorded.
    Acknowledged(usize),
}

#[derive(Debug, Clone)]
pub enum Change {
    Bytes(usize, Vec<u8>),
    Length(usize),
}

impl Change {
    fn apply(&self, content: &mut Vec<u8>) {
        match self {
            Change::Bytes(at, bytes) => put(content, *at, bytes),
            Change::Length(length) => content.resize(*length, 0),
        }
    }

    /// The same, with only some of its sectors written.
    fn apply_torn(&self, content: &mut Vec<u8>, dice: &mut Dice) {
        let Change::Bytes(at, bytes) = self else {
            return self.apply(content);
        };
        let mut from = 0;
        while from < bytes.len() {
            // Up to the next edge of a sector.
            let to = (from + SECTOR - (at + from) % SECTOR).min(bytes.len());
            if dice.in_a_hundred(50) {
                put(content, at + from, &bytes[from..to]);
            }
            from = to;
        }
    }
}

fn put(content: &mut Vec<u8>, at: usize, bytes: &[u8]) {
    let end = at + bytes.len();
    if content.len() < end {
        content.resize(end, 0);
    }
    content[at..end].copy_from_slice(bytes);
}

/// A name that leads to a file, or to a folder.
type Names = BTreeMap<PathBuf, Option<FileNumber>>;

/// What is certainly on the disk, and what may be.
#[derive(Clone)]
pub struct Disk {
    names: Names,
    content: BTreeMap<FileNumber, Vec<u8>>,
    names_not_synced: Vec<Step>,
    not_synced: BTreeMap<FileNumber, Vec<Change>>,
    dice: Dice,
}

/// How much of what was not synced is there.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Luck {
    Nothing,
    Everything,
    /// The first so many.
    First,
    /// Any of them, and some of these torn.
    Any,
}

impl Luck {
    fn draw(dice: &mut Dice) -> Luck {
        match dice.below(10) {
            0..3 => Luck::Nothing,
            3..4 => Luck::Everything,
            4..6 => Luck::First,
            _ => Luck::Any,
        }
    }
}

/// What is found when the power is back: files with their bytes, and folders.
pub type Found = BTreeMap<PathBuf, Option<Vec<u8>>>;

impl Disk {
    /// With what lies in a folder now, all of it synced.
    pub fn of(names: Names, content: BTreeMap<FileNumber, Vec<u8>>, dice: Dice) -> Disk {
        Disk {
            names,
            content,
            names_not_synced: Vec::new(),
            not_synced: BTreeMap::new(),
            dice,
        }
    }

    pub fn take(&mut self, step: &Step) {
        match step {
            Step::Made(_, number) => {
                self.content.insert(*number, Vec::new());
                self.names_not_synced.push(step.clone());
            }
            Step::MadeFolder(_) | Step::Removed(_) | Step::Renamed(..) => {
                self.names_not_synced.push(step.clone());
            }
            Step::Wrote(number, change) => {
                let changes = self.not_synced.entry(*number).or_default();
                changes.push(change.clone());
            }
            Step::Synced(number) => {
                let content = self.content.entry(*number).or_default();
                for change in self.not_synced.remove(number).unwrap_or_default() {
                    change.apply(content);
                }
            }
            Step::NotSynced(number) => {
                let changes = self.not_synced.remove(number).unwrap_or_default();
                let luck = Luck::draw(&mut self.dice);
                let content = self.content.entry(*number).or_default();
                apply_some(content, &changes, luck, &mut self.dice);
            }
            Step::FolderSynced(folder) => {
                let (synced, left): (Vec<Step>, Vec<Step>) =
                    std::mem::take(&mut self.names_not_synced)
                        .into_iter()
                        .partition(|step| is_in(step, folder));
                self.names_not_synced = left;
                for step in &synced {
                    rename(&mut self.names, step);
                }
            }
            Step::Acknowledged(_) => {}
        }
    }

    /// What is found when the power goes now. A luck that is named holds for everything.
    pub fn cut(&self, dice: &mut Dice, luck: Option<Luck>) -> Found {
        let mut names = self.names.clone();
        let known = match luck.unwrap_or_else(|| Luck::draw(dice)) {
            Luck::Nothing => 0,
            Luck::Everything => self.names_not_synced.len(),
            Luck::First | Luck::Any => dice.below(self.names_not_synced.len() + 1),
        };
        for step in &self.names_not_synced[..known] {
            rename(&mut names, step);
        }
        let mut found = Found::new();
        for (name, number) in &names {
            // Without its folder a name leads nowhere.
            let folder_is_there = name
                .parent()
                .is_none_or(|folder| folder == Path::new("") || names.contains_key(folder));
            if !folder_is_there {
                continue;
            }
            let content = number.map(|number| {
                let mut content = self.content.get(&number).cloned().unwrap_or_default();
                if let Some(changes) = self.not_synced.get(&number) {
                    let luck = luck.unwrap_or_else(|| Luck::draw(dice));
                    apply_some(&mut content, changes, luck, dice);
                }
                if is_shared_memory(name) {
                    // Written through memory, which nothing syncs: it may hold anything.
                    content = (0..32_768).map(|_| dice.roll() as u8).collect();
                }
                content
            });
            found.insert(name.clone(), content);
        }
        found
    }
}

pub fn is_shared_memory(name: &Path) -> bool {
    name.to_string_lossy().ends_with("-shm")
}

fn is_in(step: &Step, folder: &Path) -> bool {
    let name = match step {
        Step::Made(name, _)
        | Step::MadeFolder(name)
        | Step::Removed(name)
        | Step::Renamed(_, name) => name,
        _ => return false,
    };
    name.parent() == Some(folder)
}

fn rename(names: &mut Names, step: &Step) {
    match step {
        Step::Made(name, number) => {
            names.insert(name.clone(), Some(*number));
        }
        Step::MadeFolder(name) => {
            names.insert(name.clone(), None);
        }
        Step::Removed(name) => {
            names.remove(name);
        }
        Step::Renamed(from, to) => {
            if let Some(number) = names.remove(from) {
                names.insert(to.clone(), number);
            }
        }
        _ => {}
    }
}

fn apply_some(content: &mut Vec<u8>, changes: &[Change], luck: Luck, dice: &mut Dice) {
    match luck {
        Luck::Nothing => {}
        Luck::Everything => changes.iter().for_each(|change| change.apply(content)),
        Luck::First => {
            let first = dice.below(changes.len() + 1);
            for change in &changes[..first] {
                change.apply(content);
            }
            if let Some(next) = changes.get(first) {
                next.apply_torn(content, dice);
            }
        }
        Luck::Any => {
            for change in changes {
                match dice.below(100) {
                    0..42 => change.apply(content),
                    42..57 => change.apply_torn(content, dice),
                    _ => {}
                }
            }
        }
    }
}

/// Puts what was found into an empty folder.
pub fn lay_out(found: &Found, folder: &Path) {
    // A folder's name is before those of what is in it.
    for (name, content) in found {
        let place = folder.join(name);
        match content {
            None => fs::create_dir(place).unwrap(),
            Some(bytes) => fs::write(place, bytes).unwrap(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn wrote(at: usize, text: &str) -> Step {
        Step::Wrote(1, Change::Bytes(at, text.into()))
    }

    fn disk(steps: &[Step]) -> Disk {
        let mut disk = Disk::of(Names::new(), BTreeMap::new(), Dice(1));
        for step in steps {
            disk.take(step);
        }
        disk
    }

    #[test]
    fn what_was_synced_is_there_and_the_rest_may_be() {
        let root = PathBuf::new();
        let book = PathBuf::from("book");
        let made = Step::Made(book.clone(), 1);
        let (synced, folder) = (Step::Synced(1), Step::FolderSynced(root));
        let old = wrote(0, "old");
        let new = wrote(2, "newer");
        for (steps, certain, possible) in [
            (vec![made.clone(), old.clone()], None, Some("old")),
            (
                vec![made.clone(), old.clone(), synced.clone()],
                None,
                Some("old"),
            ),
            (
                vec![made.clone(), folder.clone(), old.clone()],
                Some(""),
                Some("old"),
            ),
            (
                vec![made, folder, old, synced, new],
                Some("old"),
                Some("olnewer"),
            ),
        ] {
            let disk = disk(&steps);
            for (luck, wanted) in [(Luck::Nothing, certain), (Luck::Everything, possible)] {
                let found = disk.cut(&mut Dice(1), Some(luck));
                let content = found.get(&book).cloned().flatten();
                let wanted = wanted.map(|text| text.as_bytes().to_vec());
                assert_eq!(content, wanted, "{steps:?} with {luck:?}");
            }
        }
    }

    #[test]
    fn what_a_failed_sync_lost_no_later_sync_brings_back() {
        let steps = [
            Step::Made("book".into(), 1),
            Step::FolderSynced(PathBuf::new()),
            wrote(0, "first"),
            Step::NotSynced(1),
            wrote(8, "second"),
            Step::Synced(1),
        ];
        let mut lost = false;
        for seed in 0..50 {
            let mut disk = disk(&[]);
            disk.dice = Dice(seed);
            steps.iter().for_each(|step| disk.take(step));
            let found = disk.cut(&mut Dice(1), Some(Luck::Everything));
            let content = found[Path::new("book")].clone().unwrap();
            assert!(content.ends_with(b"second"));
            lost |= !content.starts_with(b"first");
        }
        assert!(lost, "a failed sync never loses anything");
    }

    #[test]
    fn a_torn_write_is_torn_at_sectors() {
        let change = Change::Bytes(100, vec![7; 2000]);
        let mut seen = std::collections::BTreeSet::new();
        for seed in 0..200 {
            let mut content = vec![0; 2100];
            change.apply_torn(&mut content, &mut Dice(seed));
            let edges: Vec<usize> = (1..content.len())
                .filter(|at| content[*at] != content[at - 1])
                .collect();
            assert!(
                edges.iter().all(|at| *at == 100 || at % SECTOR == 0),
                "{edges:?}"
            );
            seen.insert(edges);
        }
        assert!(seen.len() > 10, "it is hardly ever torn");
    }

    #[test]
    fn a_new_name_comes_with_its_folder() {
        let steps = [
            Step::MadeFolder("data".into()),
            Step::Made("data/a".into(), 1),
            Step::Renamed("data/a".into(), "data/b".into()),
            Step::FolderSynced("data".into()),
        ];
        let nothing = disk(&steps).cut(&mut Dice(1), Some(Luck::Nothing));
        assert!(nothing.is_empty(), "the folder itself was not synced");
        let steps = [&steps[..], &[Step::FolderSynced(PathBuf::new())]].concat();
        let found = disk(&steps).cut(&mut Dice(1), Some(Luck::Nothing));
        let names: Vec<_> = found.keys().map(|name| name.to_str().unwrap()).collect();
        assert_eq!(names, ["data", "data/b"]);
    }
}
