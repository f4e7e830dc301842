//! The disk fails at one call, or from one call on: every request is answered, nothing acknowledged is lost, and
//! the work goes on when the disk does.
//!
//! The same scene is played for the first, the second, the third … call of each kind. Where a sync failed, what it
//! should have written is lost, and the power is cut as well.

use std::collections::BTreeMap;
use std::path::Path;
use std::sync::Once;
use std::sync::atomic::{AtomicUsize, Ordering};

use crate::dice::Dice;
use crate::disk::{Disk, Found, Luck, Step, lay_out};
use crate::league::{Act, League, Paper, block_on, books, template};
use crate::machine::{self, ALL_KINDS, Fault, How, Kind, Watched};
use crate::power::with_folder;

/// How each kind of call goes wrong on a real machine.
fn ways(kind: Kind) -> &'static [How] {
    use How::{Error, Half};
    match kind {
        Kind::Open => &[Error(libc::EIO), Error(libc::EMFILE)],
        Kind::Read => &[Error(libc::EIO), Half],
        Kind::Write => &[Error(libc::EIO), Error(libc::ENOSPC), Half],
        Kind::Sync | Kind::MakeFolder => &[Error(libc::EIO), Error(libc::ENOSPC)],
        Kind::Map => &[Error(libc::ENOMEM)],
        Kind::Truncate | Kind::Remove | Kind::Rename | Kind::Look => &[Error(libc::EIO)],
    }
}

/// Every fault there can be, where there are so many calls of each kind.
pub fn all_faults(calls: &BTreeMap<Kind, usize>) -> Vec<Fault> {
    let mut faults = Vec::new();
    for kind in ALL_KINDS {
        for at in 1..=calls.get(&kind).copied().unwrap_or(0) {
            for how in ways(kind) {
                for for_ever in [false, true] {
                    faults.push(Fault {
                        kind,
                        at,
                        how: *how,
                        for_ever,
                    });
                }
            }
        }
    }
    faults
}

/// As many faults of a league at work, unless `FIELDSTOW_FAULTS` says otherwise.
const USUAL: usize = 100;

/// Of each kind about as many, spread evenly: as many as usual, or more in the same measure as there are more of
/// a league at work; or all.
pub fn chosen(all: Vec<Fault>, usual: usize) -> Vec<Fault> {
    let of_work: usize = match std::env::var("FIELDSTOW_FAULTS").as_deref() {
        Ok("all") => return all,
        Ok(text) => text
            .parse()
            .expect("FIELDSTOW_FAULTS is a number, or “all”"),
        Err(_) => USUAL,
    };
    let each = (usual * of_work / USUAL).div_ceil(ALL_KINDS.len());
    let mut dice = Dice(3);
    let mut chosen = Vec::new();
    for kind in ALL_KINDS {
        let of_kind: Vec<&Fault> = all.iter().filter(|fault| fault.kind == kind).collect();
        let count = each.min(of_kind.len());
        for n in 0..count {
            // One of each stretch.
            let (from, to) = (n * of_kind.len() / count, (n + 1) * of_kind.len() / count);
            chosen.push(*of_kind[from + dice.below(to - from)]);
        }
    }
    chosen
}

/// Panics anywhere but in tests, in any thread.
static PANICS: AtomicUsize = AtomicUsize::new(0);

fn count_panics() {
    static ONCE: Once = Once::new();
    ONCE.call_once(|| {
        let usual = std::panic::take_hook();
        std::panic::set_hook(Box::new(move |about| {
            let in_a_test = about
                .location()
                .is_some_and(|place| place.file().starts_with("tests/"));
            if !in_a_test {
                PANICS.fetch_add(1, Ordering::SeqCst);
            }
            usual(about);
        }));
    });
}

/// How a sweep went.
#[derive(Debug, Default)]
pub struct Sweep {
    scenes: AtomicUsize,
    /// Scenes in which a call did fail.
    struck: AtomicUsize,
    refused: AtomicUsize,
    acknowledged: AtomicUsize,
}

/// Plays a scene for each fault, two at a time.
pub fn sweep(faults: &[Fault], play: impl Fn(Fault, &Sweep) + Sync) -> Sweep {
    count_panics();
    let sweep = Sweep::default();
    let next = AtomicUsize::new(0);
    std::thread::scope(|scope| {
        for _ in 0..2 {
            scope.spawn(|| {
                while let Some(fault) = faults.get(next.fetch_add(1, Ordering::Relaxed)) {
                    let _told = OnPanic(*fault);
                    play(*fault, &sweep);
                    sweep.scenes.fetch_add(1, Ordering::Relaxed);
                }
            });
        }
    });
    assert_eq!(PANICS.load(Ordering::SeqCst), 0, "something panicked");
    sweep
}

