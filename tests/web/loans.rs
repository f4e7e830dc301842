//! Loans: handed out, extended, counted back, agreed about, closed, and what comes home later.

use fieldstow::ids::{KitId, PartId, PlaceId, TeamId};
use fieldstow::ledger;
use fieldstow::people::Role;
use fieldstow::places::Kind;
use fieldstow::{kits, places};

use crate::support::{Browser, Seen, World};

struct Scene<'w> {
    world: &'w World,
    larches: TeamId,
    kit: KitId,
    store: PlaceId,
    ridge: PlaceId,
    moss: PlaceId,
    keeper: Browser<'w>,
    /// Keeps the team that borrows.
    other: Browser<'w>,
}

/// A kit of two crates in a store: 8 pegs and a lamp in Ridge, 4 pegs in Moss.
async fn scene(world: &World) -> Scene<'_> {
    let larches = world.team("Nine Larches").await;
    let quern = world.team("Upper Quern").await;
    let (ama, keeper) = world
        .account("Ama", Some((larches, Role::Keeper)), false)
        .await;
    let other = world.person("Ivo Quernkeeper", quern, Role::Keeper).await;
    let beacon = world.beacon().await;
    let (kit, _) = world.kit(&beacon, ama, larches, "Kettlehorn", &[]).await;
    let store = world.place(ama, larches, Kind::Store, "Cellar", None).await;
    let crate_of = async |name| {
        let parent = Some(store);
        world.place(ama, larches, Kind::Crate, name, parent).await
    };
    let (ridge, moss) = (crate_of("Ridge").await, crate_of("Moss").await);
    world
        .receive(ama, kit, ridge, &[("Peg", 8), ("Lamp", 1)])
        .await;
    world.receive(ama, kit, moss, &[("Peg", 4)]).await;
    Scene {
        world,
        larches,
        kit,
        store,
        ridge,
        moss,
        keeper,
        other,
    }
}

impl Scene<'_> {
    async fn form(&self) -> Seen {
        self.keeper.open(&format!("/kits/{}/lend", self.kit)).await
    }

    /// Lends as the fields say; due on 14 March, not counted.
    async fn lend(&self, fields: &[(&str, &str)]) -> Seen {
        let mut all = vec![
            ("borrower", "upper quern"),
            ("due_on", "2027-03-14"),
            ("not_counted", "in a hurry"),
        ];
        all.extend_from_slice(fields);
        let form = self.form().await;
        self.keeper.press(&form, "It is handed out", &all).await
    }

    async fn qty(&self, place: PlaceId, part: &str) -> i64 {
        let part = self.world.part(part).await;
        let mut db = self.world.app.db.read().await.unwrap();
        let held = places::pieces(&mut db, place, false).await.unwrap();
        let mine = held.iter().filter(|line| line.part == part);
        mine.map(|line| line.qty).sum()
    }

    /// Here, lent out and missing of a part, by the kit's statement.
    async fn stands(&self, part: &str) -> (i64, i64, i64) {
        let part = self.world.part(part).await;
        let mut db = self.world.app.db.read().await.unwrap();
        let statement = kits::statement(&mut db, self.kit).await.unwrap();
        let facts = statement
            .into_iter()
            .find(|line| line.part == part)
            .map(|line| line.facts)
            .unwrap_or_default();
        (facts.here(), facts.lent_out, facts.missing)
    }

    async fn parent(&self, place: PlaceId) -> Option<PlaceId> {
        let mut db = self.world.app.db.read().await.unwrap();
        places::find(&mut db, place).await.unwrap().unwrap().parent
    }

    fn back_field(&self, place: PlaceId, part: PartId) -> String {
        format!(
            "back-{}-{}-{}",
            place.0.simple(),
            part.0.simple(),
            self.kit.0.simple()
        )
    }
}

fn crate_field(place: PlaceId) -> String {
    format!("crate-{}", place.0.simple())
}

