//! Backups that are made by themselves: a checked copy of everything each day, 7 daily and 4 weekly ones kept.
//!
//! A copy is written under another name while work goes on, read to its end (the database's own check, the
//! ledger's chain, what points at what), and only then gets the name of a backup. Whenever this is cut off,
//! what is left is not called a backup and is tidied away at the next start. Nothing is begun that would fill
//! the disk. Why one was not made is told to whoever coordinates the league.

pub mod pages;
pub mod rules;

use std::fs::{self, File, OpenOptions};
use std::io;
use std::path::{Path, PathBuf};
use std::sync::{Mutex, PoisonError};
use std::time::Duration;

use sqlx::Connection;

use crate::app::App;
use crate::clock::Instant;
use crate::db::{self, Db};
use crate::disk::{self, NoRoom};
use crate::ledger::{self, Seq};

/// How often it is looked whether one is due.
const LOOK: Duration = Duration::from_secs(10 * 60);
/// How a copy ends that is not known to be sound.
const UNFINISHED: &str = ".unfinished";

/// The folder of the backups, and how the last try went.
#[derive(Default)]
pub struct Shelf {
    folder: Option<PathBuf>,
    since: Instant,
    /// One at a time.
    work: tokio::sync::Mutex<()>,
    failed: Mutex<Option<Failure>>,
}

/// Why a try came to nothing.
#[derive(Debug, Clone)]
pub struct Failure {
    pub at: Instant,
    pub why: String,
}

impl Shelf {
    pub fn at(folder: PathBuf, since: Instant) -> Self {
        Self {
            folder: Some(folder),
            since,
            ..Self::default()
        }
    }

    pub fn folder(&self) -> Option<&Path> {
        self.folder.as_deref()
    }

    pub fn failure(&self) -> Option<Failure> {
        self.failed
            .lock()
            .unwrap_or_else(PoisonError::into_inner)
            .clone()
    }

    fn note(&self, failure: Option<Failure>) {
        *self.failed.lock().unwrap_or_else(PoisonError::into_inner) = failure;
    }
}

/// A backup that lies in the folder.
#[derive(Debug, Clone)]
pub struct Backup {
    pub file: PathBuf,
    pub name: String,
    pub at: Instant,
    pub bytes: u64,
}

/// A backup that was just made, with the last entry that is in it.
#[derive(Debug, Clone)]
pub struct Made {
    pub name: String,
    pub entry: Seq,
    pub mark: [u8; 32],
}

