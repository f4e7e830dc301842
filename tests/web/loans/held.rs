//! Handed on to a team of the league: what it sees of another team's loan, and what it says of it.

use fieldstow::people::Role;

use super::{Scene, crate_field, scene, team_called};
use crate::support::{Browser, Seen, World};

impl<'w> Scene<'w> {
    /// A third team of the league, with Moss handed on to it by Upper Quern; answers the loan and its keeper.
    async fn moss_with_saddle_post(&self, counted: &[(&str, &str)]) -> (Seen, Browser<'w>) {
        let team = self.world.team("Saddle Post").await;
        let third = self
            .world
            .person("Cy Saddlekeeper", team, Role::Keeper)
            .await;
        let loan = self
            .lend(&[
                ("contact", "at the toll house"),
                ("purpose", "Secret meeting"),
            ])
            .await;
        let page = self.other.open(&loan.path).await;
        let form = self.other.click(&page, "Hand some of it on").await;
        let tick = format!("crate-{}", self.moss);
        let fields = [
            ("to", "saddle post"),
            ("onward_why", "they build the gates"),
            (tick.as_str(), "yes"),
        ];
        self.other
            .press(&form, "Ask the lender", &fields)
            .await
            .expect(
                200,
                "Asked. Until the lender says yes it stays where it is.",
            );
        // Asked for is not yet handed on.
        let held = format!("{}/held", loan.path);
        assert_eq!(third.open(&held).await.status.as_u16(), 403);
        assert!(!third.open("/lend").await.has("Kettlehorn"));
        let page = self.keeper.open(&loan.path).await;
        self.keeper.press(&page, "Yes, they may", &[]).await;
        assert_eq!(third.open(&held).await.status.as_u16(), 403);
        let page = self.other.open(&loan.path).await;
        let form = self.other.click(&page, "It is handed on").await;
        self.world.clock.advance_minutes(60);
        self.other
            .press(&form, "It is handed on", counted)
            .await
            .expect(200, "Handed on.");
        (loan, third)
    }
}

#[tokio::test]
async fn the_team_it_was_handed_on_to_sees_its_crates_and_nothing_else_of_the_loan() {
    let world = World::empty().await;
    let s = scene(&world).await;
    let peg = world.part("Peg").await;
    let in_moss = s.back_field(s.moss, peg);
    let counted = [("counted", "counted"), (in_moss.as_str(), "4")];
    let (loan, third) = s.moss_with_saddle_post(&counted).await;

    // Today, the lending page, all loans and the calendar name it, and lead to it.
    let today = third.open("/").await;
    today
        .expect(200, "With us, to give back")
        .expect(200, "Give some of Kettlehorn back to Upper Quern")
        .expect(200, "Due back on 14 Mar 2027, in 10 days");
    let href = today.attribute("#with-us + ul a", "href").expect("a line");
    assert_eq!(href, format!("{}/held", loan.path));
    third
        .open("/lend")
        .await
        .expect(200, "handed on by Upper Quern, due back on 14 Mar 2027");
    third
        .open("/loans")
        .await
        .expect(200, "loan 1 of Nine Larches, handed on by Upper Quern");
    third
        .open("/calendar")
        .await
        .expect(200, "Give some of Kettlehorn back to Upper Quern");

    let page = third.open(&href).await;
    for words in [
        "Handed on to us: Kettlehorn",
        "Due back by the end of 14 Mar 2027.",
        "Nine Larches",
        "Upper Quern, which answers for it",
        "Moss, since 4 Mar 2027, 19:00",
        "they build the gates",
        "With us: 4 pieces, unknown;",
        "4 Peg, black (B-4), in Moss",
        "Keep bags, trays and boxes",
        "The maker’s guide, local rules and trained people come first.",
    ] {
        page.expect(200, words);
    }
    // Field by field: nothing of the other crates, of people, of either side's words, and no way into the books.
    for hidden in [
        "Ridge",
        "Lamp",
        "Ama",
        "Ivo",
        "toll house",
        "Secret meeting",
        "in a hurry",
        "Cellar",
        "Kolm Works",
        "/places/",
        "/entries/",
        "/kits/",
        "price",
        "€",
    ] {
        assert!(
            !page.html().contains(hidden),
            "{hidden} on {}",
            page.words()
        );
    }
    // The loan's own pages are for its two sides.
    for path in ["", "/sheet", "/onward", "/onward/1", "/back", "/link"] {
        let seen = third.open(&format!("{}{path}", loan.path)).await;
        assert_eq!(seen.status.as_u16(), 403, "{path}");
    }
    // What was handed on is the holder's page only.
    for browser in [&s.keeper, &s.other] {
        assert_eq!(browser.open(&href).await.status.as_u16(), 403);
    }
    let crew = world.person(
        "Crew of theirs",
        team_called(&world, "Saddle Post").await,
        Role::Crew,
    );
    let crew = crew.await;
    let seen = crew.open(&href).await;
    seen.expect(200, "Moss");
    assert!(!seen.has("We gave it back"), "that is for the keeper");
    let form_id = fieldstow::ids::FormId::new().to_string();
    let given = crew
        .post(&format!("{href}/1/given"), &[("form_id", &form_id)])
        .await;
    assert_eq!(given.status.as_u16(), 403);
    world.verify().await;
}

