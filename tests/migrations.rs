//! The tables: made alike by the files and by the program, strict, and with the same words as the code.

use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};

use fieldstow::codes::CodeKind;
use fieldstow::damage::shown::Shows;
use fieldstow::db::{Db, MIGRATOR};
use fieldstow::ids::{CountId, KitId, PlaceId};
use fieldstow::kits::rules::looks::Said as Look;
use fieldstow::ledger::{Document, State};
use fieldstow::loans::rules::back::Kind as Difference;
use fieldstow::loans::rules::words::{OnwardState, State as LoanState};
use fieldstow::numbered::rules::Said as Sighting;
use fieldstow::orders::rules::standing::{Kind as OrderStep, State as OrderState};
use fieldstow::people::Role;
use fieldstow::places::Kind;
use fieldstow::places::rules::seals::Kind as SealStep;
use fieldstow::reports::rules::standing::Kind as ReportStep;
use sqlx::sqlite::SqliteConnectOptions;
use sqlx::{ConnectOptions, Sqlite, SqliteConnection};
use tempfile::TempDir;

fn migration_files() -> Vec<PathBuf> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("migrations");
    let mut files: Vec<PathBuf> = fs::read_dir(folder)
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .filter(|path| path.extension().is_some_and(|extension| extension == "sql"))
        .collect();
    files.sort();
    assert!(files.len() >= 6);
    files
}

async fn fresh() -> (Db, TempDir) {
    let folder = tempfile::tempdir().unwrap();
    let db = Db::open(folder.path()).await.unwrap();
    (db, folder)
}

async fn schema(db: &mut SqliteConnection) -> Vec<(String, String, Option<String>)> {
    sqlx::query_as(
        "select type, name, sql from sqlite_schema
         where tbl_name <> '_sqlx_migrations' order by type, name",
    )
    .fetch_all(db)
    .await
    .unwrap()
}

#[tokio::test]
async fn the_files_and_the_program_make_the_same_tables() {
    let folder = tempfile::tempdir().unwrap();
    let mut by_hand = SqliteConnectOptions::new()
        .filename(folder.path().join("by-hand.db"))
        .create_if_missing(true)
        .connect()
        .await
        .unwrap();
    for file in migration_files() {
        let sql = fs::read_to_string(&file).unwrap();
        sqlx::raw_sql(sqlx::AssertSqlSafe(sql))
            .execute(&mut by_hand)
            .await
            .unwrap_or_else(|error| panic!("{}: {error}", file.display()));
    }
    let (db, _folder) = fresh().await;
    let made = schema(&mut db.read().await.unwrap()).await;
    assert_eq!(schema(&mut by_hand).await, made);
    assert!(made.len() > 40);
}

/// Files are compared byte for byte once they were applied, so their line ends matter too.
#[test]
fn every_file_is_in_the_program_as_it_is() {
    let files = migration_files();
    assert_eq!(MIGRATOR.iter().count(), files.len());
    for (file, built_in) in files.iter().zip(MIGRATOR.iter()) {
        let text = fs::read_to_string(file).unwrap();
        assert_eq!(text, built_in.sql.as_str(), "{}", file.display());
        assert!(!text.contains('\r'), "{}", file.display());
        let name = file.file_name().unwrap().to_string_lossy().into_owned();
        assert!(
            name.starts_with(&format!("{:04}_", built_in.version)),
            "{name}"
        );
    }
}

#[tokio::test]
async fn every_table_is_strict() {
    let (db, _folder) = fresh().await;
    let tables: Vec<(String, String, bool)> = sqlx::query_as(
        "select name, type, strict from pragma_table_list
         where schema = 'main' and name not in ('sqlite_schema', 'sqlite_stat1', '_sqlx_migrations')",
    )
    .fetch_all(&mut *db.read().await.unwrap())
    .await
    .unwrap();
    let tables: Vec<_> = tables
        .into_iter()
        // Tables of the full-text search are made by SQLite.
        .filter(|(_, kind, _)| kind == "table")
        .collect();
    assert!(tables.len() > 25);
    for (name, _, strict) in tables {
        assert!(strict, "{name} is not strict");
    }
}

