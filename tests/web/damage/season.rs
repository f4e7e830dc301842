//! A played season: every breakage is followed from its picture to what was decided, to the line of the order, and to
//! the books, by following links alone.

use super::{states, stocked};
use crate::support::{Seen, World, drawn};

#[tokio::test]
async fn every_breakage_of_a_season_is_followed_to_its_end() {
    let world = World::empty().await;
    let stock = stocked(&world).await;
    let keeper = &stock.keeper;
    let form = keeper.open("/events/new").await;
    let days = [("name", "Pass Day"), ("first_on", "2027-03-04")];
    let event = keeper.press(&form, "Add the event", &days).await;
    let event_id = event.path.rsplit('/').next().expect("its id").to_owned();

    // Four breakages in one evening, each with its picture, at an event that is chosen and not typed.
    let mut slips: Vec<Seen> = Vec::new();
    for (part, qty) in [("peg", "1"), ("peg", "2"), ("post", "1"), ("peg", "1")] {
        let form = keeper.open("/broken").await;
        let photo = drawn::jpeg(64 + slips.len() as u32, 48);
        let files = [("take", "a.jpg", photo.as_slice())];
        let fields = [("part", part), ("qty", qty), ("event_id", &event_id)];
        let slip = keeper.upload_all(&form, "Record it", &files, &fields).await;
        slip.expect(200, "Pass Day").expect(200, "for a decision");
        slips.push(slip);
    }

    // Mended; one to order and both written off; one to order and kept in use; written off as a one-off.
    for (nth, kind, qty, why) in [
        (0, "mended", "1", ""),
        (1, "to order", "2", ""),
        (1, "written off", "2", "split from end to end"),
        (2, "to order", "1", ""),
        (2, "kept in use", "1", ""),
        (3, "written off", "1", "run over by a cart"),
    ] {
        let slip = keeper.open(&slips[nth].path).await;
        let mut fields = vec![("kind", kind), ("why", why)];
        if slip.attribute("#qty", "value").is_some() {
            fields.push(("qty", qty));
        }
        let slip = keeper.press(&slip, "Decide so", &fields).await;
        assert_eq!(slip.told(), "Decided.", "{kind} of {nth}: {}", slip.words());
    }
    let last = keeper.open(&slips[3].path).await;
    let one_off = "This was a one-off: do not reckon with it next season";
    keeper.press(&last, one_off, &[]).await;

    // What waits for the next order is one list, and every line opens its slip.
    let order = keeper.open("/damage?show=order").await;
    order
        .expect(200, "2 for the next order.")
        .expect(200, "1 for the next order.");
    assert_eq!(order.texts_of(".jobs .name").len(), 2);

    // From the page Broken, by links alone: to the slip, from its picture back to it, to the order line and from
    // there back, and to each entry in the books.
    let broken = keeper.open("/broken").await;
    let list = keeper.click(&broken, "What was told before").await;
    let found = list.texts_of(".jobs .name");
    assert_eq!(found.len(), 4, "{found:?}");
    let decided = [
        // The latest stands first.
        ("wrote 1 off", None),
        ("decided to keep 1 in use", Some("1 Post")),
        ("wrote 2 off", Some("2 Peg, black (B-4)")),
        ("mended 1", None),
    ];
    for (nth, (decided, order)) in decided.into_iter().enumerate() {
        let slip = keeper.open(&hrefs(&list, ".jobs a")[nth]).await;
        slip.expect(200, decided).expect(200, "Settled.");
        let picture = keeper.open(&hrefs(&slip, ".pictures a")[0]).await;
        let pixels = picture.attribute(".picture img", "src").expect("a picture");
        drawn::assert_only_pixels(&keeper.open(&pixels).await.bytes);
        let back = keeper.click(&picture, "What it shows").await;
        assert_eq!(back.path, slip.path);

        let entries = hrefs(&slip, "a[href^='/entries/']");
        assert_eq!(entries.len(), 2, "accepted and decided: {entries:?}");
        for entry in entries {
            let entry = keeper.open(&entry).await;
            entry.expect(200, "Kettlehorn");
        }
        let Some(order) = order else {
            continue;
        };
        let line = keeper.open(&hrefs(&slip, "a[href*='/orders/']")[0]).await;
        line.expect(200, order).expect(200, "for the next order.");
        let back = keeper.click(&line, "What broke or was lost").await;
        assert_eq!(back.path, slip.path);
        // Ordered, arrived, and from there into the books.
        let fields = [("supplier", "Kolm Works")];
        let line = keeper.press(&line, "It is ordered", &fields).await;
        let line = keeper.press(&line, "These arrived", &[]).await;
        line.expect(200, "All of it arrived.");
        let entry = keeper.click(&line, "In the books").await;
        entry.expect(200, "brought in").expect(200, "Kettlehorn");
        let slip = keeper.open(&back.path).await;
        slip.expect(200, "All of it arrived.");
    }

    // What waits for the next order is one list; now nothing does any more.
    let order = keeper.open("/damage?show=order").await;
    assert_eq!(order.texts_of(".jobs .name").len(), 0);
    let all = keeper.open("/damage").await;
    all.expect(200, "What was ordered arrived.");

    // What broke most opens its reports, by part, by event and by season alike.
    let most = keeper.open("/damage/most").await;
    let by_event = keeper.click(&most, "Pass Day").await;
    assert_eq!(by_event.texts_of(".jobs .name").len(), 4);
    let by_part = keeper.click(&most, "Peg, black (B-4)").await;
    assert_eq!(by_part.texts_of(".jobs .name").len(), 3);
    most.expect(200, "By season");
    let elsewhere = keeper.open("/damage?at=another%20day").await;
    assert!(elsewhere.texts_of(".jobs .name").is_empty());

    assert_eq!(stock.states("Peg").await, states(&[("good", 19)]));
    assert_eq!(
        stock.states("Post").await,
        states(&[("doubtful", 1), ("good", 4)])
    );
    world.verify().await;
}

/// Where the links lead that a selector finds, in order.
fn hrefs(seen: &Seen, css: &str) -> Vec<String> {
    let css = scraper::Selector::parse(css).expect("a selector");
    seen.document()
        .select(&css)
        .filter_map(|link| link.value().attr("href").map(str::to_owned))
        .collect()
}
