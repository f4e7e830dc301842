//! `fieldstow archive FILE` and `fieldstow read-archive FILE`: the whole league in one file that other
//! programs can read, and back from it.

use std::fs::File;
use std::io::BufWriter;
use std::path::Path;
use std::process::ExitCode;

use anyhow::Context;
use sqlx::Connection;

use super::{backup, in_runtime, restore};
use crate::archive::{self, Written};
use crate::config::{ArchiveOptions, ReadArchiveOptions};
use crate::db::Db;
use crate::lock;

pub fn run(options: &ArchiveOptions) -> anyhow::Result<ExitCode> {
    let folder = lock::existing(&options.data.data)?;
    let file = options.file.as_path();
    let written = backup::write_whole(file, "archive", |_, empty| {
        in_runtime(write(&folder, empty))
            .with_context(|| format!("{} was not written", file.display()))
    })?;
    let Written {
        tables,
        rows,
        files,
        entries,
        mark,
    } = written;
    println!(
        "{rows} rows of {tables} tables and {files} pictures and guides are now in {}",
        file.display()
    );
    println!(
        "The last of its {entries} entries has the mark {mark}; keep that apart from the file."
    );
    println!(
        "It holds people's names and addresses, and no passwords: keep it as you keep a member list."
    );
    Ok(ExitCode::SUCCESS)
}

/// Writes one state of everything, also beside a running server.
async fn write(folder: &Path, file: File) -> anyhow::Result<Written> {
    let db = Db::open_existing(folder).await?;
    let mut connection = db.read().await?;
    let mut snapshot = connection.begin().await?;
    let file = BufWriter::new(file);
    let written = archive::write(&mut snapshot, file).await?;
    snapshot.rollback().await?;
    drop(connection);
    db.close().await;
    Ok(written)
}

pub fn read(options: &ReadArchiveOptions) -> anyhow::Result<ExitCode> {
    let file = options.file.as_path();
    let found = File::open(file).with_context(|| format!("{} cannot be read", file.display()))?;
    restore::bring_in(&options.data.data, file, options.mark, |copy| {
        in_runtime(async {
            archive::read(std::io::BufReader::new(found), copy)
                .await
                .with_context(|| format!("{} was not read in", file.display()))
        })
    })?;
    super::serve::say(
        "Passwords are not in an archive. Make yourself a link with: fieldstow invite --coordinator",
    );
    Ok(ExitCode::SUCCESS)
}
