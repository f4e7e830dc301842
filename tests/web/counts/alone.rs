//! One person, without script.

use fieldstow::people::Role;

use super::unpack;
use crate::support::Seen;

#[tokio::test]
async fn a_kit_is_unpacked_over_two_bags_with_a_short_and_an_over() {
    let unpack = unpack().await;
    let keeper = unpack.person("Ama", Role::Keeper).await;
    let count = unpack.open(&keeper).await;
    let list = keeper.open(&count).await;
    list.expect(200, "0 of 7 lines · 0 of 2 bags");

    // Bag 1, by the keys.
    let stint = keeper.press(&list, "Start Bag 1", &[]).await;
    stint.expect(200, "0 of 3 lines");
    let line = keeper.click(&stint, "Count the next line").await;
    line.expect(
        200,
        "This part in the kit: need 4 · counted 0 · still to come 4",
    );
    assert_eq!(line.text_of("output"), "not counted");
    let line = keeper.press(&line, "All 4 here", &[]).await;
    assert_eq!(line.text_of("output"), "4");
    assert_eq!(
        line.texts_of("button")
            .iter()
            .find(|b| b.starts_with("All 4")),
        None
    );
    let line = keeper.click(&line, "Next Peg, black").await;
    let line = keeper.press(&line, "+ 5", &[]).await;
    let line = keeper.press(&line, "+ 1 Peg, black", &[]).await;
    let line = keeper.press(&line, "+ 1 Peg, black", &[]).await;
    assert_eq!(line.text_of("output"), "7");
    line.expect(200, "need 20 · counted 7 · still to come 13");
    let line = keeper.press(&line, "+ 1 Peg, black", &[]).await;
    let line = keeper.click(&line, "Next Lamp").await;
    let line = keeper.press(&line, "None here", &[]).await;
    assert_eq!(line.text_of("output"), "0");
    line.expect(200, "every one is counted");
    let stint = keeper.open(&stint.path).await;
    stint.expect(200, "3 of 3 lines").expect(200, "1 short");
    let done = keeper.click(&stint, "This bag is finished").await;
    let list = keeper.press(&done, "Finish Bag 1", &[]).await;
    list.expect(200, "3 of 7 lines · 1 of 2 bags · 1 short so far");

    // Bag 2: 13 pegs, one more than the slip says, typed; the rest from the desk sheet.
    let stint = keeper.press(&list, "Start Bag 2", &[]).await;
    unpack.count(&keeper, &stint.path, "Peg", "13").await;
    let line = keeper.open(&unpack.line(&stint.path, "Peg").await).await;
    line.expect(200, "need 20 · counted 21 · still to come 0")
        .expect(200, "1 over");
    let sheet = keeper.open(&format!("{}/sheet", stint.path)).await;
    let mut names = Vec::new();
    for (part, number) in [("Plate, long", "2"), ("Plate, short", "2"), ("Strap", "6")] {
        names.push((format!("n-{}", unpack.world.part(part).await), number));
    }
    let fields: Vec<(&str, &str)> = names.iter().map(|(n, v)| (n.as_str(), *v)).collect();
    let sheet = keeper.press(&sheet, "Keep what is typed", &fields).await;
    sheet
        .expect(200, "3 lines written down")
        .expect(200, "Filled 4 of 4 lines");
    // A shade that is on no slip is looked up.
    let found = keeper.open(&format!("{}?q=shade+amber", stint.path)).await;
    found.expect(200, "Parts that fit");
    let shade = found
        .attribute("ul.jobs a", "href")
        .expect("the shade is found");
    let line = keeper.open(&shade).await;
    keeper.press(&line, "+ 1 Shade, amber", &[]).await;
    let list = unpack.finish(&keeper, &stint.path).await;
    list.expect(
        200,
        "7 of 7 lines · 1 more lines counted · 2 of 2 bags · 1 short so far",
    );

    let page = keeper.open(&format!("{count}/close")).await;
    page.expect(200, "36 pieces arrived from the supplier")
        .expect(200, "8 lines are recorded as counted")
        .expect(200, "Has everything arrived?");
    let asked = keeper.press(&page, "Close the count", &[]).await;
    asked.expect(422, "Say whether everything has arrived.");
    let closed = keeper
        .press(&asked, "Close the count", &[("more", "all")])
        .await;
    closed
        .expect(200, "This count is closed")
        .expect(200, "everything arrived");

    // need, here, short, over, still to come
    assert_eq!(unpack.statement("Post").await, (4, 4, 0, 0, 0));
    assert_eq!(unpack.statement("Peg").await, (20, 21, 0, 1, 0));
    assert_eq!(unpack.statement("Lamp").await, (1, 0, 1, 0, 0));
    assert_eq!(unpack.balance(1, "Peg").await, 13);
    // None counted leaves a mark, none looked at does not: the white shade.
    assert_eq!(
        unpack
            .number("select count(*) from count_mark where qty = 0")
            .await,
        1
    );
    assert_eq!(unpack.number("select count(*) from count_mark").await, 8);
    unpack.verify().await;
}

