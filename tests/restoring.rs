//! `fieldstow restore`, as somebody at a terminal meets it on a bad day.

use std::fs;
use std::path::Path;
use std::process::{Command, Output, Stdio};
use std::time::Duration;

use fieldstow::db::{Db, FILE_NAME};
use fieldstow::ledger;
use fieldstow::lock::DataFolder;
use tempfile::TempDir;

#[path = "ledger/world.rs"]
mod world;

use world::{arrival, form, furnish, kit, part, place};

const ENTRIES: u32 = 60;

fn program(arguments: &[&str]) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_fieldstow"));
    command
        .args(arguments)
        .env_clear()
        .stdin(Stdio::null())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped());
    command
}

fn text(path: &Path) -> &str {
    path.to_str().unwrap()
}

fn restore(backup: &Path, folder: &Path) -> Output {
    program(&["restore", text(backup), "--data", text(folder)])
        .output()
        .unwrap()
}

#[track_caller]
fn refused(output: &Output, words: &[&str]) {
    let said = String::from_utf8_lossy(&output.stderr);
    assert_eq!(output.status.code(), Some(1), "{said}");
    assert_eq!(said.lines().count(), 1, "{said}");
    for word in words {
        assert!(said.contains(word), "{word:?} is not in {said:?}");
    }
    assert_eq!(String::from_utf8_lossy(&output.stdout), "");
}

/// What `verify` says of a folder: one line that ends with the last entry's mark.
#[track_caller]
fn verified(folder: &Path) -> String {
    let output = program(&["verify", "--data", text(folder)])
        .output()
        .unwrap();
    assert_eq!(output.status.code(), Some(0), "{output:?}");
    String::from_utf8(output.stdout).unwrap()
}

fn block_on<T>(work: impl Future<Output = T>) -> T {
    tokio::runtime::Builder::new_multi_thread()
        .worker_threads(2)
        .enable_all()
        .build()
        .unwrap()
        .block_on(work)
}

async fn write(db: &Db, numbers: std::ops::Range<u32>) {
    for number in numbers {
        let n = (number % 250) as u8;
        let mut tx = db.begin_write().await.unwrap();
        ledger::append(
            &mut tx,
            &arrival(form(number), part(n), kit(n), place(n), 1),
        )
        .await
        .unwrap();
        tx.commit().await.unwrap();
    }
}

/// A folder with books in `data` and a backup of them in `backup`.
fn backed_up() -> TempDir {
    let parent = tempfile::tempdir().unwrap();
    let data = parent.path().join("data");
    fs::create_dir(&data).unwrap();
    block_on(async {
        let db = Db::open(&data).await.unwrap();
        furnish(&db).await;
        write(&db, 0..ENTRIES).await;
        db.close().await;
    });
    let backup = parent.path().join("backup");
    let output = program(&["backup", text(&backup), "--data", text(&data)])
        .output()
        .unwrap();
    assert_eq!(output.status.code(), Some(0), "{output:?}");
    parent
}

#[test]
fn what_was_backed_up_is_restored_and_the_backup_stays_as_it_is() {
    let parent = backed_up();
    let [data, backup, again] = ["data", "backup", "again"].map(|name| parent.path().join(name));
    let before = fs::read(&backup).unwrap();
    let output = restore(&backup, &again);
    assert_eq!(output.status.code(), Some(0), "{output:?}");
    let said = String::from_utf8(output.stdout).unwrap();
    for words in [
        "60 entries",
        "on 4 Mar 2027, 18:00 UTC",
        "is not in it",
        "signed out",
    ] {
        assert!(said.contains(words), "{said}");
    }
    assert_eq!(verified(&data), verified(&again));
    assert_eq!(before, fs::read(&backup).unwrap());
    let mut left: Vec<_> = fs::read_dir(&again)
        .unwrap()
        .map(|entry| entry.unwrap().file_name().into_string().unwrap())
        .collect();
    left.sort();
    assert_eq!(left, [FILE_NAME, "fieldstow.lock"]);
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt;
        let mode = fs::metadata(again.join(FILE_NAME)).unwrap().permissions();
        assert_eq!(mode.mode() & 0o777, 0o600);
    }

    // A second time it would cover the first.
    refused(&restore(&backup, &again), &["holds a database already"]);
    assert_eq!(verified(&data), verified(&again));
}

