//! What hasty fingers and a bad line do to a count: nothing.

use std::time::{Duration, Instant};

use fieldstow::people::Role;
use serde_json::json;

use crate::support::{Stage, Width, Window};

/// The number that stands largest on the page of a line.
const NUMBER: &str = "return document.querySelector('output')?.textContent.trim() ?? null";

/// Taps that are kept on the phone and not yet known to be with the server.
const WAITING: &str = "return Object.keys(localStorage).filter((key) => \
    key.startsWith('fieldstow.tally.')).length";

/// The answer that calls what lacks short.
pub const EVERYTHING: &str = "Everything is here. What lacks is short";

pub async fn counted(window: &Window, number: &str) {
    window.until(NUMBER, json!(number)).await;
}

/// Everything that was tapped is with the server. Without script it always is.
pub async fn all_sent(window: &Window) {
    if window.has_script() {
        window.until(WAITING, json!(0)).await;
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn forty_taps_in_ten_seconds_are_forty() {
    let Some(stage) = Stage::set("quick-taps").await else {
        return;
    };
    let team = stage.world.team("Nine Larches").await;
    let (id, ama) = stage
        .world
        .account("Ama", Some((team, Role::Keeper)), false)
        .await;
    let beacon = stage.world.beacon().await;
    stage
        .world
        .kit(&beacon, id, team, "Kettlehorn", &["Bag 1"])
        .await;

    let phone = stage.window(&ama, Width::Phone).await;
    phone.open("/").await;
    phone.tap("Unpack and count Kettlehorn").await;
    phone.tap("Start Bag 1").await;
    phone.follow("Peg").await;
    counted(&phone, "not counted").await;

    let from = Instant::now();
    phone.tap_often("+ 1 Peg, black", 40).await;
    counted(&phone, "40").await;
    let taken = from.elapsed();
    assert!(taken < Duration::from_secs(10), "{taken:?} for 40 taps");
    phone.sees("counted 40 · still to come 0").await;

    all_sent(&phone).await;
    phone.sees("Saved").await;
    phone.is_sound().await;
    phone.reload().await;
    counted(&phone, "40").await;
    phone.sees("counted 40 · still to come 0").await;
    assert_eq!(tallies(&stage).await, (40, 40), "taps and pieces");
}

/// How many taps the server knows, and their sum.
async fn tallies(stage: &Stage) -> (i64, i64) {
    let mut db = stage.world.app.db.read().await.unwrap();
    sqlx::query_as("select count(*), coalesce(sum(amount), 0) from tally")
        .fetch_one(&mut *db)
        .await
        .unwrap()
}

#[tokio::test(flavor = "multi_thread")]
async fn two_people_count_and_one_line_drops() {
    let Some(stage) = Stage::set("two-people").await else {
        return;
    };
    let team = stage.world.team("Nine Larches").await;
    let (id, ama) = stage
        .world
        .account("Ama", Some((team, Role::Keeper)), false)
        .await;
    // Bo has another line to the server, which stays whole.
    let bo = stage.world.person("Bo", team, Role::Crew).await;
    let beacon = stage.world.beacon().await;
    let (_, bags) = stage
        .world
        .kit(&beacon, id, team, "Kettlehorn", &["Bag 1", "Bag 2"])
        .await;

    let phone = stage.window(&ama, Width::Phone).await;
    phone.open("/").await;
    phone.tap("Unpack and count Kettlehorn").await;
    phone.tap("Start Bag 1").await;
    phone.follow("Peg").await;
    phone.tap_often("+ 1 Peg, black", 3).await;
    counted(&phone, "3").await;

    let counts = bo.open("/").await;
    let list = bo.click(&counts, "Go on counting Kettlehorn").await;
    let stint = bo.press(&list, "Start Bag 2", &[]).await;
    let peg = stage.world.part("Peg").await;
    let line = bo.open(&format!("{}?part={peg}", stint.path)).await;

    // The line drops among the taps: some of them may have arrived without an answer.
    phone.tap_often("+ 1 Peg, black", 2).await;
    stage.line.cut().await;
    phone.tap_often("+ 1 Peg, black", 3).await;
    counted(&phone, "8").await;
    phone.sees("Saved on this phone").await;
    phone.sees("waiting to send").await;
    let line = bo.press(&line, "+ 10", &[]).await;
    let line = bo.press(&line, "+ 1 Peg, black", &[]).await;
    assert_eq!(line.text_of("output"), "11");
    phone.tap("Undo + 1").await;
    counted(&phone, "7").await;

    stage.line.mend().await;
    phone.tap_often("+ 1 Peg, black", 2).await;
    counted(&phone, "9").await;
    all_sent(&phone).await;
    phone.sees("Saved").await;
    phone.sees("counted 20 · still to come 0").await;
    // The browser's own words about the cut line are no fault of the page.
    phone.reload().await;
    counted(&phone, "9").await;
    phone.sees("counted 20 · still to come 0").await;
    phone.is_sound().await;
    // Ten of Ama's taps and one taken back, two of Bo's.
    assert_eq!(tallies(&stage).await, (13, 20), "taps and pieces");

    let line = bo.open(&line.path).await;
    assert_eq!(line.text_of("output"), "11");
    line.expect(200, "counted 20 · still to come 0");
    let done = bo.open(&format!("{}/done", stint.path)).await;
    bo.press(&done, "Finish Bag 2", &[]).await;

    let code = stage.world.code(bags[0].0).await;
    phone.follow(&format!("Bag 1, {code}")).await;
    phone.follow("This bag is finished").await;
    phone.tap("Finish Bag 1").await;
    phone.sees("2 of 2 bags").await;
    phone.follow("Close the count").await;
    phone.sees("20 pieces arrived from the supplier").await;
    phone.choose("Has everything arrived?", EVERYTHING).await;
    phone.tap("Close the count").await;
    phone.sees("This count is closed").await;
    phone.is_sound().await;
    stage.world.verify().await;
    for (bag, pegs) in bags.into_iter().zip([9, 11]) {
        let mut db = stage.world.app.db.read().await.unwrap();
        let held: Vec<(i64,)> =
            sqlx::query_as("select qty from balance where place_id = $1 and part_id = $2")
                .bind(bag)
                .bind(peg)
                .fetch_all(&mut *db)
                .await
                .unwrap();
        assert_eq!(held, [(pegs,)]);
    }
}
