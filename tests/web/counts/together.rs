//! Several people and devices at once, and connections that drop and send again.

use fieldstow::people::Role;
use serde_json::json;
use uuid::Uuid;

use super::{all_at_once, states, tap, unpack};

#[tokio::test]
async fn piles_of_taps_with_duplicates_from_many_phones_add_up_once() {
    let unpack = unpack().await;
    let keeper = unpack.person("Ama", Role::Keeper).await;
    let count = unpack.open(&keeper).await;
    let stint = unpack.begin(&keeper, &count, 1).await;
    let (peg, strap) = (
        unpack.world.part("Peg").await,
        unpack.world.part("Strap").await,
    );
    let taps: Vec<serde_json::Value> = (0..60)
        .map(|n| tap(if n % 3 == 0 { strap } else { peg }, 1 + n % 2, None))
        .collect();
    // 40 piles of 6: every tap is sent four times, in another order and company each time.
    let piles: Vec<Vec<serde_json::Value>> = (0..40)
        .map(|pile| {
            (0..6)
                .map(|n| taps[(pile * 6 + n) * 7 % 60].clone())
                .collect()
        })
        .collect();
    let mut crew = Vec::new();
    for n in 0..4 {
        crew.push(unpack.person(&format!("Crew {n}"), Role::Crew).await);
    }
    let address = format!("{stint}/tallies");
    let answers = all_at_once(
        piles
            .iter()
            .enumerate()
            .map(|(n, pile)| crew[n % 4].post_json(&address, json!({ "tallies": pile })))
            .collect(),
    )
    .await;
    let states: Vec<String> = answers.iter().flat_map(states).collect();
    let recorded = states.iter().filter(|state| *state == "recorded").count();
    let again = states.iter().filter(|state| *state == "again").count();
    assert_eq!((recorded, again), (60, 180));
    let sum = |part: fieldstow::ids::PartId| -> i64 {
        taps.iter()
            .filter(|tap| tap["part"] == part.to_string())
            .map(|tap| tap["amount"].as_i64().unwrap())
            .sum()
    };
    let line = keeper.open(&format!("{stint}?part={peg}")).await;
    assert_eq!(line.text_of("output"), sum(peg).to_string());
    let line = keeper.open(&format!("{stint}?part={strap}")).await;
    assert_eq!(line.text_of("output"), sum(strap).to_string());
    unpack.verify().await;
}

#[tokio::test]
async fn one_form_sent_ten_times_at_once_is_recorded_once_and_says_so() {
    let unpack = unpack().await;
    let crew = unpack.person("Bo", Role::Crew).await;
    let count = unpack.open(&crew).await;
    let stint = unpack.begin(&crew, &count, 1).await;
    let line = crew.open(&unpack.line(&stint, "Peg").await).await;
    let (action, body) = crew.filled(&line, "+ 5", &[]);
    let answers = all_at_once(
        (0..10)
            .map(|_| crew.post_body(&action, body.clone()))
            .collect(),
    )
    .await;
    assert!(answers.iter().all(|answer| answer.status.as_u16() == 303));
    let told = answers
        .iter()
        .filter(|answer| answer.header("set-cookie").is_some())
        .count();
    assert_eq!(told, 9, "nine are told that it was recorded already");
    let line = crew.open(&line.path).await;
    line.expect(
        200,
        "Already recorded at 18:00. Nothing was recorded twice.",
    );
    assert_eq!(line.text_of("output"), "5");
    // The same number for another tap is refused.
    let other = body.replace("amount=%2B5", "amount=%2B10");
    assert_ne!(other, body);
    let refused = crew.post_body(&action, other).await;
    refused.expect(409, "This number was used for another tap before");
    assert_eq!(unpack.number("select count(*) from tally").await, 1);
    unpack.verify().await;
}

