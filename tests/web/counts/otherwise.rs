//! Parts that are not tapped one by one: in groups, by weight, by look; and the keys for gloves.

use fieldstow::ids::FormId;
use fieldstow::people::Role;

use super::{Unpack, unpack};
use crate::support::{Browser, Seen};

impl Unpack {
    /// Says how a part is counted, on its page.
    pub async fn describe(
        &self,
        browser: &Browser<'_>,
        part: &str,
        fields: &[(&str, &str)],
    ) -> Seen {
        let part = self.world.part(part).await;
        let page = browser.open(&format!("/parts/{part}/edit")).await;
        browser.press(&page, "Keep this", fields).await
    }
}

#[tokio::test]
async fn a_part_in_trays_is_counted_by_full_trays_and_the_rest() {
    let unpack = unpack().await;
    let keeper = unpack.person("Ama", Role::Keeper).await;
    let group = [("counted_by", "group"), ("group_of", "6")];
    unpack.describe(&keeper, "Peg", &group).await;
    let count = unpack.open(&keeper).await;
    let stint = unpack.begin(&keeper, &count, 1).await;
    let line = keeper.open(&unpack.line(&stint, "Peg").await).await;
    let line = keeper.press(&line, "+ 6 one group Peg, black", &[]).await;
    assert_eq!(line.text_of("output"), "6");

    for (groups, rest, why) in [
        ("", "", "Type a whole number, such as 12."),
        ("two", "0", "Type a whole number, such as 12."),
        (
            "1",
            "6",
            "The last tray is full: count it among the full ones.",
        ),
        ("1", "7", "a tray has only 6 cells"),
    ] {
        let fields = [("groups", groups), ("rest", rest)];
        let refused = keeper.press(&line, "Write both down", &fields).await;
        refused.expect(422, why);
        assert_eq!(
            refused.attribute("input[name=groups]", "value").as_deref(),
            Some(groups)
        );
        assert_eq!(refused.text_of("output"), "6", "nothing is lost");
    }
    let fields = [("groups", "2"), ("rest", "1")];
    let line = keeper.press(&line, "Write both down", &fields).await;
    assert_eq!(line.text_of("output"), "13");
    // A slipped digit is asked about here too.
    let asked = keeper
        .press(&line, "Write both down", &[("groups", "21"), ("rest", "1")])
        .await;
    asked.expect(422, "You typed 127. The list needs 12.");
    let line = keeper.open(&line.path).await;
    let line = keeper.press(&line, "Undo + 7 at 18:00", &[]).await;
    assert_eq!(line.text_of("output"), "6", "one undo for both fields");
    unpack.verify().await;
}

#[tokio::test]
async fn a_heap_is_weighed_and_says_how_good_that_is() {
    let unpack = unpack().await;
    let keeper = unpack.person("Ama", Role::Keeper).await;
    unpack
        .describe(&keeper, "Peg", &[("counted_by", "weight")])
        .await;
    let count = unpack.open(&keeper).await;
    let stint = unpack.begin(&keeper, &count, 1).await;
    let line = keeper.open(&unpack.line(&stint, "Peg").await).await;
    let form = keeper.click(&line, "Weigh").await;
    form.expect(200, "Weigh Peg, black");

    let peg = unpack.world.part("Peg").await;
    let weigh = async |gross: &str, tare: &str, sample: &str| {
        let query = [
            ("part", peg.to_string()),
            ("gross", gross.into()),
            ("tare", tare.into()),
            ("step", "1".into()),
            ("sample", sample.into()),
            ("sample_step", "0.1".into()),
            ("reckon", "yes".into()),
        ]
        .map(|(name, value)| format!("{name}={}", value.replace(' ', "+")));
        keeper
            .open(&format!("{stint}/weigh?{}", query.join("&")))
            .await
    };
    for (gross, tare, sample, why) in [
        ("", "80", "12 12", "Type a mass in grams"),
        ("224", "heavy", "12 12", "Type a mass in grams"),
        ("224", "300", "12 12", "weighs less than the box alone"),
        ("224", "80", "12", "Weigh at least two pieces"),
    ] {
        let refused = weigh(gross, tare, sample).await;
        refused.expect(422, why);
        assert_eq!(
            refused.attribute("input[name=sample]", "value").as_deref(),
            Some(sample)
        );
    }
    // 12 pegs of 12 g in a box of 80 g.
    let good = weigh("224", "80", "12.0 12.1 11.9 12.0").await;
    good.expect(200, "12 pieces. This is good to one piece.");
    let line = keeper.press(&good, "Write 12 down", &[]).await;
    assert_eq!(line.text_of("output"), "12");
    line.expect(200, "weighed: + 12");

    // The next heap starts with the pieces weighed before, and adds up.
    let form = keeper.click(&line, "Weigh").await;
    assert_eq!(
        form.attribute("input[name=sample]", "value").as_deref(),
        Some("12 12.1 11.9 12")
    );
    let more = weigh("0.104 kg", "80", "12.0 12.1 11.9 12.0").await;
    more.expect(200, "2 pieces. This is good to one piece.");
    let line = keeper.press(&more, "Add 2 to the 12", &[]).await;
    assert_eq!(line.text_of("output"), "14");
    // A coarse heap is said to be coarse, and may be taken all the same.
    let rough = weigh("2480", "80", "10 14 12").await;
    rough
        .expect(200, "About 200 pieces")
        .expect(200, "count by hand");
    let line = keeper.press(&line, "Undo weighed: + 2 at 18:00", &[]).await;
    assert_eq!(line.text_of("output"), "12");
    assert_eq!(
        unpack
            .number("select count(*) from weighing join tally on tally.id = weighing.tally_id")
            .await,
        2
    );
    unpack.verify().await;
}

