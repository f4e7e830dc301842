//! Places and pieces for tests: made by the verbs, without the pages.

use fieldstow::codes;
use fieldstow::ids::{FormId, KitId, PersonId, PlaceId, TeamId};
use fieldstow::ledger::{self, CountMark, Entry, Move, Outside, Stand};
use fieldstow::places::{self, Kind, NewPlace};

use super::World;

impl World {
    /// A place of a team.
    pub async fn place(
        &self,
        actor: PersonId,
        team: TeamId,
        kind: Kind,
        name: &str,
        parent: Option<PlaceId>,
    ) -> PlaceId {
        let mut tx = self.app.db.begin_write().await.unwrap();
        let new = NewPlace {
            id: PlaceId::new(),
            kind,
            team,
            kit: None,
            name: name.into(),
            make: String::new(),
            tare_g: None,
            parent,
            usual_parent: None,
            note: String::new(),
        };
        let place = places::make(&self.app, &mut tx, actor, &new).await.unwrap();
        tx.commit().await.unwrap();
        place
    }

    /// Pieces of a kit arrive from the supplier in a place, and are counted there.
    pub async fn receive(
        &self,
        actor: PersonId,
        kit: KitId,
        place: PlaceId,
        parts: &[(&str, i64)],
    ) -> ledger::Seq {
        let now = self.app.clock.now();
        let mut entry = Entry::new(FormId::new(), "received", actor, now);
        for (name, qty) in parts {
            let part = self.part(name).await;
            entry.moves.push(Move {
                part,
                qty: *qty,
                from: Stand::good(kit, Outside::Supplier.place()),
                to: Stand::good(kit, place),
            });
            entry.counted.push(CountMark {
                part,
                kit,
                place,
                qty: *qty,
            });
        }
        let mut tx = self.app.db.begin_write().await.unwrap();
        let seq = ledger::append(&mut tx, &entry).await.unwrap();
        tx.commit().await.unwrap();
        seq
    }

    /// The code on a kit or place.
    pub async fn code(&self, subject: uuid::Uuid) -> String {
        let mut db = self.app.db.read().await.unwrap();
        let code = codes::of(&mut db, subject).await.unwrap();
        code.expect("everything has a code").to_string()
    }

    /// Fails the test unless the ledger holds: balances are the sum of moves, the chain is whole.
    pub async fn verify(&self) {
        let mut db = self.app.db.read().await.unwrap();
        let findings = ledger::verify(&mut db).await.unwrap();
        assert_eq!(findings.faults, Vec::<String>::new());
    }
}