/// Says which scene it was.
struct OnPanic(Fault);

impl Drop for OnPanic {
    fn drop(&mut self) {
        if std::thread::panicking() {
            println!("this was {:?}", self.0);
        }
    }
}

/// What is sent while the disk fails.
const SCENE: [Act; 5] = [Act::Event, Act::Move, Act::Picture, Act::Backup, Act::Move];

fn papers() -> Vec<Paper> {
    let numbered = SCENE.iter().enumerate();
    numbered.map(|(n, act)| Paper::new(*act, n)).collect()
}

/// Sends what was not acknowledged yet and opens pages. Gives how many forms were refused.
async fn play(league: &League, machine: &Watched, papers: &[Paper], done: &mut [bool]) -> usize {
    let mut refused = 0;
    let pages = crate::league::template().await.pages().iter().cycle();
    for (number, (paper, page)) in papers.iter().zip(pages).enumerate() {
        league.open(page).await;
        if !done[number] {
            done[number] = league.send(paper).await;
            match done[number] {
                true => machine.acknowledge(number),
                false => refused += 1,
            }
        }
    }
    refused
}

/// The books after the power was cut at some step hold what was acknowledged, and are whole.
fn after_a_cut(before: &Disk, steps: &[Step], papers: &[Paper], luck: Option<Luck>, seed: u64) {
    let mut disk = before.clone();
    let mut acknowledged = Vec::new();
    for step in steps {
        disk.take(step);
        if let Step::Acknowledged(number) = step {
            acknowledged.push(*number);
        }
    }
    let found = disk.cut(&mut Dice(seed), luck);
    with_folder(&found, |folder| {
        let books = block_on(books(folder, papers)).expect("it opens after a power cut");
        assert_eq!(books.faults, Vec::<String>::new(), "after a power cut");
        for number in acknowledged {
            assert!(books.recorded[number], "{:?} is lost", papers[number]);
        }
    });
}

fn whole_with_all(folder: &Path, papers: &[Paper]) {
    let books = block_on(books(folder, papers)).expect("it opens when the disk is well");
    assert_eq!(books.faults, Vec::<String>::new());
    assert!(books.recorded.iter().all(|there| *there), "{books:?}");
}

fn while_it_works(fault: Fault, sweep: &Sweep) {
    let folder = tempfile::tempdir().unwrap();
    let papers = papers();
    let mut done = vec![false; papers.len()];
    let machine = block_on(async {
        template().await.copy_into(folder.path());
        machine::watch(folder.path())
    });
    let before = machine.record(Dice(fault.at as u64));
    let failing = block_on(async {
        let mut league = League::start(folder.path()).await.unwrap();
        machine.let_fail(Some(fault));
        let refused = play(&league, &machine, &papers, &mut done).await;
        sweep.refused.fetch_add(refused, Ordering::Relaxed);
        let acknowledged = done.iter().filter(|done| **done).count();
        sweep
            .acknowledged
            .fetch_add(acknowledged, Ordering::Relaxed);
        let failing = machine.steps_so_far();
        // Every second time it is also stopped while it fails; otherwise it must go on by itself.
        if fault.at.is_multiple_of(2) {
            league.stop().await;
            note_struck(&machine, sweep);
            machine.let_fail(None);
            league = League::start(folder.path()).await.unwrap();
        } else {
            note_struck(&machine, sweep);
            machine.let_fail(None);
        }
        for page in template().await.pages() {
            let seen = league.open(page).await;
            assert_eq!(
                seen.status,
                200,
                "{page} when the disk is well:\n{}",
                seen.words()
            );
        }
        let refused = play(&league, &machine, &papers, &mut done).await;
        assert_eq!(refused, 0, "a form is refused when the disk is well");
        league.stop().await;
        failing
    });
    let steps = machine.steps();
    drop(machine);
    whole_with_all(folder.path(), &papers);
    let luck = fault.at.is_multiple_of(2).then_some(Luck::Nothing);
    after_a_cut(&before, &steps[..failing], &papers, luck, fault.at as u64);
    if fault.kind == Kind::Sync {
        after_a_cut(&before, &steps, &papers, Some(Luck::Nothing), 0);
    }
}

pub fn note_struck(machine: &Watched, sweep: &Sweep) {
    let struck = usize::from(machine.struck() > 0);
    sweep.struck.fetch_add(struck, Ordering::Relaxed);
}