#[tokio::test]
async fn what_is_only_looked_at_is_never_short_and_goes_on_the_shopping_list() {
    let unpack = unpack().await;
    let keeper = unpack.person("Ama", Role::Keeper).await;
    let strap = unpack.world.part("Strap").await;
    unpack
        .describe(
            &keeper,
            "Strap",
            &[("counted_by", "look"), ("essential", "yes")],
        )
        .await
        .expect(200, "nothing can be built without it");
    let count = unpack.open(&keeper).await;
    let stint = unpack.begin(&keeper, &count, 1).await;
    // Three of the four lines are counted; the straps are looked at.
    let list = keeper.open(&stint).await;
    list.expect(200, "0 of 3 lines")
        .expect(200, "Strap, red not looked at");
    keeper
        .open(&format!("{count}/sheets"))
        .await
        .expect(200, "circle one: Strap, red : enough / low / none");
    let led = keeper.open(&format!("{stint}?part={strap}")).await;
    led.expect(200, "Only looked at");
    let looked = keeper.press(&list, "Low on Strap, red", &[]).await;
    looked.expect(200, "Written down.");
    assert!(looked.path.starts_with(&stint), "{}", looked.path);
    // A tap is refused, from a form and from the script.
    let tapped = keeper
        .post_json(
            &format!("{stint}/tallies"),
            serde_json::json!({"tallies": [super::tap(strap, 1, None)]}),
        )
        .await;
    assert_eq!(super::states(&tapped), ["refused"]);
    assert!(tapped.html().contains("only looked at"));

    for part in ["Peg", "Plate, long", "Plate, short"] {
        unpack.count(&keeper, &stint, part, "2").await;
    }
    unpack.finish(&keeper, &stint).await;
    let first = unpack.begin(&keeper, &count, 0).await;
    for (part, number) in [("Post", "4"), ("Peg", "8"), ("Lamp", "1")] {
        unpack.count(&keeper, &first, part, number).await;
    }
    unpack.finish(&keeper, &first).await;
    unpack.close(&keeper, &count, &[("more", "all")]).await;

    // In no statement, no report and no list of what is short.
    let mut db = unpack.world.app.db.read().await.unwrap();
    let lines = fieldstow::kits::statement(&mut db, unpack.kit)
        .await
        .unwrap();
    assert!(lines.iter().all(|line| line.part != strap));
    drop(db);
    let kit = format!("/kits/{}", unpack.kit);
    for page in ["parts", "shorts", "report.csv"] {
        let seen = keeper.open(&format!("{kit}/{page}")).await;
        seen.expect(200, "Peg");
        assert!(!seen.has("Strap"), "{page}");
    }
    // On the shopping list, and on Today.
    let today = keeper.open("/").await;
    today.expect(200, "One thing to buy");
    let shopping = keeper.open("/shopping").await;
    shopping
        .expect(200, "Strap")
        .expect(200, "Bag 2 low, Ama")
        .expect(200, "nothing can be built without it");
    // It stops the build, for it is essential.
    let build = keeper.open(&format!("{kit}/build")).await;
    build.expect(200, "look, then buy");
    // Bought: it leaves the list and stops nothing. Every look stays readable.
    let looks = keeper.open(&format!("{kit}/looks")).await;
    let looks = keeper.press(&looks, "Enough of Strap, red", &[]).await;
    looks
        .expect(200, "enough: Strap in Bag 2, Ama")
        .expect(200, "low: Strap in Bag 2, Ama");
    keeper.open("/shopping").await.expect(200, "Nothing is low");
    assert!(
        !keeper
            .open(&format!("{kit}/build"))
            .await
            .has("look, then buy")
    );
    assert!(!keeper.open("/").await.has("thing to buy"));
    unpack.verify().await;
}

