//! The power goes, or the disk fails, while a command makes a new file or a new folder: it is there whole or not at
//! all, and what was said to be there stays.

use std::path::Path;

use clap::Parser;
use fieldstow::backups;
use fieldstow::commands;
use fieldstow::config::Cli;
use fieldstow::db::{Db, FILE_NAME};
use fieldstow::ledger;
use fieldstow::lock::DataFolder;

use crate::calls;
use crate::dice::Dice;
use crate::disk::{Found, Step, lay_out};
use crate::errors::{Sweep, all_faults, chosen, counted, expect_struck, note_struck, sweep};
use crate::league::{League, block_on, books, template};
use crate::machine::{self, Fault};
use crate::power::{Cut, Tally, Work, cut_everywhere, cuts, nothing_went_past, with_folder};

/// A command in a folder, and what must be there once it said that it is done.
struct Case {
    name: &'static str,
    start: Found,
    run: fn(&Path) -> Result<(), String>,
    /// Whether what it makes is there; a fault if that is not whole.
    look: fn(&Path) -> Result<bool, String>,
}

fn fieldstow(arguments: &[&str], folder: &Path) -> Result<(), String> {
    let mut words = vec!["fieldstow".to_owned()];
    // Those that name something in the folder begin with a dot.
    words.extend(arguments.iter().map(|word| match word.strip_prefix("./") {
        Some(name) => folder.join(name).to_str().unwrap().to_owned(),
        None => (*word).to_owned(),
    }));
    words.extend(["--log".into(), "off".into()]);
    let command = Cli::try_parse_from(words).unwrap().into_command();
    match calls::in_silence(|| commands::run(command)) {
        Ok(_) => Ok(()),
        Err(error) => Err(format!("{error:#}")),
    }
}

/// A folder `data` with a league in it.
fn with_data() -> Found {
    let folder = tempfile::tempdir().unwrap();
    let data = folder.path().join("data");
    std::fs::create_dir(&data).unwrap();
    block_on(async { template().await.copy_into(&data) });
    machine::gathered(folder.path())
}

/// The file `kept`, made by a command from that league.
fn with_file(command: &str) -> Found {
    let folder = tempfile::tempdir().unwrap();
    lay_out(&with_data(), folder.path());
    fieldstow(&[command, "./kept", "--data", "./data"], folder.path()).unwrap();
    let mut found = machine::gathered(folder.path());
    found.retain(|name, _| name == Path::new("kept"));
    found
}

fn first_start(folder: &Path) -> Result<(), String> {
    let data = folder.join("new/data");
    let taken = DataFolder::take(&data).map_err(|error| error.to_string())?;
    block_on(async {
        let league = League::start(taken.path())
            .await
            .map_err(|error| error.to_string())?;
        let made = league.back_up(0).await;
        league.stop().await;
        made.map(drop).map_err(|error| error.to_string())
    })
}

fn first_backup(folder: &Path) -> Result<bool, String> {
    let data = folder.join("new/data");
    if data.join(FILE_NAME).exists() {
        whole_books(&data)?;
    }
    let all = backups::all(&data.join("backups")).unwrap_or_default();
    all.first()
        .map_or(Ok(false), |backup| whole_copy(&backup.file))
}

fn whole_books(data: &Path) -> Result<bool, String> {
    if !data.join(FILE_NAME).exists() {
        return Ok(false);
    }
    let books = block_on(books(data, &[])).map_err(|error| error.to_string())?;
    match books.faults.is_empty() {
        true => Ok(true),
        false => Err(format!("{:?}", books.faults)),
    }
}

fn whole_copy(file: &Path) -> Result<bool, String> {
    if !file.exists() {
        return Ok(false);
    }
    let findings = block_on(async {
        let mut copy = Db::read_copy(file).await?;
        ledger::verify(&mut copy).await
    });
    match findings {
        Ok(findings) if findings.faults.is_empty() => Ok(true),
        Ok(findings) => Err(format!("{:?}", findings.faults)),
        Err(error) => Err(error.to_string()),
    }
}

/// A restored league has its entries and goes on.
fn restored(folder: &Path) -> Result<bool, String> {
    let data = folder.join("new/again");
    let is_there = whole_books(&data)?;
    if is_there {
        let entries = block_on(async {
            let mut reader = Db::open(&data).await.unwrap().read().await.unwrap();
            ledger::head(&mut reader).await.unwrap().0
        });
        if entries == 0 {
            return Err("it is empty".into());
        }
    }
    Ok(is_there)
}