#[tokio::test]
async fn a_kit_is_lent_in_three_taps_and_stands_with_the_borrower() {
    let world = World::empty().await;
    let s = scene(&world).await;
    let today = s.keeper.open("/").await;
    let lend = s.keeper.click(&today, "Lend").await;
    let kit = lend.attribute("#which + ul a", "href").unwrap();
    let form = s.keeper.open(&kit).await;
    let fields = [
        ("borrower", "Upper Quern"),
        ("due_on", "2027-03-14"),
        ("not_counted", "in a hurry"),
    ];
    let loan = s.keeper.press(&form, "It is handed out", &fields).await;
    loan.expect(
        200,
        "Upper Quern has it, due back on 14 Mar 2027, in 10 days.",
    )
    .expect(200, "not counted before it left: in a hurry");

    assert_eq!(s.stands("Peg").await, (0, 12, 0));
    let ridge = s.keeper.open(&format!("/places/{}", s.ridge)).await;
    ridge.expect(200, "With Upper Quern");
    s.keeper
        .open(&format!("/kits/{}", s.kit))
        .await
        .expect(200, "due back on 14 Mar 2027, in 10 days");
    s.keeper
        .open("/lend")
        .await
        .expect(200, "With others now")
        .expect(200, "loan 1, due back on 14 Mar 2027");
    world.verify().await;
}

#[tokio::test]
async fn nothing_is_lent_twice_and_the_one_who_has_it_is_named() {
    let world = World::empty().await;
    let s = scene(&world).await;
    let tick = format!("crate-{}", s.ridge);
    s.lend(&[(&tick, "yes")]).await.expect(200, "Loan 1");
    let said = "Ridge is out: Upper Quern has it until 14 Mar 2027 (loan 1)";
    s.lend(&[(&tick, "yes")]).await.expect(422, said);
    s.lend(&[]).await.expect(422, said);
    let tick = format!("crate-{}", s.moss);
    s.lend(&[(&tick, "yes")]).await.expect(200, "Loan 2");
    assert_eq!(s.stands("Peg").await, (0, 12, 0));
}

#[tokio::test]
async fn what_is_wrong_is_said_at_its_field_and_what_was_typed_stays() {
    let world = World::empty().await;
    let s = scene(&world).await;
    let again = s.lend(&[("due_on", "2027-03-01")]).await;
    again.expect(422, "that is before it leaves, on 4 Mar 2027");
    assert_eq!(
        again.attribute("#borrower", "value").as_deref(),
        Some("upper quern")
    );
    s.lend(&[("borrower", "Quern")])
        .await
        .expect(422, "Do you mean Upper Quern?");
    s.lend(&[("not_counted", "")])
        .await
        .expect(422, "say why it leaves without being counted");
    let tick = s.form().await;
    let qty = tick
        .attribute("input[name^='qty-']", "name")
        .expect("pieces can be lent");
    s.lend(&[(&qty, "99")]).await.expect(422, "are there");
    s.lend(&[("borrower", "Tin Mill"), ("contact", "the miller, at noon")])
        .await
        .expect(200, "Tin Mill has it");
}

#[tokio::test]
async fn lent_crates_are_neither_carried_nor_emptied_nor_undone_elsewhere() {
    let world = World::empty().await;
    let s = scene(&world).await;
    s.lend(&[]).await.expect(200, "Loan 1");
    let form = s.keeper.open(&format!("/places/{}/carry", s.ridge)).await;
    s.keeper
        .press(&form, "It is there", &[("to", "nowhere")])
        .await
        .expect(422, "Ridge is lent: it is with Upper Quern");
    let form = s.keeper.open(&format!("/places/{}/move", s.ridge)).await;
    let store = s.store.to_string();
    let peg = form.attribute("input[name^='qty-']", "name").unwrap();
    s.keeper
        .press(&form, "Move them", &[("to", store.as_str()), (&peg, "1")])
        .await
        .expect(422, "Ridge is lent");
    let mut db = world.app.db.read().await.unwrap();
    let (seq, _) = ledger::head(&mut db).await.unwrap();
    drop(db);
    let form_id = fieldstow::ids::FormId::new().to_string();
    let undone = s
        .keeper
        .post(&format!("/entries/{seq}/undo"), &[("form_id", &form_id)])
        .await;
    undone.expect(422, "put right on the loan's own page");
}

