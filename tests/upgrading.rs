//! From every earlier state of the tables to the newest, with a whole league in them.
//!
//! The rows are those of the demo, as far as the earlier tables had room for them: each table gets all rows of
//! the table of its name, in the columns that both have. A migration that is added later is tested by itself;
//! a table that the demo leaves empty must be seeded here.

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;
use std::sync::{Arc, OnceLock};

use axum::body::Body;
use axum::http::{Request, StatusCode, header};
use fieldstow::app::{self, App, Settings};
use fieldstow::clock::{FixedClock, Instant};
use fieldstow::db::{self, Db, FILE_NAME};
use fieldstow::demo::{self, Filled};
use fieldstow::ids::{FormId, KitId, PartId, PersonId, PlaceId};
use fieldstow::ledger::{self, Entry, Move, Outside, Stand};
use rusqlite::Connection;
use tempfile::TempDir;
use tower::ServiceExt;

/// 4 March 2027, 18:00 UTC.
const NOW: Instant = Instant(1_804_183_200_000);

/// Rows for the tables that the demo leaves empty.
const MORE: &str = "
insert into token (token_hash, id, purpose, made_at, ends_at)
    values (zeroblob(32), zeroblob(16), 'start', 1, 2);
insert into sign_in_failure (account_hash, consecutive, window_began_at, in_window, blocked_until)
    values (zeroblob(32), 3, 1, 3, 2);
insert into part_name (revision_id, part_id, name)
    select need.revision_id, need.part_id, 'Peg, as it was called before' from need limit 1;
insert into settlement (count_id, place_id, part_id, stint_id, settled_by, settled_at)
    select stint.count_id, stint.place_id, stint_total.part_id, stint.id, stint.person_id, 1
    from stint join stint_total on stint_total.stint_id = stint.id limit 1;
insert into loan_difference (loan_id, line, kind, place_id, qty, words)
    select loan_place.loan_id, 1, 'not ours', loan_place.place_id, 1, 'a grey mitten' from loan_place limit 1;
insert into damage_picture (picture_id, report_id, form_id)
    select picture.id, damage_report.id, zeroblob(16) from picture, damage_report limit 1;
insert into helper (id, pass_id, first_name, token_hash, began_at)
    select zeroblob(16), id, 'Sam', zeroblob(32), 1 from pass limit 1;
insert into supplier_report (id, kit_id, number, sent_on, heading, state, sent_seq)
    select zeroblob(16), id, 99, '2027-03-01', '[]', 'open', 1 from kit limit 1;
insert into supplier_report_line
    (report_id, line, part_id, number, name, colour, need, received, not_good, short, over)
    select zeroblob(16), 1, id, number, name, colour, 4, 3, 0, 1, 0 from part limit 1;
insert into supplier_report_step (report_id, line, kind, day, person_id, done_at)
    select zeroblob(16), 1, 'answered', '2027-03-02', id, 1 from person limit 1;
insert into supplier_promise (report_id, line, step, qty) values (zeroblob(16), 1, 1, 1);
insert into supplier_report_picture (report_id, position, picture_id)
    select zeroblob(16), 1, id from picture limit 1;
insert into seal_step (place_id, line, kind, number, seq, person_id, done_at)
    select place.id, 99, 'sealed', '0451', 1, person.id, 1 from place, person where place.kind = 'crate' limit 1;
insert into stand_in (part_id, for_part_id, allowed, said_by, said_at)
    select (select id from part limit 1), (select id from part limit 1 offset 1), 'practice', id, 1
    from person limit 1;
insert into weighing (tally_id, gross_g, tare_g, step_g, sample, sample_step_g, pieces, within)
    select id, 224.0, 80.0, 1.0, '12 12.1', 0.1, 12, 0.4 from tally limit 1;
insert into team_money (team_id, currency, above_minor, set_by, set_at)
    select team_id, 'EUR', 5000, person_id, 1 from membership limit 1;
insert into part_price (team_id, part_id, minor, currency, for_pieces, set_by, set_at)
    select membership.team_id, part.id, 450, 'EUR', 1, membership.person_id, 1 from membership, part limit 1;
insert into damage_worth (report_id, line, minor, currency, above_minor, second)
    select report_id, line, 900, 'EUR', 500, 'Fenna' from damage_step limit 1;
