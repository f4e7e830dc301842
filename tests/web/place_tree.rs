//! Where things stand, told as a tree.

use fieldstow::people::Role;
use fieldstow::places::Kind;

use crate::support::World;

#[tokio::test]
async fn a_crate_in_another_teams_van_is_not_nowhere() {
    let world = World::empty().await;
    let (team, other) = (world.team("Nine Larches").await, world.team("Quern").await);
    let (person, keeper) = world
        .account("Ama", Some((team, Role::Keeper)), false)
        .await;
    let van = world
        .place(person, other, Kind::Van, "Grey van", None)
        .await;
    world
        .place(person, team, Kind::Crate, "Ridge", Some(van))
        .await;
    world.place(person, team, Kind::Crate, "Loose", None).await;

    let places = keeper.open("/places").await;
    let captions = places.texts_of("caption");
    assert_eq!(
        captions,
        [
            "With other teams; each says where on its own page",
            "Nowhere yet"
        ]
    );
    let ridge = keeper.click(&places, "Crate Ridge").await;
    ridge.expect(200, "Grey van");
}