#[tokio::test]
async fn a_mistake_is_taken_back_while_nothing_came_back() {
    let world = World::empty().await;
    let s = scene(&world).await;
    let loan = s.lend(&[]).await;
    let taken_back = s
        .keeper
        .press(&loan, "It was a mistake: nothing left", &[])
        .await;
    taken_back.expect(200, "It was written down by mistake: nothing left.");
    assert_eq!(s.stands("Peg").await, (12, 0, 0));
    assert_eq!(s.parent(s.ridge).await, Some(s.store));
    // It can be lent again, and stands with the same borrower.
    s.lend(&[]).await.expect(200, "Loan 2");
    world.verify().await;
}

#[tokio::test]
async fn a_loan_may_stay_longer_with_a_reason() {
    let world = World::empty().await;
    let s = scene(&world).await;
    let loan = s.lend(&[]).await;
    let later = async |due_on, why| {
        let fields = [("later_due_on", due_on), ("later_why", why)];
        let page = s.keeper.open(&loan.path).await;
        s.keeper.press(&page, "It may stay", &fields).await
    };
    later("2027-03-14", "snow")
        .await
        .expect(422, "choose a later day");
    later("2027-03-20", " ")
        .await
        .expect(422, "say why it may stay longer");
    later("2027-03-20", "snow")
        .await
        .expect(200, "in 16 days")
        .expect(200, "due later, due back on 20 Mar 2027: snow");
}

#[tokio::test]
async fn every_piece_is_accounted_for_from_out_to_found_later() {
    let world = World::empty().await;
    let s = scene(&world).await;
    let loan = s.lend(&[]).await;
    let (peg, lamp) = (world.part("Peg").await, world.part("Lamp").await);

    // Counting back shows no number of what went out, and blank is not zero.
    let back = format!("{}/back", loan.path);
    let form = s.keeper.open(&back).await;
    let legends = form.texts_of("details legend");
    assert_eq!(
        legends,
        ["Lamp (B-5)", "Peg, black (B-4)", "Peg, black (B-4)"]
    );
    let value = form.attribute("details input.number", "value");
    assert_eq!(value.as_deref(), Some(""));
    let (ridge, moss) = (crate_field(s.ridge), crate_field(s.moss));
    let pegs_in_ridge = s.back_field(s.ridge, peg);
    let lamps_in_ridge = s.back_field(s.ridge, lamp);
    let pegs_in_moss = s.back_field(s.moss, peg);
    let broken = pegs_in_ridge.replacen("back-", "broken-", 1);
    s.keeper
        .press(&form, "Record what is back", &[(&ridge, "counted")])
        .await
        .expect(422, "write how many are back, 0 for none");

    // Ridge lacks three pegs and the lamp, one peg broke; Moss has one peg too many.
    let others = moss.replacen("crate-", "others-", 1);
    let form = s.keeper.open(&back).await;
    let fields = [
        (ridge.as_str(), "counted"),
        (moss.as_str(), "counted"),
        (pegs_in_ridge.as_str(), "5"),
        (lamps_in_ridge.as_str(), "0"),
        (broken.as_str(), "1"),
        (pegs_in_moss.as_str(), "5"),
        (others.as_str(), "a red glove"),
    ];
    let shown = s.keeper.press(&form, "Record what is back", &fields).await;
    shown
        .expect(
            200,
            "It is back from Upper Quern. What differs is to be agreed about.",
        )
        .expect(200, "1 Peg")
        .expect(200, "in the wrong crate, now in Moss")
        .expect(200, "Not ours: a red glove");
    // Two pegs and the lamp are owed: still with the borrower, not missing.
    assert_eq!(s.stands("Peg").await.1, 2);
    assert_eq!(s.stands("Lamp").await, (0, 1, 0));
    assert_eq!(s.qty(s.ridge, "Peg").await, 5);
    assert_eq!(s.qty(s.moss, "Peg").await, 5);
    assert_eq!(s.parent(s.ridge).await, Some(s.store));
    world.verify().await;

    // It is not closed before each difference is agreed about, with a name from each side.
    s.keeper
        .press(&shown, "Close the loan", &[])
        .await
        .expect(422, "agree about every difference first");
    let lines: Vec<String> = shown
        .document()
        .select(&scraper::Selector::parse("form[action*='/differences/']").unwrap())
        .filter_map(|form| form.value().attr("action").map(str::to_owned))
        .filter(|action| !action.ends_with("/home"))
        .collect();
    assert_eq!(
        lines.len(),
        4,
        "missing, missing, broken, not ours: {lines:?}"
    );
    let say = async |action: &str, agreement: &str, borrower: &str| {
        let form_id = fieldstow::ids::FormId::new().to_string();
        let fields = [
            ("form_id", form_id.as_str()),
            ("agreement", agreement),
            ("pays", "nobody"),
            ("lender_name", "Ama"),
            ("borrower_name", borrower),
        ];
        s.keeper.post(action, &fields).await
    };
    say(&lines[0], "lender’s loss", " ")
        .await
        .expect(422, "a name from each side");
    for line in &lines {
        for agreement in ["lender’s loss", "goes back"] {
            say(line, agreement, "Ivo").await;
        }
    }
    let page = s.keeper.open(&loan.path).await;
    let closed = s.keeper.press(&page, "Close the loan", &[]).await;
    closed.expect(200, "The loan is closed.");
    assert_eq!(s.stands("Peg").await.1, 0);
    assert_eq!(s.stands("Peg").await.2, 2);
    assert_eq!(s.stands("Lamp").await, (0, 0, 1));

    // The lamp turns up: one form, and the loan stays closed.
    let home = closed
        .attribute("form[action$='/home'] input.number", "id")
        .unwrap();
    assert!(home.starts_with("home-"));
    let actions: Vec<String> = closed
        .document()
        .select(&scraper::Selector::parse("form[action$='/home']").unwrap())
        .filter_map(|form| form.value().attr("action").map(str::to_owned))
        .collect();
    for action in actions {
        let form_id = fieldstow::ids::FormId::new().to_string();
        let fields = [("form_id", form_id.as_str()), ("qty", "1")];
        let answer = s.keeper.post(&action, &fields).await;
        assert_eq!(answer.status.as_u16(), 303, "{}", answer.words());
    }
    assert_eq!(s.stands("Lamp").await, (1, 0, 0));
    assert_eq!(s.stands("Peg").await.2, 1);
    s.keeper
        .open(&loan.path)
        .await
        .expect(200, "The loan is closed.");
    world.verify().await;
}

