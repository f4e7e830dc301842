//! Counting with a helper pass: where a member opened a count, blind where somebody counted before, under the first
//! name, and nothing beyond what the helper began.

use fieldstow::ids::{KitId, PlaceId};
use fieldstow::people::Role;

use crate::support::{Browser, Seen, World};

struct Hall<'w> {
    world: &'w World,
    keeper: Browser<'w>,
    kit: KitId,
    bags: Vec<PlaceId>,
    code: String,
}

/// A kit with 20 pegs in one bag and 4 posts in another, at an event with a pass; counted once, so that its books
/// say what is where.
async fn hall(world: &World) -> Hall<'_> {
    let team = world.team("Nine Larches").await;
    let (ama, keeper) = world
        .account("Ama Quill", Some((team, Role::Keeper)), false)
        .await;
    let beacon = world.beacon().await;
    let (kit, bags) = world
        .kit(&beacon, ama, team, "Kettlehorn", &["Bag 1", "Bag 2"])
        .await;
    world.receive(ama, kit, bags[0], &[("Peg", 20)]).await;
    world.receive(ama, kit, bags[1], &[("Post", 4)]).await;
    let form = keeper.open("/events/new").await;
    let typed = [("name", "Three Passes Meeting"), ("first_on", "2027-03-05")];
    let event = keeper.press(&form, "Add the event", &typed).await;
    let event = keeper
        .press(&event, "It goes", &[("kit", &kit.to_string())])
        .await;
    let pass = keeper.click(&event, "Helper pass").await;
    let pass = keeper.press(&pass, "Make the pass", &[]).await;
    Hall {
        world,
        keeper,
        kit,
        code: pass.text_of("main .code .plain"),
        bags,
    }
}

impl<'w> Hall<'w> {
    async fn phone(&self, name: &str) -> Browser<'w> {
        let phone = self.world.browser();
        let begin = format!("/pass/{}", self.code.replace('-', ""));
        let begin = phone.open(&begin).await;
        phone
            .press(&begin, "I am helping", &[("first_name", name)])
            .await
            .expect(200, "You are ");
        phone
    }

    /// A member counts the kit again; answers the count's page.
    async fn open_count(&self) -> Seen {
        let form_id = uuid::Uuid::now_v7().to_string();
        let path = format!("/kits/{}/counts", self.kit);
        let fields = [("form_id", form_id.as_str()), ("purpose", "recount")];
        let seen = self.keeper.post(&path, &fields).await;
        let location = seen.header("location").expect("a count").to_owned();
        self.keeper.open(&location).await
    }

    async fn begin(&self, phone: &Browser<'_>, bag: &str) -> Seen {
        let helping = phone.open("/helping").await;
        let code = self
            .world
            .code(self.bags[usize::from(bag == "Bag 2")].0)
            .await;
        phone
            .press(&helping, &format!("Count {bag}, {code}"), &[])
            .await
    }

    async fn field(&self, part: &str) -> String {
        format!("n-{}", self.world.part(part).await)
    }
}

#[tokio::test]
async fn a_helper_counts_a_bag_under_their_first_name() {
    let world = World::empty().await;
    let hall = hall(&world).await;
    let sam = hall.phone("Sam").await;
    let helping = sam.open("/helping").await;
    helping.expect(200, "Nobody of the team has opened a count of it.");
    assert!(!helping.html().contains("Count it"));

    let count = hall.open_count().await;
    let sheet = hall.begin(&sam, "Bag 1").await;
    sheet
        .expect(200, "Peg, black")
        .expect(200, "20 should be in it")
        .expect(200, "0 of 1 line counted.");
    let peg = hall.field("Peg").await;
    // A slip of the finger is asked about once, and what was typed stays.
    let asked = sam.press(&sheet, "Write it down", &[(&peg, "190")]).await;
    asked.expect(422, "you typed 190, and 20 should be there");
    assert_eq!(
        asked.attribute(&format!("#{peg}"), "value").as_deref(),
        Some("190")
    );
    sam.press(&sheet, "Write it down", &[(&peg, "many")])
        .await
        .expect(422, "type a whole number");
    let sheet = sam.press(&sheet, "Write it down", &[(&peg, "18")]).await;
    sheet.expect(200, "1 of 1 line counted.");
    assert_eq!(sheet.told(), "1 line written down.");
    // Corrected: the difference is another tally, nothing is overwritten.
    let sheet = sam.press(&sheet, "Write it down", &[(&peg, "19")]).await;
    let done = sam.press(&sheet, "I have counted it", &[]).await;
    done.expect(200, "You counted it");
    assert_eq!(done.told(), "Finished. Take the next one.");

    // The team sees who counted, the same person each time.
    let bag = format!("{}/places/{}", count.path, hall.bags[0]);
    let page = hall.keeper.open(&bag).await;
    page.expect(200, "Sam, helper");
    let mut db = world.app.db.read().await.unwrap();
    let taps: Vec<(i64, String)> = sqlx::query_as(
        "select tally.amount, person.name from tally join person on person.id = tally.person_id \
         order by tally.n",
    )
    .fetch_all(&mut *db)
    .await
    .unwrap();
    drop(db);
    let sam_is = || "Sam, helper".to_owned();
    assert_eq!(taps, [(18, sam_is()), (1, sam_is())]);

    // Taken up again by the one who counted it.
    let helping = sam.open("/helping").await;
    let own = helping
        .attribute("a[href^='/helping/stints/']", "href")
        .expect("their own");
    let sheet = sam.open(&own).await;
    let sheet = sam.press(&sheet, "Go on with it", &[]).await;
    assert_eq!(sheet.told(), "You can go on with it.");
    sheet.expect(200, "Write it down");
    world.verify().await;
}

