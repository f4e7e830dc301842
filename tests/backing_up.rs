//! Backups that are made by themselves: checked, kept by the rule, and whole whenever the process is killed.
//!
//! 12 kills by default; `FIELDSTOW_BACKUP_KILLS=200 cargo test --test backing_up` for more.

use std::fs::{self, OpenOptions};
use std::io::Write;
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::sync::Arc;
use std::time::{Duration, Instant as Moment};

use fieldstow::app::{App, Settings};
use fieldstow::backups::{self, NotMade};
use fieldstow::clock::{FixedClock, SystemClock};
use fieldstow::db::{Db, FILE_NAME};
use fieldstow::ledger;
use fieldstow::secret;
use tempfile::TempDir;

#[path = "ledger/world.rs"]
mod world;

use world::{NOW, arrival, form, furnish, kit, part, place};

const FOLDER: &str = "FIELDSTOW_BACKED_UP_IN";
const FIRST: &str = "FIELDSTOW_BACKED_UP_FROM";

fn block_on<T>(work: impl Future<Output = T>) -> T {
    tokio::runtime::Builder::new_multi_thread()
        .worker_threads(2)
        .enable_all()
        .build()
        .unwrap()
        .block_on(work)
}

fn settings() -> Settings {
    Settings {
        public_url: "http://localhost:8765".into(),
    }
}

/// An application with some books, a clock that is moved, and a folder for backups.
async fn shelf() -> (App, Arc<FixedClock>, TempDir) {
    let folder = tempfile::tempdir().unwrap();
    let db = Db::open(folder.path()).await.unwrap();
    furnish(&db).await;
    record(&db, 0).await;
    let clock = Arc::new(FixedClock::at(NOW));
    let app = App::new(db, clock.clone(), settings());
    let app = app.with_backups(folder.path().join("backups"));
    (app, clock, folder)
}

async fn record(db: &Db, number: u32) {
    let n = (number % 250) as u8;
    let mut tx = db.begin_write().await.unwrap();
    let entry = arrival(form(number), part(n), kit(n), place(n), 1);
    ledger::append(&mut tx, &entry).await.unwrap();
    tx.commit().await.unwrap();
}

fn names(folder: &Path) -> Vec<String> {
    let mut names: Vec<String> = fs::read_dir(folder)
        .unwrap()
        .map(|entry| entry.unwrap().file_name().into_string().unwrap())
        .collect();
    names.sort();
    names
}

#[test]
fn a_backup_is_a_whole_database_for_its_owner_only() {
    block_on(async {
        let (app, _, folder) = shelf().await;
        let made = backups::make(&app).await.unwrap();
        assert_eq!(made.name, "fieldstow-2027-03-04-180000.db");
        let (entry, mark) = ledger::head(&mut app.db.read().await.unwrap())
            .await
            .unwrap();
        assert_eq!((made.entry, made.mark), (entry, mark));
        let all = backups::all(&folder.path().join("backups")).unwrap();
        assert_eq!(all.len(), 1);
        assert_eq!(backups::head(&all[0]).await.unwrap(), (entry, mark));
        #[cfg(unix)]
        {
            use std::os::unix::fs::PermissionsExt;
            let mode = |path: &Path| fs::metadata(path).unwrap().permissions().mode() & 0o777;
            assert_eq!(mode(&all[0].file), 0o600);
            assert_eq!(mode(&folder.path().join("backups")), 0o700);
        }
        // What is recorded afterwards is in the next one.
        record(&app.db, 1).await;
        assert_eq!(backups::head(&all[0]).await.unwrap().0, entry);
    });
}

#[test]
fn two_months_of_days_leave_seven_days_and_four_weeks() {
    block_on(async {
        let (app, clock, folder) = shelf().await;
        let shelf = folder.path().join("backups");
        for day in 0..60 {
            backups::make(&app).await.unwrap();
            let kept = names(&shelf);
            assert!(kept.len() <= 10, "day {day}: {kept:?}");
            assert_eq!(kept.len().min(7), (day + 1).min(7), "day {day}: {kept:?}");
            clock.advance_minutes(24 * 60);
        }
        // The last is of 2 May 2027, a Sunday: that week's is among the seven days.
        let days: Vec<String> = names(&shelf)
            .iter()
            .map(|name| name["fieldstow-2027-".len()..][..5].to_owned())
            .collect();
        assert_eq!(
            days,
            [
                "04-11", "04-18", "04-25", "04-26", "04-27", "04-28", "04-29", "04-30", "05-01",
                "05-02"
            ]
        );
    });
}

