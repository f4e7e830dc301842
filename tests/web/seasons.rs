//! Seasons.

use fieldstow::people::Role;

use crate::support::World;

#[tokio::test]
async fn a_keeper_adds_a_season_once_however_often_the_form_is_sent() {
    let world = World::empty().await;
    let team = world.team("Nine Larches").await;
    let keeper = world.person("Ama", team, Role::Keeper).await;

    let form = keeper.open("/seasons/new").await;
    let (action, body) = keeper.filled(&form, "Add the season", &[("name", "Winter Post")]);
    let first = keeper.post_body(&action, body.clone()).await;
    let second = keeper.post_body(&action, body).await;
    assert_eq!(first.status.as_u16(), 303);
    assert_eq!(first.header("location"), second.header("location"));

    let seasons = keeper.open("/seasons").await;
    assert_eq!(
        seasons
            .texts_of("main .name")
            .iter()
            .filter(|text| *text == "Winter Post")
            .count(),
        1
    );
}

#[tokio::test]
async fn a_name_is_asked_for_and_what_was_typed_stays() {
    let world = World::empty().await;
    let team = world.team("Nine Larches").await;
    let keeper = world.person("Ama", team, Role::Keeper).await;

    let form = keeper.open("/seasons/new").await;
    let again = keeper
        .press(
            &form,
            "Add the season",
            &[("name", " "), ("starts_on", "2027-02-30")],
        )
        .await;
    again.expect(422, "give the day as year-month-day");
    assert_eq!(
        again.attribute("#starts_on", "value").as_deref(),
        Some("2027-02-30")
    );
}

#[tokio::test]
async fn crew_read_seasons_but_do_not_add_them() {
    let world = World::empty().await;
    let team = world.team("Nine Larches").await;
    let crew = world.person("Bo", team, Role::Crew).await;

    crew.open("/seasons").await.expect(200, "Seasons");
    crew.open("/seasons/new")
        .await
        .expect(403, "keepers, deputies and coordinators");
    let nobody = world.browser();
    let asked = nobody.open_with("/seasons", &[]).await;
    assert_eq!(asked.header("location"), Some("/sign-in?then=/seasons"));
}
