//! How right the books are: what counting again found, line by line.

use fieldstow::people::Role;

use super::unpack;

#[tokio::test]
async fn counting_again_says_how_right_the_books_were_and_nothing_is_netted() {
    let unpack = unpack().await;
    let keeper = unpack.person("Ama", Role::Keeper).await;
    keeper
        .open("/counts/right")
        .await
        .expect(200, "Nothing was counted again yet.");

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
        .open("/counts/right")
        .await
        .expect(200, "Nothing was counted again yet.");

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

    let page = keeper.open("/counts/right").await;
    page.expect(200, "4 of 7 lines were right: 57.1 %.");
    let peg = page.row("Peg").expect("the pegs were wrong");
    assert_eq!(peg[1..], ["2", "2", "2", "2"], "{peg:?}");
    let strap = page.row("Strap").expect("the straps were wrong");
    assert_eq!(strap[1..], ["1", "1", "0", "1"], "{strap:?}");
    assert_eq!(
        page.row("Post"),
        None,
        "what was right is not among the wrong"
    );

    let pegs = keeper.click(&page, &peg[0]).await;
    pegs.expect(200, "each time it was wrong");
    let rows = pegs.texts_of("[aria-labelledby=part] tbody td");
    assert_eq!(rows, ["Bag 1", "8", "10", "Bag 2", "12", "10"]);

    // Taken back, the count says nothing any more.
    let count = keeper.open(&second).await;
    keeper.press(&count, "Reopen this count", &[]).await;
    keeper
        .open("/counts/right")
        .await
        .expect(200, "Nothing was counted again yet.");
    unpack.world.verify().await;
}
