//! The power goes at any moment of a league's work: what was acknowledged is there, and nothing is half there.
//!
//! The work is done once and written down. Then the power is cut on paper, as often as you like: what was not
//! synced at that moment is lost, kept, torn or reordered, and the program opens what is left.

use std::collections::BTreeMap;
use std::path::Path;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::{Mutex, mpsc};

use crate::dice::Dice;
use crate::disk::{self, Disk, Found, Luck, Step};
use crate::league::{Act, Books, League, Paper, block_on, books, template};
use crate::machine::{self, Watched};

/// As many cuts of a league at work, unless `FIELDSTOW_POWER_CUTS` says otherwise.
const USUAL: usize = 200;

/// As many cuts as usual, or more in the same measure as there are more of a league at work.
pub fn cuts(usual: usize) -> usize {
    let of_work = std::env::var("FIELDSTOW_POWER_CUTS")
        .map(|text| text.parse().expect("FIELDSTOW_POWER_CUTS is a number"))
        .unwrap_or(USUAL);
    usual * of_work / USUAL
}

/// What was written down of some work.
pub struct Work {
    pub before: Disk,
    pub steps: Vec<Step>,
}

/// How the cuts of one work went.
#[derive(Debug, Default)]
pub struct Tally {
    pub cuts: usize,
    /// Of those that were checked, how many had been acknowledged.
    pub acknowledged: AtomicUsize,
    /// Cuts after which something acknowledged is missing.
    pub lost: AtomicUsize,
    /// Cuts after which the books are not whole, or cannot be opened.
    pub broken: AtomicUsize,
    /// What was wrong, of the first few.
    pub words: Mutex<Vec<String>>,
}

impl Tally {
    pub fn add(&self, counter: &AtomicUsize, words: String) {
        counter.fetch_add(1, Ordering::Relaxed);
        let mut all = self.words.lock().unwrap();
        if all.len() < 5 {
            all.push(words);
        }
    }

    pub fn lost(&self) -> usize {
        self.lost.load(Ordering::Relaxed)
    }

    pub fn broken(&self) -> usize {
        self.broken.load(Ordering::Relaxed)
    }

    #[track_caller]
    pub fn expect_all_well(&self) {
        let words = self.words.lock().unwrap();
        assert_eq!((self.lost(), self.broken()), (0, 0), "{words:#?}");
        let acknowledged = self.acknowledged.load(Ordering::Relaxed);
        assert!(acknowledged > self.cuts, "hardly anything was acknowledged");
    }
}

/// What is left after one cut, and what was acknowledged before it.
pub struct Cut {
    pub found: Found,
    pub acknowledged: Vec<usize>,
    /// For finding it again: after so many steps, with these dice.
    pub place: (usize, u64),
}

/// Cuts the power so many times, spread over the whole work, and lets two at a time be looked at. One time in
/// three it goes just after something was acknowledged and takes all that was not synced; also at the end.
pub fn cut_everywhere(work: &Work, count: usize, look: impl Fn(&Cut, &Tally) + Sync) -> Tally {
    let mut dice = Dice(42);
    let told: Vec<usize> = (0..work.steps.len())
        .filter(|at| matches!(work.steps[*at], Step::Acknowledged(_)))
        .map(|at| at + 1)
        .collect();
    let mut places: Vec<(usize, Option<Luck>)> = (1..count)
        .map(|number| match number % 3 {
            0 if !told.is_empty() => (told[dice.below(told.len())], Some(Luck::Nothing)),
            _ => (dice.below(work.steps.len() + 1), None),
        })
        .collect();
    places.push((work.steps.len(), Some(Luck::Nothing)));
    places.sort_unstable_by_key(|(at, _)| *at);
    let tally = Tally {
        cuts: count,
        ..Tally::default()
    };
    let (cuts, waiting) = mpsc::sync_channel::<Cut>(2);
    let waiting = Mutex::new(waiting);
    std::thread::scope(|scope| {
        for _ in 0..2 {
            scope.spawn(|| {
                loop {
                    let next = waiting.lock().unwrap().recv();
                    let Ok(cut) = next else { return };
                    tally
                        .acknowledged
                        .fetch_add(cut.acknowledged.len(), Ordering::Relaxed);
                    look(&cut, &tally);
                }
            });
        }
        let mut disk = work.before.clone();
        let mut acknowledged = Vec::new();
        let mut done = 0;
        for (place, luck) in places {
            for step in &work.steps[done..place] {
                disk.take(step);
                if let Step::Acknowledged(number) = step {
                    acknowledged.push(*number);
                }
            }
            done = place;
            let seed = dice.roll();
            cuts.send(Cut {
                found: disk.cut(&mut Dice(seed), luck),
                acknowledged: acknowledged.clone(),
                place: (place, seed),
            })
            .unwrap();
        }
        drop(cuts);
    });
    tally
}

/// Lays out what is left, where syncs cost nothing.
pub fn with_folder<T>(found: &Found, look: impl FnOnce(&Path) -> T) -> T {
    let folder = tempfile::tempdir().unwrap();
    disk::lay_out(found, folder.path());
    let _watched = machine::watch(folder.path());
    look(folder.path())
}

