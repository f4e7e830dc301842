//! Which files are opened, with which settings, and what is said about the others.

use std::fs;
use std::path::Path;

use fieldstow::db::{Db, MIGRATOR, OpenError};
use fieldstow::ledger;
use sqlx::{Connection, SqliteConnection};

use crate::world::{bare_connection, fill, furnished};

async fn refused(folder: &Path) -> OpenError {
    match Db::open(folder).await {
        Ok(_) => panic!("it was opened"),
        Err(error) => error,
    }
}

async fn bare(file: &Path, sql: &'static str) {
    let mut connection = bare_connection(file).await;
    sqlx::raw_sql(sql).execute(&mut connection).await.unwrap();
    connection.close().await.unwrap();
}

async fn made(file: &Path, sql: &'static str) {
    fs::File::create_new(file).unwrap();
    bare(file, sql).await;
}

/// SQLite 3.7.0 to 3.51.2 can lose committed writes in WAL mode (release notes of 3.51.3, 2026-03-13).
#[tokio::test]
async fn the_linked_sqlite_is_new_enough() {
    let folder = tempfile::tempdir().unwrap();
    let db = Db::open(folder.path()).await.unwrap();
    let version: String = sqlx::query_scalar("select sqlite_version()")
        .fetch_one(&mut *db.read().await.unwrap())
        .await
        .unwrap();
    let numbers: Vec<u32> = version.split('.').map(|n| n.parse().unwrap()).collect();
    assert!(numbers.as_slice() >= [3, 51, 3].as_slice(), "{version}");
}

/// A refreshed lock file must not bring an older library back: sqlx would accept it.
#[test]
fn the_lock_file_holds_one_sqlite_of_the_right_line() {
    let lock = include_str!("../../Cargo.lock");
    let versions: Vec<&str> = lock
        .split("[[package]]")
        .filter(|package| package.contains("name = \"libsqlite3-sys\""))
        .filter_map(|package| package.split("version = \"").nth(1)?.split('"').next())
        .collect();
    assert_eq!(versions.len(), 1, "{versions:?}");
    assert!(versions[0].starts_with("0.37."), "{versions:?}");
}

#[tokio::test]
async fn every_connection_has_its_settings() {
    let folder = tempfile::tempdir().unwrap();
    let db = Db::open(folder.path()).await.unwrap();
    let mut writer = db.begin_write().await.unwrap();
    let mut reader = db.read().await.unwrap();
    for (pragma, wanted) in [
        // FULL: with NORMAL, acknowledged writes go at a power cut.
        ("pragma synchronous", "2"),
        ("pragma journal_mode", "wal"),
        ("pragma foreign_keys", "1"),
        ("pragma recursive_triggers", "1"),
        ("pragma trusted_schema", "0"),
        ("pragma cell_size_check", "1"),
        ("pragma mmap_size", "0"),
        ("pragma busy_timeout", "5000"),
        ("pragma journal_size_limit", "67108864"),
        ("pragma application_id", "1181508691"),
        ("pragma query_only", "0"),
    ] {
        assert_eq!(
            setting(&mut writer, pragma).await,
            wanted,
            "writer, {pragma}"
        );
        let wanted = if pragma == "pragma query_only" {
            "1"
        } else {
            wanted
        };
        assert_eq!(
            setting(&mut reader, pragma).await,
            wanted,
            "reader, {pragma}"
        );
    }
}

async fn setting(db: &mut SqliteConnection, pragma: &'static str) -> String {
    use sqlx::Row;
    let row = sqlx::query(pragma).fetch_one(db).await.unwrap();
    row.try_get_unchecked::<String, _>(0)
        .or_else(|_| row.try_get_unchecked::<i64, _>(0).map(|n| n.to_string()))
        .unwrap()
}

#[tokio::test]
async fn another_programs_database_is_refused_and_left_as_it_is() {
    for sql in [
        "create table song (title text); insert into song values ('Larch');",
        "pragma application_id = 7; create table song (title text);",
        "pragma application_id = 7; create table song (title text); drop table song;",
    ] {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("fieldstow.db");
        made(&file, sql).await;
        let before = fs::read(&file).unwrap();
        let error = refused(folder.path()).await;
        assert!(
            matches!(&error, OpenError::NotOurs(path) if *path == file),
            "{sql}: {error:?}"
        );
        assert!(
            error
                .to_string()
                .contains("is a database of another program")
        );
        assert!(
            fs::read(&file).unwrap() == before,
            "the file was changed: {sql}"
        );
    }
}