#[test]
fn sessions_and_unused_links_do_not_come_back() {
    let parent = backed_up();
    let [data, backup, again] = ["data", "later", "again"].map(|name| parent.path().join(name));
    let count = async |db: &Db| -> (i64, i64) {
        sqlx::query_as(
            "select (select count(*) from session), (select count(*) from token where used_at is null)",
        )
        .fetch_one(&mut *db.read().await.unwrap())
        .await
        .unwrap()
    };
    block_on(async {
        let db = Db::open(&data).await.unwrap();
        let mut tx = db.begin_write().await.unwrap();
        sqlx::raw_sql(
            "insert into session (token_hash, id, person_id, began_at, seen_at, ends_at, device)
             select zeroblob(32), zeroblob(16), id, 1, 1, 2, '' from person limit 1;
             insert into token (token_hash, id, purpose, made_at, ends_at)
             values (zeroblob(32), zeroblob(16), 'start', 1, 2);",
        )
        .execute(&mut *tx)
        .await
        .unwrap();
        tx.commit().await.unwrap();
        assert_eq!(count(&db).await, (1, 1));
        db.copy_to(&backup).await.unwrap();
        db.close().await;
    });
    assert_eq!(restore(&backup, &again).status.code(), Some(0));
    block_on(async {
        let db = Db::open(&again).await.unwrap();
        assert_eq!(count(&db).await, (0, 0));
        db.close().await;
    });
}

#[test]
fn a_wrong_file_is_refused_in_words_and_leaves_nothing() {
    let parent = backed_up();
    let [data, backup, again, wrong] =
        ["data", "backup", "again", "wrong"].map(|name| parent.path().join(name));
    refused(&restore(&wrong, &again), &["wrong cannot be read"]);
    refused(&restore(&data, &again), &["is not a file"]);
    let good = fs::read(&backup).unwrap();
    for (bytes, words) in [
        (vec![], "is empty"),
        (b"a letter, ".repeat(999), "not a database"),
        (good[..good.len() / 2].to_vec(), "damaged"),
    ] {
        fs::write(&wrong, bytes).unwrap();
        refused(&restore(&wrong, &again), &["wrong", words]);
    }
    // A log beside it holds what the file itself lacks.
    let log = parent.path().join("backup-wal");
    fs::write(&log, "").unwrap();
    refused(&restore(&backup, &again), &["backup-wal lies beside"]);
    fs::remove_file(&log).unwrap();
    assert!(!again.join(FILE_NAME).exists());
    assert!(!again.join("fieldstow.unchecked").exists());
    assert_eq!(restore(&backup, &again).status.code(), Some(0));
}

/// Runs statements on a copy of the backup.
fn altered(parent: &Path, statements: &'static str) -> std::path::PathBuf {
    use sqlx::Connection;
    let wrong = parent.join("wrong");
    fs::copy(parent.join("backup"), &wrong).unwrap();
    let options = sqlx::sqlite::SqliteConnectOptions::new()
        .filename(&wrong)
        .foreign_keys(false);
    block_on(async {
        let mut db = sqlx::SqliteConnection::connect_with(&options)
            .await
            .unwrap();
        sqlx::raw_sql(statements).execute(&mut db).await.unwrap();
        db.close().await.unwrap();
    });
    wrong
}

#[test]
fn a_sound_file_with_wrong_books_is_refused() {
    let parent = backed_up();
    let again = parent.path().join("again");
    for (statements, words) in [
        (
            "update balance set qty = qty + 1",
            "does not agree with itself",
        ),
        ("pragma application_id = 7", "another program"),
        (
            "insert into _sqlx_migrations (version, description, success, checksum, execution_time)
             values (9999, 'to come', 1, x'00', 0)",
            "newer Fieldstow",
        ),
        (
            "insert into session (token_hash, id, person_id, began_at, seen_at, ends_at, device)
             values (zeroblob(32), zeroblob(16), zeroblob(16), 1, 1, 2, '')",
            "rows point at others",
        ),
    ] {
        let wrong = altered(parent.path(), statements);
        refused(&restore(&wrong, &again), &[words]);
        assert!(!again.join(FILE_NAME).exists(), "{words}");
    }
}

