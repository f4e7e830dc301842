//! A small world for tests of the book itself: two kits, five parts, six places, one person. Also used by
//! the tests of the database and of kills.

#![allow(dead_code)]

use std::path::Path;
use std::sync::Arc;

use fieldstow::app::{App, Settings};
use fieldstow::clock::{FixedClock, Instant};
use fieldstow::db::Db;
use fieldstow::ids::{FormId, KitId, PartId, PersonId, PlaceId, TeamId};
use fieldstow::ledger::{
    CountMark, Document, Entry, Move, NotAppended, Outside, PlaceMove, Stand, State,
};
use fieldstow::receipts::Sent;
use fieldstow::secret;
use sqlx::SqliteConnection;
use sqlx::sqlite::SqliteConnectOptions;
use uuid::Uuid;

/// 4 March 2027, 18:00 UTC.
pub const NOW: Instant = Instant(1_804_183_200_000);

pub const PARTS: u8 = 5;
pub const KITS: u8 = 2;
pub const PLACES: u8 = 6;

fn id(kind: u8, number: u8) -> Uuid {
    Uuid::from_u128(
        0x0192_0000_0000_7000_8000_0000_0000_0000 + (u128::from(kind) << 16) + u128::from(number),
    )
}

pub fn team() -> TeamId {
    TeamId(id(1, 1))
}

pub fn person() -> PersonId {
    PersonId(id(2, 1))
}

pub fn part(number: u8) -> PartId {
    PartId(id(3, number % PARTS))
}

pub fn kit(number: u8) -> KitId {
    KitId(id(4, number % KITS))
}

pub fn place(number: u8) -> PlaceId {
    PlaceId(id(5, number % PLACES))
}

pub fn form(number: u32) -> FormId {
    FormId(Uuid::from_u128(
        0x0192_0000_0000_7000_9000_0000_0000_0000 + u128::from(number),
    ))
}

/// Makes the world in an empty database.
pub async fn furnish(db: &Db) {
    let mut tx = db.begin_write().await.unwrap();
    sqlx::query("insert into team (id, name, zone) values ($1, 'Nine Larches', 'UTC')")
        .bind(team())
        .execute(&mut *tx)
        .await
        .unwrap();
    sqlx::query("insert into person (id, name, made_at) values ($1, 'Ama', 0)")
        .bind(person())
        .execute(&mut *tx)
        .await
        .unwrap();
    for number in 0..PARTS {
        sqlx::query("insert into part (id, name) values ($1, $2)")
            .bind(part(number))
            .bind(format!("Peg {number}"))
            .execute(&mut *tx)
            .await
            .unwrap();
    }
    for number in 0..KITS {
        sqlx::query("insert into kit (id, team_id, name, made_at) values ($1, $2, $3, 0)")
            .bind(kit(number))
            .bind(team())
            .bind(format!("Kit {number}"))
            .execute(&mut *tx)
            .await
            .unwrap();
    }
    for number in 0..PLACES {
        sqlx::query(
            "insert into place (id, kind, team_id, name, made_at) values ($1, 'crate', $2, $3, 0)",
        )
        .bind(place(number))
        .bind(team())
        .bind(format!("Crate {number}"))
        .execute(&mut *tx)
        .await
        .unwrap();
    }
    tx.commit().await.unwrap();
}

/// Opens the database in a folder and makes the world in it.
pub async fn furnished(folder: &Path) -> Db {
    let db = Db::open(folder).await.unwrap();
    furnish(&db).await;
    db
}

/// The application on a database, with a clock that stands still.
pub fn app(db: Db) -> App {
    let settings = Settings {
        public_url: "http://localhost:8765".into(),
    };
    App::new(db, Arc::new(FixedClock::at(NOW)), settings)
}

pub fn sent(id: FormId, content: &str) -> Sent {
    Sent {
        id,
        hash: secret::hash(content.as_bytes()),
    }
}

/// So many pieces from the supplier into a place.
pub fn arrival(id: FormId, part: PartId, kit: KitId, place: PlaceId, qty: i64) -> Entry {
    let mut entry = Entry::new(id, "arrived", person(), NOW);
    entry.moves = vec![Move {
        part,
        qty,
        from: Stand::good(kit, Outside::Supplier.place()),
        to: Stand::good(kit, place),
    }];
    entry
}

/// A book of `entries` entries of every kind, 3 lines or more each, and every second with a note.
pub async fn fill(db: &Db, entries: u32) {
    for number in 0..entries {
        let mut tx = db.begin_write().await.unwrap();
        append_sample(&mut tx, number).await.unwrap();
        tx.commit().await.unwrap();
    }
}

pub async fn append_sample(db: &mut SqliteConnection, number: u32) -> Result<i64, NotAppended> {
    let n = (number % 250) as u8;
    let mut entry = Entry::new(
        form(number),
        "sample",
        person(),
        Instant(NOW.0 + i64::from(number)),
    );
    entry.document = match number % 3 {
        0 => Some(Document::Kit(kit(n))),
        1 => Some(Document::Place(place(n))),
        _ => None,
    };
    if number.is_multiple_of(2) {
        entry.note = Some(format!("what was seen, number {number}"));
    }
    let at = Stand::good(kit(n), place(n));
    for step in 0..3 {
        entry.moves.push(Move {
            part: part(n + step),
            qty: 10 + i64::from(step),
            from: Stand::good(kit(n), Outside::Supplier.place()),
            to: at,
        });
    }
    entry.moves.push(Move {
        part: part(n),
        qty: 4,
        from: at,
        to: Stand {
            state: State::Doubtful,
            ..at
        },
    });
    entry.counted.push(CountMark {
        part: part(n),
        kit: kit(n),
        place: place(n),
        qty: 10,
    });
    entry.counted.push(CountMark {
        part: part(n + 4),
        kit: kit(n),
        place: place(n),
        qty: 0,
    });
    // Crate 0 is carried into another and out again.
    let other = Some(place(1));
    let (from, to) = if number.is_multiple_of(2) {
        (None, other)
    } else {
        (other, None)
    };
    entry.carried.push(PlaceMove {
        place: place(0),
        from,
        to,
    });
    fieldstow::ledger::append(db, &entry).await
}

/// A connection as another program would have it: none of our settings.
pub async fn bare_connection(file: &Path) -> SqliteConnection {
    use sqlx::ConnectOptions;
    SqliteConnectOptions::new()
        .filename(file)
        .foreign_keys(false)
        .connect()
        .await
        .unwrap()
}
