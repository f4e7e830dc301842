//! Guides, revisions and their parts lists.

use fieldstow::people::Role;

use crate::support::World;

#[tokio::test]
async fn a_guide_is_added_with_its_sizes_and_first_revision() {
    let world = World::empty().await;
    let team = world.team("Nine Larches").await;
    let keeper = world.person("Ama", team, Role::Keeper).await;

    let form = keeper.open("/guides/new").await;
    let wrong = keeper
        .press(
            &form,
            "Add the guide",
            &[("name", "Pass Run"), ("label", " ")],
        )
        .await;
    wrong.expect(422, "give it a name");
    assert!(wrong.text_of("title").starts_with("Error: "));
    assert_eq!(
        wrong.attribute("#name", "value").as_deref(),
        Some("Pass Run")
    );

    let list = keeper
        .press(
            &wrong,
            "Add the guide",
            &[("label", "A"), ("issued_on", "2027-01-09")],
        )
        .await;
    list.expect(200, "Parts list, revision A")
        .expect(200, "The list is empty");

    let guide = keeper.click(&list, "Pass Run").await;
    guide.expect(200, "half, full");
    let bigger = keeper
        .press(&guide, "Add the size", &[("size", "FULL")])
        .await;
    bigger.expect(422, "there is one called “full” already");
    let bigger = keeper
        .press(&guide, "Add the size", &[("size", "double")])
        .await;
    bigger.expect(200, "half, full, double");
}

#[tokio::test]
async fn the_list_shows_assemblies_with_subtotals_and_parts_with_every_way() {
    let world = World::empty().await;
    let team = world.team("Nine Larches").await;
    let crew = world.person("Bo", team, Role::Crew).await;
    let beacon = world.beacon().await;

    let list = crew.open(&format!("/revisions/{}", beacon.revision)).await;
    list.expect(
        200,
        "12 lines, by assembly".replace("12", "9 of 9").as_str(),
    );
    assert_eq!(list.row("Strap").unwrap()[1..], ["3 for all", "6 for all"]);
    assert_eq!(list.row("Plate, long").unwrap()[1..], ["1", "1 × 2 = 2"]);
    // Gate, full: 2 long plates, 2 short plates, 12 pegs, 6 straps for all gates.
    assert_eq!(list.row("Pieces of Gate").unwrap()[1..], ["11", "22"]);

    let parts = crew.click(&list, "Added up by part").await;
    let peg = parts.row("Peg").unwrap();
    assert_eq!(peg[1..3], ["14", "20"]);
    assert_eq!(peg[3], "8 in Beacon 12 in 2 × Gate");

    let found = crew
        .open(&format!(
            "/revisions/{}?q=SHADE&colour=amber",
            beacon.revision
        ))
        .await;
    found.expect(200, "1 of 9 lines");
    let nothing = crew
        .open(&format!("/revisions/{}?assembly=nonsense", beacon.revision))
        .await;
    nothing.expect(200, "0 of 9 lines");
}

#[tokio::test]
async fn a_new_revision_begins_with_the_list_of_the_one_before() {
    let world = World::empty().await;
    let team = world.team("Nine Larches").await;
    let keeper = world.person("Ama", team, Role::Keeper).await;
    let beacon = world.beacon().await;

    let guide = keeper.open(&format!("/guides/{}", beacon.guide)).await;
    let same = keeper
        .press(&guide, "Add the revision", &[("label", "1.0")])
        .await;
    same.expect(422, "there is one called “1.0” already");
    let list = keeper
        .press(
            &guide,
            "Add the revision",
            &[("label", "1.1"), ("issued_on", "2027-02-01")],
        )
        .await;
    list.expect(200, "revision 1.1")
        .expect(200, "9 of 9 lines")
        .expect(200, "the newest");
    let old = keeper
        .open(&format!("/revisions/{}", beacon.revision))
        .await;
    old.expect(200, "a newer one exists");
}
