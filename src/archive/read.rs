//! Reading an archive into a new database.
//!
//! Nothing in it is believed: the hashes of its contents are compared while it is read, every row goes through
//! the checks of its table, what points at nothing is refused, and when everything is in, it is written out
//! again and must give the same hashes. Whoever calls this reads the ledger's chain afterwards.

use std::collections::BTreeMap;
use std::io::{BufRead, BufReader, Read, Seek};
use std::path::Path;

use anyhow::Context;
use serde_json::{Map, Value};
use sha2::{Digest, Sha256};
use sqlx::{Connection, SqliteConnection};
use zip::ZipArchive;

use super::store::{self, Table};
use super::write::{hashes, table_name};
use super::{CONTENTS, Contents, FORMAT, LAYOUT, hex, unhex};
use crate::db::Db;

/// The contents of an archive with a million files are smaller.
const MOST_CONTENTS: u64 = 128 << 20;
/// A row is at most so long. The longest texts have 2,000 characters.
const MOST_ROW: u64 = 4 << 20;
/// Files are kept in pieces of this size.
const PIECE: usize = 256 << 10;
/// No file is larger (the table says so, too).
const MOST_FILE: u64 = 40 << 20;

/// Fills a new database at `database` from an archive.
pub async fn read(archive: impl Read + Seek, database: &Path) -> anyhow::Result<()> {
    let mut zip = ZipArchive::new(archive).context(
        "this is no ZIP file, or not all of it: no archive that `fieldstow archive` wrote",
    )?;
    let contents = contents(&mut zip)?;
    let mut db = Db::new_at(database, contents.schema).await?;
    let guards = store::begin_filling(&mut db).await?;
    let tables: BTreeMap<String, Table> = store::tables(&mut db)
        .await?
        .into_iter()
        .map(|table| (table_name(&table.name), table))
        .collect();
    for (name, hash) in contents.kept() {
        let found = match tables.get(name) {
            Some(table) => fill(&mut db, &mut zip, name, table).await?,
            None => {
                let id = id_in(name).with_context(|| {
                    format!("{name} is in the archive, and nothing here knows what to do with it")
                })?;
                add_file(&mut db, &mut zip, name, &id).await?
            }
        };
        anyhow::ensure!(
            found == hash,
            "{name} is not what the contents say of it: the archive is damaged or was changed"
        );
    }
    for name in tables.keys() {
        anyhow::ensure!(
            contents.files.contains_key(name),
            "{name} is missing in the archive"
        );
    }
    store::end_filling(&mut db, guards)
        .await
        .context("something in the archive points at what is not in it")?;
    let again = hashes(&mut db).await?;
    let again: BTreeMap<&str, &str> = again
        .iter()
        .map(|(name, hash)| (name.as_str(), hash.as_str()))
        .collect();
    let kept = contents.kept();
    if let Some((name, _)) = kept
        .iter()
        .find(|(name, hash)| again.get(*name) != Some(hash))
    {
        anyhow::bail!(
            "{name} does not come out as it was read: the archive was not written by `fieldstow archive`"
        );
    }
    anyhow::ensure!(
        again.len() == kept.len(),
        "more comes out than was read: the archive was not written by `fieldstow archive`"
    );
    db.close().await?;
    Ok(())
}

fn contents<R: Read + Seek>(zip: &mut ZipArchive<R>) -> anyhow::Result<Contents> {
    let no_archive = "this ZIP file is no archive that `fieldstow archive` wrote";
    let file = zip.by_name(CONTENTS).context(no_archive)?;
    let mut text = Vec::new();
    file.take(MOST_CONTENTS).read_to_end(&mut text)?;
    let contents: Contents = serde_json::from_slice(&text).context(no_archive)?;
    anyhow::ensure!(contents.format == FORMAT, "{no_archive}");
    let newest = Db::newest_schema();
    anyhow::ensure!(
        contents.layout == LAYOUT && contents.schema <= newest,
        "this archive was written by a newer Fieldstow; read it in with that one"
    );
    anyhow::ensure!(contents.schema >= 1, "{no_archive}");
    Ok(contents)
}

/// Reads the rows of one table and gives the hash of their text.
async fn fill<R: Read + Seek>(
    db: &mut SqliteConnection,
    zip: &mut ZipArchive<R>,
    name: &str,
    table: &Table,
) -> anyhow::Result<String> {
    let file = zip
        .by_name(name)
        .with_context(|| format!("{name} is missing in the archive"))?;
    let mut file = BufReader::new(file);
    let mut hash = Sha256::new();
    let mut line = Vec::new();
    for number in 1_u64.. {
        line.clear();
        let length = (&mut file)
            .take(MOST_ROW)
            .read_until(b'\n', &mut line)
            .with_context(|| format!("{name} cannot be read to its end"))?;
        if length == 0 {
            break;
        }
        hash.update(&line);
        let row: Map<String, Value> = serde_json::from_slice(&line)
            .with_context(|| format!("line {number} of {name} is not a row"))?;
        store::add_row(db, table, row)
            .await
            .with_context(|| format!("line {number} of {name} cannot be taken in"))?;
    }
    Ok(hex(&hash.finalize()))
}

/// The id in `files/ID.jpg`.
fn id_in(name: &str) -> Option<Vec<u8>> {
    let (id, end) = name.strip_prefix("files/")?.split_once('.')?;
    matches!(end, "jpg" | "pdf").then(|| unhex(id)).flatten()
}

/// Reads the bytes of one file and gives their hash.
async fn add_file<R: Read + Seek>(
    db: &mut SqliteConnection,
    zip: &mut ZipArchive<R>,
    name: &str,
    id: &[u8],
) -> anyhow::Result<String> {
    let file = zip
        .by_name(name)
        .with_context(|| format!("{name} is missing in the archive"))?;
    let mut file = file.take(MOST_FILE + 1);
    let mut hash = Sha256::new();
    let mut piece = Vec::with_capacity(PIECE);
    for n in 0.. {
        piece.clear();
        (&mut file)
            .take(PIECE as u64)
            .read_to_end(&mut piece)
            .with_context(|| format!("{name} cannot be read to its end"))?;
        if piece.is_empty() {
            break;
        }
        hash.update(&piece);
        store::add_piece(db, id, n, &piece)
            .await
            .with_context(|| format!("{name} cannot be taken in"))?;
    }
    anyhow::ensure!(file.limit() > 0, "{name} is larger than 40 MiB");
    Ok(hex(&hash.finalize()))
}
