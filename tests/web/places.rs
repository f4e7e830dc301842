//! Places: made, carried, packed, moved from and put away.

use fieldstow::ids::{KitId, PartId, PersonId, PlaceId, TeamId};
use fieldstow::people::Role;
use fieldstow::places::Kind;

use crate::support::{Browser, World};

struct Scene {
    team: TeamId,
    ama: PersonId,
    kit: KitId,
    bag: PlaceId,
    store: PlaceId,
    krate: PlaceId,
}

/// A team with a kit whose one bag holds 8 pegs and a lamp; an empty crate in a store.
async fn scene(world: &World) -> (Scene, Browser<'_>) {
    let team = world.team("Nine Larches").await;
    let (ama, keeper) = world
        .account("Ama", Some((team, Role::Keeper)), false)
        .await;
    let beacon = world.beacon().await;
    let (kit, bags) = world
        .kit(&beacon, ama, team, "Kettlehorn", &["Bag 1"])
        .await;
    let bag = bags[0];
    world
        .receive(ama, kit, bag, &[("Peg", 8), ("Lamp", 1)])
        .await;
    let store = world.place(ama, team, Kind::Store, "Cellar", None).await;
    let krate = world
        .place(ama, team, Kind::Crate, "Ridge", Some(store))
        .await;
    let scene = Scene {
        team,
        ama,
        kit,
        bag,
        store,
        krate,
    };
    (scene, keeper)
}

fn qty_field(part: PartId, kit: KitId) -> String {
    format!("qty-{}-{}-good", part.0.simple(), kit.0.simple())
}

#[tokio::test]
async fn a_keeper_makes_a_store_a_shelf_in_it_and_a_crate_on_that() {
    let world = World::empty().await;
    let team = world.team("Nine Larches").await;
    let keeper = world.person("Ama", team, Role::Keeper).await;

    keeper.open("/places").await.expect(200, "No places yet");
    let form = keeper.open("/places/new?kind=store").await;
    let made = keeper.press(&form, "Make it", &[("name", "Cellar")]).await;
    made.expect(200, "Store made.").expect(200, "Store Cellar");
    let store = made.path.rsplit('/').next().unwrap().to_owned();

    let form = keeper
        .open(&format!("/places/new?kind=shelf&parent={store}"))
        .await;
    let made = keeper.press(&form, "Make it", &[("name", "Middle")]).await;
    made.expect(200, "In store Cellar.");
    let shelf = made.path.rsplit('/').next().unwrap().to_owned();

    let form = keeper.open("/places/new").await;
    let fields = [
        ("name", "Ridge"),
        ("parent", shelf.as_str()),
        ("usual", shelf.as_str()),
        ("make", "Grey 60"),
        ("tare", "3,2 kg"),
    ];
    let made = keeper.press(&form, "Make it", &fields).await;
    made.expect(200, "On shelf Middle, in store Cellar.")
        .expect(200, "3.2 kg")
        .expect(200, "Young helpers: light bags only, ask an adult.");
    assert!(!made.has("not where it usually is"));

    let all = keeper.open("/places").await;
    let names: Vec<String> = all.texts_of("tbody th");
    assert_eq!(names, ["Store Cellar", "Shelf Middle", "Crate Ridge"]);
    world.verify().await;
}

#[tokio::test]
async fn a_place_sent_twice_is_made_once() {
    let world = World::empty().await;
    let team = world.team("Nine Larches").await;
    let keeper = world.person("Ama", team, Role::Keeper).await;
    let form = keeper.open("/places/new").await;
    let (action, body) = keeper.filled(&form, "Make it", &[("name", "Ridge")]);
    let first = keeper.post_body(&action, body.clone()).await;
    let second = keeper.post_body(&action, body).await;
    assert_eq!(first.header("location"), second.header("location"));
    assert_eq!(
        keeper.open("/places").await.texts_of("tbody th"),
        ["Crate Ridge"]
    );
}