#[tokio::test]
async fn a_newer_database_is_refused_and_left_as_it_is() {
    let folder = tempfile::tempdir().unwrap();
    let db = furnished(folder.path()).await;
    let file = db.file().to_path_buf();
    db.close().await;
    bare(
        &file,
        "insert into _sqlx_migrations (version, description, success, checksum, execution_time)
         values (9999, 'from the future', 1, x'00', 0)",
    )
    .await;
    let error = refused(folder.path()).await;
    assert!(
        matches!(&error, OpenError::Newer(path) if *path == file),
        "{error:?}"
    );
    assert!(error.to_string().contains("newer Fieldstow"));
    bare(&file, "delete from _sqlx_migrations where version = 9999").await;
    Db::open(folder.path()).await.unwrap();
}

/// Before there is a log, SQLite keeps a journal: a first start that was cut off leaves it beside the file, and
/// whoever opens that to read only is refused.
#[tokio::test]
async fn a_first_start_that_was_cut_off_is_begun_again() {
    let [begun, left] = [(), ()].map(|()| tempfile::tempdir().unwrap());
    let file = begun.path().join("fieldstow.db");
    fs::File::create_new(&file).unwrap();
    let mut connection = bare_connection(&file).await;
    sqlx::raw_sql(
        "pragma application_id = 1181508691;
         pragma cache_size = 1;
         begin;
         create table half (words text);
         with recursive n (i) as (select 1 union all select i + 1 from n where i < 2000)
         insert into half select hex(zeroblob(100)) from n",
    )
    .execute(&mut connection)
    .await
    .unwrap();
    for name in ["fieldstow.db", "fieldstow.db-journal"] {
        let copied = fs::copy(begun.path().join(name), left.path().join(name)).unwrap();
        assert!(
            copied > 4096,
            "{name} is short, so this is not half-written"
        );
    }
    let db = Db::open(left.path()).await.unwrap();
    let halves: i64 = sqlx::query_scalar("select count(*) from sqlite_schema where name = 'half'")
        .fetch_one(&mut *db.read().await.unwrap())
        .await
        .unwrap();
    assert_eq!(halves, 0);
}

#[tokio::test]
async fn a_file_that_is_no_database_is_called_that() {
    for content in [
        b"Ridge Beacon: 4 posts, 2 plates".to_vec(),
        b"Ridge Beacon: 4 posts, 2 plates\n".repeat(1000),
        b"SQLite format 3\0".to_vec(),
        vec![0xff; 8192],
        vec![0; 8192],
    ] {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("fieldstow.db");
        fs::write(&file, &content).unwrap();
        let error = refused(folder.path()).await;
        assert!(
            matches!(&error, OpenError::Damaged(path) if *path == file),
            "{error:?}"
        );
        assert!(
            error
                .to_string()
                .contains("is not a database, or it is damaged")
        );
        assert_eq!(fs::read(&file).unwrap(), content, "the file was changed");
    }
}

/// Wherever the damage is, it is either seen at the start and called damage, or it is somewhere that the
/// start does not read; never another sentence, never a crash.
#[tokio::test]
async fn a_damaged_file_is_called_damaged() {
    let folder = tempfile::tempdir().unwrap();
    let db = furnished(folder.path()).await;
    fill(&db, 10).await;
    let file = db.file().to_path_buf();
    db.close().await;
    let whole = fs::read(&file).unwrap();

    let mut named = 0;
    let mut cases: Vec<Vec<u8>> = vec![whole[..whole.len() / 2].to_vec(), whole[..5000].to_vec()];
    for page in 0..whole.len() / 4096 {
        let mut torn = whole.clone();
        torn[page * 4096 + 100..(page + 1) * 4096].fill(0x5a);
        cases.push(torn);
    }
    let count = cases.len();
    for (number, bytes) in cases.into_iter().enumerate() {
        let folder = tempfile::tempdir().unwrap();
        fs::write(folder.path().join("fieldstow.db"), bytes).unwrap();
        match Db::open(folder.path()).await {
            Ok(db) => db.close().await,
            Err(OpenError::Damaged(_)) => named += 1,
            Err(other) => panic!("case {number}: {other:?}"),
        }
    }
    assert!(
        named >= 3,
        "only {named} of {count} damaged files were noticed"
    );
}

