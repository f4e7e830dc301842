//! A delivery that was counted and closed, written straight into the books.

use fieldstow::ids::{CountId, FormId, KitId, PartId, PersonId, PlaceId};
use fieldstow::ledger::{self, CountMark, Document, Entry, Move, Outside, Stand};

use super::World;

impl World {
    /// Closes a count of a kit's arrival, in which these were found: place, part, pieces. None found is
    /// counted, too.
    pub async fn delivered(
        &self,
        kit: KitId,
        person: PersonId,
        found: &[(PlaceId, PartId, i64)],
        more_to_come: bool,
    ) -> CountId {
        let count = CountId::new();
        let now = self.app.clock.now();
        let mut entry = Entry::new(FormId::new(), "count closed", person, now);
        entry.document = Some(Document::Count(count));
        for &(place, part, qty) in found {
            entry.counted.push(CountMark {
                part,
                kit,
                place,
                qty,
            });
            if qty > 0 {
                entry.moves.push(Move {
                    part,
                    qty,
                    from: Stand::good(kit, Outside::Supplier.place()),
                    to: Stand::good(kit, place),
                });
            }
        }
        let mut tx = self.app.db.begin_write().await.unwrap();
        ledger::append(&mut tx, &entry).await.unwrap();
        sqlx::query(
            "insert into count_sheet (
                id, kit_id, purpose, source, opened_by, opened_at, closed_by, closed_at,
                closing_seq, more_to_come
            )
            values (
                $1, $2, 'arrival', 'supplier', $3, $4, $3, $4,
                (select seq from entry where id = $5), $6
            )",
        )
        .bind(count)
        .bind(kit)
        .bind(person)
        .bind(now)
        .bind(entry.id)
        .bind(more_to_come)
        .execute(&mut *tx)
        .await
        .unwrap();
        tx.commit().await.unwrap();
        count
    }

    /// The part with this name and colour.
    pub async fn part_in(&self, name: &str, colour: &str) -> PartId {
        let mut db = self.app.db.read().await.unwrap();
        sqlx::query_scalar::<_, PartId>("select id from part where name = $1 and colour = $2")
            .bind(name)
            .bind(colour)
            .fetch_one(&mut *db)
            .await
            .unwrap()
    }
}
