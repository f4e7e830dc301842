//! How right the books were when somebody counted again.

use fieldstow::codes::{self, CodeKind};
use fieldstow::ids::{CountId, FormId, KitId, PartId, PersonId, PlaceId};
use fieldstow::ledger::{self, CountMark, Document, Entry, Move, Outside, Stand};
use fieldstow::people::Role;

use crate::support::World;

/// Closes a later count: of each part what the books said and what was counted.
async fn recounted(
    world: &World,
    kit: KitId,
    person: PersonId,
    bag: PlaceId,
    lines: &[(PartId, i64, i64)],
) {
    let count = CountId::new();
    let now = world.app.clock.now();
    let mut entry = Entry::new(FormId::new(), "count closed", person, now);
    entry.document = Some(Document::Count(count));
    let here = Stand::good(kit, bag);
    for &(part, book, counted) in lines {
        let mark = CountMark {
            part,
            kit,
            place: bag,
            qty: counted,
        };
        entry.counted.push(mark);
        let (from, to, qty) = match counted - book {
            0 => continue,
            more @ 1.. => (Stand::good(kit, Outside::Found.place()), here, more),
            less => (here, Stand::good(kit, Outside::Missing.place()), -less),
        };
        entry.moves.push(Move {
            part,
            qty,
            from,
            to,
        });
    }
    let mut tx = world.app.db.begin_write().await.unwrap();
    let seq = ledger::append(&mut tx, &entry).await.unwrap();
    sqlx::query(
        "insert into count_sheet (
            id, kit_id, purpose, source, opened_by, opened_at, closed_by, closed_at, closing_seq,
            more_to_come
        )
        values ($1, $2, 'recount', 'supplier', $3, $4, $3, $4, $5, 0)",
    )
    .bind(count)
    .bind(kit)
    .bind(person)
    .bind(now)
    .bind(seq)
    .execute(&mut *tx)
    .await
    .unwrap();
    codes::give(&mut tx, CodeKind::Count, count.0, now)
        .await
        .unwrap();
    tx.commit().await.unwrap();
}

#[tokio::test]
async fn each_record_is_right_or_wrong_and_nothing_is_set_off() {
    let world = World::empty().await;
    let team = world.team("Nine Larches").await;
    let (person, keeper) = world
        .account("Ama", Some((team, Role::Keeper)), false)
        .await;
    let beacon = world.beacon().await;
    let (kit, bags) = world
        .kit(&beacon, person, team, "Kettlehorn", &["Bag 1", "Bag 2"])
        .await;
    let kits = keeper.open("/kits").await;
    let page = keeper
        .click(&kits, "How right the books of Nine Larches were")
        .await;
    assert_eq!(page.text_of("h1"), "No count to look back at yet");

    let (peg, lamp) = (world.part("Peg").await, world.part("Lamp").await);
    let arrived = [(bags[0], peg, 8), (bags[1], peg, 8), (bags[0], lamp, 1)];
    world.delivered(kit, person, &arrived, false).await;
    // What arrives says nothing about the books.
    let page = keeper.open(&page.path).await;
    assert_eq!(page.text_of("h1"), "No count to look back at yet");
    // Two too many here, two too few there.
    recounted(&world, kit, person, bags[0], &[(peg, 8, 10), (lamp, 1, 1)]).await;
    recounted(&world, kit, person, bags[1], &[(peg, 8, 6)]).await;

    let page = keeper.open(&page.path).await;
    assert_eq!(page.text_of("h1"), "1 of 3 records were right");
    assert_eq!(page.row("Together").unwrap()[1..], ["1", "3", "33.3 %"]);
    let wrong = page.row("B-4 Peg, black").unwrap();
    assert_eq!(wrong[1..4], ["2", "2", "4"]);
    assert!(page.row("Lamp").is_none());
    assert_eq!(page.texts_of("#wrong-caption ~ tbody tr").len(), 1);
    let count = page.attribute("#counts-caption ~ tbody a", "href").unwrap();
    assert_eq!(keeper.open(&count).await.status, 200);
    let stranger = world
        .person("Ben", world.team("Quern").await, Role::Keeper)
        .await;
    assert_eq!(stranger.open(&page.path).await.status, 403);
    world.verify().await;
}
