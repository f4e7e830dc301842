//! Links for new passwords, from a keeper and from the machine itself.

use fieldstow::people::{self, Role};

use super::{OTHER_PASSWORD, PASSWORD, keeper, member, path_of_link};
use crate::support::World;

const RESET: &str = "Make a link for a new password of";

#[tokio::test]
async fn a_link_sets_a_password_once_within_half_an_hour() {
    let world = World::empty().await;
    let (team, keeper) = keeper(&world).await;
    let bo = ("Bo", "bo@example.org");
    let signed_in = world.joins(&keeper, team, Role::Crew, bo).await;
    let people = format!("/teams/{team}/people");
    let make = async || {
        let page = keeper.open(&people).await;
        path_of_link(&keeper.press(&page, &format!("{RESET} Bo"), &[]).await)
    };
    let first = make().await;
    let second = make().await;
    let browser = world.browser();
    browser.open(&first).await.expect(410, "taken back");
    let page = browser.open(&second).await;
    assert_eq!(page.header("cache-control"), Some("no-store"));
    assert_eq!(page.header("referrer-policy"), Some("no-referrer"));
    assert!(
        !page.has("bo@example.org"),
        "says nothing about the account"
    );
    let button = "Set the password";
    let refused = browser.press(&page, button, &[("password", "short")]).await;
    refused.expect(422, "at least 15 characters");

    let (action, body) = browser.filled(&refused, button, &[("password", OTHER_PASSWORD)]);
    let done = browser.post_body(&action, body.clone()).await;
    assert_eq!(done.header("location"), Some("/sign-in"));
    let again = browser.post_body(&action, body).await;
    assert_eq!(again.header("location"), Some("/sign-in"), "recorded once");
    browser.open(&second).await.expect(410, "used already");
    let ended = signed_in.open_with("/account", &[]).await;
    assert_eq!(ended.status.as_u16(), 303, "signed out everywhere");
    let old = world.signs_in(&browser, bo.1, PASSWORD).await;
    assert_eq!(old.status.as_u16(), 422);
    let new = world.signs_in(&browser, bo.1, OTHER_PASSWORD).await;
    assert_eq!(new.status.as_u16(), 303);

    let third = make().await;
    world.clock.advance_minutes(30);
    browser.open(&third).await.expect(410, "too old");
}

#[tokio::test]
async fn no_link_is_made_for_somebody_who_answers_for_more() {
    let world = World::empty().await;
    let (team, keeper) = keeper(&world).await;
    let quern = world.team("Quern").await;
    let elsewhere = member(&world, "Ivo", team, Role::Crew).await;
    let mut tx = world.app.db.begin_write().await.unwrap();
    people::add_member(&world.app, &mut tx, elsewhere, quern, Role::Keeper)
        .await
        .unwrap();
    tx.commit().await.unwrap();
    world.account("Wim", Some((team, Role::Crew)), true).await;

    let page = keeper.open(&format!("/teams/{team}/people")).await;
    for name in ["Ivo", "Wim"] {
        let refused = keeper.press(&page, &format!("{RESET} {name}"), &[]).await;
        refused.expect(422, "ask a coordinator for the link");
    }
    // Nor for somebody outside the team, whatever is put into the address.
    let outside = member(&world, "Una", quern, Role::Crew).await;
    let path = format!("/teams/{team}/people/{outside}/reset");
    let form = [("form_id", "01960000-0000-7000-8000-000000000001")];
    keeper
        .post(&path, &form)
        .await
        .expect(404, "no such member");
    let coordinator = world.coordinator("Ode").await;
    let page = coordinator.open(&format!("/teams/{team}/people")).await;
    let made = coordinator.press(&page, &format!("{RESET} Wim"), &[]).await;
    path_of_link(&made);
}

#[tokio::test]
async fn a_link_from_the_machine_makes_a_coordinator() {
    let world = World::empty().await;
    keeper(&world).await;
    let link = people::invite_coordinator(&world.app).await.unwrap();
    let guest = world.browser();
    let page = guest.open(&link).await;
    page.expect(200, "You are invited to coordinate the league");
    let typed = [
        ("name", "Ode"),
        ("email", "ode@example.org"),
        ("password", PASSWORD),
    ];
    let (action, body) = guest.filled(&page, "Make the account", &typed);
    guest.post_body(&action, body).await.expect(303, "");
    guest.open("/league").await.expect(200, "Ode");
    guest.open(&link).await.expect(410, "used already");
}

#[tokio::test]
async fn a_link_from_the_machine_sets_a_forgotten_password_and_no_role() {
    let world = World::empty().await;
    let (team, keeper) = keeper(&world).await;
    let link = people::invite_coordinator(&world.app).await.unwrap();
    let browser = world.browser();
    let page = browser.open(&link).await;
    let page = browser.click(&page, "Set a password").await;
    let button = "Set the password";
    let unknown = [("email", "who@example.org"), ("password", OTHER_PASSWORD)];
    let refused = browser.press(&page, button, &unknown).await;
    refused.expect(422, "no account has this e-mail");
    let known = [("email", "Ama@example.org"), ("password", OTHER_PASSWORD)];
    let done = browser.press(&refused, button, &known).await;
    done.expect(200, "The new password holds");
    let new = world
        .signs_in(&browser, "ama@example.org", OTHER_PASSWORD)
        .await;
    assert_eq!(new.status.as_u16(), 303);
    browser.open("/league").await.expect(403, "coordinators");
    let old = keeper.open_with("/account", &[]).await;
    assert_eq!(old.status.as_u16(), 303, "the old session ended");
    browser.open(&link).await.expect(410, "used already");

    // An invitation that a keeper made does not do that.
    let invited = super::invite(&browser, team, Role::Crew).await;
    let form = [
        ("form_id", "01960000-0000-7000-8000-000000000001"),
        ("email", "ama@example.org"),
        ("password", PASSWORD),
    ];
    let refused = world
        .browser()
        .post(&format!("{invited}/password"), &form)
        .await;
    refused.expect(404, "no such page");
    let opened = world.browser().open(&format!("{invited}/password")).await;
    assert_eq!(opened.status.as_u16(), 404);
}