#[test]
fn what_was_cut_off_or_is_not_ours_is_no_backup() {
    block_on(async {
        let (app, _, folder) = shelf().await;
        let shelf = folder.path().join("backups");
        fs::create_dir(&shelf).unwrap();
        for name in [
            "fieldstow-2027-03-03-180000.db.unfinished",
            "fieldstow-2027-03-03-180000.db.unfinished-journal",
            "letter.unfinished",
            "monday.db",
        ] {
            fs::write(shelf.join(name), "half").unwrap();
        }
        assert!(backups::all(&shelf).unwrap().is_empty());
        backups::make(&app).await.unwrap();
        assert_eq!(
            names(&shelf),
            [
                "fieldstow-2027-03-04-180000.db",
                "letter.unfinished",
                "monday.db"
            ]
        );
        // Twice in one second: the first stays as it is.
        let refused = backups::make(&app).await.unwrap_err();
        assert!(matches!(refused, NotMade::Kept(_)), "{refused}");
        assert_eq!(backups::all(&shelf).unwrap().len(), 1);
    });
}

#[test]
fn books_that_do_not_agree_are_not_kept_as_a_backup_and_somebody_is_told() {
    block_on(async {
        let (app, clock, folder) = shelf().await;
        let shelf = folder.path().join("backups");
        backups::make(&app).await.unwrap();
        assert_eq!(backups::worry(&app), None);
        let mut tx = app.db.begin_write().await.unwrap();
        sqlx::query("update balance set qty = qty + 1")
            .execute(&mut *tx)
            .await
            .unwrap();
        tx.commit().await.unwrap();
        clock.advance_minutes(24 * 60);
        let refused = backups::make(&app).await.unwrap_err();
        assert!(matches!(refused, NotMade::Unsound(_)), "{refused}");
        assert_eq!(names(&shelf), ["fieldstow-2027-03-04-180000.db"]);
        let worry = backups::worry(&app).unwrap();
        assert!(worry.contains("does not agree with itself"), "{worry}");

        // Mended, the next one is made and nobody worries any more.
        let mut tx = app.db.begin_write().await.unwrap();
        sqlx::query("update balance set qty = qty - 1")
            .execute(&mut *tx)
            .await
            .unwrap();
        tx.commit().await.unwrap();
        backups::make(&app).await.unwrap();
        assert_eq!(backups::worry(&app), None);
    });
}

#[test]
fn a_folder_that_cannot_be_used_is_said() {
    block_on(async {
        let (app, clock, folder) = shelf().await;
        let file = folder.path().join("file");
        fs::write(&file, "").unwrap();
        let app = App::new(app.db.clone(), clock, settings()).with_backups(file);
        let refused = backups::make(&app).await.unwrap_err();
        assert!(refused.to_string().contains("cannot be used"), "{refused}");
        assert!(backups::worry(&app).is_some());
        let none = App::new(app.db.clone(), Arc::new(FixedClock::at(NOW)), settings());
        assert!(matches!(backups::make(&none).await, Err(NotMade::NoFolder)));
        assert_eq!(backups::worry(&none), None, "nobody asked for any");
    });
}

/// The server makes one when it starts and there is none; it can be restored.
#[test]
fn the_server_makes_one_by_itself_unless_it_is_told_not_to() {
    let parent = tempfile::tempdir().unwrap();
    let serve = |data: &Path, more: &[&str]| -> Child {
        Command::new(env!("CARGO_BIN_EXE_fieldstow"))
            .args(["serve", "--address", "127.0.0.1:0", "--data"])
            .arg(data)
            .args(more)
            .env_clear()
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .unwrap()
    };
    let [data, other] = ["data", "other"].map(|name| parent.path().join(name));
    let mut child = serve(&data, &[]);
    let deadline = Moment::now() + Duration::from_secs(30);
    let made = loop {
        assert!(Moment::now() < deadline, "no backup was made");
        match backups::all(&data.join("backups")) {
            Ok(all) if !all.is_empty() => break all[0].clone(),
            _ => std::thread::sleep(Duration::from_millis(20)),
        }
    };
    child.kill().unwrap();
    child.wait().unwrap();
    let restored = Command::new(env!("CARGO_BIN_EXE_fieldstow"))
        .arg("restore")
        .arg(&made.file)
        .arg("--data")
        .arg(parent.path().join("again"))
        .output()
        .unwrap();
    assert_eq!(restored.status.code(), Some(0), "{restored:?}");

    let mut child = serve(&other, &["--no-backups"]);
    let deadline = Moment::now() + Duration::from_secs(30);
    while !other.join(FILE_NAME).exists() {
        assert!(Moment::now() < deadline, "the server does not start");
        std::thread::sleep(Duration::from_millis(20));
    }
    std::thread::sleep(Duration::from_millis(300));
    child.kill().unwrap();
    child.wait().unwrap();
    assert!(!other.join("backups").exists());
}