/// The words that a column's check allows.
async fn words(db: &mut SqliteConnection, table: &str, column: &str) -> BTreeSet<String> {
    let sql: String = sqlx::query_scalar("select sql from sqlite_schema where name = $1")
        .bind(table)
        .fetch_one(db)
        .await
        .unwrap();
    let start = sql
        .find(&format!("({column} in ("))
        .unwrap_or_else(|| panic!("{table}.{column} has no check"));
    let list = &sql[start + column.len() + 6..];
    let list = &list[..list.find(')').unwrap()];
    list.split(',')
        .map(|word| word.trim().trim_matches('\'').to_owned())
        .collect()
}

/// What a value is stored as.
async fn stored<'q, T>(db: &mut SqliteConnection, value: T) -> String
where
    T: sqlx::Encode<'q, Sqlite> + sqlx::Type<Sqlite> + 'q,
{
    use sqlx::Row;
    let row = sqlx::query("select $1")
        .bind(value)
        .fetch_one(db)
        .await
        .unwrap();
    row.get(0)
}

#[tokio::test]
async fn enums_and_checks_have_the_same_words() {
    let (db, _folder) = fresh().await;
    let mut db = db.read().await.unwrap();

    let mut states = BTreeSet::new();
    for state in State::ALL {
        let word = stored(&mut db, state).await;
        assert_eq!(word, state.word());
        states.insert(word);
    }
    for (table, column) in [
        ("move", "from_state"),
        ("move", "to_state"),
        ("balance", "state"),
    ] {
        assert_eq!(
            words(&mut db, table, column).await,
            states,
            "{table}.{column}"
        );
    }

    let mut roles = BTreeSet::new();
    for role in Role::ALL {
        let word = stored(&mut db, role).await;
        assert_eq!(word, role.word());
        roles.insert(word);
    }
    assert_eq!(words(&mut db, "membership", "role").await, roles);
    assert_eq!(words(&mut db, "token", "role").await, roles);

    // Outside places are made by the migration alone; no slice can make or name one.
    let mut kinds = BTreeSet::from(["outside".to_owned()]);
    for kind in Kind::ALL {
        let word = stored(&mut db, kind).await;
        assert_eq!(word, kind.word());
        assert_eq!(Kind::from_word(&word), Some(kind));
        kinds.insert(word);
    }
    assert_eq!(words(&mut db, "place", "kind").await, kinds);

    let mut stands = BTreeSet::new();
    for state in LoanState::ALL {
        let word = stored(&mut db, state).await;
        assert_eq!(word, state.word());
        stands.insert(word);
    }
    assert_eq!(words(&mut db, "loan", "state").await, stands);

    let mut onward = BTreeSet::new();
    for state in OnwardState::ALL {
        let word = stored(&mut db, state).await;
        assert_eq!(word, state.word());
        onward.insert(word);
    }
    assert_eq!(words(&mut db, "loan_onward", "state").await, onward);

    let mut differs = BTreeSet::new();
    for kind in Difference::ALL {
        let word = stored(&mut db, kind).await;
        assert_eq!(word, kind.word());
        differs.insert(word);
    }
    assert_eq!(words(&mut db, "loan_difference", "kind").await, differs);

    let mut reported = BTreeSet::new();
    for kind in ReportStep::ALL {
        reported.insert(stored(&mut db, kind).await);
    }
    assert_eq!(
        words(&mut db, "supplier_report_step", "kind").await,
        reported
    );

    let mut happened = BTreeSet::new();
    for kind in OrderStep::ALL {
        happened.insert(stored(&mut db, kind).await);
    }
    assert_eq!(words(&mut db, "order_step", "kind").await, happened);

    let mut ordered = BTreeSet::new();
    for state in OrderState::ALL {
        ordered.insert(stored(&mut db, state).await);
    }
    assert_eq!(words(&mut db, "order_line", "state").await, ordered);

    let mut shown = BTreeSet::new();
    for shows in Shows::ALL {
        let word = stored(&mut db, shows).await;
        assert_eq!(word, shows.word());
        shown.insert(word);
    }
    assert_eq!(words(&mut db, "public_page", "shows").await, shown);

    let mut sealed = BTreeSet::new();
    for kind in SealStep::ALL {
        sealed.insert(stored(&mut db, kind).await);
    }
    assert_eq!(words(&mut db, "seal_step", "kind").await, sealed);

    let mut looked = BTreeSet::new();
    for said in Look::ALL {
        looked.insert(stored(&mut db, said).await);
    }
    assert_eq!(words(&mut db, "look", "said").await, looked);

    let mut sighted = BTreeSet::new();
    for said in Sighting::ALL {
        sighted.insert(stored(&mut db, said).await);
    }
    assert_eq!(words(&mut db, "sighting", "said").await, sighted);

    let mut coded = BTreeSet::new();
    for kind in [
        CodeKind::Kit,
        CodeKind::Place,
        CodeKind::Count,
        CodeKind::Piece,
    ] {
        // A further kind does not compile here before it is listed above.
        match kind {
            CodeKind::Kit | CodeKind::Place | CodeKind::Count | CodeKind::Piece => {}
        }
        coded.insert(stored(&mut db, kind).await);
    }
    assert_eq!(words(&mut db, "code", "kind").await, coded);

    let mut documents = BTreeSet::from([String::new()]);
    for document in [
        Document::Kit(KitId::new()),
        Document::Place(PlaceId::new()),
        Document::Count(CountId::new()),
    ] {
        match document {
            Document::Kit(_) | Document::Place(_) | Document::Count(_) => {}
        }
        documents.insert(document.kind().to_owned());
    }
    assert_eq!(words(&mut db, "entry", "document_kind").await, documents);
}