#[tokio::test]
async fn a_crate_taken_back_as_it_is_closes_the_loan_when_it_is_the_last() {
    let world = World::empty().await;
    let s = scene(&world).await;
    let loan = s.lend(&[]).await;
    let back = format!("{}/back", loan.path);
    let form = s.keeper.open(&back).await;
    s.keeper
        .press(&form, "Record what is back", &[])
        .await
        .expect(422, "say which of it is back");
    let ridge = crate_field(s.ridge);
    let form = s.keeper.open(&back).await;
    s.keeper
        .press(&form, "Record what is back", &[(&ridge, "as it is")])
        .await
        .expect(200, "Upper Quern has it");
    assert_eq!(s.stands("Peg").await, (8, 4, 0));
    let form = s.keeper.open(&back).await;
    let moss = crate_field(s.moss);
    s.keeper
        .press(&form, "Record what is back", &[(&moss, "as it is")])
        .await
        .expect(200, "The loan is closed.");
    assert_eq!(s.stands("Peg").await, (12, 0, 0));
    world.verify().await;
}

#[tokio::test]
async fn loose_pieces_get_a_bag_and_go_back_where_they_lay() {
    let world = World::empty().await;
    let s = scene(&world).await;
    let peg = world.part("Peg").await;
    let qty = format!("qty-{}-{}-good", s.moss.0.simple(), peg.0.simple());
    let loan = s.lend(&[(&qty, "3")]).await;
    loan.expect(200, "Bag of loan 1");
    assert_eq!(s.stands("Peg").await, (9, 3, 0));
    assert_eq!(s.qty(s.moss, "Peg").await, 1);
    let form = s.keeper.open(&format!("{}/back", loan.path)).await;
    let bag = form.attribute("input[name^='crate-']", "name").unwrap();
    let back = form.attribute("input[name^='back-']", "name").unwrap();
    let shown = s
        .keeper
        .press(
            &form,
            "Record what is back",
            &[(&bag, "counted"), (&back, "2")],
        )
        .await;
    shown.expect(200, "missing, from Moss");
    assert_eq!(s.qty(s.moss, "Peg").await, 3);
    assert_eq!(s.stands("Peg").await, (11, 1, 0));
    // It turns up before anything is agreed: the loan closes by itself.
    let home = "It is home: 1 Peg, black (B-4) missing, from Moss";
    s.keeper
        .press(&shown, home, &[("qty", "1")])
        .await
        .expect(200, "The loan is closed.");
    assert_eq!(s.stands("Peg").await, (12, 0, 0));
    world.verify().await;
}