#[test]
fn a_mark_kept_elsewhere_is_looked_for() {
    let parent = backed_up();
    let [data, backup, again] = ["data", "backup", "again"].map(|name| parent.path().join(name));
    let said = verified(&data);
    let mark = said
        .trim_end()
        .trim_end_matches('.')
        .rsplit(' ')
        .next()
        .unwrap();
    let with = |mark: &str| {
        let arguments = [
            "restore",
            text(&backup),
            "--mark",
            mark,
            "--data",
            text(&again),
        ];
        program(&arguments).output().unwrap()
    };
    refused(&with(&"ab".repeat(32)), &["no entry", "abab"]);
    assert!(!again.join(FILE_NAME).exists());
    assert_eq!(with(mark).status.code(), Some(0));
}

#[test]
fn nothing_is_restored_over_or_beside_anything() {
    let parent = backed_up();
    let [data, backup, other] = ["data", "backup", "other"].map(|name| parent.path().join(name));
    let before = verified(&data);
    refused(&restore(&backup, &data), &["holds a database already"]);
    let taken = DataFolder::take(&data).unwrap();
    refused(&restore(&backup, &data), &["already running"]);
    drop(taken);
    assert_eq!(verified(&data), before);

    fs::create_dir(&other).unwrap();
    fs::write(other.join("letter"), "dear league").unwrap();
    refused(&restore(&backup, &other), &["letter is in it"]);
    assert_eq!(fs::read_dir(&other).unwrap().count(), 1, "nothing was made");
    refused(&restore(&backup, &backup), &["is a file"]);
}

#[test]
fn a_restore_that_is_killed_leaves_nothing_or_all() {
    let parent = backed_up();
    let [data, backup] = ["data", "backup"].map(|name| parent.path().join(name));
    let whole = verified(&data);
    let again = parent.path().join("again");
    let (mut nothing, mut all) = (0, 0);
    for wait in (0..300).step_by(12) {
        let mut child = program(&["restore", text(&backup), "--data", text(&again)])
            .spawn()
            .unwrap();
        std::thread::sleep(Duration::from_millis(wait));
        child.kill().unwrap();
        child.wait().unwrap();
        if again.join(FILE_NAME).exists() {
            assert_eq!(verified(&again), whole, "killed after {wait} ms");
            all += 1;
            fs::remove_dir_all(&again).unwrap();
        } else {
            // What the kill left behind stays for the next one, which must manage.
            nothing += 1;
        }
    }
    println!("{nothing} kills left nothing, {all} all");
    assert!(nothing > 0, "no kill was early enough");
    let last = restore(&backup, &again);
    assert_eq!(last.status.code(), Some(0), "{last:?}");
    assert_eq!(verified(&again), whole);
}

/// Acknowledged before the backup began means that it is in the backup, whatever happens afterwards.
#[test]
fn what_was_recorded_before_a_backup_survives_the_loss_of_the_folder() {
    let parent = backed_up();
    let [data, backup, again] = ["data", "later", "again"].map(|name| parent.path().join(name));
    let mut acknowledged = 0;
    block_on(async {
        let db = Db::open(&data).await.unwrap();
        let writing = tokio::spawn({
            let db = db.clone();
            async move { write(&db, ENTRIES..ENTRIES + 5000).await }
        });
        while acknowledged < i64::from(ENTRIES) + 20 {
            tokio::time::sleep(Duration::from_millis(5)).await;
            acknowledged = ledger::head(&mut db.read().await.unwrap()).await.unwrap().0;
        }
        let arguments = ["backup", text(&backup), "--data", text(&data)];
        let copied = program(&arguments).output().unwrap();
        assert_eq!(copied.status.code(), Some(0), "{copied:?}");
        assert!(!writing.is_finished(), "nobody wrote during the backup");
        writing.abort();
    });
    fs::remove_dir_all(&data).unwrap();
    let output = restore(&backup, &again);
    assert_eq!(output.status.code(), Some(0), "{output:?}");
    block_on(async {
        let db = Db::open(&again).await.unwrap();
        let mut reader = db.read().await.unwrap();
        let (last, _) = ledger::head(&mut reader).await.unwrap();
        assert!(last >= acknowledged, "{last} of {acknowledged}");
        let forms: i64 = sqlx::query_scalar("select count(*) from entry")
            .fetch_one(&mut *reader)
            .await
            .unwrap();
        assert_eq!(forms, last, "no entry is left out");
    });
}