#[tokio::test]
async fn one_bad_tap_does_not_stop_the_others() {
    let unpack = unpack().await;
    let crew = unpack.person("Bo", Role::Crew).await;
    let count = unpack.open(&crew).await;
    let stint = unpack.begin(&crew, &count, 1).await;
    let peg = unpack.world.part("Peg").await;
    let good = tap(peg, 3, None);
    let mut undo = tap(peg, -3, Some(5));
    undo["undoes"] = good["id"].clone();
    let mut wrong_undo = tap(peg, -1, Some(5));
    wrong_undo["undoes"] = good["id"].clone();
    let mut unknown = tap(peg, 1, None);
    unknown["part"] = json!(Uuid::now_v7());
    let pile = json!({ "tallies": [
        good,
        tap(peg, -9, Some(3)),
        { "id": "0".repeat(32), "part": peg, "amount": "many" },
        unknown,
        tap(peg, 2, Some(3)),
        wrong_undo,
        undo,
        tap(peg, i64::MAX, Some(2)),
    ]});
    let answer = crew.post_json(&format!("{stint}/tallies"), pile).await;
    let expected = [
        "recorded", "refused", "refused", "refused", "recorded", "refused", "recorded", "refused",
    ];
    assert_eq!(states(&answer), expected);
    let json = answer.json();
    assert_eq!(json["results"][1]["why"], "only 3 can be taken back");
    assert_eq!(json["results"][2]["id"], "0".repeat(32));
    let totals = json["totals"].as_array().unwrap();
    assert_eq!(totals.len(), 1);
    assert_eq!(totals[0]["part"], peg.to_string());
    assert_eq!(totals[0]["stint"], 2);
    assert_eq!(totals[0]["kit_counted"], 2);
    assert_eq!(totals[0]["still_to_come"], 18);
    // Too many at once: nothing is recorded, and it says so.
    let many: Vec<_> = (0..501).map(|_| tap(peg, 1, None)).collect();
    let answer = crew
        .post_json(&format!("{stint}/tallies"), json!({ "tallies": many }))
        .await;
    answer.expect(413, "Nothing was recorded.");
    assert_eq!(unpack.number("select count(*) from tally").await, 3);
    unpack.verify().await;
}

#[tokio::test]
async fn two_devices_on_one_line_are_recorded_and_the_line_wants_a_look() {
    let unpack = unpack().await;
    let (ana, ben) = (
        unpack.person("Ana", Role::Crew).await,
        unpack.person("Ben", Role::Crew).await,
    );
    let count = unpack.open(&ana).await;
    let stint = unpack.begin(&ana, &count, 1).await;
    let line = unpack.line(&stint, "Peg").await;
    let (on_one, on_other) = (ana.open(&line).await, ben.open(&line).await);
    ana.press(&on_one, "+ 5", &[]).await;
    let told = ben.press(&on_other, "+ 5", &[]).await;
    told.expect(200, "Another device counted on this line too");
    assert_eq!(told.text_of("output"), "10");
    ana.open(&stint)
        .await
        .expect(200, "two devices counted this line: look at it");
    let right = ben.press(&told, "10 is right", &[]).await;
    assert!(!right.has("Two devices counted this line"));
    ana.open(&line).await.expect(200, "+ 5 at 18:00, Ben");
    unpack.verify().await;
}

