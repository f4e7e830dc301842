//! Packing slips.

use fieldstow::ids::{KitId, PlaceId};
use fieldstow::people::Role;
use fieldstow::places;

use crate::support::{Browser, World};

const SLIP: &str = "Box,Bag,Number,Colour,Quantity\n\
    Box 1,Bag 1,B-1,grey,4\n\
    Box 1,Bag 1,B-4,black,12\n\
    Box 2,Bag 2,B-4,black,8\n\
    Box 2,Bag 2,B-6,,2\n\
    Box 2,Bag 2,B-99,red,1\n\
    ,Loose,B-7,red,5\n";

async fn kit(world: &World) -> (Browser<'_>, KitId, PlaceId) {
    let team = world.team("Nine Larches").await;
    let (person, keeper) = world
        .account("Ama", Some((team, Role::Keeper)), false)
        .await;
    let beacon = world.beacon().await;
    let (kit, bags) = world
        .kit(&beacon, person, team, "Kettlehorn", &["bag 1"])
        .await;
    (keeper, kit, bags[0])
}

async fn standing(world: &World, kit: KitId) -> Vec<String> {
    let mut db = world.app.db.read().await.unwrap();
    let all = places::in_kit(&mut db, kit).await.unwrap();
    let mut found: Vec<String> = all
        .iter()
        .map(|place| {
            let above = all.iter().find(|other| Some(other.id) == place.parent);
            let above = above.map_or("nowhere", |above| above.name.as_str());
            format!("{} {} in {above}", place.kind.word(), place.name)
        })
        .collect();
    found.sort();
    found
}

async fn planned(world: &World, kit: KitId) -> Vec<(String, String, i64)> {
    let mut db = world.app.db.read().await.unwrap();
    sqlx::query_as(
        "select place.name, part.number, packing_line.qty
        from place
        join packing_line on packing_line.place_id = place.id
        join part on part.id = packing_line.part_id
        where place.kit_id = $1
        order by lower(place.name), packing_line.position",
    )
    .bind(kit)
    .fetch_all(&mut *db)
    .await
    .unwrap()
}

#[tokio::test]
async fn a_slip_is_looked_through_and_then_makes_boxes_and_bags() {
    let world = World::empty().await;
    let (keeper, kit, bag_1) = kit(&world).await;

    let form = keeper.open(&format!("/kits/{kit}/packing-slip")).await;
    let preview = keeper
        .press(&form, "Look through it", &[("text", SLIP)])
        .await;
    preview.expect(200, "It comes to 2 boxes, 3 bags, 4 lines");
    preview.expect(200, "Line 5: The parts list has B-6 in amber, white.");
    preview.expect(200, "Line 6: The parts list has no part B-99.");
    assert_eq!(preview.row("Strap").unwrap()[1..], ["6", "5"]);
    assert_eq!(preview.row("Lamp").unwrap()[1..], ["1", "0"]);
    assert!(
        preview.row("Peg").is_none(),
        "20 pegs are what the kit needs"
    );
    assert_eq!(standing(&world, kit).await, ["bag bag 1 in nowhere"]);

    let refused = keeper.press(&preview, "Make the bags", &[]).await;
    refused.expect(422, "say that they are to be left out");
    assert!(planned(&world, kit).await.is_empty());
    let done = keeper
        .press(&refused, "Make the bags", &[("leave_out", "yes")])
        .await;
    assert_eq!(done.told(), "3 bags are packed by the slip.");
    assert_eq!(
        standing(&world, kit).await,
        [
            "bag Bag 2 in Box 2",
            "bag Loose in nowhere",
            "bag bag 1 in Box 1",
            "box Box 1 in nowhere",
            "box Box 2 in nowhere",
        ]
    );
    let expected = [
        ("bag 1", "B-1", 4),
        ("bag 1", "B-4", 12),
        ("Bag 2", "B-4", 8),
        ("Loose", "B-7", 5),
    ]
    .map(|(bag, part, qty)| (bag.to_owned(), part.to_owned(), qty));
    assert_eq!(planned(&world, kit).await, expected);
    let mut db = world.app.db.read().await.unwrap();
    let kept = places::find(&mut db, bag_1).await.unwrap().unwrap();
    assert_eq!(kept.name, "bag 1", "the bag that was there keeps its code");
    drop(db);

    let peg = world.part("Peg").await;
    let part = keeper.open(&format!("/kits/{kit}/parts/{peg}")).await;
    assert_eq!(
        part.row("bag 1").unwrap()[1..],
        ["none", "12", "not counted"]
    );
}