#[tokio::test]
async fn a_team_asks_and_is_answered() {
    let world = World::empty().await;
    let s = scene(&world).await;
    let ask = async || {
        let form = s.other.open(&format!("/kits/{}/ask", s.kit)).await;
        let team = form.attribute("#team option", "value").unwrap();
        let fields = [
            ("team", team.as_str()),
            ("out_on", "2027-03-10"),
            ("due_on", "2027-03-14"),
            ("purpose", "Open day"),
        ];
        s.other.press(&form, "Ask for it", &fields).await
    };
    let asked = ask().await;
    asked.expect(200, "Upper Quern asks Nine Larches for it");
    let page = s.keeper.open(&asked.path).await;
    s.keeper
        .press(&page, "Decline", &[])
        .await
        .expect(422, "say in a word why not");
    let page = s.keeper.open(&asked.path).await;
    s.keeper
        .press(&page, "Decline", &[("why", "we need it ourselves")])
        .await
        .expect(200, "Nine Larches declined");
    s.other
        .open(&asked.path)
        .await
        .expect(200, "declined: we need it ourselves");

    let asked = ask().await;
    let page = s.keeper.open(&asked.path).await;
    let agreed = s.keeper.press(&page, "Agree to lend it", &[]).await;
    agreed.expect(200, "Nine Larches agreed to lend it to Upper Quern");
    let form = s.keeper.click(&agreed, "Hand it out").await;
    let fields = [("not_counted", "sealed since the last count")];
    let out = s.keeper.press(&form, "It is handed out", &fields).await;
    out.expect(200, "Upper Quern has it, due back on 14 Mar 2027");
    assert_eq!(out.path, asked.path);

    let asked = ask().await;
    let page = s.other.open(&asked.path).await;
    s.other
        .press(&page, "We need it no more", &[])
        .await
        .expect(200, "asks no more");
}

#[tokio::test]
async fn each_side_sees_its_own_people_only_and_strangers_nothing() {
    let world = World::empty().await;
    let s = scene(&world).await;
    let loan = s
        .lend(&[
            ("contact", "a telephone nobody answers"),
            ("purpose", "Open day"),
        ])
        .await;
    let sheet = format!("{}/sheet", loan.path);
    for path in [&loan.path, &sheet] {
        let theirs = s.other.open(path).await;
        theirs.expect(200, "Upper Quern").expect(200, "Open day");
        for hidden in ["Ama", "a telephone", "/places/", "/entries/", "Cellar"] {
            assert!(!theirs.html().contains(hidden), "{path} tells {hidden}");
        }
    }
    s.keeper.open(&loan.path).await.expect(200, "Ama");
    let theirs = s.other.open(&loan.path).await;
    for button in ["Count it back", "It may stay", "It was a mistake"] {
        assert!(!theirs.has(button), "the borrower is not asked: {button}");
    }
    let back = s.other.open(&format!("{}/back", loan.path)).await;
    assert_eq!(back.status.as_u16(), 403);
    s.other
        .open("/lend")
        .await
        .expect(200, "With us, to give back");

    let third = world.team("Saddle Post").await;
    let stranger = world.person("Cy", third, Role::Keeper).await;
    for path in [&loan.path, &sheet] {
        assert_eq!(stranger.open(path).await.status.as_u16(), 403);
        let nobody = world.browser();
        assert!(nobody.open(path).await.path.starts_with("/sign-in"));
    }
    assert!(!stranger.open("/loans").await.has("Kettlehorn"));
    assert!(!s.keeper.open("/loans").await.has("Nothing was lent"));
}