/// The outside places have the ids that the code names.
#[tokio::test]
async fn the_outside_places_are_the_ones_the_code_names() {
    let (db, _folder) = fresh().await;
    let mut found: Vec<PlaceId> = sqlx::query_scalar("select id from place where kind = 'outside'")
        .fetch_all(&mut *db.read().await.unwrap())
        .await
        .unwrap();
    found.sort();
    let mut named = fieldstow::ledger::Outside::ALL.map(|outside| outside.place());
    named.sort();
    assert_eq!(found, named);
}

#[test]
fn nothing_deletes_or_replaces_or_asks_the_clock_by_itself() {
    fn walk(folder: &Path, all: &mut Vec<PathBuf>) {
        for entry in fs::read_dir(folder).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                walk(&path, all);
            } else if path.extension().is_some_and(|found| found == "rs") {
                all.push(path);
            }
        }
    }
    let mut files = migration_files();
    walk(
        &Path::new(env!("CARGO_MANIFEST_DIR")).join("src"),
        &mut files,
    );
    let mut faults = Vec::new();
    for file in files {
        let text = fs::read_to_string(&file).unwrap();
        for (number, line) in (1..).zip(text.lines()) {
            let code = line.trim_start();
            if code.starts_with("//") || code.starts_with("--") {
                continue;
            }
            let squeezed = code
                .to_lowercase()
                .split_whitespace()
                .collect::<Vec<_>>()
                .join(" ");
            for words in [
                "on delete cascade",
                "on delete set null",
                "insert or replace",
                "replace into",
                "update or replace",
                "on conflict replace",
                "current_timestamp",
                "current_date",
                "datetime('now",
                "unixepoch(",
                "autoincrement",
            ] {
                if squeezed.contains(words) {
                    faults.push(format!("{}:{number}: {words}", file.display()));
                }
            }
        }
    }
    assert!(faults.is_empty(), "{faults:#?}");
}