#[tokio::test]
async fn a_slipped_digit_is_asked_about_once_and_kept_on_request() {
    let unpack = unpack().await;
    let crew = unpack.person("Bo", Role::Crew).await;
    let count = unpack.open(&crew).await;
    let stint = unpack.begin(&crew, &count, 1).await;
    let line = crew.open(&unpack.line(&stint, "Peg").await).await;
    let asked = crew
        .press(&line, "Write it down", &[("typed", "120")])
        .await;
    asked.expect(422, "You typed 120. The list needs 12.");
    assert_eq!(unpack.number("select count(*) from tally").await, 0);
    let change = crew.click(&asked, "Change").await;
    assert_eq!(change.attribute("#typed", "value").as_deref(), Some("120"));
    let kept = crew.press(&asked, "Keep 120", &[]).await;
    assert_eq!(kept.text_of("output"), "120");
    let wrong = crew
        .press(&kept, "Write it down", &[("typed", "a dozen")])
        .await;
    wrong.expect(422, "Type a whole number");
    assert_eq!(
        wrong.attribute("#typed", "value").as_deref(),
        Some("a dozen")
    );
    assert!(wrong.text_of("title").starts_with("Error: "));
    unpack.verify().await;
}

#[tokio::test]
async fn taps_are_taken_back_one_by_one_and_once() {
    let unpack = unpack().await;
    let crew = unpack.person("Bo", Role::Crew).await;
    let count = unpack.open(&crew).await;
    let stint = unpack.begin(&crew, &count, 1).await;
    let line = crew.open(&unpack.line(&stint, "Peg").await).await;
    let below = crew.press(&line, "− 1 Peg, black", &[]).await;
    below.expect(422, "There are none to take back.");
    let line = crew.press(&line, "+ 5", &[]).await;
    let line = crew.press(&line, "+ 10", &[]).await;
    let none = crew.press(&line, "None here", &[]).await;
    none.expect(422, "15 are counted here; take them back with − or Undo.");

    let (action, body) = crew.filled(&line, "Undo + 10 at 18:00", &[]);
    let first = crew.post_body(&action, body.clone()).await;
    let again = crew.post_body(&action, body).await;
    assert_eq!((first.status.as_u16(), again.status.as_u16()), (303, 303));
    let line = crew.open(&line.path).await;
    line.expect(200, "Already recorded at 18:00");
    assert_eq!(line.text_of("output"), "5");
    // The same tap by another form: taken back already.
    let (_, body) = crew.filled(&none, "Undo + 10 at 18:00", &[]);
    let twice = crew.post_body(&action, body).await;
    twice.expect(422, "This tap was taken back already.");
    // Undo of undo, then of everything: not counted, which is not none.
    let line = crew.press(&line, "Undo undo: − 10 at 18:00", &[]).await;
    assert_eq!(line.text_of("output"), "15");
    let line = crew.open(&line.path).await;
    let line = crew.press(&line, "Undo + 5 at 18:00", &[]).await;
    assert_eq!(line.text_of("output"), "10");
    let line = crew.press(&line, "Undo undo: + 10 at 18:00", &[]).await;
    assert_eq!(line.text_of("output"), "not counted");
    assert_eq!(unpack.number("select count(*) from stint_total").await, 0);
    unpack.verify().await;
}