#[tokio::test]
async fn what_is_wrong_is_said_at_its_field_and_what_was_typed_stays() {
    let world = World::empty().await;
    let team = world.team("Nine Larches").await;
    let keeper = world.person("Ama", team, Role::Keeper).await;
    let form = keeper.open("/places/new").await;
    let again = keeper
        .press(&form, "Make it", &[("name", " "), ("tare", "3.2")])
        .await;
    again
        .expect(422, "give it a name")
        .expect(422, "say kg or g, like 3.2 kg or 3200 g");
    assert!(again.html().contains("<title>Error: "));
    assert_eq!(again.attribute("#tare", "value").as_deref(), Some("3.2"));
    assert_eq!(again.link("give it a name").as_deref(), Some("#name"));
}

#[tokio::test]
async fn crew_make_crates_but_no_stores_and_strangers_nothing() {
    let world = World::empty().await;
    let team = world.team("Nine Larches").await;
    let crew = world.person("Bo", team, Role::Crew).await;
    let form = crew.open("/places/new").await;
    assert!(!form.texts_of("#kind option").contains(&"store".into()));
    crew.press(&form, "Make it", &[("name", "Ridge")])
        .await
        .expect(200, "Crate made.");
    crew.press(&form, "Make it", &[("kind", "store"), ("name", "Cellar")])
        .await
        .expect(409, "sent before with other words");
    let form = crew.open("/places/new").await;
    crew.press(&form, "Make it", &[("kind", "store"), ("name", "Cellar")])
        .await
        .expect(422, "a store is for the team's keeper to make");

    let other = world.team("Saddle Post").await;
    let stranger = world.person("Cy", other, Role::Keeper).await;
    let form = stranger.open("/places/new").await;
    let team = team.to_string();
    stranger
        .press(
            &form,
            "Make it",
            &[("team", team.as_str()), ("name", "Mine")],
        )
        .await
        .expect(422, "for the team's keeper to make");
}

#[tokio::test]
async fn a_bag_without_a_label_is_one_tap() {
    let world = World::empty().await;
    let (scene, keeper) = scene(&world).await;
    let bags = format!("/kits/{}/bags", scene.kit);
    let page = keeper.open(&bags).await;
    let row = page.row("Bag 1").expect("the bag is listed");
    assert_eq!(row[2..], ["9 pieces of 2 kinds", "nowhere yet"]);

    let page = keeper.press(&page, "A bag without a label", &[]).await;
    page.expect(200, "Bag without label 1");
    let page = keeper.press(&page, "A bag without a label", &[]).await;
    page.expect(200, "Bag without label 2");

    let krate = scene.krate.to_string();
    let fields = [
        ("kind", "tray"),
        ("name", "Tray A"),
        ("parent", krate.as_str()),
    ];
    let page = keeper.press(&page, "Add it", &fields).await;
    let row = page.row("Tray A").expect("the tray is listed");
    assert!(row[3].starts_with("in crate Ridge ("), "{row:?}");
    assert!(row[3].ends_with("), in store Cellar"), "{row:?}");
    keeper
        .press(&page, "Add it", &[("name", "bag 1")])
        .await
        .expect(422, "there is one called “Bag 1” already");
    world.verify().await;
}

#[tokio::test]
async fn a_place_tells_what_is_in_it_and_what_it_weighs() {
    let world = World::empty().await;
    let (scene, keeper) = scene(&world).await;
    let page = keeper.open(&format!("/places/{}", scene.bag)).await;
    let row = page.row("Peg B-4 · black").expect("the pegs are listed");
    assert_eq!(
        row[1..],
        [
            "8",
            "loose",
            "Kettlehorn",
            "good",
            "4 Mar 2027, 18:00 by Ama"
        ]
    );
    page.expect(200, "unknown; 2 kinds of part have no mass")
        .expect(200, "Nowhere yet.")
        .expect(200, &world.code(scene.bag.0).await);
}