#[tokio::test]
async fn a_part_becomes_only_looked_at_when_nothing_of_it_is_in_the_books() {
    let unpack = unpack().await;
    let keeper = unpack.person("Ama", Role::Keeper).await;
    let count = unpack.open(&keeper).await;
    let look = [("counted_by", "look")];
    unpack
        .describe(&keeper, "Strap", &look)
        .await
        .expect(422, "a count that is open expects pieces of it");
    let stint = unpack.begin(&keeper, &count, 1).await;
    for part in ["Peg", "Plate, long", "Plate, short", "Strap"] {
        unpack.count(&keeper, &stint, part, "2").await;
    }
    unpack.finish(&keeper, &stint).await;
    let answers = [("more", "more"), ("reason", "bag 1 is for tomorrow")];
    unpack.close(&keeper, &count, &answers).await;
    unpack
        .describe(&keeper, "Strap", &look)
        .await
        .expect(422, "2 of it are in the books");
    // One who is no member of the kit's team writes nothing.
    let other = unpack.world.team("Hobnail Bridge").await;
    let stranger = unpack.world.person("Cleo", other, Role::Keeper).await;
    let post = unpack.world.part("Post").await;
    let place = unpack.bags[0].to_string();
    let form_id = FormId::new().to_string();
    let refused = stranger
        .post(
            &format!("/kits/{}/looks", unpack.kit),
            &[
                ("form_id", &form_id),
                ("part", &post.to_string()),
                ("place", &place),
                ("said", "low"),
            ],
        )
        .await;
    assert_eq!(refused.status.as_u16(), 403);
    // And a part that is counted is not looked at.
    let page = keeper
        .post(
            &format!("/kits/{}/looks", unpack.kit),
            &[
                ("form_id", &form_id),
                ("part", &post.to_string()),
                ("place", &place),
                ("said", "low"),
            ],
        )
        .await;
    page.expect(422, "This part is counted, not only looked at.");
}

#[tokio::test]
async fn the_phone_remembers_the_thumb_and_the_gloves() {
    let unpack = unpack().await;
    let keeper = unpack.person("Ama", Role::Keeper).await;
    let count = unpack.open(&keeper).await;
    let stint = unpack.begin(&keeper, &count, 0).await;
    let line = keeper.open(&unpack.line(&stint, "Post").await).await;
    assert_eq!(
        line.attribute("body", "class").as_deref(),
        Some("frame tallying ")
    );
    let keys = keeper.click(&line, "Keys for the right thumb").await;
    let kept = keeper
        .press(&keys, "Keep this", &[("thumb", "left"), ("gloves", "yes")])
        .await;
    // Back at the line, drawn anew although nothing was written.
    kept.expect(200, "Kept on this phone.");
    assert_eq!(kept.path, line.path);
    let class = kept.attribute("body", "class").unwrap();
    assert!(
        class.contains("thumb-left") && class.contains("gloves"),
        "{class}"
    );
    let tag = kept.header("etag").map(str::to_owned);
    let again = keeper.open(&line.path).await;
    assert_ne!(again.header("etag"), line.header("etag"), "{tag:?}");
    again.expect(200, "Keys for the left thumb, in gloves");
    // Only this phone: another of the same person is held as ever.
    let other = unpack.person("Bo", Role::Crew).await;
    let seen = other.open(&line.path).await;
    assert!(!seen.attribute("body", "class").unwrap().contains("gloves"));
    // An address of another server is not followed.
    let keys = keeper.open("/keys?then=//elsewhere.example/").await;
    let away = keeper.press(&keys, "Keep this", &[]).await;
    assert_eq!(away.path, "/counts");
}

