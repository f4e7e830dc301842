//! Events: planning one, which kits go, calling it off.

use fieldstow::people::Role;

use crate::support::World;

const PLANNED: [(&str, &str); 4] = [
    ("name", "Three Passes Meeting"),
    ("venue", "Farrow Hall"),
    ("first_on", "2027-03-20"),
    ("last_on", "2027-03-21"),
];

#[tokio::test]
async fn an_event_is_planned_changed_called_off_and_held_after_all() {
    let world = World::empty().await;
    let team = world.team("Nine Larches").await;
    let ama = world.person("Ama", team, Role::Keeper).await;

    let form = ama.open("/events/new").await;
    let event = ama.press(&form, "Add the event", &PLANNED).await;
    event.expect(
        200,
        "20 Mar 2027 to 21 Mar 2027, Farrow Hall. Planned by Nine Larches.",
    );
    ama.open("/events")
        .await
        .expect(200, "Three Passes Meeting");

    let edit = ama.open(&format!("{}/edit", event.path)).await;
    assert_eq!(
        edit.attribute("#venue", "value").as_deref(),
        Some("Farrow Hall")
    );
    let refused = ama.press(&edit, "Save", &[("last_on", "2027-03-19")]).await;
    refused.expect(422, "The last day cannot be before the first one.");
    assert_eq!(
        refused.attribute("#last_on", "value").as_deref(),
        Some("2027-03-19")
    );
    let event = ama.press(&refused, "Save", &[("last_on", "")]).await;
    event.expect(200, "20 Mar 2027, Farrow Hall.");

    let refused = ama
        .press(&event, "Call it off", &[("call_off_why", " ")])
        .await;
    refused.expect(422, "Say why it is called off");
    let off = ama
        .press(
            &refused,
            "Call it off",
            &[("call_off_why", "the hall is closed by snow")],
        )
        .await;
    off.expect(200, "Called off. It was planned for 20 Mar 2027");
    off.expect(200, "the hall is closed by snow");
    let held = ama.press(&off, "It takes place after all", &[]).await;
    let told = held.texts_of("[aria-labelledby=history] li");
    let ends = [
        "planned",
        "changed to",
        "closed by snow",
        "takes place after all.",
    ];
    assert_eq!(told.len(), ends.len(), "{told:?}");
    for (line, part) in told.iter().zip(ends) {
        assert!(
            line.contains(part) && line.contains("Ama"),
            "{line} lacks {part}"
        );
    }
}

#[tokio::test]
async fn each_keeper_says_which_of_their_kits_go_and_none_goes_to_two_events_unsaid() {
    let world = World::empty().await;
    let beacon = world.beacon().await;
    let (ours, theirs) = (
        world.team("Nine Larches").await,
        world.team("Hobnail Bridge").await,
    );
    let ama = world.person("Ama", ours, Role::Keeper).await;
    let rook = world.person("Rook", theirs, Role::Keeper).await;
    let bo = world.person("Bo", theirs, Role::Crew).await;
    let (by, _) = world.account("Kit keeper", None, false).await;
    let (gable, _) = world
        .kit(&beacon, by, theirs, "Long Gable", &["Bag 1"])
        .await;

    let form = ama.open("/events/new").await;
    let meeting = ama.press(&form, "Add the event", &PLANNED).await;
    let form = rook.open("/events/new").await;
    let fair = [
        ("name", "Sledge Fair"),
        ("first_on", "2027-03-21"),
        ("last_on", "2027-03-28"),
    ];
    let fair = rook.press(&form, "Add the event", &fair).await;

    let kit = gable.to_string();
    let page = rook.open(&meeting.path).await;
    let goes = rook.press(&page, "It goes", &[("kit", &kit)]).await;
    goes.expect(200, "Long Gable, Hobnail Bridge");
    let page = rook.open(&fair.path).await;
    let refused = rook.press(&page, "It goes", &[("kit", &kit)]).await;
    refused.expect(
        422,
        "On these days it goes to Three Passes Meeting, 20 Mar 2027 to 21 Mar 2027.",
    );
    let both = rook
        .press(
            &refused,
            "It goes",
            &[("kit", &kit), ("why", "the fair waits a day")],
        )
        .await;
    both.expect(200, "Long Gable goes: the fair waits a day");

    // The other team sees the kit, not who said so; and cannot say that it stays.
    let seen = ama.open(&meeting.path).await;
    seen.expect(200, "Long Gable, Hobnail Bridge");
    assert!(
        !seen.text_of("main").contains("Rook"),
        "a name of another team"
    );
    assert!(!seen.text_of("main").contains("Stays at home"));
    let stays = format!("{}/kits/{kit}/stays", meeting.path);
    ama.post(&stays, &[("form_id", &uuid::Uuid::now_v7().to_string())])
        .await
        .expect(403, "the team whose kit it is");
    bo.post(&stays, &[("form_id", &uuid::Uuid::now_v7().to_string())])
        .await
        .expect(403, "keepers and deputies");

    let page = rook.open(&meeting.path).await;
    let home = rook.press(&page, "Stays at home Long Gable", &[]).await;
    home.expect(200, "None yet.");
    home.expect(200, "Long Gable stays at home.");
}

#[tokio::test]
async fn two_who_change_an_event_at_once_lose_nothing() {
    let world = World::empty().await;
    let team = world.team("Nine Larches").await;
    let ama = world.person("Ama", team, Role::Keeper).await;
    let deputy = world.person("Bo", team, Role::Deputy).await;
    let form = ama.open("/events/new").await;
    let event = ama.press(&form, "Add the event", &PLANNED).await;

    let edit = format!("{}/edit", event.path);
    let (first, second) = (ama.open(&edit).await, deputy.open(&edit).await);
    ama.press(&first, "Save", &[("venue", "Upper Hall")])
        .await
        .expect(200, "Upper Hall");
    let refused = deputy
        .press(&second, "Save", &[("name", "Four Passes")])
        .await;
    refused.expect(422, "Somebody else changed this event while you wrote.");
    refused.expect(
        422,
        "Three Passes Meeting, Upper Hall, 20 Mar 2027 to 21 Mar 2027.",
    );
    assert_eq!(
        refused.attribute("#name", "value").as_deref(),
        Some("Four Passes")
    );
    deputy
        .press(&refused, "Save", &[])
        .await
        .expect(200, "Four Passes");
}

#[tokio::test]
async fn crew_read_events_and_strangers_do_not() {
    let world = World::empty().await;
    let team = world.team("Nine Larches").await;
    let bo = world.person("Bo", team, Role::Crew).await;
    bo.open("/events").await.expect(200, "No event is coming.");
    bo.open("/events?show=past")
        .await
        .expect(200, "No event is over yet.");
    bo.open("/events/new")
        .await
        .expect(403, "keepers and deputies");
    let nobody = world.browser();
    let asked = nobody.open_with("/events", &[]).await;
    assert_eq!(asked.header("location"), Some("/sign-in?then=/events"));
}
