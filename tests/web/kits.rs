//! Kits.

use fieldstow::kits;
use fieldstow::people::Role;

use crate::support::World;

#[tokio::test]
async fn a_statement_adds_a_part_up_over_assemblies() {
    let world = World::empty().await;
    let team = world.team("Nine Larches").await;
    let (keeper, _) = world
        .account("Ama", Some((team, Role::Keeper)), false)
        .await;
    let beacon = world.beacon().await;
    let (kit, _) = world
        .kit(&beacon, keeper, team, "Kettlehorn", &["Bag 1"])
        .await;

    let mut db = world.app.db.read().await.unwrap();
    let statement = kits::statement(&mut db, kit).await.unwrap();
    let needs: Vec<(String, i64)> = statement
        .iter()
        .map(|line| (format!("{} {}", line.name, line.colour), line.facts.need))
        .collect();
    let expected = [
        ("Post grey", 4),
        ("Plate, long white", 2),
        ("Plate, short white", 2),
        ("Peg black", 20),
        ("Lamp ", 1),
        ("Shade amber", 1),
        ("Shade white", 1),
        ("Strap red", 6),
    ];
    assert_eq!(needs, expected.map(|(name, need)| (name.to_owned(), need)));
    assert!(
        statement
            .iter()
            .all(|line| line.still_to_come == line.facts.need)
    );
}

#[tokio::test]
async fn a_keeper_adds_a_kit_once_and_sees_what_it_is_checked_against() {
    let world = World::empty().await;
    let team = world.team("Nine Larches").await;
    let keeper = world.person("Ama", team, Role::Keeper).await;
    let beacon = world.beacon().await;

    let form = keeper.open("/kits/new").await;
    assert_eq!(
        form.attribute("input[name=team]", "value"),
        Some(team.to_string()),
        "one team is not asked for"
    );
    let full = format!("{}.{}", beacon.revision, beacon.full);
    let fields = [
        ("name", "Kettlehorn"),
        ("checked", full.as_str()),
        ("supplier", "Kolm Works"),
        ("serial", "KW-0042"),
        ("report_by", "2027-03-17"),
    ];
    let (action, body) = keeper.filled(&form, "Add the kit", &fields);
    let first = keeper.post_body(&action, body.clone()).await;
    let second = keeper.post_body(&action, body).await;
    assert_eq!(first.status.as_u16(), 303);
    assert_eq!(first.header("location"), second.header("location"));

    let kit = keeper.open(first.header("location").unwrap()).await;
    kit.expect(200, "Ridge Beacon, full, for Nine Larches");
    kit.expect(200, "not counted yet: 8 lines, 37 pieces to look for");
    kit.expect(200, "17 Mar 2027: 13 days left");
    kit.expect(
        200,
        "Ridge Beacon, revision 1.0, 9 Jan 2027. It is the newest",
    );
    assert_eq!(
        kit.attribute("form[action$='/counts'] input[name=purpose]", "value")
            .as_deref(),
        Some("arrival")
    );
    let mut db = world.app.db.read().await.unwrap();
    let revision = fieldstow::guides::revision(&mut db, beacon.revision)
        .await
        .unwrap()
        .unwrap();
    assert!(revision.is_sealed, "naming a revision seals it");
}

#[tokio::test]
async fn what_is_wrong_with_a_new_kit_is_told_and_what_was_typed_stays() {
    let world = World::empty().await;
    let team = world.team("Nine Larches").await;
    let keeper = world.person("Ama", team, Role::Keeper).await;

    let form = keeper.open("/kits/new").await;
    let again = keeper
        .press(
            &form,
            "Add the kit",
            &[
                ("name", " "),
                ("serial", "KW-1"),
                ("report_by", "2027-02-30"),
            ],
        )
        .await;
    again.expect(422, "Give the kit a name.");
    again.expect(422, "Choose a parts list and size, or a spares box.");
    again.expect(422, "Give the day as 2027-03-04.");
    assert_eq!(again.attribute("#serial", "value").as_deref(), Some("KW-1"));
    assert_eq!(
        again.attribute("#report_by", "value").as_deref(),
        Some("2027-02-30")
    );
    assert!(again.text_of("title").starts_with("Error: "));

    let spares = keeper
        .press(
            &again,
            "Add the kit",
            &[("name", "Odds"), ("checked", "spares"), ("report_by", "")],
        )
        .await;
    spares.expect(200, "a spares box, checked against nothing");
    let form = keeper.open("/kits/new").await;
    keeper
        .press(
            &form,
            "Add the kit",
            &[("name", "ODDS"), ("checked", "spares")],
        )
        .await
        .expect(422, "Your team has a kit called “Odds” already.");
}

