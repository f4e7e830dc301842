//! The one writer: what it lives through, and why it is made as it is.

use std::time::{Duration, Instant};

use fieldstow::db::Db;
use fieldstow::ledger;
use sqlx::sqlite::{SqliteConnectOptions, SqliteJournalMode, SqlitePool, SqlitePoolOptions};
use sqlx::{Connection, SqliteConnection};

use crate::world::{arrival, bare_connection, form, furnished, kit, part, place};

const BIG: &str = "insert into setting (key, value) values ('big', hex(zeroblob(400000)))";

/// The disk is full: the file may not grow by more than a page.
async fn fill_the_disk(db: &mut SqliteConnection) {
    let pages: i64 = sqlx::query_scalar("pragma page_count")
        .fetch_one(&mut *db)
        .await
        .unwrap();
    let sql = format!("pragma max_page_count = {}", pages + 1);
    sqlx::query(sqlx::AssertSqlSafe(sql))
        .execute(db)
        .await
        .unwrap();
}

fn code(error: &sqlx::Error) -> Option<String> {
    Some(error.as_database_error()?.code()?.into_owned())
}

#[tokio::test]
async fn a_full_disk_does_not_poison_the_writer() {
    let folder = tempfile::tempdir().unwrap();
    let db = furnished(folder.path()).await;
    for round in 0..5 {
        let mut tx = db.begin_write().await.unwrap();
        ledger::append(
            &mut tx,
            &arrival(form(100 + round), part(0), kit(0), place(0), 1),
        )
        .await
        .unwrap();
        fill_the_disk(&mut tx).await;
        let error = sqlx::query(BIG).execute(&mut *tx).await.unwrap_err();
        assert_eq!(code(&error).as_deref(), Some("13"), "{error}");
        drop(tx);

        let mut tx = db.begin_write().await.expect("the writer is free");
        ledger::append(&mut tx, &arrival(form(round), part(0), kit(0), place(0), 1))
            .await
            .unwrap();
        tx.commit().await.unwrap();
    }
    let findings = ledger::verify(&mut db.read().await.unwrap()).await.unwrap();
    assert_eq!(findings.faults, Vec::<String>::new());
    assert_eq!(
        findings.entries, 5,
        "only the acts after the full disk are there"
    );
}

/// Why the pool looks at each connection that comes back: without that, one full disk is for ever. When
/// this test fails because the plain pool recovers, sqlx was mended and the hook may go.
#[tokio::test]
async fn a_pool_without_the_hook_stays_poisoned() {
    let folder = tempfile::tempdir().unwrap();
    let db = furnished(folder.path()).await;
    let options = SqliteConnectOptions::new()
        .filename(db.file())
        .journal_mode(SqliteJournalMode::Wal);
    db.close().await;
    let pool: SqlitePool = SqlitePoolOptions::new()
        .max_connections(1)
        .acquire_timeout(Duration::from_secs(2))
        .connect_with(options)
        .await
        .unwrap();
    let mut tx = pool.begin_with("begin immediate").await.unwrap();
    fill_the_disk(&mut tx).await;
    assert!(sqlx::query(BIG).execute(&mut *tx).await.is_err());
    drop(tx);
    for _ in 0..3 {
        assert!(pool.begin_with("begin immediate").await.is_err());
    }
}

