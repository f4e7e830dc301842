//! No page may look at the whole book: how the reads of the ledger find their rows. And figures, printed
//! by `cargo test --test ledger speed -- --ignored --nocapture`, that are told but not judged.

use std::time::Instant as Stopwatch;

use fieldstow::clock::Instant;
use fieldstow::ledger::{self, CountMark, Entry, Line, Move, Outside, Stand};
use sqlx::Row;

use crate::world::{KITS, NOW, PARTS, fill, form, furnished, kit, part, person, place};

const TABLES: [&str; 6] = [
    "entry",
    "move",
    "place_move",
    "count_mark",
    "balance",
    "place",
];

/// Every statement that the program's own reads prepare, as SQLite saw it, is asked how it would be run.
#[tokio::test]
async fn no_read_of_one_thing_scans_the_book() {
    let source = include_str!("../../src/ledger/store/history.rs");
    let find = include_str!("../../src/ledger/store/read.rs");
    let folder = tempfile::tempdir().unwrap();
    let db = furnished(folder.path()).await;
    fill(&db, 6).await;
    let mut reader = db.read().await.unwrap();
    let mut asked = 0;
    for sql in statements(source).into_iter().chain(statements(find)) {
        let plan = sqlx::query(sqlx::AssertSqlSafe(format!("explain query plan {sql}")))
            .fetch_all(&mut *reader)
            .await
            .unwrap_or_else(|error| panic!("{sql}: {error}"));
        let steps: Vec<String> = plan
            .iter()
            .map(|row| row.get::<String, _>("detail"))
            .collect();
        // The latest entries are read from the end of the book and only as far as the page goes.
        let from_the_end = sql.contains("from entry") && sql.contains("order by seq desc limit");
        for step in &steps {
            let scans = TABLES
                .iter()
                .any(|table| step.starts_with(&format!("SCAN {table}")));
            // Walking back through the book until enough was found is looking at the whole book too.
            let walks = step.ends_with("(entry_seq<?)") || step.ends_with("(rowid<?)");
            let allowed =
                from_the_end && step.starts_with("SEARCH entry USING INTEGER PRIMARY KEY");
            assert!(
                !(scans || walks) || allowed || from_the_end && step == "SCAN entry",
                "{sql}\n{steps:#?}"
            );
        }
        asked += 1;
    }
    assert!(asked >= 9, "only {asked} statements were found");
}

/// The texts between `r#"` and `"#`.
fn statements(source: &str) -> Vec<String> {
    source
        .split("r#\"")
        .skip(1)
        .filter_map(|rest| rest.split("\"#").next())
        // A type hint is part of a name for SQLite, and does no harm.
        .map(str::to_owned)
        .collect()
}

#[tokio::test]
async fn a_history_is_what_the_lines_say() {
    let folder = tempfile::tempdir().unwrap();
    let db = furnished(folder.path()).await;
    fill(&db, 40).await;
    let mut reader = db.read().await.unwrap();
    let mut all = Vec::new();
    for seq in 1..=40 {
        all.push(ledger::find(&mut reader, seq).await.unwrap().unwrap());
    }
    let mut questions = 0;
    for a_part in [None, Some(part(0)), Some(part(3))] {
        for a_kit in (0..KITS).map(kit).map(Some).chain([None]) {
            for a_place in [
                None,
                Some(place(0)),
                Some(place(1)),
                Some(place(2)),
                Some(Outside::Supplier.place()),
            ] {
                for before in [None, Some(17)] {
                    let line = Line {
                        part: a_part,
                        kit: a_kit,
                        place: a_place,
                        before,
                    };
                    let found = ledger::history(&mut reader, line, 8).await.unwrap();
                    let expected: Vec<i64> = all
                        .iter()
                        .rev()
                        .filter(|entry| before.is_none_or(|before| entry.seq < before))
                        .filter(|entry| touches(entry, &line))
                        .map(|entry| entry.seq)
                        .take(8)
                        .collect();
                    assert_eq!(found, expected, "{line:?}");
                    questions += usize::from(!found.is_empty());
                }
            }
        }
    }
    assert!(questions > 30, "{questions}");
}