#[tokio::test]
async fn it_says_what_it_found_and_gives_it_back_and_a_difference_is_laid_to_its_time() {
    let world = World::empty().await;
    let s = scene(&world).await;
    let peg = world.part("Peg").await;
    let in_moss = s.back_field(s.moss, peg);
    let counted = [("counted", "counted"), (in_moss.as_str(), "4")];
    let (loan, third) = s.moss_with_saddle_post(&counted).await;
    let held = format!("{}/held", loan.path);
    let page = third.open(&held).await;
    let say = "Say it to both sides: Moss";
    third
        .press(&page, say, &[])
        .await
        .expect(422, "say whether all of it is there");
    let again = third.press(&page, say, &[("there-1", "no")]).await;
    again.expect(422, "say what differs");
    let differs = [("there-1", "no"), ("differs-1", "the lid is cracked")];
    third
        .press(&again, say, &differs)
        .await
        .expect(200, "Both sides of the loan see what you said.")
        .expect(
            200,
            "Cy Saddlekeeper: says that something differs: the lid is cracked",
        );
    // Both sides read it without a name; the sheet keeps what the borrower said at the start.
    for browser in [&s.keeper, &s.other] {
        let page = browser.open(&loan.path).await;
        page.expect(
            200,
            "Saddle Post : says that something differs: the lid is cracked",
        );
        assert!(!page.html().contains("Cy"), "{}", page.words());
        let sheet = browser.open(&format!("{}/sheet", loan.path)).await;
        assert!(!sheet.has("the lid is cracked"));
    }

    // Damage is told from the page of the crate, as anybody does.
    let page = third.open(&held).await;
    let tell = page.attribute("a[href$='/tell']", "href").expect("a link");
    let form = third.open(&tell).await;
    form.expect(200, "Told as Saddle Post, loan 1");
    third
        .press(&form, "Tell them", &[("note", "a peg is split")])
        .await
        .expect(200, "Thank you");
    s.keeper
        .open("/damage?show=waiting")
        .await
        .expect(200, "by Saddle Post, who had it on loan");
    s.keeper
        .open(&loan.path)
        .await
        .expect(200, "Saddle Post : tells of damage: broken, Moss");
    third
        .open(&held)
        .await
        .expect(200, "Cy Saddlekeeper: tells of damage: broken, Moss");

    let given = [("given-1", "to the courier of Upper Quern")];
    third
        .press(&page, "We gave it back: Moss", &given)
        .await
        .expect(
            200,
            "says that it was given back: to the courier of Upper Quern",
        );

    // It comes back to the borrower without a yes, and with a count: one peg lacks since the third team had it.
    let page = s.other.open(&loan.path).await;
    let back = s
        .other
        .press(&page, "Moss comes back to Upper Quern", &[])
        .await;
    back.expect(200, "Hand on to Upper Quern");
    let counted = [("counted", "counted"), (in_moss.as_str(), "3")];
    world.clock.advance_minutes(60);
    s.other
        .press(&back, "It is handed on", &counted)
        .await
        .expect(200, "handed on: Moss to Upper Quern");
    let moss = s.keeper.open(&format!("/places/{}", s.moss)).await;
    moss.expect(200, "With Upper Quern");
    let page = third.open(&held).await;
    page.expect(200, "Nothing of it is with us any more.")
        .expect(200, "Left us on 4 Mar 2027, 20:00");
    assert!(!page.has("We gave it back"));
    let form_id = fieldstow::ids::FormId::new().to_string();
    let fields = [("form_id", form_id.as_str()), ("given-1", "again")];
    third
        .post(&format!("{held}/1/given"), &fields)
        .await
        .expect(422, "all of it went on or back already");
    assert!(!third.open("/").await.has("Kettlehorn"));
    third.open("/loans").await.expect(200, "Handed on to us");

    let form = s.keeper.open(&format!("{}/back", loan.path)).await;
    let (ridge, moss) = (crate_field(s.ridge), crate_field(s.moss));
    let fields = [
        (ridge.as_str(), "as it is"),
        (moss.as_str(), "counted"),
        (in_moss.as_str(), "3"),
    ];
    s.keeper
        .press(&form, "Record what is back", &fields)
        .await
        .expect(200, "While Saddle Post had it: the counts tell it.");
    let page = third.open(&held).await;
    page.expect(200, "What differs and is laid to our time")
        .expect(
            200,
            "1 Peg, black (B-4) missing, from Moss. the counts tell it",
        );
    world.verify().await;
}