#[tokio::test]
async fn a_folder_without_a_database_is_called_that_where_one_is_asked_for() {
    let folder = tempfile::tempdir().unwrap();
    let Err(error) = Db::open_existing(folder.path()).await else {
        panic!("it was opened");
    };
    assert!(matches!(&error, OpenError::Missing(_)), "{error:?}");
    assert_eq!(
        fs::read_dir(folder.path()).unwrap().count(),
        0,
        "something was made"
    );

    // An empty file is what is left when making the database was interrupted at once.
    fs::File::create(folder.path().join("fieldstow.db")).unwrap();
    Db::open(folder.path()).await.unwrap();
}

#[tokio::test]
async fn opening_again_changes_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let db = furnished(folder.path()).await;
    fill(&db, 5).await;
    let file = db.file().to_path_buf();
    db.close().await;
    assert!(
        !folder.path().join("fieldstow.db-wal").exists(),
        "the log is in the file"
    );
    let before = fs::read(&file).unwrap();
    Db::open(folder.path()).await.unwrap().read().await.unwrap();
    assert!(fs::read(&file).unwrap() == before);

    let db = Db::open(folder.path()).await.unwrap();
    let applied: i64 = sqlx::query_scalar("select count(*) from _sqlx_migrations")
        .fetch_one(&mut *db.read().await.unwrap())
        .await
        .unwrap();
    assert_eq!(applied, MIGRATOR.iter().count() as i64);
}

#[tokio::test]
async fn rows_that_point_nowhere_are_found() {
    let folder = tempfile::tempdir().unwrap();
    let db = furnished(folder.path()).await;
    let file = db.file().to_path_buf();
    db.close().await;
    bare(&file, "delete from team").await;
    let db = Db::open(folder.path()).await.unwrap();
    let mut reader = db.read().await.unwrap();
    let error = fieldstow::db::check_foreign_keys(&mut reader)
        .await
        .unwrap_err();
    assert!(matches!(&error, OpenError::ForeignKeys(_)), "{error:?}");
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_copy_made_while_writing_is_whole() {
    let folder = tempfile::tempdir().unwrap();
    let db = furnished(folder.path()).await;
    fill(&db, 20).await;
    let writing = tokio::spawn({
        let db = db.clone();
        async move {
            for number in 20..200 {
                let mut tx = db.begin_write().await.unwrap();
                crate::world::append_sample(&mut tx, number).await.unwrap();
                tx.commit().await.unwrap();
            }
        }
    });
    let mut copies = Vec::new();
    for number in 0..4 {
        let copy = folder.path().join(format!("copy-{number}.db"));
        db.copy_to(&copy).await.unwrap();
        copies.push(copy);
    }
    let still_writing = !writing.is_finished();
    writing.await.unwrap();
    assert!(still_writing, "the copies were made after the last write");

    let mut longest = 0;
    for copy in &copies {
        let mut connection = bare_connection(copy).await;
        let answer: String = sqlx::query_scalar("pragma integrity_check")
            .fetch_one(&mut connection)
            .await
            .unwrap();
        assert_eq!(answer, "ok");
        fieldstow::db::check_foreign_keys(&mut connection)
            .await
            .unwrap();
        let findings = ledger::verify(&mut connection).await.unwrap();
        assert_eq!(findings.faults, Vec::<String>::new());
        assert!(findings.entries >= 20 && findings.entries >= longest);
        longest = findings.entries;
        connection.close().await.unwrap();
    }
    assert!(
        db.copy_to(&copies[0]).await.is_err(),
        "an existing file was overwritten"
    );

    // The copy is a database that can be started from.
    let restored = tempfile::tempdir().unwrap();
    fs::copy(&copies[3], restored.path().join("fieldstow.db")).unwrap();
    let db = Db::open_existing(restored.path()).await.unwrap();
    let mut tx = db.begin_write().await.unwrap();
    crate::world::append_sample(&mut tx, longest as u32)
        .await
        .unwrap();
    tx.commit().await.unwrap();
}