/// How many calls of each kind there are when all goes well.
pub fn counted(play: impl FnOnce(&Watched, &Path)) -> BTreeMap<Kind, usize> {
    let folder = tempfile::tempdir().unwrap();
    let machine = machine::watch(folder.path());
    play(&machine, folder.path());
    machine.calls()
}

#[test]
fn a_disk_that_fails_while_it_works_costs_nothing_that_was_acknowledged() {
    let calls = counted(|machine, folder| {
        block_on(async {
            template().await.copy_into(folder);
            let league = League::start(folder).await.unwrap();
            let papers = papers();
            machine.let_fail(None);
            let refused = play(&league, machine, &papers, &mut vec![false; papers.len()]).await;
            assert_eq!(refused, 0);
            league.stop().await;
        });
    });
    println!("{calls:?}");
    let faults = chosen(all_faults(&calls), USUAL);
    let sweep = sweep(&faults, while_it_works);
    println!("{sweep:?}");
    expect_struck(&sweep);
    assert!(sweep.refused.into_inner() > 0, "nothing was ever refused");
}

/// A sweep in which hardly anything failed would prove nothing.
#[track_caller]
pub fn expect_struck(sweep: &Sweep) {
    let [scenes, struck] =
        [&sweep.scenes, &sweep.struck].map(|counter| counter.load(Ordering::Relaxed));
    assert!(struck * 10 > scenes * 8, "{struck} of {scenes} failed");
}

/// Where a program starts: nothing there yet, books closed in good order, books with a log.
fn starts() -> [(&'static str, Found); 3] {
    let folder = tempfile::tempdir().unwrap();
    block_on(async {
        template().await.copy_into(folder.path());
    });
    let closed = machine::gathered(folder.path());
    let machine = machine::watch(folder.path());
    let mut disk = machine.record(Dice(5));
    block_on(async {
        let league = League::start(folder.path()).await.unwrap();
        for paper in papers() {
            assert!(league.send(&paper).await);
        }
        machine.steps().iter().for_each(|step| disk.take(step));
        league.stop().await;
    });
    let with_log = disk.cut(&mut Dice(5), Some(Luck::Everything));
    [
        ("nothing", Found::new()),
        ("closed", closed),
        ("with a log", with_log),
    ]
}

#[test]
fn a_disk_that_fails_at_the_start_is_said_and_nothing_is_spoilt() {
    for (name, start) in starts() {
        let calls = counted(|machine, folder| {
            lay_out(&start, folder);
            machine.let_fail(None);
            block_on(async { League::start(folder).await.unwrap().stop().await });
        });
        println!("{name}: {calls:?}");
        let faults = chosen(all_faults(&calls), 30);
        let is_new = start.is_empty();
        let sweep = sweep(&faults, |fault, sweep| {
            at_the_start(&start, is_new, fault, sweep);
        });
        println!("{name}: {sweep:?}");
        expect_struck(&sweep);
        assert!(sweep.refused.into_inner() > 0, "it always started");
    }
}

fn at_the_start(start: &Found, is_new: bool, fault: Fault, sweep: &Sweep) {
    let folder = tempfile::tempdir().unwrap();
    lay_out(start, folder.path());
    let machine = machine::watch(folder.path());
    let before = machine.record(Dice(fault.at as u64));
    machine.let_fail(Some(fault));
    let tried = block_on(async {
        match League::start(folder.path()).await {
            Ok(league) => {
                league.stop().await;
                None
            }
            Err(error) => Some(error.to_string()),
        }
    });
    note_struck(&machine, sweep);
    machine.let_fail(None);
    if let Some(words) = tried {
        sweep.refused.fetch_add(1, Ordering::Relaxed);
        // In words, and before a backup comes the disk.
        assert!(words.split(' ').count() > 4, "{words}");
        assert!(
            !words.contains("restore") || words.contains("look after the disk"),
            "{words}"
        );
    }
    let steps = machine.steps();
    drop(machine);
    let luck = fault.at.is_multiple_of(2).then_some(Luck::Nothing);
    after_a_cut(&before, &steps, &[], luck, fault.at as u64);
    // The next start finds everything as it was, and goes on.
    let books = block_on(books(folder.path(), &[])).expect("it starts when the disk is well");
    assert_eq!(books.faults, Vec::<String>::new());
    if !is_new {
        let papers = &papers()[..2];
        block_on(async {
            let league = League::start(folder.path()).await.unwrap();
            for paper in papers {
                assert!(league.send(paper).await, "a form is refused");
            }
            league.stop().await;
        });
        whole_with_all(folder.path(), papers);
    }
}