#[tokio::test]
async fn two_who_change_one_kit_lose_no_word() {
    let world = World::empty().await;
    let team = world.team("Nine Larches").await;
    let (person, keeper) = world
        .account("Ama", Some((team, Role::Keeper)), false)
        .await;
    let deputy = world.person("Eli", team, Role::Deputy).await;
    let beacon = world.beacon().await;
    let (kit, _) = world.kit(&beacon, person, team, "Kettlehorn", &[]).await;

    let path = format!("/kits/{kit}/edit");
    let mine = keeper.open(&path).await;
    let theirs = deputy.open(&path).await;
    deputy
        .press(&theirs, "Save", &[("note", "Box 2 came wet.")])
        .await
        .expect(200, "Box 2 came wet.");
    let conflict = keeper
        .press(
            &mine,
            "Save",
            &[("note", "One strap is spare."), ("serial", "KW-43")],
        )
        .await;
    conflict.expect(422, "Somebody else changed this kit while you wrote.");
    assert_eq!(
        conflict.row("Note").unwrap(),
        ["Note", "Box 2 came wet.", "One strap is spare."]
    );
    assert_eq!(
        conflict.row("Serial number").unwrap(),
        ["Serial number", "KW-0042", "KW-43"]
    );
    let nothing = keeper.open(&format!("/kits/{kit}")).await;
    nothing.expect(200, "KW-0042");

    let both = "Box 2 came wet. One strap is spare.";
    let saved = keeper.press(&conflict, "Save", &[("note", both)]).await;
    saved.expect(200, both);
    saved.expect(200, "KW-43");
}

#[tokio::test]
async fn a_kit_is_put_away_and_brought_back() {
    let world = World::empty().await;
    let team = world.team("Nine Larches").await;
    let (person, keeper) = world
        .account("Ama", Some((team, Role::Keeper)), false)
        .await;
    let beacon = world.beacon().await;
    let (kit, _) = world.kit(&beacon, person, team, "Kettlehorn", &[]).await;

    let page = keeper.open(&format!("/kits/{kit}")).await;
    let away = keeper.press(&page, "Put away", &[]).await;
    assert!(away.told().starts_with("Put away."));
    assert!(
        away.attribute("form[action$='/counts']", "action")
            .is_none()
    );
    keeper
        .open("/kits")
        .await
        .expect(200, "Put away: Kettlehorn");
    let back = keeper.press(&away, "Bring back", &[]).await;
    assert_eq!(back.told(), "Brought back.");
    assert!(
        back.attribute("form[action$='/counts']", "action")
            .is_some()
    );
}

#[tokio::test]
async fn other_teams_see_name_size_and_good_pieces_only() {
    let world = World::empty().await;
    let larches = world.team("Nine Larches").await;
    let quern = world.team("Upper Quern").await;
    let (person, keeper) = world
        .account("Ama", Some((larches, Role::Keeper)), false)
        .await;
    let other = world.person("Oru", quern, Role::Keeper).await;
    let crew = world.person("Bo", larches, Role::Crew).await;
    let coordinator = world.coordinator("Mar").await;
    let beacon = world.beacon().await;
    let (kit, bags) = world
        .kit(&beacon, person, larches, "Kettlehorn", &["Bag 1"])
        .await;
    let peg = world.part("Peg").await;
    world
        .delivered(kit, person, &[(bags[0], peg, 13)], true)
        .await;

    let list = other.open("/kits").await;
    assert_eq!(
        list.row("Kettlehorn").unwrap(),
        [
            "Kettlehorn Ask for it : Kettlehorn",
            "Nine Larches",
            "Ridge Beacon, full",
            "13",
        ]
    );
    assert_eq!(list.link("Kettlehorn"), None);
    assert!(list.link("Ask for it : Kettlehorn").is_some());
    assert!(!list.has("Kolm Works") && !list.has("KW-0042"));
    assert!(
        other
            .open("/kits?q=larch")
            .await
            .row("Kettlehorn")
            .is_some()
    );
    other
        .open("/kits?q=nobody")
        .await
        .expect(200, "No kit of another team fits “nobody”.");
    for below in [
        "",
        "/parts",
        "/parts.csv",
        "/shorts",
        "/report",
        "/report.csv",
        "/edit",
    ] {
        let page = other.open(&format!("/kits/{kit}{below}")).await;
        assert_eq!(page.status.as_u16(), 403, "{below}");
    }
    let own = keeper.open("/kits").await;
    assert!(
        own.row("Kettlehorn").is_none(),
        "own kits are not among the others'"
    );
    assert!(coordinator.open("/kits").await.link("Kettlehorn").is_some());
    coordinator
        .open(&format!("/kits/{kit}"))
        .await
        .expect(200, "Kettlehorn");

    crew.open(&format!("/kits/{kit}"))
        .await
        .expect(200, "Go on unpacking and counting");
    for below in ["/edit", "/packing-slip"] {
        let page = crew.open(&format!("/kits/{kit}{below}")).await;
        assert_eq!(page.status.as_u16(), 403, "{below}");
    }
    crew.open("/kits/new")
        .await
        .expect(403, "keepers and deputies");
}
