//! `fieldstow restore FILE`: brings a backup into an empty data folder.
//!
//! The backup is copied under another name, and the copy is read to its end before it gets the name of a
//! database: whenever this is interrupted, the folder holds either nothing that a server would open, or
//! all of it. The backup itself is only read.

use std::ffi::OsString;
use std::fs::{self, File, OpenOptions};
use std::io;
use std::path::{Path, PathBuf};
use std::process::ExitCode;

use anyhow::Context;

use super::serve::say;
use super::{hex, in_runtime, verify};
use crate::clock::{Clock, Instant, SystemClock};
use crate::config::RestoreOptions;
use crate::db::{self, Db};
use crate::disk;
use crate::ledger::{self, Findings};
use crate::lock::{self, DataFolder};
use crate::people;

/// What the copy is called until it is known to be sound.
const UNCHECKED: &str = "fieldstow.unchecked";
/// What SQLite keeps beside a database while it is open, or after it was killed.
const BESIDE: [&str; 3] = ["-wal", "-shm", "-journal"];
/// What may be in a folder to restore into: nothing of it holds anybody's books, except for backups,
/// which are left alone.
const NOT_IN_THE_WAY: [&str; 3] = [lock::LOCK_FILE, "backups", "lost+found"];

pub fn run(options: &RestoreOptions) -> anyhow::Result<ExitCode> {
    let file = options.file.as_path();
    refuse_what_is_no_backup(file)?;
    bring_in(&options.data.data, file, options.mark, |copy| {
        copy_file(file, copy).with_context(|| {
            format!(
                "{} could not be copied to {}",
                file.display(),
                copy.display()
            )
        })
    })?;
    Ok(ExitCode::SUCCESS)
}

/// Takes an empty folder, lets `make` put an unchecked database there under another name, reads that to its
/// end, gives it its name, and says what is there now. `file` is what messages call it.
pub(super) fn bring_in(
    wanted: &Path,
    file: &Path,
    mark: Option<[u8; 32]>,
    make: impl FnOnce(&Path) -> anyhow::Result<()>,
) -> anyhow::Result<()> {
    // Before the lock: it would be one more thing in a folder that was meant for something else.
    if !wanted.join(db::FILE_NAME).exists() {
        refuse_full(wanted)?;
    }
    let folder = DataFolder::take(wanted)?;
    // Again, because only now nobody else can begin here.
    refuse_full(folder.path())?;

    let copy = folder.path().join(UNCHECKED);
    remove(&copy).with_context(|| format!("{} is in the way", copy.display()))?;
    let brought = make(&copy)
        .and_then(|()| in_runtime(check(&copy, file, mark)))
        .and_then(|checked| put_in_place(&copy, folder.path()).map(|()| checked));
    match brought {
        Ok(checked) => tell(&checked, folder.path(), SystemClock.now()),
        Err(error) => {
            let _ = remove(&copy);
            return Err(error);
        }
    }
    Ok(())
}

fn refuse_what_is_no_backup(file: &Path) -> anyhow::Result<()> {
    let found = fs::metadata(file).with_context(|| format!("{} cannot be read", file.display()))?;
    anyhow::ensure!(
        found.is_file(),
        "{} is not a file; name the file that `fieldstow backup` wrote",
        file.display()
    );
    for end in BESIDE {
        let beside = with_end(file, end);
        anyhow::ensure!(
            !beside.exists(),
            "{} lies beside {}: this is a database in use or one that was not closed, and without that \
             file it is not whole; make a backup of it with `fieldstow backup`",
            beside.display(),
            file.display()
        );
    }
    Ok(())
}

/// Refuses a folder with anything in it that this could cover or mix with.
fn refuse_full(folder: &Path) -> anyhow::Result<()> {
    let entries = match fs::read_dir(folder) {
        Ok(entries) => entries,
        // To be made, or refused with better words when it is taken.
        Err(_) => return Ok(()),
    };
    for entry in entries {
        let name = entry
            .with_context(|| format!("{} cannot be read", folder.display()))?
            .file_name();
        let name = name.to_string_lossy();
        if name == db::FILE_NAME {
            anyhow::bail!(
                "{} holds a database already, and nothing is ever written over; name a folder that is \
                 empty or not there yet with --data",
                folder.display()
            );
        }
        // A copy that an earlier try left behind is ours to remove.
        let known = NOT_IN_THE_WAY.contains(&&*name) || name.starts_with(UNCHECKED);
        anyhow::ensure!(
            known,
            "{} is not empty: {name} is in it; name a folder that is empty or not there yet with --data",
            folder.display()
        );
    }
    Ok(())
}

fn with_end(file: &Path, end: &str) -> PathBuf {
    let mut name = OsString::from(file);
    name.push(end);
    name.into()
}

/// Removes a copy with all that SQLite keeps beside it.
fn remove(copy: &Path) -> io::Result<()> {
    let mut all = vec![copy.to_path_buf()];
    all.extend(BESIDE.map(|end| with_end(copy, end)));
    for file in all {
        match fs::remove_file(file) {
            Err(error) if error.kind() != io::ErrorKind::NotFound => return Err(error),
            _ => {}
        }
    }
    Ok(())
}

