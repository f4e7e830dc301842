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
