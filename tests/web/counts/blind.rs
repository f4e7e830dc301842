//! Second counts that must not know the first.

use fieldstow::people::Role;
use serde_json::json;

use super::{states, tap, unpack};

#[tokio::test]
async fn a_second_count_is_blind_and_three_counts_are_settled_by_choice() {
    let unpack = unpack().await;
    let keeper = unpack.person("Ama", Role::Keeper).await;
    let people = [
        unpack.person("Ana", Role::Crew).await,
        unpack.person("Ben", Role::Crew).await,
        unpack.person("Cleo", Role::Crew).await,
    ];
    let count = unpack.open(&keeper).await;
    let place = format!("{count}/places/{}", unpack.bags[1]);
    // 977 pegs is a number that cannot be on a page by chance.
    let first = unpack.begin(&people[0], &count, 1).await;
    unpack.count(&people[0], &first, "Peg", "977").await;
    unpack.count(&people[0], &first, "Strap", "6").await;
    unpack.finish(&people[0], &first).await;

    let second = unpack.begin(&people[1], &count, 1).await;
    for page in [
        second.clone(),
        unpack.line(&second, "Peg").await,
        format!("{second}/sheet"),
        format!("{second}/done"),
        place.clone(),
        count.clone(),
    ] {
        let seen = people[1].open(&page).await;
        assert_eq!(seen.status.as_u16(), 200);
        assert!(!seen.tells("977"), "{page} shows the first count");
        assert!(!seen.tells("965"), "{page} shows what is over");
    }
    // On arrival the need shows.
    let line = people[1].open(&unpack.line(&second, "Peg").await).await;
    line.expect(200, "need 20 · counted 0 · still to come 20");
    unpack.count(&people[1], &second, "Peg", "12").await;
    unpack.count(&people[1], &second, "Strap", "6").await;
    let differ = unpack.finish(&people[1], &second).await;
    differ
        .expect(200, "The counts differ. Count again from the bag")
        .expect(200, "Peg, black");
    assert_eq!(differ.path, place);
    assert!(!differ.tells("977"));
    // The straps agree and are settled by themselves.
    assert!(!differ.text_of("section").contains("Strap"));
    keeper
        .open(&format!("{count}/close"))
        .await
        .expect(200, "The counts differ");
    // Neither changing a count nor dropping one makes them agree.
    let changed = people[1].press(&differ, "Go on with your count", &[]).await;
    changed.expect(200, "count again from the bag instead of changing this one");
    let dropped = people[1]
        .press(
            &differ,
            "Set aside the count of Ben",
            &[("reason", "I slipped")],
        )
        .await;
    dropped.expect(
        422,
        "count again from the bag before one of them is set aside",
    );

    let third = unpack.begin(&people[2], &count, 1).await;
    let seen = people[2].open(&unpack.line(&third, "Peg").await).await;
    assert!(!seen.tells("977"));
    unpack.count(&people[2], &third, "Peg", "12").await;
    let settle = unpack.finish(&people[2], &third).await;
    settle
        .expect(200, "977 ( Ana, 18:00 )")
        .expect(200, "The keeper chooses.");
    let settle = keeper.open(&place).await;
    settle.expect(
        200,
        "Most counts say 12. Nothing is chosen until you choose.",
    );
    let none = keeper
        .press(&settle, "Let the chosen numbers stand", &[])
        .await;
    none.expect(422, "Choose which count stands.");
    let peg = unpack.world.part("Peg").await;
    let field = format!("stand-{peg}");
    let stands = third.trim_start_matches("/stints/").to_owned();
    let settled = keeper
        .press(
            &settle,
            "Let the chosen numbers stand",
            &[(field.as_str(), stands.as_str())],
        )
        .await;
    settled.expect(200, "settled");
    keeper.open(&count).await.expect(200, "settled");
    let answers = [("more", "more"), ("reason", "bag 1 is for tomorrow")];
    let closed = unpack.close(&keeper, &count, &answers).await;
    closed
        .expect(200, "more boxes to come")
        .expect(200, "bag 1 is for tomorrow");
    // Compared, never added.
    assert_eq!(unpack.balance(1, "Peg").await, 12);
    assert_eq!(unpack.balance(1, "Strap").await, 6);
    unpack.verify().await;
}

#[tokio::test]
async fn in_a_recount_the_second_counter_sees_neither_need_nor_count() {
    let unpack = unpack().await;
    let keeper = unpack.person("Ama", Role::Keeper).await;
    let arrival = unpack.open(&keeper).await;
    let stint = unpack.begin(&keeper, &arrival, 1).await;
    unpack.count(&keeper, &stint, "Peg", "973").await;
    unpack.finish(&keeper, &stint).await;
    let answers = [("more", "all"), ("reason", "the rest never came")];
    unpack
        .close(&keeper, &arrival, &answers)
        .await
        .expect(200, "closed");

    let recount = unpack.open(&keeper).await;
    keeper.open(&recount).await.expect(200, "0 of 1 lines");
    let first = unpack.begin(&keeper, &recount, 1).await;
    let line = keeper.open(&unpack.line(&first, "Peg").await).await;
    line.expect(200, "in the books 973 · counted 0 · still to count 973");
    unpack.count(&keeper, &first, "Peg", "971").await;
    unpack.finish(&keeper, &first).await;
    let ben = unpack.person("Ben", Role::Crew).await;
    let second = unpack.begin(&ben, &recount, 1).await;
    for page in [
        second.clone(),
        unpack.line(&second, "Peg").await,
        format!("{second}/sheet"),
        format!("{second}/done"),
        format!("{second}?q=peg"),
        format!("{recount}/places/{}", unpack.bags[1]),
        format!("{recount}/places/{}/sheets", unpack.bags[1]),
        recount.clone(),
    ] {
        let seen = ben.open(&page).await;
        assert!(!seen.tells("973"), "{page} shows the need");
        assert!(!seen.tells("971"), "{page} shows the first count");
    }
    let peg = unpack.world.part("Peg").await;
    let answer = ben
        .post_json(
            &format!("{second}/tallies"),
            json!({ "tallies": [tap(peg, 971, None)] }),
        )
        .await;
    assert_eq!(states(&answer), ["recorded"]);
    assert!(answer.json()["totals"][0]["still_to_come"].is_null());
    assert!(answer.json()["totals"][0]["kit_counted"].is_null());
    unpack.finish(&ben, &second).await.expect(200, "settled");
    let page = keeper.open(&format!("{recount}/close")).await;
    page.expect(200, "2 pieces are missing");
    keeper.press(&page, "Close the count", &[]).await;
    assert_eq!(unpack.balance(1, "Peg").await, 971);
    unpack.verify().await;
}