#[tokio::test]
async fn a_bag_somebody_counts_says_who_and_offers_three_ways() {
    let unpack = unpack().await;
    let (ana, ben) = (
        unpack.person("Ana", Role::Crew).await,
        unpack.person("Ben", Role::Crew).await,
    );
    let count = unpack.open(&ana).await;
    let list = ben.open(&count).await;
    let stint = unpack.begin(&ana, &count, 0).await;
    unpack.count(&ana, &stint, "Peg", "7").await;
    // Ben's page was older: he is led to the choice.
    let place = ben.press(&list, "Start Bag 1", &[]).await;
    place
        .expect(200, "Ana is counting here.")
        .expect(200, "Ana is counting this bag since 18:00.")
        .expect(200, "Leave it");
    let on = ben.click(&place, "Go on with that count").await;
    on.expect(200, "You go on with somebody else’s count.");
    assert_eq!(on.path, stint);
    let list = ben.open(&count).await;
    list.expect(200, "Ana is counting this bag since 18:00");

    let own = ben
        .press(&place, "Start this bag again yourself", &[])
        .await;
    assert_ne!(own.path, stint);
    own.expect(200, "This bag was counted before. Those numbers are hidden");
    // Beginning again leads to the own open stint.
    let place = ben
        .open(&format!("{count}/places/{}", unpack.bags[0]))
        .await;
    assert_eq!(place.link("Go on with your count"), Some(own.path.clone()));
    assert_eq!(unpack.number("select count(*) from stint").await, 2);
    unpack.verify().await;
}

#[tokio::test]
async fn two_people_beginning_one_bag_at_once_do_not_both_get_it_unasked() {
    let unpack = unpack().await;
    let (ana, ben) = (
        unpack.person("Ana", Role::Crew).await,
        unpack.person("Ben", Role::Crew).await,
    );
    let count = unpack.open(&ana).await;
    let (one, other) = (ana.open(&count).await, ben.open(&count).await);
    let (action, first) = ana.filled(&one, "Start Bag 1", &[]);
    let (_, second) = ben.filled(&other, "Start Bag 1", &[]);
    let (one, other) = tokio::join!(
        ana.post_body(&action, first),
        ben.post_body(&action, second)
    );
    let to_stint = [&one, &other]
        .iter()
        .filter(|answer| answer.header("location").unwrap().starts_with("/stints/"))
        .count();
    assert_eq!(to_stint, 1);
    assert_eq!(unpack.number("select count(*) from stint").await, 1);
}

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

#[tokio::test]
async fn two_keepers_count_two_bags_at_once_and_the_part_is_added_up() {
    let unpack = unpack().await;
    let ama = unpack.person("Ama", Role::Keeper).await;
    let ida = unpack.person("Ida", Role::Deputy).await;
    let count = unpack.open(&ama).await;
    let one = unpack.begin(&ama, &count, 0).await;
    let other = unpack.begin(&ida, &count, 1).await;
    let tap_along = async |browser: &crate::support::Browser<'_>, stint: &str, taps: usize| {
        let mut line = browser.open(&unpack.line(stint, "Peg").await).await;
        for _ in 0..taps {
            line = browser.press(&line, "+ 1 Peg, black", &[]).await;
        }
        assert_eq!(line.text_of("output"), taps.to_string());
    };
    tokio::join!(tap_along(&ama, &one, 8), tap_along(&ida, &other, 12));
    let line = ama.open(&unpack.line(&one, "Peg").await).await;
    line.expect(200, "need 20 · counted 20 · still to come 0");
    unpack.verify().await;
}

#[tokio::test]
async fn a_connection_that_drops_loses_and_doubles_nothing() {
    let unpack = unpack().await;
    let crew = unpack.person("Bo", Role::Crew).await;
    let count = unpack.open(&crew).await;
    let stint = unpack.begin(&crew, &count, 1).await;
    let peg = unpack.world.part("Peg").await;
    let address = format!("{stint}/tallies");
    for n in 0..30_u64 {
        let pile = json!({ "tallies": [tap(peg, 1, None)] });
        // The phone hangs up sooner or later, hears nothing, and sends the same again.
        let cut = std::time::Duration::from_micros(n * 150);
        let heard = tokio::time::timeout(cut, crew.post_json(&address, pile.clone())).await;
        if heard.is_err() {
            states(&crew.post_json(&address, pile).await);
        }
    }
    let line = crew.open(&format!("{stint}?part={peg}")).await;
    assert_eq!(line.text_of("output"), "30");
    unpack.verify().await;
}
