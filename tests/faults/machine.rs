//! A folder on a machine of ours: what is done to the files in it is written down, and can be made to fail.
//!
//! Calls come from `calls.rs`. Nothing in a watched folder is really synced: power is cut on paper only.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError, RwLock};

use crate::dice::Dice;
use crate::disk::{Change, Disk, FileNumber, Found, Step, is_shared_memory};

/// What a call is about.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Kind {
    Open,
    Read,
    Write,
    Truncate,
    Sync,
    Remove,
    Rename,
    MakeFolder,
    /// A file is mapped into memory: SQLite's index of its log.
    Map,
    /// How long is it, is it there?
    Look,
}

pub const ALL_KINDS: [Kind; 10] = [
    Kind::Open,
    Kind::Read,
    Kind::Write,
    Kind::Truncate,
    Kind::Sync,
    Kind::Remove,
    Kind::Rename,
    Kind::MakeFolder,
    Kind::Map,
    Kind::Look,
];

/// How a call goes wrong.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum How {
    /// With this number of `errno`.
    Error(i32),
    /// Half of it is done, as POSIX allows; if it is to fail for ever, the rest with "no space left".
    Half,
}

/// What is to go wrong.
#[derive(Debug, Clone, Copy)]
pub struct Fault {
    pub kind: Kind,
    /// The first, second, third … call of this kind from now on.
    pub at: usize,
    pub how: How,
    /// All later ones of this kind as well.
    pub for_ever: bool,
}

#[derive(Default)]
struct State {
    numbers: BTreeMap<PathBuf, FileNumber>,
    last_number: FileNumber,
    /// None while nothing is written down.
    steps: Option<Vec<Step>>,
    fault: Option<Fault>,
    calls: BTreeMap<Kind, usize>,
    /// How many calls were made to fail.
    struck: usize,
}

pub struct Machine {
    root: PathBuf,
    state: Mutex<State>,
}

static MACHINES: RwLock<Vec<Arc<Machine>>> = RwLock::new(Vec::new());
static WATCHED: AtomicUsize = AtomicUsize::new(0);

/// The machine that watches a file, if one does.
pub fn of(file: &Path) -> Option<Arc<Machine>> {
    let machines = MACHINES.read().unwrap_or_else(PoisonError::into_inner);
    machines
        .iter()
        .find(|machine| file.starts_with(&machine.root))
        .cloned()
}

pub fn nobody_watches() -> bool {
    WATCHED.load(Ordering::Acquire) == 0
}

/// A watched folder, until this is dropped.
pub struct Watched(Arc<Machine>);

impl std::ops::Deref for Watched {
    type Target = Machine;

    fn deref(&self) -> &Machine {
        &self.0
    }
}

impl Drop for Watched {
    fn drop(&mut self) {
        let mut machines = MACHINES.write().unwrap_or_else(PoisonError::into_inner);
        machines.retain(|machine| machine.root != self.0.root);
        WATCHED.store(machines.len(), Ordering::Release);
    }
}

/// Watches a folder from now on; all that lies in it is taken for synced.
pub fn watch(root: &Path) -> Watched {
    let root = fs::canonicalize(root).unwrap();
    let machine = Arc::new(Machine {
        root,
        state: Mutex::default(),
    });
    let mut machines = MACHINES.write().unwrap_or_else(PoisonError::into_inner);
    machines.push(machine.clone());
    WATCHED.store(machines.len(), Ordering::Release);
    Watched(machine)
}

/// Everything in a folder, as it is now.
pub fn gathered(root: &Path) -> Found {
    let mut found = Found::new();
    let mut folders = vec![root.to_path_buf()];
    while let Some(folder) = folders.pop() {
        for entry in fs::read_dir(folder).unwrap() {
            let path = entry.unwrap().path();
            let name = path.strip_prefix(root).unwrap().to_path_buf();
            if path.is_dir() {
                found.insert(name, None);
                folders.push(path);
            } else {
                found.insert(name, Some(fs::read(&path).unwrap()));
            }
        }
    }
    found
}

