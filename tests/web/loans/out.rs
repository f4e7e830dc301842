//! Handing out: in three taps, to one at a time, taken back, longer.

use fieldstow::ledger;

use super::scene;
use crate::support::World;

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
    let opened_before = s.form().await;
    s.lend(&[(&tick, "yes")]).await.expect(200, "Loan 1");
    let said = "Ridge is out: Upper Quern has it until 14 Mar 2027 (loan 1)";
    let fields = [
        ("borrower", "upper quern"),
        ("due_on", "2027-03-14"),
        ("not_counted", "in a hurry"),
        (tick.as_str(), "yes"),
    ];
    s.keeper
        .press(&opened_before, "It is handed out", &fields)
        .await
        .expect(422, said);
    // What is here can go, and the form says what is not.
    let form = s.form().await;
    form.expect(200, "What is here leaves")
        .expect(200, "Crate Ridge is with Upper Quern.");
    assert!(form.attribute(&format!("#{tick}"), "name").is_none());
    let rest = s.lend(&[]).await;
    rest.expect(200, "Loan 2").expect(200, "part of it");
    assert_eq!(rest.texts_of("#crates + ul .name"), ["Moss"]);
    assert_eq!(s.stands("Peg").await, (0, 12, 0));
    s.lend(&[]).await.expect(422, said);
}

#[tokio::test]
async fn a_part_of_a_kit_says_what_lacks_of_its_parts() {
    let world = World::empty().await;
    let s = scene(&world).await;
    // The list needs 20 pegs and 2 lamps; 12 and 1 are here. Moss holds pegs only.
    let tick = format!("crate-{}", s.moss);
    let loan = s.lend(&[(&tick, "yes")]).await;
    let sheet = s.keeper.open(&format!("{}/sheet", loan.path)).await;
    sheet.expect(200, "8 Peg, black (B-4): short");
    assert!(!sheet.has("Lamp"), "{}", sheet.words());
}

#[tokio::test]
async fn some_pieces_leave_in_a_bag_that_both_pages_name() {
    let world = World::empty().await;
    let s = scene(&world).await;
    let form = s.form().await;
    let peg = form
        .attribute("input[name^='qty-'][id]", "name")
        .expect("a line");
    for (typed, said) in [
        ("-3", "write a number of pieces"),
        ("900", "only 1 is there"),
        ("x", "write a number of pieces"),
    ] {
        s.lend(&[(peg.as_str(), typed)]).await.expect(422, said);
    }
    let loan = s.lend(&[(peg.as_str(), "1")]).await;
    let lines = loan.texts_of("#crates ~ ul:first-of-type li");
    assert_eq!(lines.len(), 1, "{lines:?}");
    assert!(lines[0].starts_with("1 "), "{lines:?}");
    let sheet = s.keeper.open(&format!("{}/sheet", loan.path)).await;
    sheet.expect(200, "Pieces that leave in Bag of loan 1 (");
}

#[tokio::test]
async fn a_first_day_years_ago_is_a_slip() {
    let world = World::empty().await;
    let s = scene(&world).await;
    s.lend(&[("out_on", "2020-01-01")])
        .await
        .expect(422, "that is more than a year ago");
    s.lend(&[("out_on", "2027-02-20")])
        .await
        .expect(200, "Loan 1");
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
    s.lend(&[(&qty, "99")]).await.expect(422, "only 1 is there");
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
