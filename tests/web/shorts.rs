//! What is short, where to look first, and the report to the supplier.

use fieldstow::ids::{KitId, PartId, PersonId, PlaceId};
use fieldstow::people::Role;

use crate::support::{Browser, World};

struct Scene<'w> {
    keeper: Browser<'w>,
    person: PersonId,
    kit: KitId,
    bags: Vec<PlaceId>,
}

async fn scene(world: &World) -> Scene<'_> {
    let team = world.team("Nine Larches").await;
    let (person, keeper) = world
        .account("Ama", Some((team, Role::Keeper)), false)
        .await;
    let beacon = world.beacon().await;
    let (kit, bags) = world
        .kit(
            &beacon,
            person,
            team,
            "Kettlehorn",
            &["Bag 1", "Bag 2", "Bag 3"],
        )
        .await;
    let slip = "bag,number,colour,quantity\n\
        Bag 1,B-4,black,8\n\
        Bag 2,B-4,black,7\n\
        Bag 3,B-4,black,5\n\
        Bag 1,B-6,amber,1\n\
        Bag 1,B-6,white,1\n";
    let form = keeper.open(&format!("/kits/{kit}/packing-slip")).await;
    let preview = keeper
        .press(&form, "Look through it", &[("text", slip)])
        .await;
    keeper.press(&preview, "Make the bags", &[]).await;
    Scene {
        keeper,
        person,
        kit,
        bags,
    }
}

/// Everything that is not on the slip, all here.
async fn the_rest(world: &World, bag: PlaceId) -> Vec<(PlaceId, PartId, i64)> {
    let mut found = Vec::new();
    for (name, qty) in [
        ("Post", 4),
        ("Plate, long", 2),
        ("Plate, short", 2),
        ("Lamp", 1),
        ("Strap", 6),
    ] {
        found.push((bag, world.part(name).await, qty));
    }
    found
}

#[tokio::test]
async fn a_short_line_says_where_to_look_first() {
    let world = World::empty().await;
    let Scene {
        keeper,
        person,
        kit,
        bags,
    } = scene(&world).await;
    let peg = world.part("Peg").await;
    let amber = world.part_in("Shade", "amber").await;
    let white = world.part_in("Shade", "white").await;
    let mut tx = world.app.db.begin_write().await.unwrap();
    sqlx::query("update part set how_to_know = 'Colour under film: peel a corner' where id = $1")
        .bind(amber)
        .execute(&mut *tx)
        .await
        .unwrap();
    tx.commit().await.unwrap();
    let mut found = the_rest(&world, bags[0]).await;
    found.extend([
        (bags[0], peg, 6),
        (bags[1], peg, 7),
        (bags[0], amber, 0),
        (bags[0], white, 2),
    ]);
    world.delivered(kit, person, &found, false).await;

    let page = keeper.open(&format!("/kits/{kit}/shorts")).await;
    assert_eq!(page.text_of("h1"), "2 lines short, 1 over in Kettlehorn");
    let sections = page.texts_of("section[id^=look] h2");
    assert_eq!(sections, ["Peg, black: 7 short", "Shade, amber: 1 short"]);
    assert_eq!(
        page.texts_of("#look-1 .look-first li"),
        [
            "Bag 3 not counted yet: should hold 5",
            "Bag 1 should hold 8, counted 6",
            "Bag 2 should hold 7, counted 7",
            "Beacon takes 8: is it built already?",
            "Gate takes 6: is it built already?",
        ]
    );
    assert_eq!(
        page.texts_of("#look-2 .look-first li"),
        [
            "Looks alike: Shade (B-6, white), 1 over in Bag 1; same number, other colour, and film \
             hides the colour",
            "Bag 1 should hold 1, counted 0",
            "Its colour hides under film: Colour under film: peel a corner",
            "Lantern takes 1: is it built already?",
        ]
    );
    // Nothing is netted: the white shade is over and the amber one short.
    assert_eq!(page.row("Shade B-6 · white").unwrap()[3], "1 over");
    assert_eq!(page.row("Shade B-6 · amber").unwrap()[3], "1 short");
    assert_eq!(
        page.attribute("form[action$='/counts'] input[name=purpose]", "value")
            .as_deref(),
        Some("recount")
    );
}

#[tokio::test]
async fn what_is_still_to_come_is_not_called_short() {
    let world = World::empty().await;
    let Scene {
        keeper,
        person,
        kit,
        bags,
    } = scene(&world).await;
    let before = keeper.open(&format!("/kits/{kit}/shorts")).await;
    before.expect(200, "No count is closed yet, so nothing is called short.");
    let peg = world.part("Peg").await;
    world
        .delivered(kit, person, &[(bags[0], peg, 6)], true)
        .await;

    let page = keeper.open(&format!("/kits/{kit}/shorts")).await;
    assert_eq!(page.text_of("h1"), "0 lines short, 0 over in Kettlehorn");
    assert_eq!(
        page.row("Peg").unwrap()[1..],
        ["20", "6", "14 still to come"]
    );
    assert!(page.texts_of(".mark.short").is_empty());

    let report = keeper.open(&format!("/kits/{kit}/report")).await;
    report.expect(
        200,
        "More of the delivery is still to come: 8 lines are left out.",
    );
    assert_eq!(
        keeper
            .open(&format!("/kits/{kit}/report.csv"))
            .await
            .html()
            .lines()
            .count(),
        1
    );
}