fn cases() -> [Case; 5] {
    [
        Case {
            name: "a first start",
            start: Found::new(),
            run: first_start,
            look: first_backup,
        },
        Case {
            name: "a backup",
            start: with_data(),
            run: |folder| fieldstow(&["backup", "./kept", "--data", "./data"], folder),
            look: |folder| whole_copy(&folder.join("kept")),
        },
        Case {
            name: "a restored backup",
            start: with_file("backup"),
            run: |folder| fieldstow(&["restore", "./kept", "--data", "./new/again"], folder),
            look: restored,
        },
        Case {
            name: "an archive",
            start: with_data(),
            run: |folder| fieldstow(&["archive", "./kept", "--data", "./data"], folder),
            look: whole_archive,
        },
        Case {
            name: "an archive read in",
            start: with_file("archive"),
            run: |folder| fieldstow(&["read-archive", "./kept", "--data", "./new/again"], folder),
            look: restored,
        },
    ]
}

fn whole_archive(folder: &Path) -> Result<bool, String> {
    let kept = folder.join("kept");
    if !kept.exists() {
        return Ok(false);
    }
    let elsewhere = tempfile::tempdir().unwrap();
    let copy = elsewhere.path().join("kept");
    std::fs::copy(&kept, &copy).unwrap();
    let _watched = machine::watch(elsewhere.path());
    fieldstow(
        &["read-archive", "./kept", "--data", "./new/again"],
        elsewhere.path(),
    )?;
    Ok(true)
}

#[test]
fn a_power_cut_leaves_what_was_said_to_be_there_whole() {
    for case in cases() {
        let folder = tempfile::tempdir().unwrap();
        lay_out(&case.start, folder.path());
        let machine = machine::watch(folder.path());
        let before = machine.record(Dice(11));
        (case.run)(folder.path()).unwrap();
        machine.acknowledge(0);
        let work = Work {
            before,
            steps: machine.steps(),
        };
        nothing_went_past(&work, &machine);
        let tally = cut_everywhere(&work, cuts(12), |cut, tally| look_after(&case, cut, tally));
        println!("{}: {} steps, {tally:?}", case.name, work.steps.len());
        // This test can fail: where names are not synced, what was said to be there is gone.
        let mut careless = work;
        careless
            .steps
            .retain(|step| !matches!(step, Step::FolderSynced(_)));
        let last = cut_everywhere(&careless, 1, |cut, tally| look_after(&case, cut, tally));
        assert_eq!(last.lost(), 1, "{}: {last:#?}", case.name);
        assert_eq!(
            (tally.lost(), tally.broken()),
            (0, 0),
            "{}: {tally:#?}",
            case.name
        );
    }
}

fn look_after(case: &Case, cut: &Cut, tally: &Tally) {
    with_folder(&cut.found, |folder| {
        match (case.look)(folder) {
            Ok(true) => {}
            Ok(false) if cut.acknowledged.is_empty() => {
                // It can be done again, whatever the first time left.
                if let Err(error) = (case.run)(folder) {
                    tally.add(&tally.broken, format!("{:?}: {error}", cut.place));
                }
            }
            Ok(false) => tally.add(&tally.lost, format!("{:?}", cut.place)),
            Err(error) => tally.add(&tally.broken, format!("{:?}: {error}", cut.place)),
        }
    });
}

#[test]
fn a_disk_that_fails_under_a_command_is_said_and_leaves_all_or_nothing() {
    for case in cases() {
        let calls = counted(|machine, folder| {
            lay_out(&case.start, folder);
            machine.let_fail(None);
            (case.run)(folder).unwrap();
        });
        println!("{}: {calls:?}", case.name);
        let faults = chosen(all_faults(&calls), 10);
        let sweep = sweep(&faults, |fault, sweep| under_a_command(&case, fault, sweep));
        println!("{}: {sweep:?}", case.name);
        expect_struck(&sweep);
    }
}

fn under_a_command(case: &Case, fault: Fault, sweep: &Sweep) {
    let folder = tempfile::tempdir().unwrap();
    lay_out(&case.start, folder.path());
    let machine = machine::watch(folder.path());
    machine.let_fail(Some(fault));
    let done = (case.run)(folder.path());
    note_struck(&machine, sweep);
    machine.let_fail(None);
    let is_there = (case.look)(folder.path())
        .unwrap_or_else(|error| panic!("{} is not whole: {error}", case.name));
    match done {
        Ok(()) => assert!(is_there, "{} was said to be done", case.name),
        Err(words) => {
            assert!(words.split(' ').count() > 4, "{words}");
            if !is_there {
                (case.run)(folder.path()).expect("it can be done when the disk is well");
            }
        }
    }
    let is_there = (case.look)(folder.path());
    assert_eq!(is_there, Ok(true), "{}", case.name);
}