/// The world's crates belong to no kit, so a carried crate is part of no kit's history.
fn touches(entry: &ledger::Recorded, line: &Line) -> bool {
    let moved = entry.moves.iter().any(|one| {
        line.part.is_none_or(|part| part == one.part)
            && line
                .kit
                .is_none_or(|kit| kit == one.from.kit || kit == one.to.kit)
            && line
                .place
                .is_none_or(|place| place == one.from.place || place == one.to.place)
    });
    let counted = entry.counted.iter().any(|one| {
        line.part.is_none_or(|part| part == one.part)
            && line.kit.is_none_or(|kit| kit == one.kit)
            && line.place.is_none_or(|place| place == one.place)
    });
    let carried = entry.carried.iter().any(|one| {
        line.part.is_none()
            && line.place.is_none_or(|place| {
                place == one.place || Some(place) == one.from || Some(place) == one.to
            })
    });
    // A place's own carrying is told with the place, whichever kit is asked for.
    let nothing_asked = line.part.is_none() && line.kit.is_none() && line.place.is_none();
    moved || counted || (carried && (nothing_asked || line.place.is_some()))
}

fn many(seq: u32, lines: u32) -> Entry {
    let mut entry = Entry::new(
        form(seq),
        "arrived",
        person(),
        Instant(NOW.0 + i64::from(seq)),
    );
    for line in 0..lines {
        let n = (line % 200) as u8;
        let at = Stand::good(kit(n / PARTS), place(n / PARTS / KITS));
        entry.moves.push(Move {
            part: part(n),
            qty: 3,
            from: Stand::good(at.kit, Outside::Supplier.place()),
            to: at,
        });
        entry.counted.push(CountMark {
            part: part(n),
            kit: at.kit,
            place: at.place,
            qty: 3,
        });
    }
    entry
}

#[tokio::test]
#[ignore = "prints figures, checks nothing"]
async fn speed() {
    let folder = tempfile::tempdir().unwrap();
    let db = furnished(folder.path()).await;
    for round in 0..5 {
        let watch = Stopwatch::now();
        let mut tx = db.begin_write().await.unwrap();
        ledger::append(&mut tx, &many(round, 300)).await.unwrap();
        let appended = watch.elapsed();
        tx.commit().await.unwrap();
        println!(
            "300 moves and 300 marks: {appended:?}, committed after {:?}",
            watch.elapsed()
        );
    }
    let watch = Stopwatch::now();
    for seq in 5..505 {
        let mut tx = db.begin_write().await.unwrap();
        ledger::append(&mut tx, &many(seq, 3)).await.unwrap();
        tx.commit().await.unwrap();
    }
    println!(
        "500 entries of 3 moves, one commit each: {:?}",
        watch.elapsed()
    );
    let mut tx = db.begin_write().await.unwrap();
    for seq in 505..10_505 {
        ledger::append(&mut tx, &many(seq, 3)).await.unwrap();
    }
    tx.commit().await.unwrap();
    let mut reader = db.read().await.unwrap();
    let watch = Stopwatch::now();
    let findings = ledger::verify(&mut reader).await.unwrap();
    println!(
        "verify {} entries, {} moves: {:?}",
        findings.entries,
        findings.moves,
        watch.elapsed()
    );
    assert!(findings.faults.is_empty());
    let line = |part, kit, place| Line {
        part,
        kit,
        place,
        before: None,
    };
    for (name, line) in [
        ("all", line(None, None, None)),
        ("a part", line(Some(part(0)), None, None)),
        ("a kit", line(None, Some(kit(0)), None)),
        ("a part of a kit", line(Some(part(0)), Some(kit(0)), None)),
        ("a place", line(None, None, Some(place(0)))),
        (
            "a part in a place",
            line(Some(part(0)), None, Some(place(0))),
        ),
    ] {
        let watch = Stopwatch::now();
        let found = ledger::history(&mut reader, line, 50).await.unwrap();
        println!(
            "the last {} entries of {name}: {:?}",
            found.len(),
            watch.elapsed()
        );
    }
}