#[tokio::test]
async fn a_desk_sheet_says_every_wrong_line_and_keeps_what_was_typed() {
    let unpack = unpack().await;
    let crew = unpack.person("Bo", Role::Crew).await;
    let count = unpack.open(&crew).await;
    let stint = unpack.begin(&crew, &count, 1).await;
    let peg = format!("n-{}", unpack.world.part("Peg").await);
    let strap = format!("n-{}", unpack.world.part("Strap").await);
    let sheet = crew.open(&format!("{stint}/sheet")).await;
    let typed = [(peg.as_str(), "120"), (strap.as_str(), "six")];
    let wrong = crew.press(&sheet, "Keep what is typed", &typed).await;
    wrong
        .expect(422, "Peg, black: You typed 120. The list needs 12.")
        .expect(422, "Strap, red: Type a whole number");
    assert_eq!(unpack.number("select count(*) from tally").await, 0);
    assert_eq!(
        wrong.attribute(&format!("#{strap}"), "value").as_deref(),
        Some("six")
    );
    let sure = peg.replace("n-", "sure-");
    let typed = [(strap.as_str(), "6"), (sure.as_str(), "yes")];
    let (action, body) = crew.filled(&wrong, "Keep what is typed", &typed);
    crew.post_body(&action, body.clone()).await;
    let again = crew.post_body(&action, body).await;
    assert_eq!(again.status.as_u16(), 303);
    let sheet = crew.open(&format!("{stint}/sheet")).await;
    sheet
        .expect(200, "Already recorded at 18:00")
        .expect(200, "Filled 2 of 4 lines");
    assert_eq!(unpack.number("select count(*) from tally").await, 2);
    // Emptying a field does not unsay the number.
    let emptied = crew
        .press(&sheet, "Keep what is typed", &[(strap.as_str(), "")])
        .await;
    emptied.expect(422, "6 is written down here. Type 0 if there are none");
    unpack.verify().await;
}

#[tokio::test]
async fn an_unfinished_bag_asks_what_blank_means() {
    let unpack = unpack().await;
    let crew = unpack.person("Bo", Role::Crew).await;
    let count = unpack.open(&crew).await;
    let stint = unpack.begin(&crew, &count, 0).await;
    unpack.count(&crew, &stint, "Post", "4").await;
    let done = crew.open(&format!("{stint}/done")).await;
    done.expect(200, "2 lines are not counted yet.");
    let id = done.attribute("[name=form_id]", "value").unwrap();
    let asked = crew
        .post(&format!("{stint}/done"), &[("form_id", &id)])
        .await;
    asked.expect(422, "Say whether none of the lines below are here");
    let list = crew.press(&done, "None of them are here", &[]).await;
    list.expect(200, "3 of 7 lines · 1 of 2 bags · 2 short so far");
    // Taken up again while the count is open.
    let stint_page = crew.open(&stint).await;
    let open = crew.press(&stint_page, "Go on with this count", &[]).await;
    open.expect(200, "This bag is finished");
    unpack.verify().await;
}

#[tokio::test]
async fn count_sheets_are_cut_into_pages_that_stand_alone() {
    let unpack = unpack().await;
    let crew = unpack.person("Bo", Role::Crew).await;
    let count = unpack.open(&crew).await;
    let sheets = crew.open(&format!("{count}/sheets")).await;
    let headings = sheets.texts_of("section.page h2");
    assert_eq!(headings.len(), 2);
    assert!(headings[1].ends_with("sheet 2 of 2"), "{headings:?}");
    for page in sheets.texts_of("section.page") {
        for text in [
            "Kettlehorn",
            "Guide revision 1.0",
            "printed 4 Mar 2027, 18:00",
            "0 = none, blank = not counted.",
            "Lines short",
        ] {
            assert!(page.contains(text), "“{text}” is not on {page}");
        }
    }
    assert_eq!(
        sheets.row("Bag 2").unwrap()[..3],
        ["Bag 2", "Peg B-4 · black", "12"]
    );
    assert!(
        sheets
            .attribute("svg path", "d")
            .unwrap()
            .starts_with("M4 4h7")
    );
    let one = crew
        .open(&format!("{count}/places/{}/sheets", unpack.bags[0]))
        .await;
    assert_eq!(one.texts_of("section.page").len(), 1);
}