#[tokio::test]
async fn a_second_count_is_blind_and_nobody_touches_anothers() {
    let world = World::empty().await;
    let hall = hall(&world).await;
    let count = hall.open_count().await;
    let (sam, uli) = (hall.phone("Sam").await, hall.phone("Uli").await);
    let peg = hall.field("Peg").await;

    let sheet = hall.begin(&sam, "Bag 1").await;
    let sheet = sam.press(&sheet, "Write it down", &[(&peg, "17")]).await;
    // While somebody counts it, the next one is told so, without a name.
    let refused = hall.begin(&uli, "Bag 1").await;
    assert_eq!(
        refused.told(),
        "Somebody is counting it already; take another one."
    );
    assert!(!refused.html().contains("Sam"));
    sam.press(&sheet, "I have counted it", &[]).await;

    let blind = hall.begin(&uli, "Bag 1").await;
    blind.expect(200, "It was counted before. Those numbers are hidden");
    for digits in ["17", "20"] {
        let in_words = format!(" {digits} ");
        assert!(!blind.words().contains(&in_words), "{}", blind.words());
        assert!(blind.attribute(&format!("#{peg}"), "value").as_deref() == Some(""));
    }

    // Another's sheet is not found, and what belongs to members stays theirs.
    assert_eq!(uli.open(&sheet.path).await.status, 404);
    let form_id = || uuid::Uuid::now_v7().to_string();
    for act in ["", "/done", "/reopen"] {
        let fields = [("form_id", form_id())];
        let fields = fields
            .each_ref()
            .map(|(name, value)| (*name, value.as_str()));
        let seen = uli.post(&format!("{}{act}", sheet.path), &fields).await;
        assert_eq!(seen.status, 404, "{act}");
    }
    let stint = sheet.path.rsplit('/').next().unwrap();
    for path in [
        format!("/stints/{stint}/done"),
        format!("/stints/{stint}/set-aside"),
        format!("/stints/{stint}/tallies"),
        format!("{}/close", count.path),
        format!("{}/places/{}/settle", count.path, hall.bags[0]),
        format!("/kits/{}/counts", hall.kit),
    ] {
        let fields = [("form_id", form_id())];
        let fields = fields
            .each_ref()
            .map(|(name, value)| (*name, value.as_str()));
        let seen = uli.post(&path, &fields).await;
        assert!(
            [401, 403].contains(&seen.status.as_u16()),
            "{path}: {}",
            seen.status
        );
    }
    for path in [count.path.clone(), format!("/stints/{stint}")] {
        uli.open(&path).await.expect(200, "Sign in");
    }

    // Both counts stand side by side, and the difference is the team's to settle.
    let differs = uli.press(&blind, "Write it down", &[(&peg, "20")]).await;
    uli.press(&differs, "I have counted it", &[]).await;
    hall.keeper
        .open(&format!("{}/places/{}", count.path, hall.bags[0]))
        .await
        .expect(200, "The counts differ. Count again from the bag");
    // A difference is not changed away by whoever made it.
    let again = uli.open(&differs.path).await;
    uli.press(&again, "Go on with it", &[])
        .await
        .expect(422, "It cannot be changed any more");
    world.verify().await;
}

