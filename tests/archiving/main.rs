//! `fieldstow archive` and `fieldstow read-archive`: the whole league out and in again, the same.

use std::collections::BTreeMap;
use std::fs::{self, File};
use std::io::{Cursor, Read};
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};
use std::sync::{Arc, OnceLock};

use fieldstow::app::{App, Settings};
use fieldstow::archive;
use fieldstow::clock::{FixedClock, Instant};
use fieldstow::db::{Db, FILE_NAME};
use fieldstow::demo;
use sqlx::{Connection, SqliteConnection};
use tempfile::TempDir;
use zip::ZipArchive;

mod full;
mod refused;

fn program(arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_fieldstow"))
        .args(arguments)
        .env_clear()
        .stdin(Stdio::null())
        .output()
        .unwrap()
}

fn text(path: &Path) -> &str {
    path.to_str().unwrap()
}

#[track_caller]
fn done(output: &Output) -> String {
    assert_eq!(output.status.code(), Some(0), "{output:?}");
    String::from_utf8(output.stdout.clone()).unwrap()
}

fn block_on<T>(work: impl Future<Output = T>) -> T {
    tokio::runtime::Builder::new_multi_thread()
        .worker_threads(2)
        .enable_all()
        .build()
        .unwrap()
        .block_on(work)
}

/// The invented league in a folder, and its archive.
struct Told {
    folder: TempDir,
    archive: PathBuf,
}

fn told() -> &'static Told {
    static TOLD: OnceLock<Told> = OnceLock::new();
    TOLD.get_or_init(|| {
        let folder = tempfile::tempdir().unwrap();
        block_on(async {
            let db = Db::open(folder.path()).await.unwrap();
            let settings = Settings {
                public_url: "http://localhost:8765".into(),
            };
            // 4 March 2027, 18:00 UTC.
            let clock = Arc::new(FixedClock::at(Instant(1_804_183_200_000)));
            let app = App::new(db.clone(), clock, settings);
            demo::fill(&app).await.unwrap();
            drop(app);
            db.close().await;
        });
        let archive = folder.path().join("league.zip");
        let said = done(&program(&[
            "archive",
            text(&archive),
            "--data",
            text(folder.path()),
        ]));
        assert!(said.contains("no passwords"), "{said}");
        Told { folder, archive }
    })
}

fn files_of(archive: &[u8]) -> BTreeMap<String, Vec<u8>> {
    let mut zip = ZipArchive::new(Cursor::new(archive)).unwrap();
    (0..zip.len())
        .map(|at| {
            let mut file = zip.by_index(at).unwrap();
            let mut bytes = Vec::new();
            file.read_to_end(&mut bytes).unwrap();
            (file.name().unwrap().into_owned(), bytes)
        })
        .collect()
}

/// The rows of every table, by a way of its own: SQLite's own `quote`.
fn rows(folder: &Path) -> BTreeMap<String, Vec<String>> {
    let db = rusqlite::Connection::open(folder.join(FILE_NAME)).unwrap();
    let names = "select name from pragma_table_list where schema = 'main' and type = 'table' \
                 and name not like 'sqlite_%'";
    let names: Vec<String> = db
        .prepare(names)
        .unwrap()
        .query_map([], |row| row.get(0))
        .unwrap()
        .map(Result::unwrap)
        .collect();
    let mut all = BTreeMap::new();
    for name in names {
        let columns: Vec<String> = db
            .prepare(&format!("select name from pragma_table_info('{name}')"))
            .unwrap()
            .query_map([], |row| row.get::<_, String>(0))
            .unwrap()
            .map(|column| format!("quote({})", column.unwrap()))
            .collect();
        let mut found: Vec<String> = db
            .prepare(&format!(
                "select {} from {name}",
                columns.join(" || ',' || ")
            ))
            .unwrap()
            .query_map([], |row| row.get(0))
            .unwrap()
            .map(Result::unwrap)
            .collect();
        found.sort();
        all.insert(name, found);
    }
    all
}

#[test]
fn out_and_in_and_out_again_is_the_same_byte_for_byte() {
    let told = told();
    let first = fs::read(&told.archive).unwrap();
    let parent = tempfile::tempdir().unwrap();
    let folder = parent.path().join("elsewhere");
    let said = done(&program(&[
        "read-archive",
        text(&told.archive),
        "--data",
        text(&folder),
    ]));
    assert!(said.contains("no faults"), "{said}");
    assert!(said.contains("invite --coordinator"), "{said}");
    let archive = parent.path().join("again.zip");
    done(&program(&[
        "archive",
        text(&archive),
        "--data",
        text(&folder),
    ]));
    let again = fs::read(&archive).unwrap();
    assert!(first == again, "{} and {} bytes", first.len(), again.len());

    let verified = |folder: &Path| done(&program(&["verify", "--data", text(folder)]));
    assert_eq!(verified(&folder), verified(told.folder.path()));

    // Not only by our own writing: SQLite tells both databases alike, but for what is left out.
    let (mut before, mut after) = (rows(told.folder.path()), rows(&folder));
    for (table, only_before) in [
        ("session", true),
        ("token", false),
        ("sign_in_failure", false),
        ("receipt", true),
        ("import_draft", true),
    ] {
        let (before, after) = (before.remove(table).unwrap(), after.remove(table).unwrap());
        assert_eq!(!before.is_empty(), only_before, "{table}");
        assert!(after.is_empty(), "{table}");
    }
    // When each migration ran, and in which order words were taken up.
    for table in ["_sqlx_migrations", "finding"] {
        let (before, after) = (before.remove(table).unwrap(), after.remove(table).unwrap());
        assert_eq!(before.len(), after.len(), "{table}");
    }
    let people = before.remove("person").unwrap();
    assert!(people.iter().all(|row| row.contains("$argon2id$")));
    let people = people.iter().map(|row| {
        let (start, rest) = row.split_once("'$argon2id$").unwrap();
        format!("{start}NULL{}", rest.split_once('\'').unwrap().1)
    });
    assert_eq!(people.collect::<Vec<_>>(), after.remove("person").unwrap());
    assert!(before.len() > 30 && before.values().map(Vec::len).sum::<usize>() > 2000);
    for (table, rows) in before {
        assert!(
            after.remove(&table).as_ref() == Some(&rows),
            "{table} differs"
        );
    }
    assert!(after.is_empty());
}

