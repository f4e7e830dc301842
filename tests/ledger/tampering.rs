//! Changes made behind the book's back, by somebody who took the triggers and the checks off: `verify`
//! names what was touched. What it cannot see is told here too.

use std::collections::BTreeMap;

use fieldstow::ledger::{self, Findings};
use sqlx::{Connection, SqliteConnection};
use tempfile::TempDir;

use crate::world::{bare_connection, fill, furnished};

const ENTRIES: u32 = 24;

/// A closed copy of a filled book, opened by a stranger.
async fn opened_by_a_stranger() -> (SqliteConnection, TempDir) {
    let folder = tempfile::tempdir().unwrap();
    let db = furnished(folder.path()).await;
    fill(&db, ENTRIES).await;
    let copy = folder.path().join("copy.db");
    db.copy_to(&copy).await.unwrap();
    db.close().await;

    let mut connection = bare_connection(&copy).await;
    run(&mut connection, "pragma ignore_check_constraints = on").await;
    let triggers: Vec<String> =
        sqlx::query_scalar("select name from sqlite_schema where type = 'trigger'")
            .fetch_all(&mut connection)
            .await
            .unwrap();
    for trigger in triggers {
        run(&mut connection, &format!("drop trigger {trigger}")).await;
    }
    assert_eq!(check(&mut connection).await.faults, Vec::<String>::new());
    (connection, folder)
}

async fn run(db: &mut SqliteConnection, sql: &str) -> u64 {
    try_run(db, sql)
        .await
        .unwrap_or_else(|error| panic!("{sql}: {error}"))
}

async fn try_run(db: &mut SqliteConnection, sql: &str) -> sqlx::Result<u64> {
    let done = sqlx::raw_sql(sqlx::AssertSqlSafe(sql)).execute(db).await?;
    Ok(done.rows_affected())
}

async fn check(db: &mut SqliteConnection) -> Findings {
    ledger::verify(db).await.expect("verify answers")
}

/// What `verify` says after some statements, which are then taken back.
async fn after(db: &mut SqliteConnection, sql: &str) -> Findings {
    let mut tx = db.begin().await.unwrap();
    assert!(run(&mut tx, sql).await > 0, "nothing was changed by {sql}");
    let findings = check(&mut tx).await;
    tx.rollback().await.unwrap();
    findings
}

#[track_caller]
fn assert_named(findings: &Findings, name: &str, sql: &str) {
    assert!(
        findings.faults.iter().any(|fault| fault.contains(name)),
        "“{name}” is not named after {sql}: {:?}",
        findings.faults
    );
}

/// Every column of every table of the book, and every way in which its value can be a little different.
#[tokio::test]
async fn every_changed_value_is_found_and_named() {
    let (mut db, _folder) = opened_by_a_stranger().await;
    let mut found = BTreeMap::<&str, u32>::new();
    for (table, key) in [
        ("entry", "seq"),
        ("move", "entry_seq"),
        ("place_move", "entry_seq"),
        ("count_mark", "entry_seq"),
        ("entry_note", "entry_seq"),
        ("balance", ""),
    ] {
        let columns: Vec<(String, String)> =
            sqlx::query_as("select name, type from pragma_table_info($1)")
                .bind(table)
                .fetch_all(&mut db)
                .await
                .unwrap();
        assert!(!columns.is_empty());
        for (column, kind) in columns {
            let before = found.values().sum::<u32>();
            for change in changes(&column, &kind) {
                for nth in [0, 5, 11] {
                    let name = tamper(&mut db, table, key, &column, &change, nth).await;
                    if name {
                        *found.entry(table).or_default() += 1;
                    }
                }
            }
            let done = found.values().sum::<u32>() - before;
            assert!(done > 0, "nothing could be changed in {table}.{column}");
        }
    }
    println!("{found:?}");
    let all: u32 = found.values().sum();
    assert!(all > 300, "only {all} changes were tried: {found:?}");
}

/// Expressions for a value that differs a little from the one in `column`.
fn changes(column: &str, kind: &str) -> Vec<String> {
    let mut all = match kind {
        "INTEGER" => (0..62)
            .step_by(3)
            .map(|bit| {
                let bit = 1i64 << bit;
                format!("({column} | {bit}) - ({column} & {bit})")
            })
            .chain([format!("-{column}"), format!("{column} + 1"), "0".into()])
            .collect(),
        // A flipped bit in a byte at the beginning, in the middle and at the end.
        "BLOB" => [1, 8, 16, 32]
            .into_iter()
            .map(|at| {
                format!(
                    "case when length({column}) >= {at} then unhex(
                        substr(hex({column}), 1, {at} * 2 - 1)
                        || case substr(hex({column}), {at} * 2, 1) when '0' then '1' else '0' end
                        || substr(hex({column}), {at} * 2 + 1)
                    ) else {column} end"
                )
            })
            .chain([format!("substr({column}, 2)"), "x''".into()])
            .collect(),
        "TEXT" => vec![
            format!("char(unicode({column}) + 1) || substr({column}, 2)"),
            format!("{column} || ' '"),
            "''".into(),
            "'good'".into(),
            "'broken'".into(),
            "'kit'".into(),
        ],
        other => panic!("a column of type {other}"),
    };
    all.push("null".into());
    all.push("1".into());
    all.push("randomblob(16)".into());
    all
}