insert into public_page (team_id, shows, set_by, set_at)
    select team_id, 'names', person_id, 1 from membership limit 1;
insert into order_step (order_id, line, kind, day, words, by_day, person_id, done_at)
    select order_line.id, 99, 'ordered', '2027-03-02', 'Kolm Works', '2027-03-20', person.id, 1
    from order_line, person limit 1;
insert into calendar_link (id, token_hash, team_id, person_id, name, made_at)
    select zeroblob(16), zeroblob(32), team_id, person_id, 'My phone', 1 from membership limit 1;
insert into loan_link (id, loan_id, code_hash, made_by, made_at, ended_by, ended_at)
    select zeroblob(16), loan.id, zeroblob(32), person.id, 1, person.id, 2 from loan, person limit 1;
insert into loan_phone (id, link_id, name, token_hash, began_at)
    select zeroblob(16), id, 'Ivo', zeroblob(32), 1 from loan_link where id = zeroblob(16);
insert into loan_note (loan_id, line, kind, words, of_borrower, person_id, done_at)
    select loan.id, 99, 'given back', 'to the porter', 1, person.id, 1 from loan, person limit 1;
insert into loan_say (loan_id, line, nth, kind, words, name, said_at)
    select loan_id, line, 1, 'said otherwise', 'it lacked before', 'Ivo', 1 from loan_difference limit 1;
insert into loan_onward (loan_id, n, outsider, contact, state, asked_at)
    select loan_id, 99, 'Tin Mill', 'at the mill', 'asked', 1 from loan_place limit 1;
insert into loan_onward_place (loan_id, n, place_id)
    select loan_onward.loan_id, 99, place.id from loan_onward, place where loan_onward.n = 99 limit 1;
insert into loan_onward_line (loan_id, n, place_id, part_id, kit_id, qty)
    select loan_onward.loan_id, 99, place.id, part.id, kit.id, 3 from loan_onward, place, part, kit
    where loan_onward.n = 99 limit 1;
insert into count_left_out (count_id, place_id, why)
    select count_sheet.id, place.id, 'lent' from count_sheet, place where place.kind = 'crate' limit 1;
insert into lending_draft (id, kit_id, person_id, count_id, fields, made_at)
    select zeroblob(16), kit.id, person.id, count_sheet.id, '{}', 1 from kit, person, count_sheet limit 1;
insert into borrowed (id, number, team_id, lender, crates, out_on, due_on, made_by, made_at)
    select zeroblob(16), 99, team.id, 'Tin Mill', 'a green crate', '2027-03-01', '2027-03-09', person.id, 1
    from team, person limit 1;
insert into borrowed_line (borrowed_id, line, qty, words) select zeroblob(16), 1, 4, 'poles';
insert into not_ours (id, stint_id, qty, words, person_id, done_at)
    select zeroblob(16), id, 1, 'a pole', person_id, 1 from stint limit 1;
";

fn block_on<T>(work: impl Future<Output = T>) -> T {
    tokio::runtime::Builder::new_multi_thread()
        .worker_threads(2)
        .enable_all()
        .build()
        .unwrap()
        .block_on(work)
}

fn application(db: Db) -> App {
    let settings = Settings {
        public_url: "http://localhost:8765".into(),
    };
    App::new(db, Arc::new(FixedClock::at(NOW)), settings)
}

/// The demo in a folder.
fn told() -> &'static (TempDir, Filled) {
    static TOLD: OnceLock<(TempDir, Filled)> = OnceLock::new();
    TOLD.get_or_init(|| {
        let folder = tempfile::tempdir().unwrap();
        let filled = block_on(async {
            let db = Db::open(folder.path()).await.unwrap();
            let filled = demo::fill(&application(db.clone())).await.unwrap();
            note(&db).await;
            db.close().await;
            filled
        });
        let db = Connection::open(folder.path().join(FILE_NAME)).unwrap();
        db.execute_batch(MORE).unwrap();
        (folder, filled)
    })
}

