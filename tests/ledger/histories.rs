//! Random histories through the library, on a file database, checked against the model after every act.
//!
//! A failure prints the seed and the shortest history that still fails. By default 80 histories of up to
//! 40 acts are tried, with a new seed each time. `FIELDSTOW_HISTORIES=5000` tries more of them,
//! `FIELDSTOW_ACTS=1000` longer ones, `FIELDSTOW_SEED=7` the same ones again.

use std::collections::BTreeMap;
use std::path::Path;

use fieldstow::app::App;
use fieldstow::db::Db;
use fieldstow::error::{AppError, NotDone};
use fieldstow::ids::{KitId, PartId, PlaceId};
use fieldstow::ledger::balance::Balances;
use fieldstow::ledger::{
    self, CountMark, Entry, Move, NotAppended, Outside, PlaceMove, Seq, Stand, UndoRefused,
};
use fieldstow::receipts::{self, Outcome};
use proptest::prelude::*;
use proptest::test_runner::{Config, RngAlgorithm, TestCaseError, TestRng, TestRunner};

use crate::acts::{Act, acts, spell};
use crate::model::{Model, Verdict};
use crate::world::{NOW, app, form, furnished, kit, part, person, place, sent};

fn verdict(refused: NotAppended) -> Verdict {
    match refused {
        NotAppended::NotEnough {
            part,
            place,
            have,
            wanted,
        } => Verdict::NotEnough {
            part,
            place,
            have,
            wanted,
        },
        NotAppended::CarriedElsewhere { place } => Verdict::CarriedElsewhere(place),
        NotAppended::InItself { place } => Verdict::InItself(place),
        NotAppended::Sqlx(error) => panic!("the database refused: {error}"),
    }
}

fn undo_verdict(refused: UndoRefused) -> Verdict {
    match refused {
        UndoRefused::NoSuchEntry => Verdict::NoSuchEntry,
        UndoRefused::Already(by) => Verdict::Already(by),
        UndoRefused::NothingMoved => Verdict::NothingMoved,
        UndoRefused::NotAppended(refused) => verdict(refused),
    }
}