#[tokio::test]
async fn pieces_move_and_more_than_there_are_is_refused_at_the_line() {
    let world = World::empty().await;
    let (scene, keeper) = scene(&world).await;
    let peg = qty_field(world.part("Peg").await, scene.kit);
    let lamp = qty_field(world.part("Lamp").await, scene.kit);
    let page = keeper.open(&format!("/places/{}", scene.bag)).await;
    let form = keeper.click(&page, "Move pieces").await;

    let krate = scene.krate.to_string();
    let again = keeper
        .press(
            &form,
            "Move them",
            &[(&peg, "9"), (&lamp, "1"), ("to", krate.as_str())],
        )
        .await;
    again.expect(422, "only 8 are here, you asked for 9");
    assert_eq!(
        again.attribute(&format!("#{peg}"), "value").as_deref(),
        Some("9")
    );
    assert_eq!(
        again.attribute(&format!("#{lamp}"), "value").as_deref(),
        Some("1")
    );
    assert_eq!(
        again.attribute("#to option[selected]", "value").as_deref(),
        Some(krate.as_str())
    );

    keeper
        .press(&again, "Move them", &[(&peg, "3"), ("to", "")])
        .await
        .expect(422, "choose where it goes, or type a code");
    let code = world.code(scene.krate.0).await.to_lowercase();
    let form = keeper.open(&form.path).await;
    let done = keeper
        .press(&form, "Move them", &[(&peg, "3"), ("code", code.as_str())])
        .await;
    done.expect(200, "3 Peg, black (B-4) moved from Bag 1 (");
    assert!(done.path.starts_with("/entries/"));

    let page = keeper.open(&format!("/places/{krate}")).await;
    assert_eq!(page.row("Peg").unwrap()[1], "3");
    let back = keeper.press(&done, "Undo", &[]).await;
    back.expect(200, "Taken back.");
    keeper
        .open(&format!("/places/{krate}"))
        .await
        .expect(200, "No pieces in it.");
    world.verify().await;
}

#[tokio::test]
async fn a_crate_is_carried_with_all_in_it_but_not_into_itself() {
    let world = World::empty().await;
    let (scene, keeper) = scene(&world).await;
    let bag = format!("/places/{}", scene.bag);
    let krate = format!("/places/{}", scene.krate);
    let form = keeper.open(&format!("{bag}/carry")).await;
    let to = scene.krate.to_string();
    keeper
        .press(&form, "It is there", &[("to", to.as_str())])
        .await
        .expect(200, "was put in crate Ridge");
    keeper.open(&bag).await.expect(200, "in store Cellar.");
    keeper.open(&krate).await.expect(200, "Together 9");

    // The list does not offer the bag; its code can still be typed.
    let form = keeper.open(&format!("{krate}/carry")).await;
    assert!(!form.texts_of("#to option").join(" ").contains("Bag 1"));
    let code = world.code(scene.bag.0).await;
    keeper
        .press(&form, "It is there", &[("code", code.as_str())])
        .await
        .expect(422, "Ridge cannot stand in itself");
    let form = keeper.open(&format!("{krate}/carry")).await;
    keeper
        .press(&form, "It is there", &[("code", "7K3-F2X")])
        .await
        .expect(422, "check the characters of 7K3-F2X");
    let form = keeper.open(&format!("{krate}/carry")).await;
    keeper
        .press(&form, "It is there", &[("to", "nowhere")])
        .await
        .expect(200, "was taken out of store Cellar and stands nowhere yet");
    world.verify().await;
}

#[tokio::test]
async fn only_what_is_empty_is_put_away_and_it_comes_back() {
    let world = World::empty().await;
    let (scene, keeper) = scene(&world).await;
    let page = keeper.open(&format!("/places/{}", scene.bag)).await;
    keeper
        .press(&page, "Put it away", &[])
        .await
        .expect(422, "9 pieces are still in it; move them first");
    let page = keeper.open(&format!("/places/{}", scene.store)).await;
    keeper
        .press(&page, "Put it away", &[])
        .await
        .expect(422, "something still stands in it");

    let page = keeper.open(&format!("/places/{}", scene.krate)).await;
    let away = keeper.press(&page, "Put it away", &[]).await;
    away.expect(200, "Put away.");
    assert!(!keeper.open("/places").await.has("Crate Ridge"));
    let code = world.code(scene.krate.0).await;
    let form = keeper.open(&format!("/places/{}/carry", scene.bag)).await;
    keeper
        .press(&form, "It is there", &[("code", code.as_str())])
        .await
        .expect(422, "Ridge was put away; bring it back first");
    keeper
        .press(&away, "Bring it back", &[])
        .await
        .expect(200, "Brought back.");
    keeper.open("/places").await.expect(200, "Crate Ridge");
}

