//! What members tell, and what the keeper decides.

use super::{states, stocked};
use crate::support::World;

#[tokio::test]
async fn a_broken_part_is_recorded_by_its_name_alone() {
    let world = World::empty().await;
    let stock = stocked(&world).await;
    let slip = stock.tell(&[("part", "peg")]).await;
    slip.expect(200, "1 Peg, black (B-4) broken")
        .expect(200, "1 piece is broken and waits for a decision.")
        .expect(200, "Kettlehorn is now 1 short of it. It goes into");
    assert_eq!(slip.told(), "Recorded.");
    assert_eq!(
        stock.states("Peg").await,
        states(&[("broken", 1), ("good", 19)])
    );
    world.verify().await;
}

#[tokio::test]
async fn where_several_fit_one_press_more_says_which() {
    let world = World::empty().await;
    let stock = stocked(&world).await;
    world
        .receive(stock.ama, stock.kit, stock.krate, &[("Peg", 2)])
        .await;
    let again = stock
        .tell(&[("part", "peg"), ("qty", "2"), ("note", "under a boot")])
        .await;
    again.expect(422, "several fit; choose which one below");
    let code = world.code(stock.krate.0).await;
    let there = format!("Peg, black (B-4): 2 in crate Ridge ({code}), nowhere yet, kit Kettlehorn");
    let slip = stock.keeper.press(&again, &there, &[]).await;
    slip.expect(200, "2 Peg, black (B-4) broken")
        .expect(200, "under a boot")
        .expect(200, &format!("in crate Ridge ({code})"));
    world.verify().await;
}

#[tokio::test]
async fn what_cannot_be_is_refused_and_nothing_typed_is_lost() {
    let world = World::empty().await;
    let stock = stocked(&world).await;
    for (fields, sentence) in [
        (vec![("part", "")], "say what it is about"),
        (
            vec![("part", "wheel")],
            "nothing of that name is in your kits",
        ),
        (
            vec![("part", "peg"), ("qty", "21")],
            "only 20 of them are in use there",
        ),
        (vec![("part", "peg"), ("qty", "0")], "write 1 or more"),
        (vec![("part", "peg"), ("code", "7K3")], "six characters"),
        (
            vec![("part", "peg"), ("code", &world.code(stock.krate.0).await)],
            "nothing of that name is in there by the books",
        ),
    ] {
        let mut fields = fields;
        fields.push(("event", "Pass Day"));
        let again = stock.tell(&fields).await;
        again.expect(422, sentence);
        assert_eq!(
            again.attribute("#event", "value").as_deref(),
            Some("Pass Day")
        );
    }
    assert_eq!(stock.states("Peg").await, states(&[("good", 20)]));
}

#[tokio::test]
async fn the_keeper_decides_and_takes_back() {
    let world = World::empty().await;
    let stock = stocked(&world).await;
    let slip = stock.tell(&[("part", "peg"), ("qty", "3")]).await;
    let slip = stock
        .keeper
        .press(&slip, "Decide so", &[("kind", "mended"), ("qty", "1")])
        .await;
    slip.expect(200, "2 pieces are broken and wait for a decision.");
    let refused = stock
        .keeper
        .press(&slip, "Decide so", &[("kind", "written off"), ("qty", "2")])
        .await;
    refused.expect(422, "write a word why");
    let refused = stock
        .keeper
        .press(&slip, "Decide so", &[("kind", "mended"), ("qty", "3")])
        .await;
    refused.expect(422, "only 2 of it waits for a decision");
    let slip = stock
        .keeper
        .press(
            &slip,
            "Decide so",
            &[("kind", "written off"), ("qty", "2"), ("why", "in two")],
        )
        .await;
    slip.expect(200, "Settled.").expect(200, "in two");
    assert_eq!(stock.states("Peg").await, states(&[("good", 18)]));
    world.verify().await;

    let button = slip
        .document()
        .select(&scraper::Selector::parse("button[aria-label*='wrote 2 off']").unwrap())
        .next()
        .and_then(|found| found.value().attr("aria-label").map(str::to_owned))
        .expect("it can be taken back");
    let slip = stock.keeper.press(&slip, &button, &[]).await;
    slip.expect(200, "2 pieces are broken and wait for a decision.")
        .expect(200, "(taken back)");
    assert_eq!(
        stock.states("Peg").await,
        states(&[("broken", 2), ("good", 18)])
    );
    world.verify().await;
}

