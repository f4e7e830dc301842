//! Teams and the people of a team.

use fieldstow::people::Role;

use super::{invite, keeper, member, path_of_link};
use crate::support::World;

#[tokio::test]
async fn a_keeper_invites_and_a_new_person_joins() {
    let world = World::empty().await;
    let (team, keeper) = keeper(&world).await;
    let page = keeper.open(&format!("/teams/{team}/people")).await;
    let (action, body) = keeper.filled(&page, "Make an invitation", &[("role", "deputy")]);
    let shown = keeper.post_body(&action, body.clone()).await;
    let link = path_of_link(&shown);
    assert_eq!(shown.header("cache-control"), Some("no-store"));
    assert_eq!(shown.header("referrer-policy"), Some("no-referrer"));
    let again = keeper.post_body(&action, body).await;
    assert_eq!(again.status.as_u16(), 303, "shown once");
    let people = keeper.open(&format!("/teams/{team}/people")).await;
    people.expect(200, "is shown only once");
    people.expect(200, "For deputy, made by Ama");

    let guest = world.browser();
    let page = guest.open(&link).await;
    page.expect(200, "Ama invites you to Nine Larches as deputy.");
    assert_eq!(page.header("cache-control"), Some("no-store"));
    assert_eq!(page.header("referrer-policy"), Some("no-referrer"));
    let taken = [
        ("name", ""),
        ("email", "ama@example.org"),
        ("password", super::PASSWORD),
    ];
    let refused = guest.press(&page, "Make the account", &taken).await;
    refused.expect(422, "give your name");
    let taken = [("name", "Bo"), ("password", super::PASSWORD)];
    let refused = guest.press(&refused, "Make the account", &taken).await;
    refused.expect(422, "there is an account with this e-mail already");

    let typed = [("email", "bo@example.org"), ("password", super::PASSWORD)];
    let (action, body) = guest.filled(&refused, "Make the account", &typed);
    guest.post_body(&action, body).await.expect(303, "");
    guest
        .open("/account")
        .await
        .expect(200, "You are deputy of Nine Larches.");
    let used = world.browser().open(&link).await;
    used.expect(410, "used already");
    let people = keeper.open(&format!("/teams/{team}/people")).await;
    people.expect(200, "Bo, deputy since 4 Mar 2027");
    people.expect(200, "bo@example.org");
    assert!(!people.has("Not accepted yet"));
}

#[tokio::test]
async fn somebody_with_an_account_joins_another_team() {
    let world = World::empty().await;
    let (larches, keeper) = keeper(&world).await;
    let quern = world.team("Quern").await;
    let (_, bo) = world.account("Bo", Some((quern, Role::Crew)), false).await;
    let link = invite(&keeper, larches, Role::Crew).await;
    let page = bo.open(&link).await;
    page.expect(200, "You are signed in as Bo");
    let (action, body) = bo.filled(&page, "Accept the invitation", &[]);
    bo.post_body(&action, body).await.expect(303, "");
    let account = bo.open("/account").await;
    account.expect(200, "You are crew of Nine Larches. You are crew of Quern.");

    let second = invite(&keeper, larches, Role::Keeper).await;
    let page = bo.open(&second).await;
    let refused = bo.press(&page, "Accept the invitation", &[]).await;
    refused.expect(422, "you belong to Nine Larches already");
}

#[tokio::test]
async fn invitations_end_after_a_week_or_when_taken_back() {
    let world = World::empty().await;
    let (team, keeper) = keeper(&world).await;
    let first = invite(&keeper, team, Role::Crew).await;
    let page = keeper.open(&format!("/teams/{team}/people")).await;
    let button = page.text_of("section[aria-labelledby=open] button");
    let after = keeper.press(&page, &button, &[]).await;
    after.expect(200, "Invitation taken back.");
    world.browser().open(&first).await.expect(410, "taken back");

    let second = invite(&keeper, team, Role::Crew).await;
    world.clock.advance_minutes(7 * 24 * 60 - 1);
    let guest = world.browser();
    guest.open(&second).await.expect(200, "Invitation");
    world.clock.advance_minutes(1);
    guest.open(&second).await.expect(410, "too old");
    guest.open("/invites/guessed").await.expect(410, "too old");
    // A link of one kind opens nothing of another.
    let as_reset = second.replace("/invites/", "/resets/");
    guest.open(&as_reset).await.expect(410, "too old");
}