/// One act with a note, as the ledger records it.
async fn note(db: &Db) {
    let mut tx = db.begin_write().await.unwrap();
    let (part, kit, place, by): (PartId, KitId, PlaceId, PersonId) = sqlx::query_as(
        "select part_id, kit_id, place_id, (select id from person limit 1) from balance
         where outside = 0 and state = 'good' and qty > 1 limit 1",
    )
    .fetch_one(&mut *tx)
    .await
    .unwrap();
    let mut entry = Entry::new(FormId::new(), "corrected", by, NOW);
    entry.note = Some("One was counted twice.".into());
    entry.moves = vec![Move {
        part,
        qty: 1,
        from: Stand::good(kit, place),
        to: Stand::good(kit, Outside::Correction.place()),
    }];
    ledger::append(&mut tx, &entry).await.unwrap();
    tx.commit().await.unwrap();
}

fn all(db: &Connection, query: &str) -> Vec<String> {
    let mut rows = db.prepare(query).unwrap();
    let rows = rows.query_map([], |row| row.get(0)).unwrap();
    rows.map(Result::unwrap).collect()
}

fn tables(db: &Connection) -> Vec<String> {
    all(
        db,
        "select name from pragma_table_list where schema = 'main' and type = 'table' \
         and name not like 'sqlite\\_%' escape '\\' and name <> '_sqlx_migrations' order by name",
    )
}

/// The columns that a table has in both databases.
fn shared(db: &Connection, table: &str) -> String {
    let columns = all(
        db,
        &format!(
            "select name from pragma_table_info('{table}', 'main') \
             intersect select name from pragma_table_info('{table}', 'told')"
        ),
    );
    assert!(!columns.is_empty(), "{table}");
    columns.join(", ")
}