#[tokio::test]
async fn a_spare_takes_the_broken_ones_place() {
    let world = World::empty().await;
    let stock = stocked(&world).await;
    world
        .receive(stock.ama, stock.kit, stock.krate, &[("Peg", 1)])
        .await;
    let again = stock.tell(&[("part", "peg")]).await;
    let code = world.code(stock.bag.0).await;
    let there = format!("Peg, black (B-4): 20 in Bag 1 ({code}), nowhere yet, kit Kettlehorn");
    let slip = stock.keeper.press(&again, &there, &[]).await;
    let slip = stock.keeper.press(&slip, "Take it", &[]).await;
    slip.expect(200, "used 1 spare")
        .expect(200, "1 piece is broken and waits for a decision.");
    let mut db = world.app.db.read().await.unwrap();
    let in_bag: i64 =
        sqlx::query_scalar("select sum(qty) from balance where place_id = $1 and state = 'good'")
            .bind(stock.bag)
            .fetch_one(&mut *db)
            .await
            .unwrap();
    drop(db);
    assert_eq!(in_bag, 20);
    world.verify().await;
}

#[tokio::test]
async fn a_lost_piece_is_missing_only_when_the_keeper_says_so_and_comes_home() {
    let world = World::empty().await;
    let stock = stocked(&world).await;
    let slip = stock.tell(&[("part", "post"), ("what", "lost")]).await;
    slip.expect(200, "1 Post")
        .expect(200, "1 piece is being looked for.");
    assert_eq!(stock.states("Post").await, states(&[("good", 4)]));
    let slip = stock
        .keeper
        .press(&slip, "Decide so", &[("kind", "missing")])
        .await;
    slip.expect(200, "Settled.");
    assert_eq!(stock.states("Post").await, states(&[("good", 3)]));

    let code = world.code(stock.bag.0).await;
    let found = stock
        .tell(&[("part", "post"), ("what", "found"), ("code", &code)])
        .await;
    found.expect(200, "Found, and back in its place.");
    assert_eq!(stock.states("Post").await, states(&[("good", 4)]));
    let mut db = world.app.db.read().await.unwrap();
    let missing: i64 = sqlx::query_scalar(
        "select coalesce(sum(balance.qty), 0) from balance join place on place.id = balance.place_id \
         where balance.kit_id = $1 and place.name = 'missing'",
    )
    .bind(stock.kit)
    .fetch_one(&mut *db)
    .await
    .unwrap();
    drop(db);
    assert_eq!(missing, 0);
    world.verify().await;
}

#[tokio::test]
async fn a_found_piece_goes_home_to_the_kit_that_misses_one() {
    let world = World::empty().await;
    let stock = stocked(&world).await;
    let (second, bags) = world
        .kit(
            &stock.beacon,
            stock.ama,
            stock.team,
            "Old Needle",
            &["Bag 9"],
        )
        .await;
    world
        .receive(stock.ama, second, bags[0], &[("Peg", 9)])
        .await;
    // One of the first kit's pegs and two of the second's are signed off as missing.
    for (code, qty) in [
        (world.code(stock.bag.0).await, "1"),
        (world.code(bags[0].0).await, "2"),
    ] {
        let slip = stock
            .tell(&[
                ("part", "peg"),
                ("what", "lost"),
                ("qty", qty),
                ("code", &code),
            ])
            .await;
        let fields = [("kind", "missing"), ("qty", qty)];
        let fields = if qty == "1" { &fields[..1] } else { &fields };
        let slip = stock.keeper.press(&slip, "Decide so", fields).await;
        slip.expect(200, "Settled.");
    }
    assert_eq!(stock.states("Peg").await, states(&[("good", 19)]));

    // Found nobody says where: both kits that lack one are offered, and one press decides.
    let which = stock.tell(&[("part", "peg"), ("what", "found")]).await;
    which.expect(422, "several fit; choose which one below");
    let code = world.code(stock.bag.0).await;
    let home = format!(
        "Peg, black (B-4): 1 missing from kit Kettlehorn, belongs in Bag 1 ({code}), nowhere yet"
    );
    let found = stock.keeper.press(&which, &home, &[]).await;
    found.expect(200, "Found, and back in its place.");
    assert_eq!(stock.states("Peg").await, states(&[("good", 20)]));

    // The next one can only be the other kit's.
    let found = stock.tell(&[("part", "peg"), ("what", "found")]).await;
    found
        .expect(200, "Found, and back in its place.")
        .expect(200, "Old Needle");
    world.verify().await;
}