/// Why a backup was not made, in words.
#[derive(Debug, thiserror::Error)]
pub enum NotMade {
    #[error("no folder for backups was named")]
    NoFolder,
    #[error("one is being made at this moment")]
    AtWork,
    #[error("{0}")]
    NoRoom(#[from] NoRoom),
    #[error("the folder {} cannot be used ({why})", folder.display())]
    Folder { folder: PathBuf, why: io::Error },
    #[error("the copy does not agree with itself: {0}")]
    Unsound(String),
    #[error("the copy could not be written ({0})")]
    Copy(#[from] sqlx::Error),
    #[error("the copy could not be kept ({0})")]
    Kept(io::Error),
}

/// The backups in a folder, the newest first.
pub fn all(folder: &Path) -> io::Result<Vec<Backup>> {
    let mut found = Vec::new();
    for entry in fs::read_dir(folder)? {
        let entry = entry?;
        let name = entry.file_name().to_string_lossy().into_owned();
        if let Some(at) = rules::made_at(&name) {
            found.push(Backup {
                file: entry.path(),
                bytes: entry.metadata()?.len(),
                name,
                at,
            });
        }
    }
    found.sort_by_key(|backup| std::cmp::Reverse(backup.at));
    Ok(found)
}

/// The last entry in a backup and its mark.
pub async fn head(backup: &Backup) -> sqlx::Result<(Seq, [u8; 32])> {
    let mut copy = Db::read_copy(&backup.file).await?;
    let head = ledger::head(&mut copy).await?;
    copy.close().await?;
    Ok(head)
}

/// Makes a backup now, checks it, and lets those go that are not kept any more.
pub async fn make(app: &App) -> Result<Made, NotMade> {
    let shelf = &app.backups;
    let folder = shelf.folder().ok_or(NotMade::NoFolder)?.to_path_buf();
    let _work = shelf.work.try_lock().map_err(|_| NotMade::AtWork)?;
    let made = make_in(app, &folder).await;
    match &made {
        Ok(made) => {
            shelf.note(None);
            tracing::info!(name = made.name, entry = made.entry, "a backup was made");
        }
        Err(error) => {
            tracing::error!(%error, "a backup was not made");
            shelf.note(Some(Failure {
                at: app.clock.now(),
                why: error.to_string(),
            }));
        }
    }
    made
}

async fn make_in(app: &App, folder: &Path) -> Result<Made, NotMade> {
    let of_folder = |why| NotMade::Folder {
        folder: folder.to_path_buf(),
        why,
    };
    disk::make_folder(folder).map_err(of_folder)?;
    tidy(folder).map_err(of_folder)?;
    disk::room_for(folder, app.db.size().await?)?;
    let now = app.clock.now();
    let name = rules::name(now);
    let unfinished = folder.join(format!("{name}{UNFINISHED}"));
    let finished = folder.join(&name);
    let made = copy_and_check(app, name, &unfinished, &finished).await;
    if made.is_err() {
        // What is left would be tidied away later; a full disk wants its room back now.
        let _ = fs::remove_file(&unfinished);
    }
    let made = made?;
    let backups = all(folder).map_err(of_folder)?;
    let moments: Vec<Instant> = backups.iter().map(|backup| backup.at).collect();
    let kept = rules::kept(&moments, now);
    for old in backups.iter().filter(|backup| !kept.contains(&backup.at)) {
        fs::remove_file(&old.file).map_err(of_folder)?;
    }
    Ok(made)
}

/// Writes the copy, reads it to its end, and gives it its name.
async fn copy_and_check(
    app: &App,
    name: String,
    unfinished: &Path,
    finished: &Path,
) -> Result<Made, NotMade> {
    make_empty(unfinished).map_err(NotMade::Kept)?;
    app.db.copy_to(unfinished).await?;
    let (entry, mark) = check(unfinished).await?;
    keep(unfinished, finished).map_err(NotMade::Kept)?;
    Ok(Made { name, entry, mark })
}

/// Removes copies that were cut off.
fn tidy(folder: &Path) -> io::Result<()> {
    for entry in fs::read_dir(folder)? {
        let entry = entry?;
        let name = entry.file_name().to_string_lossy().into_owned();
        let of_ours = name
            .split_once(UNFINISHED)
            .is_some_and(|(start, _)| rules::made_at(start).is_some());
        if of_ours {
            fs::remove_file(entry.path())?;
        }
    }
    Ok(())
}

/// For nobody but us to read. One that is there already is never written over.
fn make_empty(file: &Path) -> io::Result<()> {
    let mut options = OpenOptions::new();
    options.write(true).create_new(true);
    #[cfg(unix)]
    std::os::unix::fs::OpenOptionsExt::mode(&mut options, 0o600);
    options.open(file).map(drop)
}

/// Reads the whole copy, and gives its last entry and that one's mark.
async fn check(copy: &Path) -> Result<(Seq, [u8; 32]), NotMade> {
    let mut reader = Db::read_copy(copy).await?;
    let findings = ledger::verify(&mut reader).await?;
    if let Some(first) = findings.faults.first() {
        return Err(NotMade::Unsound(first.clone()));
    }
    if let Err(dangling) = db::check_foreign_keys(&mut reader).await {
        return Err(NotMade::Unsound(dangling.to_string()));
    }
    let head = ledger::head(&mut reader).await?;
    reader.close().await?;
    Ok(head)
}

/// Gives a checked copy its name, as far as the disk.
fn keep(unfinished: &Path, finished: &Path) -> io::Result<()> {
    File::open(unfinished)?.sync_all()?;
    if finished.exists() {
        return Err(io::Error::from(io::ErrorKind::AlreadyExists));
    }
    fs::rename(unfinished, finished)?;
    disk::sync_folder(finished.parent().unwrap_or(finished))
}

/// Makes one whenever one is due, for as long as the program runs.
pub async fn keep_on(app: App) {
    loop {
        if is_due(&app) {
            // What went wrong is noted and logged there.
            let _ = make(&app).await;
        }
        tokio::time::sleep(LOOK).await;
    }
}

fn is_due(app: &App) -> bool {
    let now = app.clock.now();
    rules::is_due(newest(app, now), now)
}

/// The newest backup that is not from the future.
fn newest(app: &App, now: Instant) -> Option<Instant> {
    let folder = app.backups.folder()?;
    let backups = all(folder).ok()?;
    backups.iter().map(|backup| backup.at).find(|at| *at <= now)
}

/// What whoever answers for the machine should know, if anything.
pub fn worry(app: &App) -> Option<String> {
    app.backups.folder()?;
    let now = app.clock.now();
    let failure = app.backups.failure();
    rules::worry(rules::Facts {
        newest: newest(app, now),
        failed: failure.as_ref().map(|failure| failure.why.as_str()),
        since: app.backups.since,
        now,
    })
}