/// A process that writes and makes backups at the same time is killed in the middle: whatever is called a
/// backup is whole, and one whose making was acknowledged holds all that was acknowledged before it began.
#[test]
fn a_killed_process_leaves_whole_backups_or_none() {
    let kills: u32 = std::env::var("FIELDSTOW_BACKUP_KILLS")
        .map(|text| text.parse().expect("FIELDSTOW_BACKUP_KILLS is a number"))
        .unwrap_or(12);
    let folder = tempfile::tempdir().unwrap();
    block_on(async {
        let db = Db::open(folder.path()).await.unwrap();
        furnish(&db).await;
        db.close().await;
    });
    let (mut whole, mut told, mut cut) = (0, 0, 0);
    for number in 0..kills {
        let shelf = folder.path().join("backups");
        let _ = fs::remove_dir_all(&shelf);
        let _ = fs::remove_file(folder.path().join("made"));
        kill_once(folder.path(), number);
        let found = backups::all(&shelf).unwrap_or_default();
        cut += fs::read_dir(&shelf).map_or(0, |all| all.count()) - found.len();
        let made = fs::read_to_string(folder.path().join("made")).unwrap_or_default();
        block_on(async {
            for backup in &found {
                let mut copy = Db::read_copy(&backup.file).await.unwrap();
                let findings = ledger::verify(&mut copy).await.unwrap();
                assert_eq!(findings.faults, Vec::<String>::new(), "kill {number}");
                whole += 1;
            }
            for line in made.lines() {
                let (name, acknowledged) = line.split_once(' ').unwrap();
                let backup = found.iter().find(|backup| backup.name == name);
                let Some(backup) = backup else {
                    // Let go again by the rule: several of one day.
                    continue;
                };
                let mut copy = Db::read_copy(&backup.file).await.unwrap();
                let acks = fs::read_to_string(folder.path().join("acks")).unwrap();
                for ack in acks.lines().take(acknowledged.parse().unwrap()) {
                    let there: i64 = sqlx::query_scalar("select count(*) from entry where id = $1")
                        .bind(form(ack.parse().unwrap()))
                        .fetch_one(&mut copy)
                        .await
                        .unwrap();
                    assert_eq!(there, 1, "{ack} was acknowledged before {name} began");
                }
                told += 1;
            }
        });
    }
    println!("{kills} kills: {whole} whole backups, {told} of them acknowledged, {cut} cut off");
    assert!(whole > 0 && told > 0, "no backup was ever made");
    block_on(async {
        let db = Db::open(folder.path()).await.unwrap();
        let mut reader = db.read().await.unwrap();
        let findings = ledger::verify(&mut reader).await.unwrap();
        assert_eq!(findings.faults, Vec::<String>::new());
    });
}

fn kill_once(folder: &Path, number: u32) {
    let mut child = Command::new(std::env::current_exe().unwrap())
        .args([
            "--ignored",
            "--exact",
            "writes_and_backs_up_until_it_is_killed",
        ])
        .env(FOLDER, folder)
        .env(FIRST, (number * 100_000).to_string())
        .stdout(Stdio::null())
        .stderr(Stdio::inherit())
        .spawn()
        .unwrap();
    let deadline = Moment::now() + Duration::from_secs(30);
    while !folder.join("backups").exists() {
        assert!(Moment::now() < deadline, "the child makes no backup");
        assert_eq!(child.try_wait().unwrap(), None, "the child ended by itself");
        std::thread::sleep(Duration::from_millis(1));
    }
    let random = u64::from(u16::from_le_bytes(secret::random()));
    std::thread::sleep(Duration::from_millis(random % 1500));
    assert_eq!(child.try_wait().unwrap(), None, "the child ended by itself");
    child.kill().unwrap();
    child.wait().unwrap();
}

#[test]
#[ignore = "the child of the test above"]
fn writes_and_backs_up_until_it_is_killed() {
    let folder = std::env::var_os(FOLDER).expect("started by the test above");
    let folder = Path::new(&folder).to_path_buf();
    let first: u32 = std::env::var(FIRST).unwrap().parse().unwrap();
    let append = |name: &str| {
        OpenOptions::new()
            .create(true)
            .append(true)
            .open(folder.join(name))
            .unwrap()
    };
    let (mut acks, mut made) = (append("acks"), append("made"));
    block_on(async {
        let app = App::new(
            Db::open(&folder).await.unwrap(),
            Arc::new(SystemClock),
            settings(),
        )
        .with_backups(folder.join("backups"));
        let writing = tokio::spawn({
            let db = app.db.clone();
            async move {
                for number in first.. {
                    record(&db, number).await;
                    acks.write_all(format!("{number}\n").as_bytes()).unwrap();
                }
            }
        });
        while !writing.is_finished() {
            let before = fs::read_to_string(folder.join("acks")).unwrap();
            let before = before.matches('\n').count();
            // Two in one second bear one name, which is refused.
            if let Ok(backup) = backups::make(&app).await {
                let line = format!("{} {before}\n", backup.name);
                made.write_all(line.as_bytes()).unwrap();
            }
        }
    });
}
