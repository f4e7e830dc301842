//! Damage: told by members and by strangers, accepted, joined, decided about, taken back.

mod deciding;
mod pictures;
mod season;
mod second;
mod shown;
mod spares;
mod strangers;

use fieldstow::ids::{KitId, PersonId, PlaceId, TeamId};
use fieldstow::people::Role;
use fieldstow::places::Kind;

use crate::support::beacon::Beacon;
use crate::support::{Browser, Seen, World};

/// A beacon kit with 20 pegs in a bag, 4 posts in a crate and a box of spare pegs.
struct Stocked<'w> {
    world: &'w World,
    team: TeamId,
    ama: PersonId,
    keeper: Browser<'w>,
    kit: KitId,
    bag: PlaceId,
    krate: PlaceId,
    beacon: Beacon,
}

async fn stocked(world: &World) -> Stocked<'_> {
    let team = world.team("Nine Larches").await;
    let (ama, keeper) = world
        .account("Ama", Some((team, Role::Keeper)), false)
        .await;
    let beacon = world.beacon().await;
    let (kit, bags) = world
        .kit(&beacon, ama, team, "Kettlehorn", &["Bag 1"])
        .await;
    let krate = world.place(ama, team, Kind::Crate, "Ridge", None).await;
    world.receive(ama, kit, bags[0], &[("Peg", 20)]).await;
    world.receive(ama, kit, krate, &[("Post", 4)]).await;
    Stocked {
        world,
        team,
        ama,
        keeper,
        kit,
        bag: bags[0],
        krate,
        beacon,
    }
}

impl Stocked<'_> {
    /// "20 good, 0 doubtful …" of a part of the kit, over all places.
    async fn states(&self, part: &str) -> Vec<(String, i64)> {
        let mut db = self.world.app.db.read().await.unwrap();
        sqlx::query_as::<_, (String, i64)>(
            "select state, sum(qty) from balance \
             where kit_id = $1 and part_id = $2 and outside = 0 and qty > 0 \
             group by state order by state",
        )
        .bind(self.kit)
        .bind(self.world.part(part).await)
        .fetch_all(&mut *db)
        .await
        .unwrap()
    }

    async fn tell(&self, fields: &[(&str, &str)]) -> Seen {
        let form = self.keeper.open("/broken").await;
        self.keeper.press(&form, "Record it", fields).await
    }

    /// What a stranger sends from the page of a crate or bag.
    async fn told_by_stranger(&self, place: PlaceId, fields: &[(&str, &str)]) -> Seen {
        let nobody = self.world.browser();
        let code = self.world.code(place.0).await;
        let form = nobody.open(&format!("/c/{code}/tell")).await;
        nobody.press(&form, "Tell them", fields).await
    }

    /// The key of the pieces of a part in a place, as the stranger's list has it.
    async fn key(&self, part: &str, place: PlaceId) -> String {
        format!("{}.{}.{place}", self.world.part(part).await, self.kit)
    }
}

fn states(expected: &[(&str, i64)]) -> Vec<(String, i64)> {
    expected
        .iter()
        .map(|(state, qty)| ((*state).to_owned(), *qty))
        .collect()
}