impl Machine {
    fn state(&self) -> MutexGuard<'_, State> {
        self.state.lock().unwrap_or_else(PoisonError::into_inner)
    }

    pub fn root(&self) -> &Path {
        &self.root
    }

    /// Begins to write down what is done. Gives the disk as it is now.
    pub fn record(&self, dice: Dice) -> Disk {
        // Read before the state is taken, because reading comes through here as well.
        let found = gathered(&self.root);
        let mut state = self.state();
        let mut names = BTreeMap::new();
        let mut content = BTreeMap::new();
        for (name, bytes) in found {
            let number = bytes.map(|bytes| {
                let number = state.number(&name);
                content.insert(number, bytes);
                number
            });
            names.insert(name, number);
        }
        state.steps = Some(Vec::new());
        Disk::of(names, content, dice)
    }

    /// Somebody was just told that this is recorded.
    pub fn acknowledge(&self, number: usize) {
        self.state().write_down(|_| Step::Acknowledged(number));
    }

    /// All that was done since `record`.
    pub fn steps(&self) -> Vec<Step> {
        self.state().steps.take().expect("it was recorded")
    }

    /// How much was done since `record`.
    pub fn steps_so_far(&self) -> usize {
        self.state().steps.as_ref().map_or(0, Vec::len)
    }

    /// From now on this goes wrong; None: nothing does.
    pub fn let_fail(&self, fault: Option<Fault>) {
        let mut state = self.state();
        state.fault = fault;
        state.calls.clear();
        state.struck = 0;
    }

    /// How many calls of each kind there were since `let_fail`.
    pub fn calls(&self) -> BTreeMap<Kind, usize> {
        self.state().calls.clone()
    }

    /// How many calls failed since `let_fail`.
    pub fn struck(&self) -> usize {
        self.state().struck
    }

    fn name(&self, path: &Path) -> PathBuf {
        path.strip_prefix(&self.root).unwrap_or(path).to_path_buf()
    }

    /// Does a call, or lets it fail. `real` does it, whole or by half, and answers what the system did; `step`
    /// says what was done to the disk when that is known.
    pub fn call(
        &self,
        kind: Kind,
        path: &Path,
        real: impl FnOnce(bool) -> Result<i64, i32>,
        steps: impl FnOnce(&mut Names<'_>, i64),
    ) -> Result<i64, i32> {
        let mut state = self.state();
        let answer = match state.strike(kind) {
            Some(How::Error(error)) => Err(error),
            Some(How::Half) => real(true),
            None => real(false),
        };
        let mut names = Names {
            state: &mut state,
            name: self.name(path),
            machine: self,
        };
        match answer {
            Ok(answer) => steps(&mut names, answer),
            Err(_) if kind == Kind::Sync => names.sync_failed(),
            Err(_) => {}
        }
        answer
    }
}

impl State {
    fn number(&mut self, name: &Path) -> FileNumber {
        if let Some(number) = self.numbers.get(name) {
            return *number;
        }
        self.last_number += 1;
        self.numbers.insert(name.to_path_buf(), self.last_number);
        self.last_number
    }

    fn write_down(&mut self, step: impl FnOnce(&mut State) -> Step) {
        if self.steps.is_some() {
            let step = step(self);
            if let Some(steps) = &mut self.steps {
                steps.push(step);
            }
        }
    }

    fn strike(&mut self, kind: Kind) -> Option<How> {
        let calls = self.calls.entry(kind).or_default();
        *calls += 1;
        let fault = self.fault.filter(|fault| fault.kind == kind)?;
        let how = match *calls {
            now if now == fault.at => fault.how,
            now if now > fault.at && fault.for_ever => match fault.how {
                How::Half => How::Error(libc::ENOSPC),
                error => error,
            },
            _ => return None,
        };
        self.struck += 1;
        Some(how)
    }
}

/// Writes down what a call did to the file that it named.
pub struct Names<'a> {
    state: &'a mut State,
    machine: &'a Machine,
    name: PathBuf,
}

impl Names<'_> {
    pub fn made(&mut self) {
        // A name that comes again is another file.
        self.state.numbers.remove(&self.name);
        let name = self.name.clone();
        self.state
            .write_down(|state| Step::Made(name.clone(), state.number(&name)));
    }

    pub fn made_folder(&mut self) {
        let name = self.name.clone();
        self.state.write_down(|_| Step::MadeFolder(name));
    }

    pub fn removed(&mut self) {
        self.state.numbers.remove(&self.name);
        let name = self.name.clone();
        self.state.write_down(|_| Step::Removed(name));
    }

    pub fn renamed(&mut self, to: &Path) {
        let to = self.machine.name(to);
        if let Some(number) = self.state.numbers.remove(&self.name) {
            self.state.numbers.insert(to.clone(), number);
        }
        let from = self.name.clone();
        self.state.write_down(|_| Step::Renamed(from, to));
    }

    pub fn wrote(&mut self, at: usize, bytes: &[u8]) {
        self.change(|| Change::Bytes(at, bytes.to_vec()));
    }

    pub fn resized(&mut self, length: usize) {
        self.change(|| Change::Length(length));
    }

    pub fn synced(&mut self) {
        let name = self.name.clone();
        self.state
            .write_down(|state| match state.numbers.get(&name) {
                Some(number) => Step::Synced(*number),
                None => Step::FolderSynced(name),
            });
    }

    fn sync_failed(&mut self) {
        if let Some(number) = self.state.numbers.get(&self.name).copied() {
            self.state.write_down(|_| Step::NotSynced(number));
        }
    }

    fn change(&mut self, change: impl FnOnce() -> Change) {
        // What is in shared memory is gone with the power.
        if is_shared_memory(&self.name) {
            return;
        }
        let name = self.name.clone();
        self.state
            .write_down(|state| Step::Wrote(state.number(&name), change()));
    }
}
