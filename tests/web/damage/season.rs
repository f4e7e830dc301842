//! A played season: every breakage is followed from its picture to what was decided, to the line for the next order,
//! and to the books.

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

    // Each slip has its picture, its decision, and an entry in the books that names the pieces.
    for (slip, decided) in slips.iter().zip([
        "mended 1",
        "wrote 2 off",
        "decided to keep 1 in use",
        "wrote 1 off",
    ]) {
        let slip = keeper.open(&slip.path).await;
        slip.expect(200, decided).expect(200, "Settled.");
        let picture = slip.attribute(".pictures img", "src").expect("a picture");
        drawn::assert_only_pixels(&keeper.open(&picture).await.bytes);
        let entries = slip
            .html()
            .split("href=\"/entries/")
            .skip(1)
            .filter_map(|rest| rest.split('"').next().map(str::to_owned))
            .collect::<Vec<_>>();
        assert_eq!(entries.len(), 2, "accepted and decided: {entries:?}");
        for entry in entries {
            let entry = keeper.open(&format!("/entries/{entry}")).await;
            entry.expect(200, "Kettlehorn");
        }
    }

    // What waits for the next order is one list, and every line opens its slip.
    let order = keeper.open("/damage?show=order").await;
    order
        .expect(200, "2 for the next order.")
        .expect(200, "1 for the next order.");
    assert_eq!(order.texts_of(".jobs .name").len(), 2);

    // What broke most opens its reports, by part, by event and by season alike.
    let most = keeper.open("/damage/most").await;
    let by_event = keeper.click(&most, "Pass Day").await;
    assert_eq!(by_event.texts_of(".jobs .name").len(), 4);
    let by_part = keeper.click(&most, "Peg, black (B-4)").await;
    assert_eq!(by_part.texts_of(".jobs .name").len(), 3);
    most.expect(200, "By season");
    let elsewhere = keeper.open("/damage?at=another%20day").await;
    assert!(elsewhere.texts_of(".jobs .name").is_empty());

    assert_eq!(stock.states("Peg").await, states(&[("good", 17)]));
    assert_eq!(
        stock.states("Post").await,
        states(&[("doubtful", 1), ("good", 3)])
    );
    world.verify().await;
}
