//! Fields made of several kits, and kits that no guide describes.

use fieldstow::ids::FormId;
use fieldstow::people::Role;

use crate::support::World;

/// How many kits go to events.
async fn going(world: &World) -> i64 {
    let mut db = world.app.db.read().await.unwrap();
    sqlx::query_scalar("select count(*) from event_kit")
        .fetch_one(&mut *db)
        .await
        .unwrap()
}

#[tokio::test]
async fn kits_are_put_together_and_go_to_an_event_as_one() {
    let world = World::empty().await;
    let team = world.team("Nine Larches").await;
    let (person, keeper) = world
        .account("Ama", Some((team, Role::Keeper)), false)
        .await;
    let beacon = world.beacon().await;
    let (kettlehorn, _) = world
        .kit(&beacon, person, team, "Kettlehorn", &["Bag 1"])
        .await;
    let (needle, _) = world
        .kit(&beacon, person, team, "Old Needle", &["Bag 1"])
        .await;
    let none = keeper.open("/fields").await;
    none.expect(200, "None yet.");
    let form = keeper.click(&none, "Put a field together").await;
    let refused = keeper
        .press(&form, "Put it together", &[("name", "Hall field")])
        .await;
    refused.expect(422, "Choose at least two kits");
    assert_eq!(
        refused.attribute("input[name=name]", "value").as_deref(),
        Some("Hall field")
    );
    let [one, two] = [kettlehorn.to_string(), needle.to_string()];
    let form_ids: Vec<String> = (0..3).map(|_| FormId::new().to_string()).collect();
    let fields = [
        ("form_id", &*form_ids[0]),
        ("team", &*team.to_string()),
        ("name", "Hall field"),
        ("kit", &*one),
        ("kit", &*two),
    ];
    let made = keeper.post("/fields", &fields).await;
    let field = keeper.open(made.header("location").unwrap()).await;
    field
        .expect(200, "2 kits of Nine Larches")
        .expect(200, "Kettlehorn")
        .expect(200, "Old Needle")
        .expect(200, "No event is planned.");
    let mut again = fields;
    again[0].1 = &form_ids[1];
    keeper
        .post("/fields", &again)
        .await
        .expect(422, "Another field of the team is called so.");

    // An event that one kit is at already: the field goes only where somebody says how.
    let event = async |name: &str, day: &str| {
        let form = keeper.open("/events/new").await;
        let fields = [("name", name), ("first_on", day)];
        keeper.press(&form, "Add the event", &fields).await.path
    };
    let elsewhere = event("Pass Fair", "2027-04-03").await;
    let lantern = event("Lantern Day", "2027-04-03").await;
    let page = keeper.open(&elsewhere).await;
    keeper.press(&page, "It goes", &[("kit", &two)]).await;
    let page = keeper.open(&field.path).await;
    let id = lantern.rsplit('/').next().unwrap();
    let refused = keeper
        .press(&page, "The whole field goes", &[("event", id)])
        .await;
    refused.expect(422, "Old Needle: On these days it goes to Pass Fair");
    // All or none.
    assert_eq!(going(&world).await, 1, "only the one to the fair");
    let gone = keeper
        .press(
            &refused,
            "The whole field goes",
            &[("event", id), ("why", "back by noon")],
        )
        .await;
    gone.expect(200, "The whole field goes.")
        .expect(200, "Kettlehorn")
        .expect(200, "Old Needle");
    assert_eq!(gone.path, lantern);
    assert_eq!(going(&world).await, 3);
    keeper
        .press(&page, "The whole field goes", &[("event", id)])
        .await
        .expect(422, "All its kits go there already.");

    // Two people change it at once: the second sees what they typed and is told.
    let edit = keeper.open(&format!("{}/edit", field.path)).await;
    let beside = keeper.open(&format!("{}/edit", field.path)).await;
    let changed = keeper.press(&edit, "Save", &[("name", "Hall")]).await;
    changed.expect(200, "Hall");
    let late = keeper.press(&beside, "Save", &[("name", "Hall two")]).await;
    late.expect(422, "Somebody else changed this field meanwhile.");
    let away = keeper
        .press(&keeper.open(&field.path).await, "Put away", &[])
        .await;
    away.expect(200, "Put away.");
    assert!(!away.has("The whole field goes"));
    keeper
        .press(&away, "Bring back", &[])
        .await
        .expect(200, "Brought back.");

    let other = world.team("Hobnail Bridge").await;
    let stranger = world.person("Cleo", other, Role::Keeper).await;
    assert_eq!(stranger.open(&field.path).await.status.as_u16(), 403);
    // Nobody puts another team's kit into a field of theirs.
    let theirs = [
        ("form_id", &*form_ids[2]),
        ("team", &*other.to_string()),
        ("name", "Ours"),
        ("kit", &*one),
        ("kit", &*two),
    ];
    stranger
        .post("/fields", &theirs)
        .await
        .expect(422, "One of these kits is not your team's");
}

