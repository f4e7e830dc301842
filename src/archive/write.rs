//! Writing an archive, or only finding out what would be in it.

use std::collections::BTreeMap;
use std::io::{self, Seek, Write};

use anyhow::Context;
use sha2::{Digest, Sha256};
use sqlx::SqliteConnection;
use zip::write::SimpleFileOptions;
use zip::{CompressionMethod, DateTime, ZipWriter};

use super::store::{self, Table};
use super::{CONTENTS, Contents, FORMAT, LAYOUT, hex, sheets};
use crate::ledger;

/// What was written.
#[derive(Debug)]
pub struct Written {
    pub tables: usize,
    pub rows: u64,
    pub files: usize,
    pub entries: i64,
    pub mark: String,
}

/// Takes one file after the other. Without somewhere to write, it only reckons their hashes.
struct Out<W: Write + Seek> {
    zip: Option<ZipWriter<W>>,
    hash: Sha256,
    files: BTreeMap<String, String>,
}

impl<W: Write + Seek> Out<W> {
    fn new(zip: Option<ZipWriter<W>>) -> Self {
        Self {
            zip,
            hash: Sha256::new(),
            files: BTreeMap::new(),
        }
    }

    fn begin(&mut self, name: &str) -> anyhow::Result<()> {
        self.hash = Sha256::new();
        if let Some(zip) = &mut self.zip {
            // No time and no owner: the same data makes the same bytes.
            let options = SimpleFileOptions::default()
                .compression_method(CompressionMethod::Deflated)
                .last_modified_time(DateTime::default())
                .unix_permissions(0o600)
                .large_file(true);
            zip.start_file(name, options)?;
        }
        Ok(())
    }

    fn end(&mut self, name: String) {
        let hash = std::mem::take(&mut self.hash).finalize();
        self.files.insert(name, hex(&hash));
    }
}

impl<W: Write + Seek> Drop for Out<W> {
    /// An archive that was broken off must not be ended as if it were whole, as it would be by itself when it is
    /// dropped.
    fn drop(&mut self) {
        if let Some(zip) = self.zip.take() {
            std::mem::forget(zip);
        }
    }
}

impl<W: Write + Seek> Write for Out<W> {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.hash.update(bytes);
        if let Some(zip) = &mut self.zip {
            zip.write_all(bytes)?;
        }
        Ok(bytes.len())
    }

    fn flush(&mut self) -> io::Result<()> {
        match &mut self.zip {
            Some(zip) => zip.flush(),
            None => Ok(()),
        }
    }
}

/// Writes everything that a snapshot of the database holds into `file`.
pub async fn write<W: Write + Seek>(
    snapshot: &mut SqliteConnection,
    file: W,
) -> anyhow::Result<Written> {
    let mut out = Out::new(Some(ZipWriter::new(file)));
    let (tables, rows, files) = tables_and_files(snapshot, &mut out).await?;
    let mut all_sheets = Vec::new();
    // A database of an earlier version may have no ledger yet.
    if store::has_table(snapshot, "balance").await? {
        all_sheets = vec![
            (
                "pieces",
                &sheets::PIECES[..],
                store::pieces(snapshot).await?,
            ),
            ("needs", &sheets::NEEDS[..], store::needs(snapshot).await?),
            ("moves", &sheets::MOVES[..], store::moves(snapshot).await?),
        ];
    }
    for (name, header, rows) in all_sheets {
        let name = format!("{}{name}.csv", sheets::FOLDER);
        out.begin(&name)?;
        out.write_all(&sheets::csv(header, &rows)?)?;
        out.end(name);
    }
    let (entries, mark) = if store::has_table(snapshot, "entry").await? {
        ledger::head(snapshot).await?
    } else {
        (0, [0; 32])
    };
    let contents = Contents {
        format: FORMAT.into(),
        layout: LAYOUT,
        schema: store::schema(snapshot).await?,
        entries,
        mark: hex(&mark),
        files: std::mem::take(&mut out.files),
    };
    out.begin(CONTENTS)?;
    let mut text = serde_json::to_vec_pretty(&contents)?;
    text.push(b'\n');
    out.write_all(&text)?;
    if let Some(zip) = out.zip.take() {
        // What the writer still holds would be written when it is dropped, and nobody would hear that it failed.
        let ended = zip.finish().map_err(io::Error::from);
        ended
            .and_then(|mut file| file.flush())
            .context("the archive could not be ended")?;
    }
    Ok(Written {
        tables,
        rows,
        files,
        entries: contents.entries,
        mark: contents.mark,
    })
}

/// The hashes that the tables and files of a database would have in an archive.
pub(super) async fn hashes(db: &mut SqliteConnection) -> anyhow::Result<BTreeMap<String, String>> {
    let mut out: Out<io::Cursor<Vec<u8>>> = Out::new(None);
    tables_and_files(db, &mut out).await?;
    Ok(std::mem::take(&mut out.files))
}

async fn tables_and_files<W: Write + Seek>(
    db: &mut SqliteConnection,
    out: &mut Out<W>,
) -> anyhow::Result<(usize, u64, usize)> {
    let tables = store::tables(db).await?;
    let mut rows = 0;
    for table in &tables {
        rows += one_table(db, table, out).await?;
    }
    // Earlier versions of the tables kept no files.
    let mut files = Vec::new();
    if tables.iter().any(|table| table.name == "file") {
        files = store::files(db).await?;
    }
    for file in &files {
        let name = file_name(&file.id, &file.kind);
        out.begin(&name)?;
        store::each_piece(db, &file.id, |bytes| out.write_all(bytes)).await?;
        out.end(name);
    }
    Ok((tables.len(), rows, files.len()))
}

async fn one_table<W: Write + Seek>(
    db: &mut SqliteConnection,
    table: &Table,
    out: &mut Out<W>,
) -> anyhow::Result<u64> {
    let name = table_name(&table.name);
    out.begin(&name)?;
    let rows = store::each_row(db, table, |row| {
        out.write_all(row.as_bytes())?;
        out.write_all(b"\n")
    })
    .await
    .with_context(|| format!("the table {} could not be written", table.name))?;
    out.end(name);
    Ok(rows)
}

pub(super) fn table_name(table: &str) -> String {
    format!("tables/{table}.jsonl")
}

fn file_name(id: &[u8], kind: &str) -> String {
    let end = if kind == "pdf" { "pdf" } else { "jpg" };
    format!("files/{}.{end}", hex(id))
}