/// What the acts of one history came to, so that a run can show that it tried everything.
#[derive(Debug, Default)]
struct Tried(BTreeMap<&'static str, u32>);

impl Tried {
    fn note(&mut self, verdict: &Verdict) {
        let name = match verdict {
            Verdict::Recorded(_) => "recorded",
            Verdict::NotEnough { .. } => "not enough",
            Verdict::CarriedElsewhere(_) => "carried elsewhere",
            Verdict::InItself(_) => "in itself",
            Verdict::NoSuchEntry => "no such entry",
            Verdict::Already(_) => "already",
            Verdict::NothingMoved => "nothing moved",
        };
        self.count(name);
    }

    fn count(&mut self, name: &'static str) {
        *self.0.entry(name).or_default() += 1;
    }
}

/// Sends a form whose act records `entry` or takes back what `entry.corrects` names.
async fn send(
    app: &App,
    number: u32,
    entry: &Entry,
    undo: Option<Seq>,
) -> Result<Outcome, NotDone<Verdict>> {
    let form_sent = sent(form(number), &format!("{number}"));
    receipts::once(app, &form_sent, Some(person()), async |tx| {
        let seq = match undo {
            Some(seq) => ledger::undo(tx, seq, form(number), person(), NOW, None)
                .await
                .map_err(|refused| NotDone::Refused(undo_verdict(refused)))?,
            None => ledger::append(tx, entry)
                .await
                .map_err(|refused| NotDone::Refused(verdict(refused)))?,
        };
        Ok(format!("/entries/{seq}"))
    })
    .await
}

async fn run(template: &Path, acts: &[Act], tried: &mut Tried) -> Result<(), TestCaseError> {
    let folder = tempfile::tempdir().unwrap();
    std::fs::copy(
        template.join("fieldstow.db"),
        folder.path().join("fieldstow.db"),
    )
    .unwrap();
    let app = app(Db::open(folder.path()).await.unwrap());
    let mut model = Model::default();
    let mut recorded: Vec<(u32, Seq)> = Vec::new();

    for (number, act) in (0u32..).zip(acts) {
        let before = ledger::head(&mut app.db.read().await.unwrap())
            .await
            .unwrap();
        let entry = spell(act, number, &model);
        let pick = |back: u8| {
            let index = recorded.len().checked_sub(1 + usize::from(back))?;
            recorded.get(index).copied()
        };
        match act {
            Act::Arrive { .. } | Act::Mixed { .. } | Act::Undo { .. } => {
                let undo = match act {
                    // Now and then one that does not exist.
                    Act::Undo { back } => {
                        Some(model.last() - i64::from(*back) % (model.last() + 2))
                    }
                    _ if entry.is_empty() => continue,
                    _ => None,
                };
                let expected = match undo {
                    Some(seq) => model.undo(seq, Entry::new(form(number), "undo", person(), NOW)),
                    None => model.record(&entry),
                };
                tried.note(&expected);
                match send(&app, number, &entry, undo).await {
                    Ok(Outcome::Done { location }) => {
                        let seq = model.last();
                        prop_assert_eq!(location, format!("/entries/{seq}"));
                        prop_assert_eq!(expected, Verdict::Recorded(seq));
                        recorded.push((number, seq));
                    }
                    Err(NotDone::Refused(found)) => prop_assert_eq!(found, expected),
                    other => prop_assert!(false, "{other:?} instead of {expected:?}"),
                }
            }
            Act::GivenUp { .. } => {
                if entry.is_empty() {
                    continue;
                }
                let mut tx = app.db.begin_write().await.unwrap();
                let found = ledger::append(&mut tx, &entry).await;
                let expected = model.clone().record(&entry);
                match found {
                    Ok(seq) => prop_assert_eq!(Verdict::Recorded(seq), expected),
                    Err(refused) => prop_assert_eq!(verdict(refused), expected),
                }
                drop(tx);
                tried.count("given up");
            }
            Act::Again { back, same } => {
                let Some((number, seq)) = pick(*back) else {
                    continue;
                };
                let words = if *same {
                    format!("{number}")
                } else {
                    "other words".into()
                };
                let outcome = receipts::once(&app, &sent(form(number), &words), None, async |_| {
                    Err::<String, NotDone<()>>(NotDone::Refused(()))
                })
                .await;
                match outcome {
                    Ok(Outcome::Again { location, .. }) if *same => {
                        prop_assert_eq!(location, format!("/entries/{seq}"));
                        tried.count("again");
                    }
                    Err(NotDone::Failed(AppError::Conflict(_))) if !*same => {
                        tried.count("again, differently");
                    }
                    other => prop_assert!(false, "sent again: {other:?}"),
                }
            }
            Act::Twice { back } => {
                let Some((number, _)) = pick(*back) else {
                    continue;
                };
                let mut tx = app.db.begin_write().await.unwrap();
                let mut entry = Entry::new(form(number), "act", person(), NOW);
                entry.counted.push(CountMark {
                    part: part(0),
                    kit: kit(0),
                    place: place(0),
                    qty: 1,
                });
                let found = ledger::append(&mut tx, &entry).await;
                prop_assert!(
                    matches!(&found, Err(NotAppended::Sqlx(error)) if error.as_database_error()
                        .is_some_and(|inner| inner.is_unique_violation())),
                    "the same id twice: {found:?}"
                );
                tried.count("twice");
            }
        }
        let after = ledger::head(&mut app.db.read().await.unwrap())
            .await
            .unwrap();
        prop_assert_eq!(after.0, model.last());
        if after.0 == before.0 {
            prop_assert_eq!(after, before, "a refusal left a trace");
        }
        compare(&app.db, &model).await?;
    }
    check_whole(&app.db, &model).await?;
    app.db.close().await;
    Ok(())
}

type Row = (PartId, KitId, PlaceId, String, i64, Option<Seq>);

/// The tables are what the model says, and nothing else was left in them.
async fn compare(db: &Db, model: &Model) -> Result<(), TestCaseError> {
    let mut db = db.read().await.unwrap();
    let rows: Vec<Row> =
        sqlx::query_as("select part_id, kit_id, place_id, state, qty, counted_seq from balance")
            .fetch_all(&mut *db)
            .await
            .unwrap();
    let found: BTreeMap<_, _> = rows
        .iter()
        .map(|(part, kit, place, state, qty, counted)| {
            ((*part, *kit, *place, state.as_str()), (*qty, *counted))
        })
        .collect();
    prop_assert_eq!(&found, &model.held);

    let rows: Vec<(PlaceId, PlaceId)> =
        sqlx::query_as("select id, parent_id from place where parent_id is not null")
            .fetch_all(&mut *db)
            .await
            .unwrap();
    prop_assert_eq!(
        &rows.into_iter().collect::<BTreeMap<_, _>>(),
        &model.parents
    );

    let (lines, notes): (i64, i64) = sqlx::query_as(
        "select (select count(*) from move) + (select count(*) from place_move),
                (select count(*) from entry_note where entry_seq > (select max(seq) from entry))",
    )
    .fetch_one(&mut *db)
    .await
    .unwrap();
    let expected: usize = model
        .entries
        .iter()
        .map(|entry| entry.moves.len() + entry.carried.len())
        .sum();
    prop_assert_eq!(lines, expected as i64);
    prop_assert_eq!(notes, 0);
    Ok(())
}

/// Conservation, no negative balance, balances = replay, chain.
async fn check_whole(db: &Db, model: &Model) -> Result<(), TestCaseError> {
    let mut db = db.read().await.unwrap();
    let findings = ledger::verify(&mut db).await.unwrap();
    prop_assert_eq!(findings.faults, Vec::<String>::new());
    prop_assert_eq!(findings.entries, model.last());
    prop_assert_eq!(findings.head, ledger::head(&mut db).await.unwrap().1);

    let mut replay = Balances::default();
    for seq in 1..=model.last() {
        let entry = ledger::find(&mut db, seq).await.unwrap().unwrap();
        replay.apply(seq, &entry.moves, &entry.counted);
        prop_assert_eq!(replay.sum(), 0);
        prop_assert_eq!(replay.first_negative(), None, "after entry {}", seq);
    }
    let folded: BTreeMap<_, _> = replay
        .0
        .iter()
        .map(|((part, stand), balance)| {
            let key = (*part, stand.kit, stand.place, stand.state.word());
            (key, (balance.qty, balance.counted))
        })
        .collect();
    prop_assert_eq!(&folded, &model.held);
    Ok(())
}

fn number_from(variable: &str) -> Option<u64> {
    let text = std::env::var(variable).ok()?;
    Some(
        text.parse()
            .unwrap_or_else(|_| panic!("{variable} is not a number: {text}")),
    )
}

#[test]
fn random_histories_keep_the_book_right() {
    let cases = number_from("FIELDSTOW_HISTORIES").unwrap_or(80) as u32;
    let most = number_from("FIELDSTOW_ACTS").unwrap_or(40) as usize;
    let seed = number_from("FIELDSTOW_SEED")
        .unwrap_or_else(|| u64::from_le_bytes(fieldstow::secret::random()));
    println!("FIELDSTOW_SEED={seed} FIELDSTOW_HISTORIES={cases} FIELDSTOW_ACTS={most}");

    let runtime = tokio::runtime::Builder::new_multi_thread()
        .worker_threads(2)
        .enable_all()
        .build()
        .unwrap();
    let template = tempfile::tempdir().unwrap();
    runtime.block_on(async { furnished(template.path()).await.close().await });

    let mut bytes = [0; 32];
    bytes[..8].copy_from_slice(&seed.to_le_bytes());
    let mut runner = TestRunner::new_with_rng(
        Config {
            cases,
            failure_persistence: None,
            max_shrink_iters: 2000,
            ..Config::default()
        },
        TestRng::from_seed(RngAlgorithm::ChaCha, &bytes),
    );
    let tried = std::cell::RefCell::new(Tried::default());
    let result = runner.run(&acts(most), |acts| {
        runtime.block_on(run(template.path(), &acts, &mut tried.borrow_mut()))
    });
    if let Err(failure) = result {
        panic!(
            "FIELDSTOW_SEED={seed} FIELDSTOW_HISTORIES={cases} FIELDSTOW_ACTS={most}\n{failure}"
        );
    }
    let tried = tried.into_inner().0;
    println!("{tried:?}");
    // A run that never met one of these would prove less than it says.
    if cases >= 40 && most >= 40 {
        for name in [
            "recorded",
            "not enough",
            "carried elsewhere",
            "in itself",
            "no such entry",
            "already",
            "given up",
            "again",
            "again, differently",
            "twice",
        ] {
            assert!(
                tried.contains_key(name),
                "no history came to “{name}”: {tried:?}"
            );
        }
    }
}

/// Two steps in one entry, of pieces and of a crate, are taken back in the other order.
#[tokio::test]
async fn an_entry_of_two_steps_is_taken_back_step_by_step() {
    let folder = tempfile::tempdir().unwrap();
    let db = furnished(folder.path()).await;
    let mut model = Model::default();
    let at = |number| Stand::good(kit(0), place(number));
    let supplier = Stand::good(kit(0), Outside::Supplier.place());
    let hop = |from, to| Move {
        part: part(0),
        qty: 5,
        from,
        to,
    };
    let carry = |from: Option<u8>, to: Option<u8>| PlaceMove {
        place: place(3),
        from: from.map(place),
        to: to.map(place),
    };
    let mut entry = Entry::new(form(1), "two steps", person(), NOW);
    entry.moves = vec![hop(supplier, at(0)), hop(at(0), at(1)), hop(at(1), at(2))];
    entry.carried = vec![carry(None, Some(0)), carry(Some(0), Some(1))];

    let mut tx = db.begin_write().await.unwrap();
    assert_eq!(ledger::append(&mut tx, &entry).await.unwrap(), 1);
    let undone = ledger::undo(&mut tx, 1, form(2), person(), NOW, Some("wrong bag".into())).await;
    assert_eq!(undone.unwrap(), 2);
    // What was taken back can be taken back as well.
    let redone = ledger::undo(&mut tx, 2, form(3), person(), NOW, None).await;
    assert_eq!(redone.unwrap(), 3);
    tx.commit().await.unwrap();

    model.record(&entry);
    model.undo(1, Entry::new(form(2), "undo", person(), NOW));
    model.undo(2, Entry::new(form(3), "undo", person(), NOW));
    compare(&db, &model).await.unwrap();
    check_whole(&db, &model).await.unwrap();
    assert_eq!(model.parent(place(3)), Some(place(1)));
}
