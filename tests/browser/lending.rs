//! Lending in a real browser: from Today to a kit that is out in three taps and some typing.

use fieldstow::ids::TeamId;
use fieldstow::people::Role;

use crate::support::{Stage, Width, Window};

/// A counted kit, somebody who keeps it, and a team to lend it to.
async fn arranged(test: &'static str) -> Option<(Stage, TeamId)> {
    let stage = Stage::set(test).await?;
    let team = stage.world.team("Nine Larches").await;
    stage.world.team("Hobnail Bridge").await;
    let (id, _) = stage
        .world
        .account("Maker of the kit", Some((team, Role::Keeper)), false)
        .await;
    let beacon = stage.world.beacon().await;
    let (kit, bags) = stage
        .world
        .kit(&beacon, id, team, "Kettlehorn", &["Bag 1", "Bag 2"])
        .await;
    let (peg, post) = (
        stage.world.part("Peg").await,
        stage.world.part("Post").await,
    );
    let found = [(bags[0], peg, 20), (bags[1], post, 4)];
    stage.world.delivered(kit, id, &found, false).await;
    Some((stage, team))
}

/// The day a week from now, as a date field takes it.
fn in_a_week(stage: &Stage) -> String {
    stage
        .world
        .app
        .clock
        .now()
        .plus_days(7)
        .day("UTC")
        .to_string()
}

/// Three taps from Today; what is typed is who gets it and by when it is due back.
async fn lend(stage: &Stage, phone: &Window) {
    phone.open("/").await;
    phone.follow("Lend").await; // 1
    phone.follow("Kettlehorn").await; // 2
    phone.fill("Who gets it", "Hobnail Bridge").await;
    phone.fill("Back by the end of", &in_a_week(stage)).await;
    phone.press("It is handed out").await; // 3
    phone.sees("Hobnail Bridge has it").await;
    phone.picture("lent").await;
    phone.is_sound().await;
}

/// What is with the borrower in the books.
async fn out(stage: &Stage) -> (i64, i64) {
    let mut db = stage.world.app.db.read().await.unwrap();
    sqlx::query_as(
        "select count(*), coalesce(sum(balance.qty), 0) \
         from loan_place join balance on balance.place_id = loan_place.place_id and balance.outside = 0 \
         where loan_place.back_at is null",
    )
    .fetch_one(&mut *db)
    .await
    .unwrap()
}

#[tokio::test(flavor = "multi_thread")]
async fn a_kit_is_lent_in_three_taps_on_a_phone() {
    let Some((stage, team)) = arranged("lending").await else {
        return;
    };
    let ama = stage.world.person("Ama", team, Role::Keeper).await;
    let phone = stage.window(&ama, Width::Phone).await;
    lend(&stage, &phone).await;
    assert_eq!(
        out(&stage).await,
        (2, 24),
        "kinds and pieces with the borrower"
    );
    stage.world.verify().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_kit_is_lent_and_counted_back_without_script() {
    let Some((stage, team)) = arranged("lending-without-script").await else {
        return;
    };
    let ama = stage.world.person("Ama", team, Role::Keeper).await;
    let phone = stage.window_without_script(&ama, Width::Phone).await;
    lend(&stage, &phone).await;
    assert_eq!(
        out(&stage).await,
        (2, 24),
        "kinds and pieces with the borrower"
    );

    // Back by the same few words; what went out is not shown while it is counted.
    phone.follow("Count it back").await;
    phone.sees("Bag 1").await;
    let numbers =
        "return document.querySelector('main form').innerText.split(/\\s+/).includes('20')";
    assert_eq!(
        phone.run(numbers, vec![]).await,
        false,
        "the number that went out is shown"
    );
    phone.is_sound().await;
    phone.picture("back").await;
    stage.world.verify().await;
}