#[test]
fn an_archive_lets_nobody_in() {
    let files = files_of(&fs::read(&told().archive).unwrap());
    assert!(files.len() > 30);
    for (name, bytes) in &files {
        let text = String::from_utf8_lossy(bytes);
        assert!(!text.contains("argon2"), "{name}");
    }
    for table in ["session", "token", "receipt", "sign_in_failure"] {
        assert!(!files.contains_key(&format!("tables/{table}.jsonl")));
    }
}

#[test]
fn people_and_other_programs_can_read_it() {
    let files = files_of(&fs::read(&told().archive).unwrap());
    let pieces = String::from_utf8(files["for-people/pieces.csv"].clone()).unwrap();
    assert!(pieces.starts_with("Team,Kit,Part number,Part,Colour,State,Pieces,"));
    assert!(
        pieces
            .lines()
            .any(|line| line.starts_with("Hobnail Bridge School,Long Gable,"))
    );
    // The sheet and the table say the same: pieces in real places.
    let total = |lines: &str, cell: usize| -> i64 {
        let mut reader = csv::Reader::from_reader(lines.as_bytes());
        reader
            .records()
            .map(|row| row.unwrap()[cell].parse::<i64>().unwrap())
            .sum()
    };
    let balances = String::from_utf8(files["tables/balance.jsonl"].clone()).unwrap();
    let balances: i64 = balances
        .lines()
        .map(|line| serde_json::from_str::<serde_json::Value>(line).unwrap())
        .filter(|row| row["outside"] == 0)
        .map(|row| row["qty"].as_i64().unwrap())
        .sum();
    assert!(balances > 1000);
    assert_eq!(total(&pieces, 6), balances);
    // A picture is a picture to anybody.
    let (_, picture) = files
        .iter()
        .find(|(name, _)| name.ends_with(".jpg"))
        .unwrap();
    let picture = image::load_from_memory(picture).unwrap();
    assert!(picture.width() > 10);
}

#[test]
fn nothing_is_written_over() {
    let told = told();
    let output = program(&[
        "archive",
        text(&told.archive),
        "--data",
        text(told.folder.path()),
    ]);
    assert_eq!(output.status.code(), Some(1));
    let said = String::from_utf8_lossy(&output.stderr).into_owned();
    assert!(said.contains("name a new file for the archive"), "{said}");
    let output = program(&[
        "read-archive",
        text(&told.archive),
        "--data",
        text(told.folder.path()),
    ]);
    assert_eq!(output.status.code(), Some(1));
    let said = String::from_utf8_lossy(&output.stderr).into_owned();
    assert!(said.contains("holds a database already"), "{said}");
}

/// An archive that an earlier version wrote comes in as that version had it, and is then brought up to date.
#[test]
fn archives_of_every_earlier_version_are_read() {
    block_on(async {
        for schema in 1..=Db::newest_schema() {
            let folder = tempfile::tempdir().unwrap();
            let mut old = Db::new_at(&folder.path().join("old.db"), schema)
                .await
                .unwrap();
            sqlx::query(
                "insert into team (id, name, zone) values (zeroblob(16), 'Tin Mill', 'UTC')",
            )
            .execute(&mut old)
            .await
            .unwrap();
            let mut archived = Cursor::new(Vec::new());
            archive::write(&mut old, &mut archived).await.unwrap();
            old.close().await.unwrap();
            let made = folder.path().join("new.db");
            archived.set_position(0);
            archive::read(archived, &made).await.unwrap();
            let db = Db::open_backup(&made, &made).await.unwrap();
            let mut reader = db.read().await.unwrap();
            assert_eq!(team(&mut reader).await, "Tin Mill", "from schema {schema}");
            let newest: i64 = sqlx::query_scalar("select max(version) from _sqlx_migrations")
                .fetch_one(&mut *reader)
                .await
                .unwrap();
            assert_eq!(newest, Db::newest_schema());
            drop(reader);
            db.close().await;
        }
    });
}

async fn team(db: &mut SqliteConnection) -> String {
    sqlx::query_scalar("select name from team where id = zeroblob(16)")
        .fetch_one(db)
        .await
        .unwrap()
}

/// A table that is added later must be in the archive by itself: each is written, or named as left out.
#[test]
fn every_table_is_in_the_archive_or_left_out_on_purpose() {
    let files = files_of(&fs::read(&told().archive).unwrap());
    let left_out = [
        "_sqlx_migrations",
        "session",
        "token",
        "sign_in_failure",
        "receipt",
        "import_draft",
        "finding",
        "file_chunk",
    ];
    for table in rows(told().folder.path()).keys() {
        let is_in = files.contains_key(&format!("tables/{table}.jsonl"));
        assert_eq!(is_in, !left_out.contains(&table.as_str()), "{table}");
    }
    assert!(
        File::open(&told().archive)
            .unwrap()
            .metadata()
            .unwrap()
            .len()
            < 4 << 20
    );
}