#[tokio::test]
async fn lines_under_film_are_listed_until_they_are_counted() {
    let unpack = unpack().await;
    let keeper = unpack.person("Ama", Role::Keeper).await;
    let words = [(
        "how_to_know",
        "White or amber under the film: peel a corner",
    )];
    unpack.describe(&keeper, "Plate, long", &words).await;
    let count = unpack.open(&keeper).await;
    let page = keeper.open(&count).await;
    let film = keeper.click(&page, "Film: 1 line").await;
    film.expect(200, "1 line, 1 not counted yet")
        .expect(200, "peel a corner")
        .expect(200, "Bag 2");
    let stint = unpack.begin(&keeper, &count, 1).await;
    unpack.count(&keeper, &stint, "Plate, long", "2").await;
    keeper
        .open(&film.path)
        .await
        .expect(200, "1 line, 0 not counted yet");
}

#[tokio::test]
async fn a_second_count_is_asked_for_what_happened_and_not_for_size() {
    let unpack = unpack().await;
    let keeper = unpack.person("Ama", Role::Keeper).await;
    let crew = unpack.person("Bo", Role::Crew).await;
    let count = unpack.open(&keeper).await;
    let second = "Worth a second count";
    let first = unpack.begin(&keeper, &count, 0).await;
    for (part, number) in [("Post", "4"), ("Peg", "6"), ("Lamp", "1")] {
        unpack.count(&keeper, &first, part, number).await;
    }
    unpack.finish(&keeper, &first).await;
    // Two pegs lack in bag 1, but bag 2 is not looked through yet.
    assert!(!keeper.open(&count).await.has(second));
    let stint = unpack.begin(&keeper, &count, 1).await;
    unpack.count(&keeper, &stint, "Peg", "12").await;
    unpack.count(&keeper, &stint, "Plate, long", "2").await;
    // Bo goes on with it: the lines on both sides of the hand-over.
    unpack.count(&crew, &stint, "Plate, short", "2").await;
    unpack.count(&crew, &stint, "Strap", "6").await;
    unpack.finish(&crew, &stint).await;
    let page = keeper.open(&count).await;
    page.expect(200, second);
    let lines: Vec<String> = page.texts_of("section[aria-labelledby=again] li");
    assert_eq!(
        lines,
        [
            "Peg, black Bag 1 · short, and none of your other kits has one over",
            "Plate, long, white Bag 2 · somebody else went on with it",
            "Plate, short, white Bag 2 · somebody else went on with it",
        ]
    );
    // The place names the lines and no number, and the second counter counts only those.
    let place = crew
        .open(&format!("{count}/places/{}", unpack.bags[0]))
        .await;
    place.expect(200, second).expect(200, "Peg, black");
    let lines = place.text_of("section[aria-labelledby=second] ul");
    assert_eq!(lines, "Peg, black B-4");
    let again = unpack.begin(&crew, &count, 0).await;
    unpack.count(&crew, &again, "Peg", "6").await;
    unpack.finish(&crew, &again).await;
    let page = keeper.open(&count).await;
    let lines: Vec<String> = page.texts_of("section[aria-labelledby=again] li");
    assert_eq!(lines.len(), 2, "{lines:?}");
}

#[tokio::test]
async fn at_an_event_nobody_counts_a_third_time() {
    let unpack = unpack().await;
    let keeper = unpack.person("Ama", Role::Keeper).await;
    let crew = unpack.person("Bo", Role::Crew).await;
    let mut tx = unpack.world.app.db.begin_write().await.unwrap();
    let event = fieldstow::ids::EventId::new();
    let day = unpack.world.app.clock.now().day("UTC");
    sqlx::query(
        "insert into event (id, team_id, name, first_on, last_on, made_at)
         values ($1, $2, 'Courier Days', $3, $3, 0)",
    )
    .bind(event)
    .bind(unpack.team)
    .bind(day)
    .execute(&mut *tx)
    .await
    .unwrap();
    sqlx::query("insert into event_kit (event_id, kit_id) values ($1, $2)")
        .bind(event)
        .bind(unpack.kit)
        .execute(&mut *tx)
        .await
        .unwrap();
    tx.commit().await.unwrap();

    let count = unpack.open(&keeper).await;
    let first = unpack.begin(&keeper, &count, 0).await;
    unpack.count(&keeper, &first, "Peg", "8").await;
    unpack.finish(&keeper, &first).await;
    let second = unpack.begin(&crew, &count, 0).await;
    unpack.count(&crew, &second, "Peg", "7").await;
    unpack.finish(&crew, &second).await;
    // Short by a second count would want a third at home. Here both are shown and the keeper chooses.
    let place = keeper
        .open(&format!("{count}/places/{}", unpack.bags[0]))
        .await;
    place.expect(200, "Which count stands?");
    assert!(!place.has("Count again from the bag"));
    assert!(!keeper.open(&count).await.has("Worth a second count"));
}
