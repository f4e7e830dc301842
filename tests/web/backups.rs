//! The page of the backups, and what Today says of them.

use fieldstow::people::Role;

use crate::support::World;

#[tokio::test]
async fn whoever_coordinates_sees_how_old_the_newest_is_and_makes_one() {
    let folder = tempfile::tempdir().unwrap();
    let shelf = folder.path().join("backups");
    let world = World::backing_up(shelf.clone()).await;
    let wen = world.coordinator("Wen").await;
    let page = wen.open("/league/backups").await;
    page.expect(200, "There is none yet.");
    let made = wen.press(&page, "Make one now", &[]).await;
    made.expect(
        200,
        "Made and read to its end: fieldstow-2027-03-04-180000.db",
    );
    made.expect(200, "The newest is 0 minutes old.");
    let row = made.row("4 Mar 2027, 18:00").expect("it is listed");
    assert_eq!(row[1], "fieldstow-2027-03-04-180000.db");
    assert_eq!(row[4].len(), 64, "the mark of the last entry");

    // Sent twice, the form makes one.
    let (action, body) = wen.filled(&page, "Make one now", &[]);
    world.clock.advance_minutes(1);
    let again = wen.post_body(&action, body).await;
    assert_eq!(again.status.as_u16(), 303);
    assert_eq!(std::fs::read_dir(&shelf).unwrap().count(), 1);
}

#[tokio::test]
async fn today_tells_the_coordinator_and_nobody_else_when_backups_fail() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("file");
    std::fs::write(&file, "").unwrap();
    let world = World::backing_up(file).await;
    let team = world.team("Nine Larches").await;
    let wen = world.coordinator("Wen").await;
    let ama = world.person("Ama", team, Role::Keeper).await;
    let page = wen.open("/league/backups").await;
    let failed = wen.press(&page, "Make one now", &[]).await;
    failed.expect(200, "No backup was made: the folder");
    failed.expect(200, "Look at this.");

    let today = wen.open("/").await;
    today.expect(200, "Backups need a look");
    assert!(today.html().contains("href=\"/league/backups\""));
    today.expect(200, "cannot be used");
    assert!(!ama.open("/").await.has("Backups need a look"));
    ama.open("/league/backups")
        .await
        .expect(403, "coordinators");
}

#[tokio::test]
async fn without_backups_the_page_says_so() {
    let world = World::empty().await;
    let wen = world.coordinator("Wen").await;
    wen.open("/league/backups")
        .await
        .expect(200, "None are made by themselves");
    assert!(!wen.open("/").await.has("Backups need a look"));
}
