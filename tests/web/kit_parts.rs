//! The parts of a kit: the whole list, and one part.

use fieldstow::ids::{KitId, PlaceId};
use fieldstow::people::Role;

use crate::support::{Browser, World};

/// A kit with two bags: pegs in both, one post lacking, one long plate over.
async fn counted(world: &World) -> (Browser<'_>, KitId, Vec<PlaceId>) {
    let team = world.team("Nine Larches").await;
    let (person, keeper) = world
        .account("Ama", Some((team, Role::Keeper)), false)
        .await;
    let beacon = world.beacon().await;
    let (kit, bags) = world
        .kit(&beacon, person, team, "Kettlehorn", &["Bag 1", "Bag 2"])
        .await;
    let peg = world.part("Peg").await;
    let found = [
        (bags[0], peg, 12),
        (bags[1], peg, 8),
        (bags[0], world.part("Post").await, 3),
        (bags[1], world.part("Plate, long").await, 3),
        (bags[1], world.part("Lamp").await, 0),
    ];
    world.delivered(kit, person, &found, false).await;
    (keeper, kit, bags)
}

#[tokio::test]
async fn the_parts_of_a_kit_are_filtered_in_the_address() {
    let world = World::empty().await;
    let (keeper, kit, _) = counted(&world).await;

    let path = format!("/kits/{kit}/parts");
    let all = keeper.open(&path).await;
    assert_eq!(all.text_of("h1"), "8 parts in Kettlehorn");
    all.expect(200, "2 of 8 lines all here, 2 short, 4 not counted, 1 over");
    let words = |part: &str| all.row(part).unwrap().join(" | ");
    assert!(
        words("Peg").contains("| 20 | 20 | all here |"),
        "{}",
        words("Peg")
    );
    assert!(words("Post").contains("| 4 | 3 | 1 short |"));
    assert!(words("Plate, long").contains("| 2 | 3 | 1 over |"));
    assert!(words("Lamp").contains("| 1 | 0 | 1 short |"));
    assert!(words("Strap").contains("| 6 | – not counted | not counted |"));
    let peg = world.part("Peg").await;
    assert_eq!(
        all.link("20"),
        Some(format!("/history?kit={kit}&part={peg}"))
    );

    let short = keeper.open(&format!("{path}?only=short")).await;
    assert_eq!(short.text_of("h1"), "2 of 8 parts in Kettlehorn");
    let white = keeper.open(&format!("{path}?colour=white&q=plate")).await;
    assert_eq!(white.text_of("h1"), "2 of 8 parts in Kettlehorn");
    assert_eq!(
        white.link("Leave out white"),
        Some(format!("{path}?q=plate"))
    );
    let assembly = all
        .document()
        .select(&scraper::Selector::parse("#assembly option").unwrap())
        .find(|option| option.text().collect::<String>() == "Gate")
        .and_then(|option| option.value().attr("value").map(str::to_owned))
        .unwrap();
    let gate = keeper.open(&format!("{path}?assembly={assembly}")).await;
    assert_eq!(gate.text_of("h1"), "4 of 8 parts in Kettlehorn");
    let odd = keeper
        .open(&format!("{path}?only=everything&colour=pink"))
        .await;
    assert_eq!(odd.text_of("h1"), "8 parts in Kettlehorn");
    odd.expect(
        200,
        "“everything” is no choice here. That choice was left out.",
    );
    odd.expect(200, "Nothing in this kit is pink.");

    let file = keeper.open(&format!("{path}.csv")).await;
    assert_eq!(file.header("content-type"), Some("text/csv; charset=utf-8"));
    let text = file.html();
    assert!(
        text.contains("B-4,Peg,black,,20,20,0,0,0,yes,0,0,0\n"),
        "{text}"
    );
    assert!(
        text.contains("B-7,Strap,red,,6,0,0,0,0,no,0,0,0\n"),
        "{text}"
    );
}

#[tokio::test]
async fn a_part_shows_why_so_many_are_needed_and_where_they_are() {
    let world = World::empty().await;
    let (keeper, kit, bags) = counted(&world).await;

    let parts = keeper.open(&format!("/kits/{kit}/parts")).await;
    let peg = keeper.click(&parts, "Peg").await;
    peg.expect(200, "1 × Beacon, 8 in each: 8");
    peg.expect(200, "2 × Gate, 6 in each: 12");
    assert_eq!(
        peg.row("Bag 1").unwrap()[1..],
        ["12 good", "", "4 Mar 2027, 18:00"]
    );
    assert_eq!(peg.link("Bag 2"), Some(format!("/places/{}", bags[1])));

    let strap = keeper.click(&parts, "Strap").await;
    strap.expect(200, "for all 2 of Gate together: 6");
    strap.expect(200, "In no bag, and no packing slip names it.");
    let amber = world.part_in("Shade", "amber").await;
    let shade = keeper.open(&format!("/kits/{kit}/parts/{amber}")).await;
    shade.expect(200, "1 × Beacon → 1 × Lantern, 1 in each: 1");
    shade.expect(200, "B-6 · white · same number, other colour");
    let stranger = fieldstow::ids::PartId::new();
    assert_eq!(
        keeper
            .open(&format!("/kits/{kit}/parts/{stranger}"))
            .await
            .status
            .as_u16(),
        404
    );
}

#[tokio::test]
async fn the_statement_is_read_by_index() {
    let world = World::empty().await;
    let (_, kit, _) = counted(&world).await;
    let source = include_str!("../../src/kits/store.rs");
    let from = source.find("with recursive lent (id) as (").unwrap();
    let to = from + source[from..].find("\"#").unwrap();
    // The hints of sqlx stand in quotation marks behind `as`; SQLite reads them as names.
    let query = format!("explain query plan {}", &source[from..to]);
    let mut db = world.app.db.read().await.unwrap();
    let plan: Vec<(i64, i64, i64, String)> = sqlx::query_as(sqlx::AssertSqlSafe(query))
        .bind(kit)
        .bind(fieldstow::ledger::Outside::Missing.place())
        .fetch_all(&mut *db)
        .await
        .unwrap();
    let steps: Vec<&str> = plan.iter().map(|(.., step)| step.as_str()).collect();
    for table in ["balance", "need", "kit", "part"] {
        assert!(
            steps
                .iter()
                .any(|step| step.starts_with(&format!("SEARCH {table} USING"))),
            "{table}: {steps:#?}"
        );
        assert!(
            !steps.iter().any(|step| *step == format!("SCAN {table}")),
            "{table}: {steps:#?}"
        );
    }
}
