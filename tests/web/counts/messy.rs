//! A delivery as it really comes: two days, a bag without a label, a miscount, colours under film, a part that
//! is only looked at and one that comes in trays. What the books and the report say is exactly what came.

use std::collections::BTreeMap;

use fieldstow::people::Role;

use super::{Unpack, unpack};

/// Pieces that came from the supplier, by part and colour, entry by entry.
async fn arrived(unpack: &Unpack) -> Vec<BTreeMap<String, i64>> {
    let mut db = unpack.world.app.db.read().await.unwrap();
    let rows: Vec<(i64, String, i64)> = sqlx::query_as(
        "select move.entry_seq, trim(part.name || ' ' || part.colour), sum(move.qty)
         from move
         join part on part.id = move.part_id
         join place on place.id = move.from_place_id
         where place.kind = 'outside'
         group by move.entry_seq, part.id
         order by move.entry_seq",
    )
    .fetch_all(&mut *db)
    .await
    .unwrap();
    let mut entries: Vec<(i64, BTreeMap<String, i64>)> = Vec::new();
    for (seq, part, qty) in rows {
        match entries.last_mut() {
            Some((last, pieces)) if *last == seq => {
                pieces.insert(part, qty);
            }
            _ => entries.push((seq, BTreeMap::from([(part, qty)]))),
        }
    }
    entries.into_iter().map(|(_, pieces)| pieces).collect()
}

fn pieces(named: &[(&str, i64)]) -> BTreeMap<String, i64> {
    named
        .iter()
        .map(|(part, qty)| ((*part).to_owned(), *qty))
        .collect()
}

