//! The second lock: what the database itself refuses, whatever the code does.

use sqlx::{Connection, SqliteConnection};

use crate::world::{bare_connection, fill, furnished};

/// Attempts to change the past, each as one statement, and what the database says to it.
const ATTEMPTS: [(&str, &str); 22] = [
    (
        "update entry set kind = 'other' where seq = 2",
        "never changed",
    ),
    ("update entry set hash = hash", "never changed"),
    (
        "update or replace entry set seq = 1 where seq = 2",
        "never changed",
    ),
    ("delete from entry where seq = 4", "nothing is deleted"),
    ("delete from entry", "nothing is deleted"),
    ("update move set qty = qty + 1", "never changed"),
    ("delete from move where entry_seq = 4", "nothing is deleted"),
    ("update place_move set to_parent_id = null", "never changed"),
    ("delete from place_move", "nothing is deleted"),
    ("update count_mark set qty = 0", "never changed"),
    ("delete from count_mark", "nothing is deleted"),
    // An entry cannot be put before others, nor leave a gap.
    (ENTRY_3_AGAIN, "numbered one after the other"),
    (ENTRY_7, "numbered one after the other"),
    // Lines cannot be added to an entry that is recorded, be it the last or an older one.
    (MOVE_FOR_2, "belongs to the entry being recorded"),
    (MOVE_5_FOR_LAST, "belongs to the entry being recorded"),
    (PLACE_MOVE_FOR_LAST, "belongs to the entry being recorded"),
    (MARK_FOR_LAST, "belongs to the entry being recorded"),
    // Replacing is deleting: these are what `recursive_triggers` is on for.
    (REPLACE_BY_ID, "nothing is deleted"),
    (REPLACE_MOVE_OF_LAST, "nothing is deleted"),
    (REPLACE_PLACE_MOVE_OF_LAST, "nothing is deleted"),
    (REPLACE_MARK_OF_LAST, "nothing is deleted"),
    (
        "insert or replace into entry select * from entry where seq = 4",
        "numbered one after",
    ),
];

const ENTRY_3_AGAIN: &str =
    "insert into entry select 3, randomblob(16), kind, actor_id, recorded_at, done_at,
    document_kind, document_id, null, moves, place_moves, count_marks, note_hash, hash
    from entry where seq = 3";
const ENTRY_7: &str =
    "insert into entry select 7, randomblob(16), kind, actor_id, recorded_at, done_at,
    document_kind, document_id, null, moves, place_moves, count_marks, note_hash, hash
    from entry where seq = 3";
const MOVE_FOR_2: &str = "insert into move select 2, 5, part_id, qty, from_kit_id, from_place_id,
    from_state, to_kit_id, to_place_id, to_state from move where entry_seq = 2 and line = 1";
const MOVE_5_FOR_LAST: &str =
    "insert into move select 4, 5, part_id, qty, from_kit_id, from_place_id,
    from_state, to_kit_id, to_place_id, to_state from move where entry_seq = 4 and line = 1";
const PLACE_MOVE_FOR_LAST: &str = "insert into place_move
    select 4, 2, place_id, from_parent_id, to_parent_id from place_move where entry_seq = 4";
const MARK_FOR_LAST: &str = "insert into count_mark
    select 4, 3, part_id, kit_id, place_id, qty from count_mark where entry_seq = 4 and line = 1";
const REPLACE_BY_ID: &str =
    "insert or replace into entry select 5, id, 'other', actor_id, recorded_at, done_at,
    document_kind, document_id, null, moves, place_moves, count_marks, note_hash, hash
    from entry where seq = 2";
const REPLACE_MOVE_OF_LAST: &str = "insert or replace into move select 4, 1, part_id, qty + 5, from_kit_id,
    from_place_id, from_state, to_kit_id, to_place_id, to_state from move where entry_seq = 4 and line = 1";
const REPLACE_PLACE_MOVE_OF_LAST: &str = "insert or replace into place_move
    select 4, 1, place_id, to_parent_id, from_parent_id from place_move where entry_seq = 4";
const REPLACE_MARK_OF_LAST: &str = "insert or replace into count_mark
    select 4, 1, part_id, kit_id, place_id, qty + 1 from count_mark where entry_seq = 4 and line = 1";

async fn refused(db: &mut SqliteConnection, sql: &'static str) -> Option<String> {
    let mut tx = db.begin().await.unwrap();
    let result = sqlx::query(sql).execute(&mut *tx).await;
    tx.rollback().await.unwrap();
    match result {
        Ok(done) => {
            assert!(done.rows_affected() > 0, "{sql} had nothing to do");
            None
        }
        Err(error) => Some(error.to_string()),
    }
}

#[tokio::test]
async fn the_past_is_locked() {
    let folder = tempfile::tempdir().unwrap();
    let db = furnished(folder.path()).await;
    fill(&db, 4).await;
    let mut tx = db.begin_write().await.unwrap();
    for (sql, sentence) in ATTEMPTS {
        let found = refused(&mut tx, sql).await;
        assert!(
            found
                .as_deref()
                .is_some_and(|found| found.contains(sentence)),
            "{sql}: {found:?}"
        );
    }
}

/// Why `db` turns `recursive_triggers` on: without it, replacing walks past the delete triggers.
#[tokio::test]
async fn without_recursive_triggers_replacing_would_pass() {
    let folder = tempfile::tempdir().unwrap();
    let db = furnished(folder.path()).await;
    fill(&db, 4).await;
    let file = db.file().to_path_buf();
    db.close().await;

    let mut bare = bare_connection(&file).await;
    for sql in [REPLACE_BY_ID, REPLACE_MOVE_OF_LAST, REPLACE_MARK_OF_LAST] {
        assert_eq!(refused(&mut bare, sql).await, None, "{sql}");
    }
    sqlx::query("pragma recursive_triggers = on")
        .execute(&mut bare)
        .await
        .unwrap();
    for sql in [REPLACE_BY_ID, REPLACE_MOVE_OF_LAST, REPLACE_MARK_OF_LAST] {
        assert!(refused(&mut bare, sql).await.is_some(), "{sql}");
    }
}

#[tokio::test]
async fn readers_cannot_write() {
    let folder = tempfile::tempdir().unwrap();
    let db = furnished(folder.path()).await;
    let mut reader = db.read().await.unwrap();
    for sql in [
        "update team set name = 'x'",
        "create table other (n integer)",
        "insert into setting (key, value) values ('a', 'b')",
    ] {
        let error = sqlx::query(sql).execute(&mut *reader).await.unwrap_err();
        assert!(error.to_string().contains("readonly"), "{sql}: {error}");
    }
}
