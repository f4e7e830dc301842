//! How right the books are: what counting again found, line by line.

use fieldstow::people::Role;

use super::unpack;

#[tokio::test]
async fn counting_again_says_how_right_the_books_were_and_nothing_is_netted() {
    let unpack = unpack().await;
    let keeper = unpack.person("Ama", Role::Keeper).await;
    let accuracy = format!("/teams/{}/accuracy", unpack.team);
    keeper
        .open(&accuracy)
        .await
        .expect(200, "No count to look back at yet");

    let everything = [
        (0, vec![("Post", "4"), ("Peg", "8"), ("Lamp", "1")]),
        (
            1,
            vec![
                ("Peg", "12"),
                ("Plate, long", "2"),
                ("Plate, short", "2"),
                ("Strap", "6"),
            ],
        ),
    ];
    let first = unpack.open(&keeper).await;
    for (bag, lines) in &everything {
        let stint = unpack.begin(&keeper, &first, *bag).await;
        for (part, number) in lines {
            unpack.count(&keeper, &stint, part, number).await;
        }
        unpack.finish(&keeper, &stint).await;
    }
    unpack
        .close(&keeper, &first, &[("more", "all")])
        .await
        .expect(200, "closed");
    // An arrival is compared with no book.
    keeper
        .open(&accuracy)
        .await
        .expect(200, "No count to look back at yet");

    // Two pegs lie in the other bag, and a strap is gone.
    unpack.world.clock.advance_minutes(6 * 60);
    let second = unpack.open(&keeper).await;
    for (bag, lines) in &everything {
        let stint = unpack.begin(&keeper, &second, *bag).await;
        for (part, number) in lines {
            let number = match (*bag, *part) {
                (0, "Peg") => "10",
                (1, "Peg") => "10",
                (1, "Strap") => "5",
                _ => number,
            };
            unpack.count(&keeper, &stint, part, number).await;
        }
        unpack.finish(&keeper, &stint).await;
    }
    unpack
        .close(&keeper, &second, &[])
        .await
        .expect(200, "closed");

    let kits = keeper.open("/kits").await;
    let page = keeper
        .click(&kits, "How right the books of Nine Larches were")
        .await;
    assert_eq!(page.path, accuracy);
    let quern = unpack.world.team("Quern").await;
    let stranger = unpack.world.person("Ben", quern, Role::Keeper).await;
    assert_eq!(stranger.open(&accuracy).await.status, 403);
    let count = page.attribute("#counts-caption ~ tbody a", "href").unwrap();
    assert_eq!(count, second);
    page.expect(200, "4 of 7 records were right");
    page.expect(200, "57.1 %");
    let wrong = page.texts_of("[aria-labelledby=wrong] tbody tr");
    assert_eq!(wrong.len(), 2, "{wrong:?}");
    assert!(
        wrong[0].contains("Peg") && wrong[0].contains("2 2 4"),
        "{wrong:?}"
    );
    assert!(
        wrong[1].contains("Strap") && wrong[1].contains("1 1 1"),
        "{wrong:?}"
    );

    // Taken back, the count says nothing any more.
    let count = keeper.open(&second).await;
    keeper.press(&count, "Reopen this count", &[]).await;
    keeper
        .open(&accuracy)
        .await
        .expect(200, "No count to look back at yet");
    unpack.world.verify().await;
}