/// A transaction that reads first and writes later fails at once when somebody wrote in between; the busy
/// time-out does not help it. Hence `begin immediate`.
#[tokio::test]
async fn a_deferred_transaction_fails_where_ours_waits() {
    let folder = tempfile::tempdir().unwrap();
    let db = furnished(folder.path()).await;
    let mut plain = bare_connection(db.file()).await;
    let mut deferred = plain.begin().await.unwrap();
    let _: i64 = sqlx::query_scalar("select count(*) from setting")
        .fetch_one(&mut *deferred)
        .await
        .unwrap();
    let mut tx = db.begin_write().await.unwrap();
    sqlx::query("insert into setting (key, value) values ('a', '1')")
        .execute(&mut *tx)
        .await
        .unwrap();
    tx.commit().await.unwrap();

    let watch = Instant::now();
    let error = sqlx::query("insert into setting (key, value) values ('b', '1')")
        .execute(&mut *deferred)
        .await
        .unwrap_err();
    // SQLITE_BUSY_SNAPSHOT (SQLite's list of result codes).
    assert_eq!(code(&error).as_deref(), Some("517"));
    assert!(watch.elapsed() < Duration::from_secs(2), "it did not wait");
    deferred.rollback().await.unwrap();

    // Ours waits for the other writer, reads what it wrote, and succeeds.
    let mut other = plain.begin_with("begin immediate").await.unwrap();
    sqlx::query("insert into setting (key, value) values ('c', '1')")
        .execute(&mut *other)
        .await
        .unwrap();
    let ours = tokio::spawn({
        let db = db.clone();
        async move {
            let mut tx = db.begin_write().await.unwrap();
            let seen: i64 = sqlx::query_scalar("select count(*) from setting")
                .fetch_one(&mut *tx)
                .await
                .unwrap();
            sqlx::query("insert into setting (key, value) values ('d', '1')")
                .execute(&mut *tx)
                .await
                .unwrap();
            tx.commit().await.unwrap();
            seen
        }
    });
    tokio::time::sleep(Duration::from_millis(200)).await;
    assert!(!ours.is_finished(), "it did not wait for the other writer");
    other.commit().await.unwrap();
    assert_eq!(ours.await.unwrap(), 2);
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn sixty_four_writers_take_turns() {
    let folder = tempfile::tempdir().unwrap();
    let db = furnished(folder.path()).await;
    let mut tasks = Vec::new();
    for writer in 0..64 {
        let db = db.clone();
        tasks.push(tokio::spawn(async move {
            for round in 0..5 {
                let mut tx = db.begin_write().await?;
                let entry = arrival(form(writer * 5 + round), part(0), kit(0), place(0), 1);
                ledger::append(&mut tx, &entry).await?;
                tx.commit().await?;
            }
            Ok::<_, ledger::NotAppended>(())
        }));
    }
    for task in tasks {
        task.await.unwrap().expect("no writer fails");
    }
    let mut reader = db.read().await.unwrap();
    let findings = ledger::verify(&mut reader).await.unwrap();
    assert_eq!((findings.entries, findings.faults), (320, Vec::new()));
    let held: i64 = sqlx::query_scalar("select qty from balance where outside = 0")
        .fetch_one(&mut *reader)
        .await
        .unwrap();
    assert_eq!(held, 320);
}

/// Readers go on while somebody writes, and see nothing of it before the commit.
#[tokio::test]
async fn readers_see_only_what_was_committed() {
    let folder = tempfile::tempdir().unwrap();
    let db = furnished(folder.path()).await;
    let version = db.version();
    let mut tx = db.begin_write().await.unwrap();
    ledger::append(&mut tx, &arrival(form(1), part(0), kit(0), place(0), 1))
        .await
        .unwrap();
    assert_eq!(entries(&db).await, 0);
    assert_eq!(db.version(), version);
    tx.commit().await.unwrap();
    assert_eq!(entries(&db).await, 1);
    assert!(db.version() > version);

    let version = db.version();
    let mut tx = db.begin_write().await.unwrap();
    ledger::append(&mut tx, &arrival(form(2), part(0), kit(0), place(0), 1))
        .await
        .unwrap();
    drop(tx);
    drop(db.begin_write().await.unwrap());
    assert_eq!(entries(&db).await, 1, "dropped without a trace");
    assert_eq!(db.version(), version);
}

async fn entries(db: &Db) -> i64 {
    ledger::head(&mut db.read().await.unwrap()).await.unwrap().0
}