#[tokio::test]
async fn a_slip_can_be_written_again_until_counting_begins() {
    let world = World::empty().await;
    let (keeper, kit, bag_1) = kit(&world).await;
    let path = format!("/kits/{kit}/packing-slip");
    let write = async |text: &str| {
        let form = keeper.open(&path).await;
        let preview = keeper
            .press(&form, "Look through it", &[("text", text)])
            .await;
        keeper.press(&preview, "Make the bags", &[]).await
    };
    write("box,bag,number,quantity\nBox 1,Bag 1,B-4,12\nBox 1,Bag 2,B-4,8\n")
        .await
        .expect(200, "2 bags are packed");
    let form = keeper.open(&path).await;
    let second = "bag;quantity;number;box\nBag 1;20;B-4;Box 2\n";
    let preview = keeper
        .press(&form, "Look through it", &[("text", second)])
        .await;
    preview.expect(200, "expected to hold nothing: Bag 2.");
    let (action, body) = keeper.filled(&preview, "Make the bags", &[]);
    let first = keeper.post_body(&action, body.clone()).await;
    let again = keeper.post_body(&action, body).await;
    assert_eq!(first.status.as_u16(), 303);
    assert_eq!(again.header("location"), first.header("location"));
    assert_eq!(
        standing(&world, kit).await,
        [
            "bag Bag 2 in Box 1",
            "bag bag 1 in Box 2",
            "box Box 1 in nowhere",
            "box Box 2 in nowhere",
        ]
    );
    assert_eq!(
        planned(&world, kit).await,
        [("bag 1".to_owned(), "B-4".to_owned(), 20)]
    );

    let preview = keeper
        .press(
            &keeper.open(&path).await,
            "Look through it",
            &[("text", second)],
        )
        .await;
    let peg = world.part("Peg").await;
    let mut db = world.app.db.read().await.unwrap();
    let person = sqlx::query_scalar("select id from person limit 1")
        .fetch_one(&mut *db)
        .await
        .unwrap();
    drop(db);
    world
        .delivered(kit, person, &[(bag_1, peg, 0)], false)
        .await;
    keeper
        .press(&preview, "Make the bags", &[])
        .await
        .expect(422, "Counting has begun in this kit's bags");
    let closed = keeper.open(&path).await;
    closed.expect(200, "so the slip stays as it is");
    assert!(closed.attribute("textarea", "name").is_none());
}

#[tokio::test]
async fn a_slip_comes_from_a_file_too() {
    let world = World::empty().await;
    let (keeper, kit, _) = kit(&world).await;
    let path = format!("/kits/{kit}/packing-slip");
    keeper
        .press(
            &keeper.open(&path).await,
            "Look through it",
            &[("text", "Bag 1 has twelve pegs")],
        )
        .await
        .expect(422, "Bag 1 has twelve pegs");

    let upload = async |bytes: &[u8]| {
        let form = keeper.open(&path).await;
        keeper
            .upload(&form, "Read the file", Some(("slip.csv", bytes)), &[])
            .await
    };
    let preview = upload(SLIP.as_bytes()).await;
    preview.expect(200, "It comes to 2 boxes, 3 bags, 4 lines");
    keeper
        .press(&preview, "Make the bags", &[("leave_out", "yes")])
        .await
        .expect(200, "3 bags are packed by the slip.");
    upload(b"%PDF-1.7 x")
        .await
        .expect(422, "It looks like a PDF");
    upload(&vec![b'x'; 300 * 1024]).await.expect(422, "256 KiB");
}