#[tokio::test]
async fn a_messy_delivery_is_in_the_books_and_the_report_as_it_came() {
    let unpack = unpack().await;
    let ama = unpack.person("Ama", Role::Keeper).await;
    unpack
        .describe(&ama, "Strap", &[("counted_by", "look")])
        .await;
    let trays = [("counted_by", "group"), ("group_of", "4")];
    unpack.describe(&ama, "Peg", &trays).await;
    let film = [(
        "how_to_know",
        "Amber or white under the film: peel a corner",
    )];
    let mut shades = Vec::new();
    for colour in ["amber", "white"] {
        shades.push(unpack.world.part_in("Shade", colour).await);
    }
    for shade in &shades {
        let page = ama.open(&format!("/parts/{shade}/edit")).await;
        ama.press(&page, "Keep this", &film).await;
    }

    // The first day: one box, with bag 1 and a bag nobody labelled.
    let count = unpack.open(&ama).await;
    let [bo, cleo] = [
        unpack.person("Bo", Role::Crew).await,
        unpack.person("Cleo", Role::Crew).await,
    ];
    let first = unpack.begin(&bo, &count, 0).await;
    // Bo miscounts the posts, and takes the pegs by the tray.
    unpack.count(&bo, &first, "Post", "3").await;
    let line = bo.open(&unpack.line(&first, "Peg").await).await;
    let line = bo
        .press(&line, "Write both down", &[("groups", "2"), ("rest", "")])
        .await;
    assert_eq!(line.text_of("output"), "8");
    let line = bo.open(&unpack.line(&first, "Lamp").await).await;
    bo.press(&line, "None here", &[]).await;
    unpack.finish(&bo, &first).await;

    let page = ama.open(&count).await;
    let page = ama.press(&page, "A bag without a label", &[]).await;
    page.expect(200, "Bag without label 1");
    let unlabelled = unpack.named("Bag without label 1").await;
    let place = ama.open(&format!("{count}/places/{unlabelled}")).await;
    let stint = ama.press(&place, "Count this bag", &[]).await;
    stint.expect(200, "What the kit still lacks");
    // Under film both look amber. The page says how to tell, so one is taken back and put right.
    let mut of_colour = BTreeMap::new();
    for shade in shades {
        let line = ama.open(&format!("{}?part={shade}", stint.path)).await;
        line.expect(200, "peel a corner");
        let colour = if line.has("Colour: amber") {
            "amber"
        } else {
            "white"
        };
        of_colour.insert(colour, line.path.clone());
    }
    let line = ama.open(&of_colour["amber"]).await;
    let line = ama.press(&line, "+ 1 Shade, amber", &[]).await;
    let line = ama.press(&line, "+ 1 Shade, amber", &[]).await;
    assert_eq!(line.text_of("output"), "2");
    line.expect(200, "need 1 · counted 2");
    let line = ama.press(&line, "Undo + 1 at 18:00", &[]).await;
    assert_eq!(line.text_of("output"), "1");
    let line = ama.open(&of_colour["white"]).await;
    ama.press(&line, "+ 1 Shade, white", &[]).await;
    unpack.finish(&ama, &stint.path).await;

    // Posts are short after looking: worth a second count, which differs, and a third one settles it.
    let page = ama.open(&count).await;
    page.expect(200, "Worth a second count");
    assert!(
        page.texts_of("section[aria-labelledby=again] li")
            .iter()
            .any(|line| line.starts_with("Post") && line.contains("Bag 1")),
        "{}",
        page.words()
    );
    let second = unpack.begin(&cleo, &count, 0).await;
    unpack.count(&cleo, &second, "Post", "4").await;
    let differ = unpack.finish(&cleo, &second).await;
    differ.expect(200, "Count again from the bag");
    let third = unpack.begin(&ama, &count, 0).await;
    unpack.count(&ama, &third, "Post", "4").await;
    unpack.finish(&ama, &third).await;
    let place = ama
        .open(&format!("{count}/places/{}", unpack.bags[0]))
        .await;
    place.expect(200, "Most counts say 4.");
    let field = format!("stand-{}", unpack.world.part("Post").await);
    let stands = third.trim_start_matches("/stints/").to_owned();
    ama.press(
        &place,
        "Let the chosen numbers stand",
        &[(field.as_str(), stands.as_str())],
    )
    .await
    .expect(200, "settled");
    let answers = [
        ("more", "more"),
        ("reason", "the second box comes on Friday"),
    ];
    unpack
        .close(&ama, &count, &answers)
        .await
        .expect(200, "more boxes to come");

    let first_day = pieces(&[
        ("Post grey", 4),
        ("Peg black", 8),
        ("Shade amber", 1),
        ("Shade white", 1),
    ]);
    assert_eq!(arrived(&unpack).await, std::slice::from_ref(&first_day));
    // need, here, short now, over, still to come
    assert_eq!(unpack.statement("Lamp").await, (1, 0, 1, 0, 1));
    assert_eq!(unpack.statement("Plate, long").await, (2, 0, 2, 0, 2));
    let report = ama.open(&format!("/kits/{}/report", unpack.kit)).await;
    assert!(report.has("still to come") && report.row("Lamp").is_none());

    // Two days later the second box comes. Sessions have ended meanwhile.
    unpack.world.clock.advance_minutes(2 * 24 * 60);
    let edda = unpack.person("Edda", Role::Deputy).await;
    let count = unpack.open(&edda).await;
    let stint = unpack.begin(&edda, &count, 1).await;
    let list = edda.open(&stint).await;
    list.expect(200, "0 of 3 lines");
    let line = edda.open(&unpack.line(&stint, "Peg").await).await;
    let line = edda.press(&line, "+ 4 one group Peg, black", &[]).await;
    let line = edda.press(&line, "+ 4 one group Peg, black", &[]).await;
    let line = edda.press(&line, "+ 4 one group Peg, black", &[]).await;
    assert_eq!(line.text_of("output"), "12");
    line.expect(200, "need 20 · counted 20 · still to come 0");
    unpack.count(&edda, &stint, "Plate, long", "2").await;
    unpack.count(&edda, &stint, "Plate, short", "1").await;
    let list = edda.open(&stint).await;
    edda.press(&list, "Low on Strap, red", &[]).await;
    unpack.finish(&edda, &stint).await;
    unpack
        .close(&edda, &count, &[("more", "all")])
        .await
        .expect(200, "everything arrived");

    let second_day = pieces(&[
        ("Peg black", 12),
        ("Plate, long white", 2),
        ("Plate, short white", 1),
    ]);
    assert_eq!(arrived(&unpack).await, [first_day, second_day]);
    for (part, statement) in [
        ("Post", (4, 4, 0, 0, 0)),
        ("Peg", (20, 20, 0, 0, 0)),
        ("Lamp", (1, 0, 1, 0, 0)),
        ("Plate, long", (2, 2, 0, 0, 0)),
        ("Plate, short", (2, 1, 1, 0, 0)),
    ] {
        assert_eq!(unpack.statement(part).await, statement, "{part}");
    }
    // The report says these two lines and no other, and beside it what nobody counts.
    let text = edda.open(&format!("/kits/{}/report.csv", unpack.kit)).await;
    let lines: Vec<String> = text.html().lines().skip(1).map(str::to_owned).collect();
    assert_eq!(lines.len(), 2, "{lines:?}");
    assert!(lines[0].contains("Plate, short") || lines[1].contains("Plate, short"));
    assert!(lines[0].contains("Lamp") || lines[1].contains("Lamp"));
    edda.open(&format!("/kits/{}/report", unpack.kit))
        .await
        .expect(
            200,
            "Only looked at, and so not in this report: Strap, red (low).",
        );
    edda.open("/shopping").await.expect(200, "Bag 2 low, Edda");
    unpack.verify().await;
}
