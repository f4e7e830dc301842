//! Forms whose sender goes away in the middle, and forms sent many times at once.

use std::future::Future;
use std::pin::pin;
use std::task::Poll;
use std::time::Duration;

use fieldstow::app::App;
use fieldstow::error::{AppError, NotDone};
use fieldstow::ledger::{self, NotAppended};
use fieldstow::receipts::{self, Outcome};
use fieldstow::secret;
use sqlx::SqliteConnection;

use crate::world::{app, arrival, form, furnished, kit, part, person, place, sent};

async fn send(app: &App, number: u32) -> Result<Outcome, NotDone<NotAppended>> {
    let content = format!("form {number}");
    receipts::once(
        app,
        &sent(form(number), &content),
        Some(person()),
        async |tx| {
            let entry = arrival(form(number), part(0), kit(0), place(0), 1);
            let seq = ledger::append(tx, &entry).await.map_err(NotDone::Refused)?;
            Ok(format!("/entries/{seq}"))
        },
    )
    .await
}

/// Polls a future so many times, and drops it where it waits. `None`: it was dropped.
async fn polled<T>(future: impl Future<Output = T>, mut polls: u32) -> Option<T> {
    let mut future = pin!(future);
    std::future::poll_fn(|context| {
        if polls == 0 {
            return Poll::Ready(None);
        }
        polls -= 1;
        future.as_mut().poll(context).map(Some)
    })
    .await
}

/// How often an entry and a receipt of this form are there.
async fn traces(db: &mut SqliteConnection, number: u32) -> (i64, i64) {
    sqlx::query_as(
        "select (select count(*) from entry where id = $1), (select count(*) from receipt where form_id = $1)",
    )
    .bind(form(number))
    .fetch_one(db)
    .await
    .unwrap()
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_sender_who_goes_away_leaves_all_or_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let app = app(furnished(folder.path()).await);
    let (mut dropped, mut kept, mut finished) = (0, 0, 0);
    let mut number = 0;
    // Dropped at each place where it waits, and after a random time.
    for polls in 0..16 {
        for round in 0..6 {
            number += 1;
            let version = app.db.version();
            let outcome = if round < 4 {
                polled(send(&app, number), polls).await
            } else {
                let random = u64::from(u16::from_le_bytes(secret::random()));
                let patience = Duration::from_micros(random % 3000);
                tokio::time::timeout(patience, send(&app, number))
                    .await
                    .ok()
            };
            let gone = match outcome {
                Some(outcome) => {
                    outcome.expect("it was recorded");
                    finished += 1;
                    false
                }
                None => true,
            };
            // The writer is free again, and all that was begun is over.
            let mut tx = tokio::time::timeout(Duration::from_secs(2), app.db.begin_write())
                .await
                .expect("the writer is free")
                .unwrap();
            let (entries, receipts) = traces(&mut tx, number).await;
            assert_eq!(entries, receipts, "half an act after {polls} polls");
            drop(tx);
            if gone {
                dropped += 1;
                kept += entries;
            }
            if entries == 1 {
                // Pages must not be called unchanged after it.
                for _ in 0..200 {
                    if app.db.version() != version {
                        break;
                    }
                    tokio::time::sleep(Duration::from_millis(5)).await;
                }
                assert_ne!(app.db.version(), version, "after {polls} polls");
            }

            let again = send(&app, number).await.expect("it can be sent again");
            assert_eq!(matches!(again, Outcome::Again { .. }), entries == 1);
            let mut tx = app.db.begin_write().await.unwrap();
            assert_eq!(traces(&mut tx, number).await, (1, 1));
        }
    }
    println!("{dropped} dropped, {kept} of them recorded; {finished} finished");
    assert!(finished > 0, "every one was dropped");
    assert!(
        kept > 0 && kept < dropped,
        "only one fate of a dropped form was seen"
    );
    let findings = ledger::verify(&mut app.db.read().await.unwrap())
        .await
        .unwrap();
    assert_eq!(
        (findings.entries, findings.faults),
        (i64::from(number), Vec::new())
    );
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_form_sent_ten_times_at_once_is_recorded_once_and_says_so() {
    let folder = tempfile::tempdir().unwrap();
    let app = app(furnished(folder.path()).await);
    for number in 0..8 {
        let tasks: Vec<_> = (0..10)
            .map(|_| {
                let app = app.clone();
                tokio::spawn(async move { send(&app, number).await })
            })
            .collect();
        let mut outcomes = Vec::new();
        for task in tasks {
            outcomes.push(task.await.unwrap().expect("all are answered"));
        }
        let done = outcomes
            .iter()
            .filter(|outcome| matches!(outcome, Outcome::Done { .. }))
            .count();
        assert_eq!(done, 1);
        let location = format!("/entries/{}", number + 1);
        assert!(
            outcomes
                .iter()
                .all(|outcome| outcome.location() == location)
        );
    }
    let findings = ledger::verify(&mut app.db.read().await.unwrap())
        .await
        .unwrap();
    assert_eq!((findings.entries, findings.faults), (8, Vec::new()));
}

#[tokio::test]
async fn other_words_under_the_same_id_are_refused_and_a_refusal_keeps_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let app = app(furnished(folder.path()).await);
    send(&app, 1).await.unwrap();
    let other = receipts::once(&app, &sent(form(1), "other words"), None, async |_| {
        Ok::<_, NotDone<()>>("/elsewhere".to_owned())
    })
    .await;
    assert!(
        matches!(other, Err(NotDone::Failed(AppError::Conflict(_)))),
        "{other:?}"
    );

    let refused = receipts::once(&app, &sent(form(2), "words"), None, async |tx| {
        let entry = arrival(form(2), part(1), kit(0), place(0), 1);
        ledger::append(tx, &entry)
            .await
            .map_err(|_| NotDone::Refused("broken"))?;
        Err(NotDone::Refused("no"))
    })
    .await;
    assert!(
        matches!(refused, Err(NotDone::Refused("no"))),
        "{refused:?}"
    );
    let mut tx = app.db.begin_write().await.unwrap();
    assert_eq!(traces(&mut tx, 2).await, (0, 0));
    drop(tx);
    assert!(matches!(send(&app, 2).await, Ok(Outcome::Done { .. })));
}