#[tokio::test]
async fn blank_is_not_none_and_a_pass_that_ended_counts_nothing_more() {
    let world = World::empty().await;
    let hall = hall(&world).await;
    hall.open_count().await;
    let sam = hall.phone("Sam").await;
    let sheet = hall.begin(&sam, "Bag 2").await;
    let asked = sam.press(&sheet, "I have counted it", &[]).await;
    asked.expect(422, "Not counted is not the same as none");
    sam.press(&asked, "None of them are here", &[])
        .await
        .expect(200, "You counted it");
    let mut db = world.app.db.read().await.unwrap();
    let none: i64 = sqlx::query_scalar("select qty from stint_total")
        .fetch_one(&mut *db)
        .await
        .unwrap();
    drop(db);
    assert_eq!(none, 0);

    let sheet = hall.begin(&sam, "Bag 1").await;
    let events = hall.keeper.open("/events").await;
    let event = events.attribute(".jobs a", "href").expect("the event");
    let pass = hall.keeper.open(&format!("{event}/pass")).await;
    hall.keeper.press(&pass, "End it now", &[]).await;
    let peg = hall.field("Peg").await;
    let late = sam.press(&sheet, "Write it down", &[(&peg, "20")]).await;
    late.expect(403, "Scan the pass again");
    world.verify().await;
}

#[tokio::test]
async fn a_helper_taps_a_bag_like_a_member() {
    let world = World::empty().await;
    let hall = hall(&world).await;
    let count = hall.open_count().await;
    let sam = hall.phone("Sam").await;
    let sheet = hall.begin(&sam, "Bag 1").await;
    let line = sam.click(&sheet, "Count the next part by tapping").await;
    line.expect(200, "not counted")
        .expect(200, "20 in this bag");
    let line = sam.press(&line, "+ 10", &[]).await;
    let line = sam.press(&line, "+ 10", &[]).await;
    line.expect(200, "20 of 20 in this bag");
    let line = sam.press(&line, "− 1 Peg, black", &[]).await;
    let line = sam.press(&line, "+ 1 Peg, black", &[]).await;
    let line = sam.press(&line, "+ 1 Peg, black", &[]).await;
    assert_eq!(line.text_of("output"), "21");
    let line = sam.press(&line, "Undo + 1 at 18:00", &[]).await;
    assert_eq!(line.text_of("output"), "20");
    // What went wrong is said at the line, and a slip of a digit is asked about once.
    sam.press(&line, "None here", &[])
        .await
        .expect(422, "20 are counted here");
    let asked = sam.press(&line, "Write it down", &[("typed", "200")]).await;
    asked.expect(422, "You typed 200. The list needs 20.");
    let line = sam.click(&asked, "Change").await;
    assert_eq!(line.attribute("#typed", "value").as_deref(), Some("200"));
    sam.press(&line, "Write it down", &[("typed", "many")])
        .await
        .expect(422, "Type a whole number");
    let line = sam.press(&line, "Write it down", &[("typed", "19")]).await;
    assert_eq!(line.text_of("output"), "19");

    // The last line leads back to the sheet, where the number stands and the bag is finished.
    let sheet = sam.click(&line, "All lines every one is counted").await;
    sheet.expect(200, "1 of 1 line counted.");
    let peg = hall.field("Peg").await;
    let stands = sheet.attribute(&format!("#{peg}"), "value");
    assert_eq!(stands.as_deref(), Some("19"));
    sam.press(&sheet, "I have counted it", &[])
        .await
        .expect(200, "You counted it");
    let closed = sam.open(&line.path).await;
    closed.expect(200, "This count is finished.");
    assert!(
        closed.attribute("[name='amount']", "value").is_none(),
        "no key counts on"
    );
    hall.keeper
        .open(&format!("{}/places/{}", count.path, hall.bags[0]))
        .await
        .expect(200, "Sam, helper");

    // In the other bag there are none.
    let sheet = hall.begin(&sam, "Bag 2").await;
    let line = sam.click(&sheet, "Count the next part by tapping").await;
    let line = sam.press(&line, "None here", &[]).await;
    assert_eq!(line.text_of("output"), "0");
    world.verify().await;
}

