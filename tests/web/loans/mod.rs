//! Loans: handed out, extended, counted back, agreed about, closed, and what comes home later.

mod back;
mod borrowed;
mod counting;
mod held;
mod life;
mod links;
mod onward;
mod out;
mod overlap;
mod sides;

use fieldstow::ids::{KitId, PartId, PlaceId, TeamId};
use fieldstow::people::Role;
use fieldstow::places::Kind;
use fieldstow::{kits, places};

use crate::support::{Browser, Seen, World};

struct Scene<'w> {
    world: &'w World,
    larches: TeamId,
    kit: KitId,
    store: PlaceId,
    ridge: PlaceId,
    moss: PlaceId,
    keeper: Browser<'w>,
    /// Keeps the team that borrows.
    other: Browser<'w>,
}

/// A kit of two crates in a store: 8 pegs and a lamp in Ridge, 4 pegs in Moss.
async fn scene(world: &World) -> Scene<'_> {
    let larches = world.team("Nine Larches").await;
    let quern = world.team("Upper Quern").await;
    let (ama, keeper) = world
        .account("Ama", Some((larches, Role::Keeper)), false)
        .await;
    let other = world.person("Ivo Quernkeeper", quern, Role::Keeper).await;
    let beacon = world.beacon().await;
    let (kit, _) = world.kit(&beacon, ama, larches, "Kettlehorn", &[]).await;
    let store = world.place(ama, larches, Kind::Store, "Cellar", None).await;
    let crate_of = async |name| {
        let parent = Some(store);
        world.place(ama, larches, Kind::Crate, name, parent).await
    };
    let (ridge, moss) = (crate_of("Ridge").await, crate_of("Moss").await);
    world
        .receive(ama, kit, ridge, &[("Peg", 8), ("Lamp", 1)])
        .await;
    world.receive(ama, kit, moss, &[("Peg", 4)]).await;
    Scene {
        world,
        larches,
        kit,
        store,
        ridge,
        moss,
        keeper,
        other,
    }
}

impl Scene<'_> {
    async fn form(&self) -> Seen {
        self.keeper.open(&format!("/kits/{}/lend", self.kit)).await
    }

    /// Lends as the fields say; due on 14 March, not counted.
    async fn lend(&self, fields: &[(&str, &str)]) -> Seen {
        let mut all = vec![
            ("borrower", "upper quern"),
            ("due_on", "2027-03-14"),
            ("not_counted", "in a hurry"),
        ];
        all.extend_from_slice(fields);
        let form = self.form().await;
        self.keeper.press(&form, "It is handed out", &all).await
    }

    async fn qty(&self, place: PlaceId, part: &str) -> i64 {
        let part = self.world.part(part).await;
        let mut db = self.world.app.db.read().await.unwrap();
        let held = places::pieces(&mut db, place, false).await.unwrap();
        let mine = held.iter().filter(|line| line.part == part);
        mine.map(|line| line.qty).sum()
    }

    /// Here, lent out and missing of a part, by the kit's statement.
    async fn stands(&self, part: &str) -> (i64, i64, i64) {
        let part = self.world.part(part).await;
        let mut db = self.world.app.db.read().await.unwrap();
        let statement = kits::statement(&mut db, self.kit).await.unwrap();
        let facts = statement
            .into_iter()
            .find(|line| line.part == part)
            .map(|line| line.facts)
            .unwrap_or_default();
        (facts.here(), facts.lent_out, facts.missing)
    }

    async fn parent(&self, place: PlaceId) -> Option<PlaceId> {
        let mut db = self.world.app.db.read().await.unwrap();
        places::find(&mut db, place).await.unwrap().unwrap().parent
    }

    fn back_field(&self, place: PlaceId, part: PartId) -> String {
        format!(
            "back-{}-{}-{}",
            place.0.simple(),
            part.0.simple(),
            self.kit.0.simple()
        )
    }
}

fn crate_field(place: PlaceId) -> String {
    format!("crate-{}", place.0.simple())
}

async fn team_called(world: &World, name: &str) -> TeamId {
    let mut db = world.app.db.read().await.unwrap();
    sqlx::query_scalar("select id from team where name = $1")
        .bind(name)
        .fetch_one(&mut *db)
        .await
        .unwrap()
}