/// Fails the test unless the steps lead to what lies there now: nothing went past us.
pub fn nothing_went_past(work: &Work, machine: &Watched) {
    let mut disk = work.before.clone();
    work.steps.iter().for_each(|step| disk.take(step));
    let now = without_memory(machine::gathered(machine.root()));
    let told = without_memory(disk.cut(&mut Dice(1), Some(Luck::Everything)));
    let names = |found: &Found| found.keys().cloned().collect::<Vec<_>>();
    assert_eq!(names(&now), names(&told));
    for (name, content) in &now {
        assert!(told[name] == *content, "{} differs", name.display());
    }
}

fn without_memory(mut found: Found) -> Found {
    found.retain(|name, _| !disk::is_shared_memory(name));
    found
}

/// A league at work: two people who send this and that, a restart, and backups. `setting` is done to the
/// connection that writes, for the tests of this test.
fn work(
    rounds: usize,
    setting: Option<&'static str>,
) -> (Work, Vec<Paper>, BTreeMap<usize, String>) {
    block_on(async {
        let folder = tempfile::tempdir().unwrap();
        let template = template().await;
        template.copy_into(folder.path());
        let machine = machine::watch(folder.path());
        let before = machine.record(Dice(7));
        let mut papers = Vec::new();
        let mut backups = BTreeMap::new();
        for round in 0..rounds {
            let league = League::start(folder.path()).await.unwrap();
            if let Some(setting) = setting {
                league.set(setting).await;
            }
            let sheets: Vec<(usize, Paper)> = (0..60)
                .map(|n| {
                    let act = match n % 10 {
                        9 => Act::Picture,
                        even if even % 2 == 0 => Act::Move,
                        _ => Act::Event,
                    };
                    (papers.len() + n, Paper::new(act, n))
                })
                .collect();
            papers.extend(sheets.iter().map(|(_, paper)| *paper));
            let (here, there): (Vec<_>, Vec<_>) =
                sheets.into_iter().partition(|(number, _)| number % 3 > 0);
            let hand = async |sheets: Vec<(usize, Paper)>| {
                for (number, paper) in sheets {
                    assert!(league.send(&paper).await, "nothing fails here");
                    machine.acknowledge(number);
                }
            };
            let keeping = async {
                if round < 2 {
                    let name = league.back_up(round as i64).await.unwrap();
                    let number = usize::MAX - round;
                    machine.acknowledge(number);
                    backups.insert(number, name);
                }
            };
            tokio::join!(hand(here), hand(there), keeping);
            league.stop().await;
        }
        let work = Work {
            before,
            steps: machine.steps(),
        };
        nothing_went_past(&work, &machine);
        (work, papers, backups)
    })
}

fn look_at_books(cut: &Cut, tally: &Tally, papers: &[Paper], backups: &BTreeMap<usize, String>) {
    with_folder(&cut.found, |folder| {
        let Books { recorded, faults } = match block_on(books(folder, papers)) {
            Ok(books) => books,
            Err(error) => {
                return tally.add(&tally.broken, format!("{:?}: {error}", cut.place));
            }
        };
        if !faults.is_empty() {
            tally.add(&tally.broken, format!("{:?}: {faults:?}", cut.place));
        }
        let missing: Vec<String> = cut
            .acknowledged
            .iter()
            .filter_map(|number| match backups.get(number) {
                Some(name) => {
                    let there = folder.join("backups").join(name).exists();
                    (!there).then(|| name.clone())
                }
                None => {
                    let there = recorded.get(*number).copied().unwrap_or(false);
                    (!there).then(|| format!("{:?}", papers[*number]))
                }
            })
            .collect();
        if !missing.is_empty() {
            tally.add(&tally.lost, format!("{:?}: {missing:?}", cut.place));
        }
    });
}

#[test]
fn a_power_cut_takes_nothing_that_was_acknowledged() {
    let (work, papers, backups) = work(3, None);
    let syncs = work
        .steps
        .iter()
        .filter(|step| matches!(step, Step::Synced(_)));
    println!("{} steps with {} syncs", work.steps.len(), syncs.count());
    let tally = cut_everywhere(&work, cuts(USUAL), |cut, tally| {
        look_at_books(cut, tally, &papers, &backups);
    });
    println!("{tally:?}");
    tally.expect_all_well();
}

/// The test above can fail: with settings under which SQLite does not promise to keep a commit, or on a disk
/// that says "synced" and is not, the same work loses what was acknowledged.
#[test]
fn without_syncs_the_same_test_finds_losses() {
    for setting in ["pragma synchronous = normal", "pragma synchronous = off"] {
        let (work, papers, backups) = work(1, Some(setting));
        let tally = cut_everywhere(&work, 30, |cut, tally| {
            look_at_books(cut, tally, &papers, &backups);
        });
        println!("{setting}: {tally:?}");
        assert!(tally.lost() > 0, "{setting}: {tally:?}");
    }
    let (mut work, papers, backups) = work(1, None);
    work.steps.retain(|step| !matches!(step, Step::Synced(_)));
    let tally = cut_everywhere(&work, 30, |cut, tally| {
        look_at_books(cut, tally, &papers, &backups);
    });
    println!("a disk that lies: {tally:?}");
    assert!(tally.lost() > 0, "{tally:?}");
    assert!(tally.broken() > 0, "{tally:?}");
}