#[tokio::test]
async fn a_helpers_taps_show_and_touch_nothing_of_others() {
    let world = World::empty().await;
    let hall = hall(&world).await;
    hall.open_count().await;
    let (sam, uli) = (hall.phone("Sam").await, hall.phone("Uli").await);
    let peg = world.part("Peg").await;
    let sheet = hall.begin(&sam, "Bag 1").await;
    let line = format!("{}?part={peg}", sheet.path);
    let page = sam.open(&line).await;
    sam.press(&page, "+ 5", &[]).await;

    // A member goes on with it. The helper sees the number, but neither who tapped nor an undo of it.
    let stint = sheet.path.trim_start_matches("/helping");
    let member = hall.keeper.open(&format!("{stint}?part={peg}")).await;
    hall.keeper.press(&member, "+ 10", &[]).await;
    let page_after = sam.open(&line).await;
    assert_eq!(page_after.text_of("output"), "15");
    assert_eq!(
        page_after.text_of("[data-undo] button"),
        "Undo + 5 at 18:00"
    );
    for word in [
        "Ama",
        "Quill",
        "Weigh",
        "This part in the kit",
        "/pictures/",
    ] {
        assert!(!page_after.html().contains(word), "{word}");
    }
    assert!(page_after.html().contains("noindex"));
    let mut db = world.app.db.read().await.unwrap();
    let of_member: String =
        sqlx::query_scalar("select lower(hex(id)) from tally where amount = 10")
            .fetch_one(&mut *db)
            .await
            .unwrap();
    drop(db);
    let form_id = || uuid::Uuid::now_v7().to_string();
    let undo = [("form_id", form_id()), ("tally", of_member.clone())];
    let undo = undo.each_ref().map(|(name, value)| (*name, value.as_str()));
    sam.post(&format!("{}/undo", sheet.path), &undo)
        .await
        .expect(
            422,
            "Somebody of the team made this tap; they take it back.",
        );
    let tap = |amount: i64, undoes: Option<&str>| {
        serde_json::json!({ "tallies": [{
            "id": form_id(), "part": peg.to_string(), "amount": amount, "shown": 15, "undoes": undoes,
        }] })
    };
    // The same where the script sends a pile; and the answer tells nothing of the rest of the kit.
    let tallies = format!("{}/tallies", sheet.path);
    let answer = sam.post_json(&tallies, tap(-10, Some(&of_member))).await;
    assert_eq!(answer.json()["results"][0]["state"], "refused");
    let answer = sam.post_json(&tallies, tap(1, None)).await;
    assert_eq!(answer.json()["results"][0]["state"], "recorded");
    let total = &answer.json()["totals"][0];
    assert_eq!(total["stint"], 16);
    assert!(total["kit_counted"].is_null() && total["still_to_come"].is_null());

    // Another helper finds none of it, and a part that the sheet does not name is not there to tap.
    assert_eq!(uli.open(&line).await.status, 404);
    assert_eq!(uli.post_json(&tallies, tap(1, None)).await.status, 404);
    assert_eq!(uli.post(&tallies, &undo).await.status, 404);
    let undone = uli.post(&format!("{}/undo", sheet.path), &undo).await;
    assert_eq!(undone.status, 404);
    let nothing = format!("{}?part={}", sheet.path, uuid::Uuid::now_v7());
    assert_eq!(sam.open(&nothing).await.status, 404);

    // Whoever counts it a second time sees neither what was counted nor what is due.
    let sheet = sam.open(&sheet.path).await;
    sam.press(&sheet, "I have counted it", &[]).await;
    let blind = hall.begin(&uli, "Bag 1").await;
    let blind = uli.click(&blind, "Count the next part by tapping").await;
    blind.expect(200, "Counted before; that number is hidden.");
    for number in [" 16 ", " 20 "] {
        assert!(!blind.words().contains(number), "{}", blind.words());
    }
    world.verify().await;
}

#[tokio::test]
async fn the_helpers_sheet_names_nobody() {
    let world = World::empty().await;
    let hall = hall(&world).await;
    hall.open_count().await;
    let sam = hall.phone("Sam").await;
    let sheet = hall.begin(&sam, "Bag 1").await;
    let line = sam.click(&sheet, "Count the next part by tapping").await;
    let line = sam.press(&line, "+ 5", &[]).await;
    let pages = [
        sam.open("/helping").await,
        sam.open(&sheet.path).await,
        sam.open(&line.path).await,
    ];
    for page in pages {
        assert_eq!(page.status, 200);
        for word in ["Ama", "Quill", "@", "EUR", "price", "borrow", "lent"] {
            assert!(!page.html().contains(word), "{word} on {}", page.path);
        }
        assert!(page.html().contains("noindex"), "{}", page.path);
    }
}