#[tokio::test]
async fn only_a_keeper_of_the_team_that_has_it_speaks_for_it() {
    let world = World::empty().await;
    let s = scene(&world).await;
    let counted = [("counted", "not"), ("not_counted", "in the rain")];
    let (loan, third) = s.moss_with_saddle_post(&counted).await;
    let held = format!("{}/held", loan.path);
    third
        .open(&held)
        .await
        .expect(200, "Not counted as it was handed on: in the rain.");
    // There is no second handing on, and the first is nobody else's.
    let form_id = fieldstow::ids::FormId::new().to_string();
    let fields = [("form_id", form_id.as_str()), ("there-2", "yes")];
    let second = third.post(&format!("{held}/2/count"), &fields).await;
    assert_eq!(second.status.as_u16(), 404);
    for browser in [&s.keeper, &s.other] {
        let seen = browser.post(&format!("{held}/1/count"), &fields).await;
        assert_eq!(seen.status.as_u16(), 403);
    }
    let page = third.open(&held).await;
    third
        .press(&page, "Say it to both sides: Moss", &[("there-1", "yes")])
        .await
        .expect(200, "Cy Saddlekeeper: says that all of it is there");
    world.verify().await;
}

#[tokio::test]
async fn a_borrower_without_an_account_hands_on_with_a_count_and_gets_it_back() {
    let world = World::empty().await;
    let s = scene(&world).await;
    let team = world.team("Saddle Post").await;
    let third = world.person("Cy Saddlekeeper", team, Role::Keeper).await;
    let loan = s.lend_outside().await;
    let (_, key) = s.link(&loan).await;
    let (phone, shown) = s.phone(&key, "Ivo Mill").await;
    let tick = format!("crate-{}", s.moss);
    let fields = [
        ("to", "Saddle Post"),
        ("onward_why", "they build the gates"),
        (tick.as_str(), "yes"),
    ];
    let asked = phone.press(&shown, "Ask the lender", &fields).await;
    asked.expect(
        200,
        "Asked. Nine Larches has not answered yet: until then it stays with you.",
    );
    // Without a yes there is nothing to count.
    phone
        .open("/lent/onward/1")
        .await
        .expect(200, "This does not wait to be handed on");
    let page = s.keeper.open(&loan.path).await;
    s.keeper
        .press(&page, "No, they may not", &[("word", "the post is damp")])
        .await;
    phone
        .open("/lent")
        .await
        .expect(200, "Nine Larches says no: the post is damp.");

    let shown = phone.open("/lent").await;
    phone.press(&shown, "Ask the lender", &fields).await;
    let page = s.keeper.open(&loan.path).await;
    s.keeper
        .press(&page, "Yes, they may", &[("word", "until Friday")])
        .await;
    let shown = phone.open("/lent").await;
    shown.expect(200, "You may: until Friday.");
    let form = phone.click(&shown, "It is handed on to Saddle Post").await;
    let peg = world.part("Peg").await;
    let (in_moss, in_ridge) = (s.back_field(s.moss, peg), s.back_field(s.ridge, peg));
    assert!(!form.html().contains(&in_ridge), "only what is handed on");
    let again = phone
        .press(&form, "It is handed on", &[("counted", "counted")])
        .await;
    again.expect(422, "Peg, black (B-4): write how many you counted");
    let counted = [("counted", "counted"), (in_moss.as_str(), "4")];
    world.clock.advance_minutes(60);
    phone
        .press(&again, "It is handed on", &counted)
        .await
        .expect(200, "Handed on.")
        .expect(200, "with Saddle Post");
    let page = s.keeper.open(&loan.path).await;
    page.expect(200, "Ivo Mill of Tin Mill : handed on: Moss to Saddle Post")
        .expect(200, "Handed on to Saddle Post.");
    third
        .open(&format!("{}/held", loan.path))
        .await
        .expect(200, "4 Peg, black (B-4), in Moss");

    // And back again, by the yes it left with.
    let shown = phone.open("/lent").await;
    let back = phone
        .press(&shown, "Moss comes back to us from Saddle Post", &[])
        .await;
    let not = [("counted", "not"), ("not_counted", "they left at once")];
    world.clock.advance_minutes(60);
    phone
        .press(&back, "It is handed on", &not)
        .await
        .expect(200, "with Tin Mill");
    s.keeper
        .open(&format!("/places/{}", s.moss))
        .await
        .expect(200, "With Tin Mill");
    let page = s.keeper.open(&loan.path).await;
    assert!(!page.has("Handed on to"), "{}", page.words());
    let rows = page.texts_of("#hands + div tbody tr");
    assert_eq!(rows.len(), 4, "{rows:?}");

    // It can also stay after all.
    let shown = phone.open("/lent").await;
    phone.press(&shown, "Ask the lender", &fields).await;
    let shown = phone.open("/lent").await;
    phone
        .press(&shown, "It is not handed on to Saddle Post", &[])
        .await
        .expect(200, "It is not handed on.");
    world.verify().await;
}

#[tokio::test]
async fn an_outsider_who_hands_on_to_another_outsider_is_named_with_them() {
    let world = World::empty().await;
    let s = scene(&world).await;
    let loan = s.lend_outside().await;
    let form = s.keeper.click(&loan, "Hand some of it on").await;
    let tick = format!("crate-{}", s.moss);
    let fields = [
        ("to", "Lantern House"),
        ("to_contact", "its porter"),
        ("onward_why", "they need it sooner"),
        (tick.as_str(), "yes"),
    ];
    let count = s.keeper.press(&form, "Write it in", &fields).await;
    let not = [("counted", "not"), ("not_counted", "in the rain")];
    s.keeper
        .press(&count, "It is handed on", &not)
        .await
        .expect(200, "Handed on to Lantern House.");
    world.verify().await;
}