/// Copies the backup, for nobody but us to read, as far as the disk.
fn copy_file(file: &Path, copy: &Path) -> io::Result<()> {
    let mut from = File::open(file)?;
    let folder = copy.parent().unwrap_or(copy);
    // Checking may bring it up to date, which writes it once more in part.
    disk::room_for(folder, from.metadata()?.len().saturating_mul(5) / 4)
        .map_err(io::Error::other)?;
    let mut options = OpenOptions::new();
    options.write(true).create_new(true);
    #[cfg(unix)]
    std::os::unix::fs::OpenOptionsExt::mode(&mut options, 0o600);
    let mut to = options.open(copy)?;
    io::copy(&mut from, &mut to)?;
    to.sync_all()
}

/// What is known of a copy that was read to its end.
struct Checked {
    findings: Findings,
    last_recorded_at: Option<Instant>,
}

/// Reads the whole copy, brings it up to date, and ends what must not come back with it. `file` is what
/// messages call it.
async fn check(copy: &Path, file: &Path, mark: Option<[u8; 32]>) -> anyhow::Result<Checked> {
    let db = Db::open_backup(copy, file).await?;
    let findings = verify::findings(&db).await?;
    if let Some(first) = findings.faults.first() {
        anyhow::bail!(
            "{} does not agree with itself, so it was not restored ({} faults; the first: {first}); take \
             an earlier backup",
            file.display(),
            findings.faults.len()
        );
    }
    let mut reader = db.read().await?;
    if let Some(mark) = mark {
        let found = ledger::with_hash(&mut reader, mark).await?;
        anyhow::ensure!(
            found.is_some(),
            "no entry in {} has the mark {}, so it was not restored: it is older than that mark, or was \
             changed since",
            file.display(),
            hex(&mark)
        );
    }
    let (last, _) = ledger::head(&mut reader).await?;
    let last = ledger::find(&mut reader, last).await?;
    drop(reader);

    let mut tx = db.begin_write().await?;
    people::sign_everybody_out(&mut tx).await?;
    // Nobody can be erased yet. When that is possible, those erased after the backup was made are erased
    // again here, before anybody can read the restored books.
    tx.commit().await?;
    db.close().await;
    Ok(Checked {
        findings,
        last_recorded_at: last.map(|entry| entry.recorded_at),
    })
}

/// Gives the checked copy the name of a database.
fn put_in_place(copy: &Path, folder: &Path) -> anyhow::Result<()> {
    for end in BESIDE {
        let beside = with_end(copy, end);
        anyhow::ensure!(
            !beside.exists(),
            "{} is still there, so the copy is not whole",
            beside.display()
        );
    }
    let place = folder.join(db::FILE_NAME);
    let reached = || -> io::Result<()> {
        File::open(copy)?.sync_all()?;
        fs::rename(copy, &place)?;
        // The new name is on the disk when its folder is.
        disk::sync_folder(folder)
    };
    reached().with_context(|| format!("{} may not have reached the disk", place.display()))
}

/// Says what is there now and what is not.
fn tell(checked: &Checked, folder: &Path, now: Instant) {
    let Findings {
        entries,
        moves,
        head,
        ..
    } = &checked.findings;
    say(&format!(
        "Restored into {}: {entries} entries with {moves} moves, all read again, no faults.",
        folder.display()
    ));
    match checked.last_recorded_at {
        Some(at) => say(&format!(
            "The last one was recorded on {} UTC, {}. Its mark is {}.",
            at.words("UTC"),
            age(at, now),
            hex(head)
        )),
        None => say("Nothing was ever moved in it."),
    }
    say(
        "Whatever was recorded after the backup was made is not in it: look through papers and pictures.",
    );
    say("Everybody is signed out, and links that were not used yet are void.");
    say(&format!(
        "Go on with: fieldstow serve --data {}",
        folder.display()
    ));
}

/// How long ago that was, as one would say it.
fn age(then: Instant, now: Instant) -> String {
    let minutes = (now.0 - then.0) / 60_000;
    let (count, unit) = match minutes {
        ..0 => return "in the future by this machine's clock".into(),
        0..120 => (minutes, "minute"),
        120..2880 => (minutes / 60, "hour"),
        _ => (minutes / 1440, "day"),
    };
    let end = if count == 1 { "" } else { "s" };
    format!("{count} {unit}{end} ago")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_age_is_said_in_the_unit_that_fits() {
        let then = Instant(1_804_183_200_000);
        for (minutes, words) in [
            (-1, "in the future by this machine's clock"),
            (0, "0 minutes ago"),
            (1, "1 minute ago"),
            (119, "119 minutes ago"),
            (120, "2 hours ago"),
            (2879, "47 hours ago"),
            (2880, "2 days ago"),
            (14_400, "10 days ago"),
        ] {
            assert_eq!(age(then, then.plus_minutes(minutes)), words);
        }
    }

    #[test]
    fn only_a_folder_without_strangers_is_restored_into() {
        let parent = tempfile::tempdir().unwrap();
        let folder = parent.path();
        refuse_full(folder).unwrap();
        refuse_full(&folder.join("not there")).unwrap();
        for name in [lock::LOCK_FILE, UNCHECKED, "fieldstow.unchecked-wal"] {
            fs::write(folder.join(name), "").unwrap();
        }
        fs::create_dir(folder.join("backups")).unwrap();
        refuse_full(folder).unwrap();
        // A log without its database would be taken for the restored one's.
        for (name, words) in [
            ("fieldstow.db-wal", "fieldstow.db-wal is in it"),
            ("letter.txt", "letter.txt is in it"),
            (db::FILE_NAME, "holds a database already"),
        ] {
            fs::write(folder.join(name), "").unwrap();
            let refused = refuse_full(folder).unwrap_err().to_string();
            assert!(refused.contains(words), "{refused}");
            fs::remove_file(folder.join(name)).unwrap();
        }
    }
}
