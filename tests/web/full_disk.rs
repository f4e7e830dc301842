//! The disk is full: reading goes on, writing says so, nothing acknowledged is lost, and it goes on by itself
//! once there is room.
//!
//! SQLite is given a limit of pages on the one connection that writes, which fails as a full disk does
//! (SQLITE_FULL).

use fieldstow::people::Role;

use crate::support::{World, drawn};

/// Lets the database grow by so many pages from now on.
async fn leave_pages(world: &World, pages: i64) {
    let mut tx = world.app.db.begin_write().await.unwrap();
    let now: i64 = sqlx::query_scalar("pragma page_count")
        .fetch_one(&mut *tx)
        .await
        .unwrap();
    let limit: i64 = sqlx::query_scalar(sqlx::AssertSqlSafe(format!(
        "pragma max_page_count = {}",
        now + pages
    )))
    .fetch_one(&mut *tx)
    .await
    .unwrap();
    assert_eq!(limit, now + pages);
    tx.commit().await.unwrap();
}

const NOTE: &str = "The hall has two doors, and the crates go through the wide one. ";

#[tokio::test]
async fn reading_goes_on_writing_says_so_and_recovers() {
    let world = World::empty().await;
    let team = world.team("Nine Larches").await;
    let ama = world.person("Ama", team, Role::Keeper).await;
    leave_pages(&world, 8).await;

    // Until nothing fits any more. What was acknowledged is counted.
    let note = NOTE.repeat(30);
    let mut planned = 0;
    let (action, body, full) = loop {
        assert!(planned < 500, "the disk is never full");
        let form = ama.open("/events/new").await;
        form.expect(200, "Add an event");
        let name = format!("Event {planned}");
        let fields = [
            ("name", name.as_str()),
            ("first_on", "2027-03-20"),
            ("note", note.as_str()),
        ];
        let (action, body) = ama.filled(&form, "Add the event", &fields);
        let answer = ama.post_body(&action, body.clone()).await;
        match answer.status.as_u16() {
            303 => planned += 1,
            _ => break (action, body, answer),
        }
    };
    full.expect(
        507,
        "The disk is full. Nothing was lost; reading still works.",
    );
    assert!(planned > 0, "nothing was written before it was full");

    // Reading goes on, every time.
    for _ in 0..5 {
        let list = ama.open("/events").await;
        assert_eq!(list.texts_of(".jobs .name").len(), planned);
        ama.open("/").await.expect(200, "Today");
    }
    // Every further write is refused in the same words, and nothing of it stays. (A connection whose write
    // failed is not used again, so the next one is given the limit anew.)
    leave_pages(&world, 0).await;
    ama.post_body(&action, body.clone())
        .await
        .expect(507, "The disk is full.");
    assert_eq!(
        ama.open("/events").await.texts_of(".jobs .name").len(),
        planned
    );

    // Room again: the same form goes through, and is recorded once.
    leave_pages(&world, 1000).await;
    for _ in 0..2 {
        let answer = ama.post_body(&action, body.clone()).await;
        assert_eq!(answer.status.as_u16(), 303);
    }
    let list = ama.open("/events").await;
    assert_eq!(list.texts_of(".jobs .name").len(), planned + 1);
    let mut db = world.app.db.read().await.unwrap();
    let sound: String = sqlx::query_scalar("pragma integrity_check")
        .fetch_one(&mut *db)
        .await
        .unwrap();
    assert_eq!(sound, "ok");
}

#[tokio::test]
async fn a_picture_that_does_not_fit_leaves_nothing_behind() {
    let world = World::empty().await;
    let team = world.team("Nine Larches").await;
    let ama = world.person("Ama", team, Role::Keeper).await;
    let beacon = world.beacon().await;
    let (by, _) = world.account("Kit keeper", None, false).await;
    let (_, bags) = world.kit(&beacon, by, team, "Kettlehorn", &["Bag 1"]).await;
    let form = ama.open(&format!("/places/{}/pictures/new", bags[0])).await;
    form.expect(200, "picture");
    // Noise packs badly, so the picture needs many pages.
    let noise = drawn::noise(900, 700);
    let fields = [("words", "How bag 1 is packed")];
    leave_pages(&world, 4).await;
    let files = [("choose", "bag.jpg", noise.as_slice())];
    let (action, body) = ama.filled_upload(&form, "Add the picture", &files, &fields);
    let full = ama.post_upload(&action, body.clone()).await;
    full.expect(507, "The disk is full.");
    let mut db = world.app.db.read().await.unwrap();
    let left: (i64, i64, i64) = sqlx::query_as(
        "select (select count(*) from picture), (select count(*) from file), \
                (select count(*) from file_chunk)",
    )
    .fetch_one(&mut *db)
    .await
    .unwrap();
    drop(db);
    assert_eq!(left, (0, 0, 0));

    leave_pages(&world, 10_000).await;
    let kept = ama.post_upload(&action, body).await;
    assert_eq!(kept.status.as_u16(), 303);
    let place = ama.open(&format!("/places/{}", bags[0])).await;
    place.expect(200, "How bag 1 is packed");
}