#[tokio::test]
async fn one_count_of_a_kit_is_open_at_a_time() {
    let unpack = unpack().await;
    let keeper = unpack.person("Ama", Role::Keeper).await;
    let count = unpack.open(&keeper).await;
    let id = uuid::Uuid::now_v7().to_string();
    let other = keeper
        .post(&format!("/kits/{}/counts", unpack.kit), &[("form_id", &id)])
        .await;
    assert_eq!(other.header("location"), Some(count.as_str()));
    keeper
        .open(&count)
        .await
        .expect(200, "This kit is being counted already.");
    // Another team sees nothing of it.
    let elsewhere = unpack.world.team("Stone Ferry").await;
    let stranger = unpack.world.person("Cy", elsewhere, Role::Keeper).await;
    stranger
        .open(&count)
        .await
        .expect(403, "the team's members");
    // Crew count but do not close.
    let crew = unpack.person("Bo", Role::Crew).await;
    crew.open(&format!("{count}/close"))
        .await
        .expect(403, "the team's keeper and deputies");
}

#[tokio::test]
async fn a_bag_without_a_slip_lists_what_the_kit_still_lacks() {
    let unpack = unpack().await;
    let crew = unpack.person("Bo", Role::Crew).await;
    let count = unpack.open(&crew).await;
    let first = unpack.begin(&crew, &count, 0).await;
    unpack.count(&crew, &first, "Post", "4").await;
    unpack.count(&crew, &first, "Peg", "8").await;
    unpack.finish(&crew, &first).await;
    let list = crew.open(&count).await;
    let list = crew.press(&list, "A bag without a label", &[]).await;
    assert_eq!(list.path, count, "back where the button stood");
    let bag = crew.click(&list, &bag_row(&list)).await;
    let stint = crew.press(&bag, "Count this bag", &[]).await;
    stint.expect(200, "What the kit still lacks");
    let names = stint.texts_of("ul.jobs .name");
    assert!(!names.contains(&"Post".to_owned()), "{names:?}");
    assert!(names.contains(&"Shade".to_owned()), "{names:?}");
    let line = crew.open(&unpack.line(&stint.path, "Peg").await).await;
    line.expect(200, "need 20 · counted 8 · still to come 12");
    let line = crew.press(&line, "+ 10", &[]).await;
    line.expect(200, "counted 18 · still to come 2");
    // A small need of the whole kit is seen at a glance too.
    let line = crew
        .open(&unpack.line(&stint.path, "Plate, long").await)
        .await;
    crew.press(&line, "All 2 here", &[]).await;
    let list = unpack.finish(&crew, &stint.path).await;
    list.expect(200, "2 of 7 lines · 2 more lines counted · 2 of 3 bags");
    unpack.verify().await;
}

/// The words of the row of the bag that was just made.
fn bag_row(list: &Seen) -> String {
    let rows = list.texts_of("ul.jobs a");
    let row = rows
        .into_iter()
        .find(|row| row.starts_with("Bag without label 1"));
    row.expect("the bag stands in the list")
}

/// What is not counted is never filled in from the list: only up to four pieces can be said at a glance.
#[tokio::test]
async fn no_key_takes_the_need_for_a_count_beyond_a_glance() {
    let unpack = unpack().await;
    let keeper = unpack.person("Ama", Role::Keeper).await;
    let count = unpack.open(&keeper).await;
    let first = unpack.begin(&keeper, &count, 0).await;
    let second = unpack.begin(&keeper, &count, 1).await;
    for (stint, part, glance) in [
        (&first, "Post", Some("All 4 here")),
        (&first, "Peg", None),
        (&first, "Lamp", Some("All 1 here")),
        (&second, "Peg", None),
        (&second, "Plate, long", Some("All 2 here")),
        (&second, "Strap", None),
    ] {
        let line = keeper.open(&unpack.line(stint, part).await).await;
        let keys: Vec<String> = line
            .texts_of("button")
            .into_iter()
            .filter(|words| words.starts_with("All"))
            .collect();
        assert_eq!(keys, Vec::from_iter(glance), "{part}");
    }
    // Nor does a list, a sheet or the end of a bag offer it for many lines at once.
    for page in [
        count.clone(),
        first.clone(),
        format!("{first}/sheet"),
        format!("{first}/done"),
        format!("{count}/close"),
    ] {
        let seen = keeper.open(&page).await;
        for words in seen.texts_of("button") {
            let offers = ["All", "Everything is", "Fill"];
            assert!(
                !offers.iter().any(|start| words.starts_with(start)),
                "{page} offers “{words}”"
            );
        }
    }
    let sheet = keeper.open(&format!("{first}/sheet")).await;
    for value in sheet
        .document()
        .select(&scraper::Selector::parse("tbody input[inputmode]").unwrap())
    {
        assert_eq!(value.value().attr("value"), Some(""));
    }
}
