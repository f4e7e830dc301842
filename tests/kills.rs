//! The process is killed while it writes, again and again: nothing that it acknowledged is lost, nothing
//! is half-written.
//!
//! 50 kills by default; `FIELDSTOW_KILLS=500 cargo test --test kills` for more.

use std::fs::{self, File, OpenOptions};
use std::io::Write;
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use fieldstow::app::App;
use fieldstow::db::{self, Db};
use fieldstow::error::NotDone;
use fieldstow::ledger;
use fieldstow::receipts;
use fieldstow::secret;

#[path = "ledger/world.rs"]
mod world;

use world::{app, arrival, form, furnish, kit, part, person, place, sent};

/// Where the child writes; set by the parent.
const FOLDER: &str = "FIELDSTOW_KILLED_IN";
/// The number of the child's first form.
const FIRST: &str = "FIELDSTOW_KILLED_FROM";

const WRITERS: u32 = 3;
const KILLS_IN_A_FOLDER: u32 = 50;

#[test]
fn nothing_acknowledged_is_lost_when_the_process_is_killed() {
    let kills: u32 = std::env::var("FIELDSTOW_KILLS")
        .map(|text| text.parse().expect("FIELDSTOW_KILLS is a number"))
        .unwrap_or(50);
    let runtime = runtime();
    let mut acknowledged = 0;
    let mut unknown = 0;
    let mut done = 0;
    while done < kills {
        let round = KILLS_IN_A_FOLDER.min(kills - done);
        let folder = tempfile::tempdir().unwrap();
        runtime.block_on(async {
            let db = Db::open(folder.path()).await.unwrap();
            furnish(&db).await;
            db.close().await;
        });
        for number in 0..round {
            kill_once(folder.path(), number);
            let (acked, there) = runtime.block_on(check(folder.path(), number));
            if number + 1 == round {
                acknowledged += acked;
                unknown += there - acked;
            }
        }
        done += round;
    }
    println!(
        "{kills} kills, {acknowledged} acknowledged, {unknown} recorded but not yet acknowledged"
    );
    assert!(
        acknowledged > u64::from(kills),
        "the child was killed before it wrote anything"
    );
}

fn runtime() -> tokio::runtime::Runtime {
    tokio::runtime::Builder::new_multi_thread()
        .worker_threads(2)
        .enable_all()
        .build()
        .unwrap()
}

/// Starts a writer and kills it with SIGKILL: every fifth while it starts, the others 10 to 100 ms after
/// its first acknowledgement.
fn kill_once(folder: &Path, number: u32) {
    let acks = folder.join("acks");
    let before = fs::metadata(&acks).map_or(0, |found| found.len());
    let mut child = start(folder, number);
    let random = u64::from(u16::from_le_bytes(secret::random()));
    if !number.is_multiple_of(5) {
        let deadline = Instant::now() + Duration::from_secs(20);
        while fs::metadata(&acks).map_or(0, |found| found.len()) == before {
            assert!(Instant::now() < deadline, "the child acknowledges nothing");
            assert_eq!(child.try_wait().unwrap(), None, "the child ended by itself");
            std::thread::sleep(Duration::from_millis(1));
        }
    }
    std::thread::sleep(Duration::from_millis(10 + random % 91));
    assert_eq!(child.try_wait().unwrap(), None, "the child ended by itself");
    child.kill().unwrap();
    child.wait().unwrap();
}

fn start(folder: &Path, number: u32) -> Child {
    Command::new(std::env::current_exe().unwrap())
        .args(["--ignored", "--exact", "writes_until_it_is_killed"])
        .env(FOLDER, folder)
        .env(FIRST, (number * 100_000).to_string())
        .stdout(Stdio::null())
        .stderr(Stdio::inherit())
        .spawn()
        .unwrap()
}

/// Opens what is left. Answers how many forms were acknowledged since the folder was made, and how many
/// are there.
async fn check(folder: &Path, number: u32) -> (u64, u64) {
    let text = fs::read_to_string(folder.join("acks")).unwrap_or_default();
    let acks: Vec<u32> = text
        .lines()
        .map(|line| {
            line.parse()
                .expect("a whole line, because it is written at once")
        })
        .collect();
    let db = Db::open(folder).await.expect("it opens after a kill");
    let mut reader = db.read().await.unwrap();
    for ack in &acks {
        let there: (i64, i64) = sqlx::query_as(
            "select (select count(*) from entry where id = $1),
                    (select count(*) from receipt where form_id = $1)",
        )
        .bind(form(*ack))
        .fetch_one(&mut *reader)
        .await
        .unwrap();
        assert_eq!(there, (1, 1), "form {ack} was acknowledged, kill {number}");
    }
    let (entries, receipts, both): (i64, i64, i64) = sqlx::query_as(
        "select (select count(*) from entry), (select count(*) from receipt),
                (select count(*) from entry join receipt on receipt.form_id = entry.id)",
    )
    .fetch_one(&mut *reader)
    .await
    .unwrap();
    assert_eq!(
        (entries, receipts),
        (both, both),
        "half an act, kill {number}"
    );

    let findings = ledger::verify(&mut reader).await.unwrap();
    assert_eq!(findings.faults, Vec::<String>::new(), "kill {number}");
    assert_eq!(findings.entries, entries);
    assert_eq!(findings.moves, entries);
    db::check_foreign_keys(&mut reader).await.unwrap();
    let sound: String = sqlx::query_scalar("pragma integrity_check")
        .fetch_one(&mut *reader)
        .await
        .unwrap();
    assert_eq!(sound, "ok", "kill {number}");
    drop(reader);
    // Every second time it is left as a kill would leave it, with its log.
    if number.is_multiple_of(2) {
        db.close().await;
    }
    (acks.len() as u64, entries as u64)
}

#[test]
#[ignore = "the child of the test above"]
fn writes_until_it_is_killed() {
    let folder = std::env::var_os(FOLDER).expect("started by the test above");
    let first: u32 = std::env::var(FIRST).unwrap().parse().unwrap();
    let acks = OpenOptions::new()
        .create(true)
        .append(true)
        .open(Path::new(&folder).join("acks"))
        .unwrap();
    runtime().block_on(async {
        let app = app(Db::open(Path::new(&folder)).await.unwrap());
        let mut tasks = Vec::new();
        for writer in 0..WRITERS {
            let app = app.clone();
            let mut acks = acks.try_clone().unwrap();
            tasks.push(tokio::spawn(async move {
                for number in (first + writer..).step_by(WRITERS as usize) {
                    record(&app, number).await;
                    acknowledge(&mut acks, number);
                }
            }));
        }
        for task in tasks {
            task.await.unwrap();
        }
    });
}

async fn record(app: &App, number: u32) {
    let content = format!("form {number}");
    receipts::once(
        app,
        &sent(form(number), &content),
        Some(person()),
        async |tx| {
            let n = (number % 250) as u8;
            let entry = arrival(form(number), part(n), kit(n), place(n), 1);
            let seq = ledger::append(tx, &entry).await.map_err(NotDone::Refused)?;
            Ok(format!("/entries/{seq}"))
        },
    )
    .await
    .expect("it is recorded");
}

/// With one `write`: a line torn by the kill would look like a lost form.
fn acknowledge(acks: &mut File, number: u32) {
    let line = format!("{number}\n");
    assert_eq!(acks.write(line.as_bytes()).unwrap(), line.len());
}
