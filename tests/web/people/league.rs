//! The league's name and its coordinators.

use super::member;
use crate::support::World;
use fieldstow::people::Role;

#[tokio::test]
async fn the_leagues_name_stands_on_every_page_at_once() {
    let world = World::empty().await;
    let coordinator = world.coordinator("Wen").await;
    let page = coordinator.open("/league").await;
    let empty = coordinator
        .press(&page, "Change the name", &[("league", " ")])
        .await;
    empty.expect(422, "give the league a name");
    for name in ["Cloud Ladder League", "Long Pass League"] {
        let page = coordinator.open("/league").await;
        coordinator
            .press(&page, "Change the name", &[("league", name)])
            .await;
        let seasons = coordinator.open("/seasons").await;
        assert!(seasons.text_of("header").contains(name));
    }
}

#[tokio::test]
async fn the_role_is_given_and_taken_but_somebody_keeps_it() {
    let world = World::empty().await;
    let coordinator = world.coordinator("Wen").await;
    let team = world.team("Nine Larches").await;
    let ama = ("Ama", "ama@example.org");
    let keeper = world.joins(&coordinator, team, Role::Keeper, ama).await;
    member(&world, "Bo", team, Role::Crew).await;
    keeper.open("/league").await.expect(403, "coordinators");

    let page = coordinator.open("/league").await;
    let refused = coordinator
        .press(&page, "Take the role from Wen", &[])
        .await;
    refused.expect(422, "the league's only coordinator");
    let button = "Make a coordinator";
    let unknown = coordinator
        .press(&page, button, &[("email", "x@example.org")])
        .await;
    unknown.expect(422, "no account has this e-mail");
    let given = coordinator
        .press(&page, button, &[("email", "AMA@example.org")])
        .await;
    given.expect(200, "Coordinator added.");

    let page = keeper.open("/league").await;
    let taken = keeper.press(&page, "Take the role from Wen", &[]).await;
    taken.expect(200, "They are no coordinator any more.");
    coordinator
        .open("/league")
        .await
        .expect(403, "coordinators");
    let page = keeper.open("/league").await;
    let refused = keeper.press(&page, "Take the role from Ama", &[]).await;
    refused.expect(422, "the league's only coordinator");
}