/// Whether a sentence is about this entry, and not only about one whose number begins like it.
fn names(fault: &str, seq: i64) -> bool {
    let name = format!("entry {seq}");
    fault
        .match_indices(&name)
        .any(|(at, _)| !fault[at + name.len()..].starts_with(|next: char| next.is_ascii_digit()))
}

/// Changes one value. Answers whether the tables let it happen; then `verify` must have named the entry,
/// or the balance.
async fn tamper(
    db: &mut SqliteConnection,
    table: &str,
    key: &str,
    column: &str,
    change: &str,
    nth: u32,
) -> bool {
    // `is not` leaves out changes that change nothing. The row is pinned by its own key.
    let pick = match table {
        "balance" => format!(
            "(place_id, part_id, kit_id, state) =
                (select place_id, part_id, kit_id, state from balance limit 1 offset {nth})"
        ),
        "entry" => format!("seq = (select seq from entry order by seq limit 1 offset {nth})"),
        "entry_note" => {
            format!("entry_seq = (select entry_seq from entry_note limit 1 offset {nth})")
        }
        _ => format!(
            "(entry_seq, line) = (select entry_seq, line from {table} limit 1 offset {nth})"
        ),
    };
    let mut tx = db.begin().await.unwrap();
    let owner: Option<i64> = if key.is_empty() {
        None
    } else {
        let sql = format!("select {key} from {table} where {pick}");
        sqlx::query_scalar(sqlx::AssertSqlSafe(sql))
            .fetch_one(&mut *tx)
            .await
            .unwrap()
    };
    let sql = format!(
        "update {table} set {column} = {change} where {pick} and {column} is not ({change})"
    );
    // Types, keys and `not null` hold even for a stranger.
    let changed = try_run(&mut tx, &sql).await.unwrap_or(0) == 1;
    if changed {
        let findings = check(&mut tx).await;
        match owner {
            // A note that went to another entry is missing from none: it may have been erased.
            Some(_) if (table, column) == ("entry_note", key) => {
                assert_named(&findings, "entry ", &sql)
            }
            Some(seq) => assert!(
                findings.faults.iter().any(|fault| names(fault, seq)),
                "entry {seq} is not named after {sql}: {:?}",
                findings.faults
            ),
            None => assert_named(&findings, "balance", &sql),
        }
    }
    tx.rollback().await.unwrap();
    changed
}

#[tokio::test]
async fn a_changed_entry_is_named_and_the_later_ones_are_not() {
    let (mut db, _folder) = opened_by_a_stranger().await;
    let findings = after(
        &mut db,
        "update entry set done_at = done_at + 1 where seq = 9",
    )
    .await;
    assert_eq!(
        findings.faults,
        ["entry 9 was changed after it was recorded"]
    );
}

#[tokio::test]
async fn rows_that_were_swapped_are_named() {
    let (mut db, _folder) = opened_by_a_stranger().await;
    let swap = "
        update entry set seq = -1 where seq = 5;
        update entry set seq = 5 where seq = 6;
        update entry set seq = 6 where seq = -1;
        update move set entry_seq = 1000 where entry_seq = 5;
        update move set entry_seq = 5 where entry_seq = 6;
        update move set entry_seq = 6 where entry_seq = 1000;";
    let findings = after(&mut db, swap).await;
    assert_named(&findings, "entry 5 was changed", swap);
    assert_named(&findings, "entry 6 was changed", swap);

    let swap = "
        update move set line = 100 where entry_seq = 7 and line = 1;
        update move set line = 1 where entry_seq = 7 and line = 2;
        update move set line = 2 where entry_seq = 7 and line = 100;";
    assert_named(&after(&mut db, swap).await, "entry 7 was changed", swap);
}