#[tokio::test]
async fn another_kit_of_the_team_may_have_too_many() {
    let world = World::empty().await;
    let Scene {
        keeper,
        person,
        kit,
        bags,
    } = scene(&world).await;
    let peg = world.part("Peg").await;
    let mut found = the_rest(&world, bags[0]).await;
    found.push((bags[2], peg, 5));
    found.push((bags[1], peg, 7));
    found.push((bags[0], peg, 7));
    world.delivered(kit, person, &found, false).await;
    let form = keeper.open("/kits/new").await;
    let odds = keeper
        .press(
            &form,
            "Add the kit",
            &[("name", "Odds"), ("checked", "spares")],
        )
        .await;
    let odds_id: KitId = odds
        .attribute("form[action$='/put-away']", "action")
        .and_then(|action| action.split('/').nth(2)?.parse().ok())
        .unwrap();
    world
        .delivered(odds_id, person, &[(bags[0], peg, 3)], false)
        .await;

    let page = keeper.open(&format!("/kits/{kit}/shorts")).await;
    let last = page.texts_of("#look-1 .look-first li").pop();
    assert_eq!(
        last.as_deref(),
        Some("Odds another kit of the team, has 3 more than it needs")
    );
    assert_eq!(page.row("Peg").unwrap()[1..], ["20", "19", "1 short"]);
}

#[tokio::test]
async fn the_report_waits_for_a_count_and_then_says_the_same_three_ways() {
    let world = World::empty().await;
    let Scene {
        keeper,
        person,
        kit,
        bags,
    } = scene(&world).await;
    let early = keeper.open(&format!("/kits/{kit}/report")).await;
    early.expect(
        200,
        "Nothing was counted yet, so there is nothing to report.",
    );
    assert!(early.attribute("section.page", "class").is_none());
    for ending in ["txt", "csv"] {
        let sent = keeper
            .open_with(&format!("/kits/{kit}/report.{ending}"), &[])
            .await;
        assert_eq!(sent.status.as_u16(), 303);
    }

    let peg = world.part("Peg").await;
    let amber = world.part_in("Shade", "amber").await;
    let mut found = the_rest(&world, bags[0]).await;
    found[1].2 = 3;
    found.extend([(bags[0], peg, 6), (bags[1], peg, 7), (bags[0], amber, 0)]);
    world.delivered(kit, person, &found, false).await;
    let form = keeper.open(&format!("/kits/{kit}/edit")).await;
    keeper
        .press(&form, "Save", &[("report_by", "2027-03-03")])
        .await
        .expect(200, "that was yesterday");

    let report = keeper.open(&format!("/kits/{kit}/report")).await;
    assert_eq!(report.text_of(".head .status"), "2 lines short, 1 over.");
    report.expect(
        200,
        "1 line was not counted at all and 1 in single bags; what nobody counted is not reported as \
         short.",
    );
    report.expect(
        200,
        "Shorts could be reported until 3 Mar 2027. That day has passed",
    );
    for fact in [
        "Date 4 Mar 2027, counted on 4 Mar 2027",
        "From Nine Larches",
        "To Kolm Works",
        "Kit Kettlehorn, serial number KW-0042",
        "Purchase P-77, received on 3 Mar 2027",
        "Parts list Ridge Beacon, full, revision 1.0 of 9 Jan 2027",
    ] {
        assert!(report.text_of("section.page").contains(fact), "{fact}");
    }
    report.expect(200, "sheet 1 of 1");
    assert_eq!(
        report.row("Peg").unwrap(),
        ["Peg", "B-4", "black", "20", "13", "7"]
    );
    assert_eq!(
        report.texts_of("caption"),
        [
            "Short: 2 in all; nothing is set off against anything else",
            "Over: 1 in all",
        ]
    );
    let text = keeper.open(&format!("/kits/{kit}/report.txt")).await.html();
    assert!(
        text.contains("- B-4 Peg, black: need 20, received 13, 7 short\n"),
        "{text}"
    );
    assert!(text.contains("- B-2 Plate, long, white: need 2, received 3, 1 over\n"));
    assert!(
        !text.contains("Shade, white"),
        "nobody counted the white shade: {text}"
    );
    let shown: String = report.text_of("#report-text");
    assert_eq!(shown, text.split_whitespace().collect::<Vec<_>>().join(" "));
    let table = keeper.open(&format!("/kits/{kit}/report.csv")).await.html();
    assert!(table.contains("B-4,Peg,black,20,13,0,7,0\n"), "{table}");
    assert!(table.contains("B-2,\"Plate, long\",white,2,3,0,0,1\n"));
}

#[tokio::test]
async fn the_report_names_a_newer_revision() {
    let world = World::empty().await;
    let Scene {
        keeper,
        person,
        kit,
        bags,
    } = scene(&world).await;
    let peg = world.part("Peg").await;
    world
        .delivered(kit, person, &[(bags[0], peg, 20)], false)
        .await;
    let mut tx = world.app.db.begin_write().await.unwrap();
    let guide = sqlx::query_scalar("select id from guide")
        .fetch_one(&mut *tx)
        .await
        .unwrap();
    let new = fieldstow::guides::NewRevision {
        id: fieldstow::ids::RevisionId::new(),
        guide,
        label: "1.1",
        issued_on: "2027-02-20".parse().unwrap(),
    };
    fieldstow::guides::add_revision(&mut tx, new).await.unwrap();
    tx.commit().await.unwrap();

    keeper.open(&format!("/kits/{kit}/report")).await.expect(
        200,
        "The kit is checked against revision 1.0; the newest is 1.1 of 20 Feb 2027.",
    );
    keeper
        .open(&format!("/kits/{kit}"))
        .await
        .expect(200, "Revision 1.1 of 20 Feb 2027 is newer");
}
