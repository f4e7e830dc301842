//! `fieldstow backup FILE`: copies all data into one new file, also while the server runs.

use std::fs::{self, File, OpenOptions};
use std::io;
use std::path::Path;
use std::process::ExitCode;

use anyhow::Context;

use super::{hex, in_runtime};
use crate::config::BackupOptions;
use crate::db::Db;
use crate::disk;
use crate::ledger::{self, Seq};
use crate::lock;

pub fn run(options: &BackupOptions) -> anyhow::Result<ExitCode> {
    let folder = lock::existing(&options.data.data)?;
    let file = options.file.as_path();
    let (entry, mark) = write_whole(file, "backup", |unfinished, _| {
        in_runtime(copy(&folder, unfinished))
            .with_context(|| format!("the data could not be copied to {}", file.display()))
    })?;
    println!("Everything is now also in {}", file.display());
    println!("Entry {entry} in it has the mark {mark}; keep that apart from the file.");
    Ok(ExitCode::SUCCESS)
}

/// Lets `write` fill a new file under another name, for nobody but us to read, and gives it its own when it
/// is on the disk: whenever this is cut off, half a file must not be found by somebody who needs a whole one.
/// One that is there already is never written over: it may be the last good one.
pub(super) fn write_whole<T>(
    file: &Path,
    what: &str,
    write: impl FnOnce(&Path, File) -> anyhow::Result<T>,
) -> anyhow::Result<T> {
    refuse_taken(file, what)?;
    let mut unfinished = file.as_os_str().to_owned();
    unfinished.push(".unfinished");
    let unfinished = Path::new(&unfinished);
    let cannot_write = || format!("cannot write {}", file.display());
    // One that was cut off.
    match fs::remove_file(unfinished) {
        Err(error) if error.kind() != io::ErrorKind::NotFound => {
            return Err(error).with_context(cannot_write);
        }
        _ => {}
    }
    let empty = make_empty(unfinished).with_context(cannot_write)?;
    let written = write(unfinished, empty).and_then(|written| {
        refuse_taken(file, what)?;
        keep(unfinished, file)
            .with_context(|| format!("{} may not have reached the disk", file.display()))?;
        Ok(written)
    });
    if written.is_err() {
        let _ = fs::remove_file(unfinished);
    }
    written
}

fn refuse_taken(file: &Path, what: &str) -> anyhow::Result<()> {
    // A link that leads nowhere is something as well.
    anyhow::ensure!(
        file.symlink_metadata().is_err(),
        "{} is there already; name a new file for the {what}",
        file.display()
    );
    Ok(())
}

fn make_empty(file: &Path) -> io::Result<File> {
    let mut options = OpenOptions::new();
    options.write(true).create_new(true);
    #[cfg(unix)]
    std::os::unix::fs::OpenOptionsExt::mode(&mut options, 0o600);
    options.open(file)
}

/// Gives a file its name, as far as the disk. SQLite leaves it to the system when a copy reaches that.
fn keep(unfinished: &Path, file: &Path) -> io::Result<()> {
    File::open(unfinished)?.sync_all()?;
    fs::rename(unfinished, file)?;
    disk::sync_folder(file.parent().unwrap_or(file))
}

/// Writes a whole and consistent copy of the database in `folder` into an empty file, and gives an entry that
/// is certainly in it, with its mark.
async fn copy(folder: &Path, file: &Path) -> anyhow::Result<(Seq, String)> {
    let db = Db::open_existing(folder).await?;
    // Before the copy: entries recorded while it is made may be in it or not.
    let mut connection = db.read().await?;
    let (entry, mark) = ledger::head(&mut connection).await?;
    drop(connection);
    db.copy_to(file).await?;
    db.close().await;
    Ok((entry, hex(&mark)))
}