/// Tools have a list of the team's own, without a season; a kit that was bought used has neither slip nor supplier.
#[tokio::test]
async fn a_kit_with_its_own_list_and_one_bought_used_are_counted_like_others() {
    let world = World::empty().await;
    let team = world.team("Nine Larches").await;
    let (_, keeper) = world
        .account("Ama", Some((team, Role::Keeper)), false)
        .await;
    // A list of their own, of one size and no season.
    let form = keeper.open("/guides/new").await;
    let fields = [
        ("name", "Hall tools"),
        ("sizes", "full"),
        ("label", "1"),
        ("issued_on", "2027-03-01"),
    ];
    let list = keeper.press(&form, "Add the guide", &fields).await;
    let form = keeper.click(&list, "Read a list in").await;
    let table = "Assembly,Part,Number,Full\nBox,Hex key,T-1,2\nBox,Mallet,T-2,1\n";
    let reading = keeper.press(&form, "Read it", &[("pasted", table)]).await;
    reading.expect(200, "full: 3 pieces");
    keeper
        .press(&reading, "Keep the list", &[])
        .await
        .expect(200, "2 of 2 lines");

    // Bought used: brought in, no supplier, no slip, no day to report by.
    let form = keeper.open("/kits/new").await;
    let checked = form
        .document()
        .select(&scraper::Selector::parse("#checked option").unwrap())
        .find(|option| option.text().collect::<String>().contains("Hall tools"))
        .and_then(|option| option.value().attr("value").map(str::to_owned))
        .expect("the tools' list is offered");
    let fields = [
        ("name", "Tool box"),
        ("checked", checked.as_str()),
        ("brought_in", "yes"),
    ];
    let kit = keeper.press(&form, "Add the kit", &fields).await;
    kit.expect(200, "Hall tools, full")
        .expect(200, "brought in");
    let count = keeper.press(&kit, "Unpack and count", &[]).await;
    let count = keeper.press(&count, "A bag without a label", &[]).await;
    let stint = keeper.press(&count, "Start Bag without label 1", &[]).await;
    stint.expect(200, "What the kit still lacks");
    for (part, key) in [("Hex key", "All 2 here"), ("Mallet", "None here")] {
        let part = world.part(part).await;
        let line = keeper.open(&format!("{}?part={part}", stint.path)).await;
        keeper.press(&line, key, &[]).await;
    }
    let done = keeper.open(&format!("{}/done", stint.path)).await;
    keeper.press(&done, "Finish Bag without label 1", &[]).await;
    let page = keeper.open(&format!("{}/close", count.path)).await;
    page.expect(200, "2 pieces were brought in");
    keeper
        .press(&page, "Close the count", &[("more", "all")])
        .await
        .expect(200, "This count is closed");
    // What lacks is short, and nobody is written to about it.
    let shorts = keeper.open(&format!("{}/shorts", kit.path)).await;
    shorts.expect(200, "1 line short").expect(200, "Mallet");
    let mut db = world.app.db.read().await.unwrap();
    let from: Vec<(String, i64)> = sqlx::query_as(
        "select place.name, move.qty from move join place on place.id = move.from_place_id",
    )
    .fetch_all(&mut *db)
    .await
    .unwrap();
    assert_eq!(from.len(), 1);
    assert_eq!(from[0].1, 2);
    let findings = fieldstow::ledger::verify(&mut db).await.unwrap();
    assert!(findings.faults.is_empty());
}