#[tokio::test]
async fn the_sheet_says_what_was_so_already() {
    let world = World::empty().await;
    let s = scene(&world).await;
    let loan = s.lend(&[]).await;
    let sheet = s.keeper.open(&format!("{}/sheet", loan.path)).await;
    for words in [
        "Loan of Kettlehorn",
        "by the end of 14 Mar 2027",
        "Not counted before it left: in a hurry",
        "Already so when it left",
        "short",
        "For the lender",
        "For the borrower",
        "CAUTION",
        "The maker’s guide, local rules and trained people come first.",
    ] {
        sheet.expect(200, words);
    }
    let code = world.code(s.ridge.0).await;
    sheet.expect(200, &code);
}

#[tokio::test]
async fn today_says_what_is_due_and_overdue() {
    let world = World::empty().await;
    let s = scene(&world).await;
    s.lend(&[("due_on", "2027-03-06")])
        .await
        .expect(200, "Loan");
    s.keeper
        .open("/")
        .await
        .expect(200, "Count Kettlehorn back from Upper Quern")
        .expect(200, "Due back on 6 Mar 2027, in 2 days");
    world.clock.advance_minutes(4 * 24 * 60);
    let (_, keeper) = world
        .account("Ama again", Some((s.larches, Role::Keeper)), false)
        .await;
    keeper
        .open("/")
        .await
        .expect(200, "overdue")
        .expect(200, "Due back on 6 Mar 2027: 2 days overdue");
}

#[tokio::test]
async fn a_hundred_keepers_take_the_same_crate_and_one_gets_it() {
    let world = World::empty().await;
    let s = scene(&world).await;
    let tick = format!("crate-{}", s.ridge);
    let mut forms = Vec::new();
    for _ in 0..100 {
        let form_id = fieldstow::ids::FormId::new().to_string();
        forms.push(form_id);
    }
    let path = format!("/kits/{}/lend", s.kit);
    let send = async |form_id: &str| {
        let fields = [
            ("form_id", form_id),
            ("borrower", "Upper Quern"),
            ("out_on", "2027-03-04"),
            ("due_on", "2027-03-14"),
            ("counted", "not"),
            ("not_counted", "in a hurry"),
            (tick.as_str(), "yes"),
        ];
        s.keeper.post(&path, &fields).await
    };
    let all = futures_of(forms.iter().map(|form| send(form))).await;
    let got = all
        .iter()
        .filter(|seen| seen.status.as_u16() == 303)
        .count();
    assert_eq!(got, 1);
    let said = "Ridge is out: Upper Quern has it until 14 Mar 2027 (loan 1)";
    let heard = all
        .iter()
        .filter(|seen| seen.status.as_u16() == 422 && seen.has(said))
        .count();
    assert_eq!(heard, 99);
    assert_eq!(s.stands("Peg").await, (4, 8, 0));
    world.verify().await;
}

/// Runs all at once and answers what they answered.
async fn futures_of<F: Future>(all: impl Iterator<Item = F>) -> Vec<F::Output> {
    let mut waiting: Vec<_> = all.map(|one| (Box::pin(one), None)).collect();
    std::future::poll_fn(|context| {
        let mut done = true;
        for (one, answer) in &mut waiting {
            if answer.is_none() {
                match one.as_mut().poll(context) {
                    std::task::Poll::Ready(found) => *answer = Some(found),
                    std::task::Poll::Pending => done = false,
                }
            }
        }
        if done {
            std::task::Poll::Ready(())
        } else {
            std::task::Poll::Pending
        }
    })
    .await;
    waiting
        .into_iter()
        .filter_map(|(_, answer)| answer)
        .collect()
}
