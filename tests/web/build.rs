//! Can it be built, and with what instead.

use fieldstow::ids::{KitId, PersonId, PlaceId};
use fieldstow::people::Role;

use crate::support::{Browser, World};

struct Scene<'w> {
    keeper: Browser<'w>,
    person: PersonId,
    kit: KitId,
    bag: PlaceId,
}

/// A kit that was counted and lacks 4 pegs, or none.
async fn scene(world: &World, pegs: i64) -> Scene<'_> {
    let team = world.team("Nine Larches").await;
    let (person, keeper) = world
        .account("Ama", Some((team, Role::Keeper)), false)
        .await;
    let beacon = world.beacon().await;
    let (kit, bags) = world
        .kit(&beacon, person, team, "Kettlehorn", &["Bag 1"])
        .await;
    let bag = bags[0];
    let mut found = vec![
        (bag, world.part("Peg").await, pegs),
        (bag, world.part_in("Shade", "amber").await, 1),
        (bag, world.part_in("Shade", "white").await, 1),
    ];
    for (name, qty) in [
        ("Post", 4),
        ("Plate, long", 2),
        ("Plate, short", 2),
        ("Strap", 6),
        ("Lamp", 1),
    ] {
        found.push((bag, world.part(name).await, qty));
    }
    world.delivered(kit, person, &found, false).await;
    Scene {
        keeper,
        person,
        kit,
        bag,
    }
}

async fn spares_box(keeper: &Browser<'_>) -> KitId {
    let form = keeper.open("/kits/new").await;
    let fields = [("name", "Spares"), ("checked", "spares")];
    let kit = keeper.press(&form, "Add the kit", &fields).await;
    kit.path.rsplit('/').next().unwrap().parse().unwrap()
}

#[tokio::test]
async fn a_whole_kit_can_be_built() {
    let world = World::empty().await;
    let scene = scene(&world, 20).await;
    let kit = scene.keeper.open(&format!("/kits/{}", scene.kit)).await;
    let page = scene.keeper.click(&kit, "Can it be built?").await;
    assert_eq!(page.text_of(".verdict"), "Yes, for official play");
    assert!(page.texts_of("td .mark.short").is_empty());
    let practice = scene
        .keeper
        .open(&format!("/kits/{}/build?purpose=practice", scene.kit))
        .await;
    assert_eq!(practice.text_of(".verdict"), "Yes, for practice");
}

#[tokio::test]
async fn what_lacks_is_named_with_what_it_stops_and_where_to_get_it() {
    let world = World::empty().await;
    let scene = scene(&world, 16).await;
    let path = format!("/kits/{}/build", scene.kit);
    let page = scene.keeper.open(&path).await;
    let verdict = page.text_of(".verdict");
    assert!(verdict.starts_with("No: "), "{verdict}");
    assert_eq!(page.text_of("#lacks"), "4 pieces of 1 part lack");
    let row = page.row("B-4 Peg").unwrap();
    assert_eq!(row[1], "4");
    assert_eq!(row[3], "4: look first, then report or order");

    // A spares box of the team has three.
    let spares = spares_box(&scene.keeper).await;
    world
        .receive(scene.person, spares, scene.bag, &[("Peg", 3)])
        .await;
    let row = scene.keeper.open(&path).await.row("B-4 Peg").unwrap();
    assert_eq!(
        row[3],
        "3: spares in Spares 1: look first, then report or order"
    );
    let odd = scene.keeper.open(&format!("{path}?day=yesterday")).await;
    odd.expect(200, "That day could not be read or has passed");
}

#[tokio::test]
async fn another_part_may_stand_in_for_practice_or_officially_or_not_at_all() {
    let world = World::empty().await;
    let scene = scene(&world, 16).await;
    let peg = world.part("Peg").await;
    let strap = world.part("Strap").await;
    world
        .receive(scene.person, scene.kit, scene.bag, &[("Strap", 4)])
        .await;
    let verdict = async |purpose: &str| {
        let path = format!("/kits/{}/build?purpose={purpose}", scene.kit);
        scene.keeper.open(&path).await.text_of(".verdict")
    };
    assert!(verdict("practice").await.starts_with("No: "));

    let part = scene.keeper.open(&format!("/parts/{peg}")).await;
    let button = "It may stand in";
    for (other, allowed, told) in [
        (
            "",
            "practice",
            "write the number or the name of the other part",
        ),
        ("Shade", "practice", "several parts are called so"),
        ("Nothing", "practice", "no part is called so"),
        ("Peg", "practice", "a part need not stand in for itself"),
        ("Strap", "", "say for what it may be used"),
    ] {
        let fields = [("other", other), ("allowed", allowed)];
        let again = scene.keeper.press(&part, button, &fields).await;
        again.expect(422, told);
        let part = scene.keeper.open(&format!("/parts/{peg}")).await;
        assert!(part.has("No other part may stand in for it."));
    }
    let fields = [("other", "strap"), ("allowed", "practice")];
    let said = scene.keeper.press(&part, button, &fields).await;
    assert!(said.has("for practice only"), "{}", said.words());
    assert_eq!(verdict("practice").await, "Yes, for practice");
    assert!(verdict("official").await.starts_with("No: "));
    let other = scene.keeper.open(&format!("/parts/{strap}")).await;
    assert!(other.has("for practice only"));
    let in_kit = format!("/kits/{}/parts/{peg}", scene.kit);
    assert!(scene.keeper.open(&in_kit).await.has("May stand in for it"));

    let ended = scene.keeper.press(&said, "No more", &[]).await;
    assert!(ended.has("What held before"), "{}", ended.words());
    assert!(verdict("practice").await.starts_with("No: "));
    let officially = [("other", "strap"), ("allowed", "official")];
    scene.keeper.press(&ended, button, &officially).await;
    assert_eq!(verdict("official").await, "Yes, for official play");
}

#[tokio::test]
async fn a_spares_box_is_not_built() {
    let world = World::empty().await;
    let team = world.team("Nine Larches").await;
    let keeper = world.person("Ama", team, Role::Keeper).await;
    let spares = spares_box(&keeper).await;
    let page = keeper.open(&format!("/kits/{spares}/build")).await;
    page.expect(200, "so there is nothing to build");
}