#[tokio::test]
async fn two_who_change_the_same_place_see_both_texts() {
    let world = World::empty().await;
    let (scene, ama) = scene(&world).await;
    let bo = world.person("Bo", scene.team, Role::Crew).await;
    let edit = format!("/places/{}/edit", scene.krate);
    let (hers, his) = (ama.open(&edit).await, bo.open(&edit).await);
    ama.press(
        &hers,
        "Keep it",
        &[("name", "Ridge north"), ("note", "lid sticks")],
    )
    .await
    .expect(200, "Changed.");
    let again = bo
        .press(&his, "Keep it", &[("name", "Ridge"), ("tare", "3 kg")])
        .await;
    again
        .expect(422, "somebody changed this meanwhile")
        .expect(422, "Ridge north")
        .expect(422, "lid sticks");
    assert_eq!(again.attribute("#name", "value").as_deref(), Some("Ridge"));
    assert_eq!(again.attribute("#tare", "value").as_deref(), Some("3 kg"));
    bo.press(&again, "Keep it", &[])
        .await
        .expect(200, "Crate Ridge");
}

#[tokio::test]
async fn a_packing_list_is_cut_into_sheets_with_bags_in_sections() {
    let world = World::empty().await;
    let (scene, keeper) = scene(&world).await;
    let form = keeper.open(&format!("/places/{}/carry", scene.bag)).await;
    let to = scene.krate.to_string();
    keeper
        .press(&form, "It is there", &[("to", to.as_str())])
        .await;
    world
        .receive(scene.ama, scene.kit, scene.krate, &[("Post", 4)])
        .await;
    let list = keeper
        .open(&format!("/places/{}/packing-list", scene.krate))
        .await;
    list.expect(200, "sheet 1 of 1")
        .expect(200, "Kit Kettlehorn · revision 1.0")
        .expect(200, "13 pieces together.")
        .expect(200, "try one end first, two adults if in doubt")
        .expect(
            200,
            "The maker’s guide, local rules and trained people come first.",
        );
    assert_eq!(list.texts_of("section.page").len(), 1);
    let groups = list.texts_of("tr.group");
    assert_eq!(groups.len(), 2, "{groups:?}");
    assert!(groups[0].ends_with("loose in it") && groups[1].starts_with("Bag 1 ("));
    assert_eq!(
        list.row("Lamp").expect("the lamp is listed")[..4],
        ["Lamp", "B-5", "", "1"]
    );
    let html = list.html();
    assert!(html.contains("<svg") && !html.contains("style="));
}

#[tokio::test]
async fn other_teams_see_none_of_it_and_coordinators_only_look() {
    let world = World::empty().await;
    let (scene, _) = scene(&world).await;
    let other = world.team("Saddle Post").await;
    let stranger = world.person("Cy", other, Role::Keeper).await;
    let page = format!("/places/{}", scene.krate);
    for path in [
        &page,
        &format!("{page}/packing-list"),
        &format!("{page}/carry"),
    ] {
        stranger.open(path).await.expect(403, "This is for");
    }
    let coordinator = world.coordinator("Dee").await;
    let seen = coordinator.open(&page).await;
    seen.expect(200, "Crate Ridge");
    assert!(!seen.has("Carry it elsewhere") && !seen.has("Put it away"));
    coordinator
        .open(&format!("{page}/move"))
        .await
        .expect(403, "the team's members");
}
