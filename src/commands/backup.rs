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
    make_empty(file, "backup")?;
    let (entry, mark) = match in_runtime(copy(&folder, file)) {
        Ok(last) => last,
        Err(error) => {
            // Half a backup must not be found by somebody who needs one.
            let _ = fs::remove_file(file);
            return Err(error);
        }
    };
    println!("Everything is now also in {}", file.display());
    println!("Entry {entry} in it has the mark {mark}; keep that apart from the file.");
    Ok(ExitCode::SUCCESS)
}

/// Makes the file, for nobody but us to read. One that is there already is never written over: it
/// may be the last good backup.
pub(super) fn make_empty(file: &Path, what: &str) -> anyhow::Result<File> {
    let mut options = OpenOptions::new();
    options.write(true).create_new(true);
    #[cfg(unix)]
    std::os::unix::fs::OpenOptionsExt::mode(&mut options, 0o600);
    match options.open(file) {
        Ok(empty) => Ok(empty),
        Err(error) if error.kind() == io::ErrorKind::AlreadyExists => anyhow::bail!(
            "{} is there already; name a new file for the {what}",
            file.display()
        ),
        Err(error) => Err(error).with_context(|| format!("cannot write {}", file.display())),
    }
}

/// Writes a whole and consistent copy of the database in `folder` into the empty `file`, and gives an
/// entry that is certainly in it, with its mark.
async fn copy(folder: &Path, file: &Path) -> anyhow::Result<(Seq, String)> {
    let db = Db::open_existing(folder).await?;
    // Before the copy: entries recorded while it is made may be in it or not.
    let mut connection = db.read().await?;
    let (entry, mark) = ledger::head(&mut connection).await?;
    drop(connection);
    db.copy_to(file)
        .await
        .with_context(|| format!("the data could not be copied to {}", file.display()))?;
    db.close().await;
    // SQLite leaves it to the system when a copy reaches the disk.
    disk::sync_file(file)
        .with_context(|| format!("{} may not have reached the disk", file.display()))?;
    Ok((entry, hex(&mark)))
}