/// Fills the database of an earlier state with the demo's rows. Answers its tables with their columns.
/// Tables, each with the columns that both databases have, and which of the rows.
type Tables = BTreeMap<String, (String, &'static str)>;

fn fill(file: &Path, told: &Path) -> Tables {
    let db = Connection::open(file).unwrap();
    db.execute("attach $1 as told", [told.to_str().unwrap()])
        .unwrap();
    db.execute_batch("pragma foreign_keys = off").unwrap();
    // The guards know only the order in which people work.
    let triggers: Vec<(String, String)> = db
        .prepare("select name, sql from main.sqlite_schema where type = 'trigger'")
        .unwrap()
        .query_map([], |row| Ok((row.get(0)?, row.get(1)?)))
        .unwrap()
        .map(Result::unwrap)
        .collect();
    for (name, _) in &triggers {
        db.execute_batch(&format!("drop trigger main.{name}"))
            .unwrap();
    }
    let mut filled = BTreeMap::new();
    for table in tables(&db) {
        let columns = shared(&db, &table);
        let preset = format!("delete from main.{table}");
        db.execute_batch(&preset).unwrap();
        // Before there were numbered pieces no code was on one.
        let knows_pieces = tables(&db).contains(&"numbered_piece".to_owned());
        let only = match table.as_str() {
            "code" if !knows_pieces => "where kind <> 'piece'",
            _ => "",
        };
        db.execute_batch(&format!(
            "insert into main.{table} ({columns}) select {columns} from told.{table} {only}"
        ))
        .unwrap_or_else(|error| panic!("{table}: {error}"));
        filled.insert(table, (columns, only));
    }
    if filled.contains_key("finding") {
        db.execute_batch("insert into main.finding_words (finding_words) values ('rebuild')")
            .unwrap();
    }
    for (_, sql) in &triggers {
        db.execute_batch(sql).unwrap();
    }
    let dangling = all(&db, "select \"table\" from pragma_foreign_key_check");
    assert_eq!(
        dangling,
        Vec::<String>::new(),
        "the test itself seeds badly"
    );
    filled
}

/// Every row of the earlier tables is still there as it was.
fn is_still_there(file: &Path, told: &Path, tables: &Tables, schema: i64) -> i64 {
    let db = Connection::open(file).unwrap();
    db.execute("attach $1 as told", [told.to_str().unwrap()])
        .unwrap();
    let mut rows = 0;
    for (table, (columns, only)) in tables {
        let counted =
            |query: String| -> i64 { db.query_row(&query, [], |row| row.get(0)).unwrap() };
        for (left, right) in [("main", "told"), ("told", "main")] {
            let lost = counted(format!(
                "select count(*) from (select {columns} from {left}.{table} {only} \
                 except select {columns} from {right}.{table} {only})"
            ));
            assert_eq!(
                lost, 0,
                "{table} from schema {schema}: {left} has rows that {right} lacks"
            );
        }
        let found = counted(format!("select count(*) from main.{table}"));
        assert!(
            found > 0,
            "nothing is in {table}: seed it in the demo or in `MORE`"
        );
        rows += found;
    }
    rows
}

async fn answers(app: &App, session: &str, path: &str) -> (StatusCode, String) {
    let request = Request::get(path)
        .header(header::HOST, "localhost:8765")
        .header(header::COOKIE, format!("sid={session}"))
        .body(Body::empty())
        .unwrap();
    let answer = app::router(app.clone()).oneshot(request).await.unwrap();
    let status = answer.status();
    let body = axum::body::to_bytes(answer.into_body(), 4 << 20)
        .await
        .unwrap();
    (status, String::from_utf8_lossy(&body).into_owned())
}

#[test]
fn a_league_in_the_tables_of_every_earlier_version_comes_through_whole() {
    let (told_in, filled) = told();
    let told_file = told_in.path().join(FILE_NAME);
    let mut before = BTreeSet::new();
    for schema in 1..=Db::newest_schema() {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join(FILE_NAME);
        block_on(async {
            use sqlx::Connection;
            Db::new_at(&file, schema)
                .await
                .unwrap()
                .close()
                .await
                .unwrap();
        });
        let tables = fill(&file, &told_file);
        assert!(
            before.iter().all(|table| tables.contains_key(table)),
            "a table went away"
        );
        before = tables.keys().cloned().collect();

        block_on(async {
            let db = Db::open(folder.path())
                .await
                .unwrap_or_else(|error| panic!("from schema {schema}: {error}"));
            let mut reader = db.read().await.unwrap();
            db::check_foreign_keys(&mut reader).await.unwrap();
            let newest: i64 = sqlx::query_scalar("select max(version) from _sqlx_migrations")
                .fetch_one(&mut *reader)
                .await
                .unwrap();
            assert_eq!(newest, Db::newest_schema());
            // Before there was a ledger, places stood where they stood without an entry that says so.
            if before.contains("entry") {
                let findings = ledger::verify(&mut reader).await.unwrap();
                assert_eq!(
                    findings.faults,
                    Vec::<String>::new(),
                    "from schema {schema}"
                );
                assert!(findings.entries > 20);
            }
            drop(reader);

            let app = application(db.clone());
            for path in [
                "/",
                "/kits",
                "/places",
                "/counts",
                "/lend",
                "/damage",
                "/where?q=peg",
            ] {
                let (status, body) = answers(&app, &filled.crates_session, path).await;
                assert_eq!(
                    status,
                    StatusCode::OK,
                    "{path} from schema {schema}: {body}"
                );
            }
            if before.contains("kit") {
                let path = format!("/kits/{}", filled.counted_kit);
                let (status, body) = answers(&app, &filled.crates_session, &path).await;
                assert_eq!(status, StatusCode::OK, "{path} from schema {schema}");
                assert!(body.contains("Long Gable"), "{path} from schema {schema}");
            }
            db.close().await;
        });
        let rows = is_still_there(&file, &told_file, &tables, schema);
        println!("from schema {schema}: {} tables, {rows} rows", tables.len());
    }
}

/// A database that a newer program wrote is refused in words and stays as it is.
#[test]
fn tables_of_a_newer_version_are_refused_and_untouched() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join(FILE_NAME);
    block_on(async {
        Db::open(folder.path()).await.unwrap().close().await;
    });
    let db = Connection::open(&file).unwrap();
    db.execute_batch(
        "insert into _sqlx_migrations (version, description, success, checksum, execution_time)
         values (9999, 'to come', 1, x'00', 0);
         create table to_come (id integer primary key);",
    )
    .unwrap();
    drop(db);
    let before = std::fs::read(&file).unwrap();
    block_on(async {
        let refused = Db::open(folder.path()).await.err().expect("it is refused");
        assert!(refused.to_string().contains("newer Fieldstow"), "{refused}");
    });
    assert_eq!(before, std::fs::read(&file).unwrap());
}