#[tokio::test]
async fn roles_change_but_the_last_keeper_stays() {
    let world = World::empty().await;
    let (team, keeper) = keeper(&world).await;
    member(&world, "Bo", team, Role::Crew).await;
    let people = format!("/teams/{team}/people");
    let page = keeper.open(&people).await;
    let refused = keeper
        .press(&page, "Change the role of Ama", &[("role", "crew")])
        .await;
    refused.expect(422, "this is the team's only keeper");
    let refused = keeper.press(&page, "End the membership of Ama", &[]).await;
    refused.expect(422, "this is the team's only keeper");

    let page = keeper.open(&people).await;
    let changed = keeper
        .press(&page, "Change the role of Bo", &[("role", "keeper")])
        .await;
    changed.expect(200, "Role changed.");
    changed.expect(200, "Bo, keeper");
    let (action, body) = keeper.filled(&changed, "End the membership of Ama", &[]);
    let gone = keeper.post_body(&action, body).await;
    assert_eq!(gone.header("location"), Some("/"));
    keeper.open(&people).await.expect(403, "members");
    let nonsense = [
        ("form_id", "01960000-0000-7000-8000-000000000001"),
        ("role", "king"),
    ];
    let coordinator = world.coordinator("Wen").await;
    let refused = coordinator
        .post(&format!("/teams/{team}/invites"), &nonsense)
        .await;
    refused.expect(422, "choose what they are to the team");
}

#[tokio::test]
async fn crew_see_names_and_roles_and_nothing_to_decide() {
    let world = World::empty().await;
    let (team, keeper) = keeper(&world).await;
    let crew = world.person("Bo", team, Role::Crew).await;
    invite(&keeper, team, Role::Crew).await;
    let led = crew.open("/people").await;
    led.expect(200, "Ama, keeper");
    assert!(!led.has("ama@example.org"));
    assert!(!led.has("Not accepted yet"));
    assert_eq!(led.texts_of("main form").len(), 0);
}

#[tokio::test]
async fn coordinators_add_teams_once_and_rename_them_knowingly() {
    let world = World::empty().await;
    let coordinator = world.coordinator("Wen").await;
    let other = world.coordinator("Ode").await;
    coordinator.open("/people").await.expect(200, "Teams");
    let page = coordinator.open("/teams/new").await;
    let typed = [("team", "Nine Larches"), ("zone", "europe/vienna")];
    let added = coordinator.press(&page, "Add the team", &typed).await;
    added.expect(200, "Team added. Invite its keeper next.");
    let page = coordinator.open("/teams/new").await;
    let refused = coordinator
        .press(
            &page,
            "Add the team",
            &[("team", "NINE LARCHES"), ("zone", "Mars")],
        )
        .await;
    refused.expect(422, "there is a team called “Nine Larches” already");
    refused.expect(422, "“Mars” is not a time zone");

    let team = added.path.strip_suffix("/people").unwrap();
    let mine = coordinator.open(team).await;
    mine.expect(200, "Europe/Vienna");
    let theirs = other.open(team).await;
    let button = "Change the team";
    let first = other
        .press(&theirs, button, &[("team", "Ten Larches")])
        .await;
    first.expect(200, "Team changed.");
    let late = coordinator
        .press(&mine, button, &[("team", "Nine Tall Larches")])
        .await;
    late.expect(422, "it is now “Ten Larches”, Europe/Vienna");
    assert_eq!(
        late.attribute("#team", "value").as_deref(),
        Some("Nine Tall Larches")
    );
    let knowingly = coordinator.press(&late, button, &[]).await;
    knowingly.expect(200, "Nine Tall Larches");
}