#[tokio::test]
async fn rows_that_are_gone_or_new_are_named() {
    let (mut db, _folder) = opened_by_a_stranger().await;
    let cases = [
        ("delete from entry where seq = 8", "entry 8 is missing"),
        ("delete from entry where seq = 8", "of entry 8, which does not exist"),
        ("delete from entry where seq between 8 and 10", "entries 8 to 10 are missing"),
        ("delete from entry where seq = 1", "entry 1 is missing"),
        ("delete from entry where seq = 24", "of entry 24, which does not exist"),
        ("delete from move where entry_seq = 3 and line = 4", "entry 3 does not have as many lines"),
        ("delete from place_move where entry_seq = 3", "entry 3 does not have as many lines"),
        ("delete from count_mark where entry_seq = 3 and line = 1", "entry 3 was changed"),
        ("delete from balance where qty > 0", "not kept"),
        (
            "insert into entry select 0, randomblob(16), kind, actor_id, recorded_at, done_at,
                document_kind, document_id, corrects_seq, moves, place_moves, count_marks, note_hash, hash
             from entry where seq = 1",
            "entry 0 stands before the first",
        ),
        (
            "insert into entry select 25, randomblob(16), kind, actor_id, recorded_at, done_at,
                document_kind, document_id, corrects_seq, moves, place_moves, count_marks, note_hash, hash
             from entry where seq = 24",
            "entry 25 was changed",
        ),
        (
            "insert into move select entry_seq, 5, part_id, qty, from_kit_id, from_place_id,
                from_state, to_kit_id, to_place_id, to_state from move where entry_seq = 4 and line = 1",
            "entry 4 does not have as many lines",
        ),
        (
            "insert into move select 500, line, part_id, qty, from_kit_id, from_place_id,
                from_state, to_kit_id, to_place_id, to_state from move where entry_seq = 4",
            "of entry 500, which does not exist",
        ),
        ("update move set line = line + 1 where entry_seq = 4 and line = 4", "the lines of entry 4"),
        (
            "insert into balance select place_id, part_id, kit_id, 'broken', 0, 3, null
             from balance where state = 'doubtful' limit 1",
            "has no moves",
        ),
        ("update balance set outside = 1 where outside = 0", "marked as outside"),
        ("update balance set counted_seq = null", "never counted"),
        (
            "update place set parent_id = x'00000000000070008000000000000001' where name = 'Crate 2'",
            "is not where it was last carried",
        ),
        // A note may be erased, but neither changed, nor exchanged, nor added.
        ("update entry_note set text = 'all was there' where entry_seq = 5", "the note of entry 5"),
        (
            "update entry_note set salt = (select salt from entry_note where entry_seq = 7),
                text = (select text from entry_note where entry_seq = 7) where entry_seq = 5",
            "the note of entry 5",
        ),
        (
            "insert into entry_note select 6, salt, text from entry_note where entry_seq = 5",
            "entry 6 was given a note afterwards",
        ),
    ];
    for (sql, name) in cases {
        let findings = after(&mut db, sql).await;
        assert_named(&findings, name, sql);
    }
}

#[tokio::test]
async fn a_note_may_be_erased() {
    let (mut db, _folder) = opened_by_a_stranger().await;
    let findings = after(&mut db, "delete from entry_note").await;
    assert_eq!(findings.faults, Vec::<String>::new());
}

/// Place, part, kit, state, outside, quantity, counted by.
type BalanceRow = (Vec<u8>, Vec<u8>, Vec<u8>, String, i64, i64, Option<i64>);

/// A chain without a copy of its head outside the machine proves nothing against the machine's owner.
#[tokio::test]
async fn a_tail_cut_off_with_care_shows_only_against_a_head_kept_elsewhere() {
    let (mut db, _folder) = opened_by_a_stranger().await;
    let kept_elsewhere = check(&mut db).await;

    // The last entry goes, and the balances and places are made what they were before it.
    let shorter = tempfile::tempdir().unwrap();
    let other = furnished(shorter.path()).await;
    fill(&other, ENTRIES - 1).await;
    let as_before: Vec<BalanceRow> = sqlx::query_as(
        "select place_id, part_id, kit_id, state, outside, qty, counted_seq from balance",
    )
    .fetch_all(&mut *other.read().await.unwrap())
    .await
    .unwrap();
    run(
        &mut db,
        "delete from move where entry_seq = 24;
         delete from place_move where entry_seq = 24;
         delete from count_mark where entry_seq = 24;
         delete from entry_note where entry_seq = 24;
         delete from entry where seq = 24;
         delete from balance;
         update place set parent_id = (select to_parent_id from place_move where entry_seq = 23)
            where name = 'Crate 0';",
    )
    .await;
    for (place, part, kit, state, outside, qty, counted) in as_before {
        sqlx::query(
            "insert into balance (place_id, part_id, kit_id, state, outside, qty, counted_seq)
             values ($1, $2, $3, $4, $5, $6, $7)",
        )
        .bind(place)
        .bind(part)
        .bind(kit)
        .bind(state)
        .bind(outside)
        .bind(qty)
        .bind(counted)
        .execute(&mut db)
        .await
        .unwrap();
    }

    let findings = check(&mut db).await;
    assert_eq!(findings.faults, Vec::<String>::new(), "the book alone fits");
    assert_eq!(findings.entries, kept_elsewhere.entries - 1);
    assert_ne!(findings.head, kept_elsewhere.head, "the head does not");
}
