//! Today.

use fieldstow::people::Role;

use crate::support::World;

#[tokio::test]
async fn a_newcomer_is_led_step_by_step() {
    let world = World::empty().await;
    let team = world.team("Nine Larches").await;
    let keeper = world.person("Ama", team, Role::Keeper).await;

    let today = keeper.open("/").await;
    today
        .expect(200, "Begin with the season’s guide")
        .expect(200, "Thursday 4 March");
    let form = keeper.click(&today, "Add the guide").await;
    keeper
        .press(
            &form,
            "Add the guide",
            &[("name", "Pass Run"), ("label", "A")],
        )
        .await;
    keeper
        .open("/")
        .await
        .expect(200, "Read the parts list in")
        .expect(200, "Add a kit");
}

#[tokio::test]
async fn a_kit_that_came_is_to_be_unpacked_by_one_press() {
    let world = World::empty().await;
    let team = world.team("Nine Larches").await;
    let (keeper_id, keeper) = world
        .account("Ama", Some((team, Role::Keeper)), false)
        .await;
    let beacon = world.beacon().await;
    world
        .kit(&beacon, keeper_id, team, "Kettlehorn", &["Bag 1"])
        .await;

    let today = keeper.open("/").await;
    today
        .expect(200, "Unpack and count Kettlehorn")
        .expect(200, "0 of 8 kinds of part all here");
    assert_eq!(
        today
            .attribute("main form[method=get]", "action")
            .as_deref(),
        Some("/where")
    );
}

#[tokio::test]
async fn an_unchanged_page_is_not_sent_again() {
    let world = World::empty().await;
    let team = world.team("Nine Larches").await;
    let keeper = world.person("Ama", team, Role::Keeper).await;

    let first = keeper.open_with("/", &[]).await;
    let tag = first.header("etag").expect("a tag").to_owned();
    assert_eq!(first.header("cache-control"), Some("private, no-cache"));
    let again = keeper.open_with("/", &[("if-none-match", &tag)]).await;
    assert_eq!(again.status.as_u16(), 304);
    assert!(again.bytes.is_empty());

    let season = keeper.open("/seasons/new").await;
    keeper
        .press(&season, "Add the season", &[("name", "Winter Post")])
        .await;
    let changed = keeper.open_with("/", &[("if-none-match", &tag)]).await;
    assert_eq!(changed.status.as_u16(), 200, "somebody wrote meanwhile");

    let tag = changed.header("etag").expect("a tag").to_owned();
    world.clock.advance_minutes(24 * 60 - 1);
    let keeper = world.person("Ama again", team, Role::Keeper).await;
    let other = keeper.open_with("/", &[("if-none-match", &tag)]).await;
    assert_eq!(other.status.as_u16(), 200, "another day, another person");
}

#[tokio::test]
async fn every_failure_is_a_page_with_a_way_out() {
    let world = World::empty().await;
    let team = world.team("Nine Larches").await;
    let crew = world.person("Bo", team, Role::Crew).await;
    for (path, status) in [
        ("/nowhere", 404),
        ("/guides/not-an-id", 404),
        ("/revisions/01890000-0000-7000-8000-000000000000", 404),
        ("/guides/new", 403),
    ] {
        let seen = crew.open_with(path, &[]).await;
        assert_eq!(seen.status.as_u16(), status, "{path}");
        assert_eq!(seen.link("Back to Today").as_deref(), Some("/"), "{path}");
    }
    let wrong_way = crew.post("/help", &[]).await;
    assert_eq!(wrong_way.status.as_u16(), 405);
    let no_number = crew.post("/seasons", &[("name", "x")]).await;
    assert_eq!(no_number.status.as_u16(), 403, "crew do not add seasons");
    let keeper = world.person("Ama", team, Role::Keeper).await;
    let no_number = keeper.post("/seasons", &[("name", "x")]).await;
    no_number.expect(400, "without its number");
}
