//! Handing on: asked, answered, done with a count or without; each difference is laid to a stretch.

use super::{Scene, crate_field, scene};
use crate::support::{Seen, World};

impl Scene<'_> {
    /// The borrower asks to hand Moss on to the Tin Mill.
    async fn ask_onward(&self, loan: &Seen) -> Seen {
        let page = self.other.open(&loan.path).await;
        let form = self.other.click(&page, "Hand some of it on").await;
        let tick = format!("crate-{}", self.moss);
        let fields = [
            ("to", "Tin Mill"),
            ("to_contact", "the miller, at noon"),
            ("onward_why", "they build the gates"),
            (tick.as_str(), "yes"),
        ];
        self.other.press(&form, "Ask the lender", &fields).await
    }
}

#[tokio::test]
async fn crates_are_handed_on_only_with_the_lenders_yes() {
    let world = World::empty().await;
    let s = scene(&world).await;
    let loan = s.lend(&[]).await;
    let page = s.other.open(&loan.path).await;
    let form = s.other.click(&page, "Hand some of it on").await;
    s.other
        .press(&form, "Ask the lender", &[("to", "Tin Mill")])
        .await
        .expect(422, "no other team of the league is called so")
        .expect(422, "tick what is handed on")
        .expect(422, "say in a word why");
    let tick = format!("crate-{}", s.moss);
    let fields = [
        ("to", "Upper Quern"),
        ("onward_why", "why not"),
        (tick.as_str(), "yes"),
    ];
    s.other
        .press(&form, "Ask the lender", &fields)
        .await
        .expect(422, "they have Moss already");

    s.ask_onward(&loan).await.expect(
        200,
        "Asked. Until the lender says yes it stays where it is.",
    );
    s.ask_onward(&loan)
        .await
        .expect(422, "it is asked already whether Moss may be handed on");
    let moss = s.keeper.open(&format!("/places/{}", s.moss)).await;
    moss.expect(200, "With Upper Quern");
    let page = s.keeper.open(&loan.path).await;
    page.expect(200, "Hand on Moss to Tin Mill ?")
        .expect(200, "they build the gates. Reached by the miller, at noon.");
    s.keeper
        .press(&page, "No, they may not", &[])
        .await
        .expect(422, "say in a word why not");
    s.keeper
        .press(&page, "No, they may not", &[("word", "the mill is damp")])
        .await
        .expect(200, "They may not hand it on.");
    let page = s.other.open(&loan.path).await;
    page.expect(200, "says no to handing on: to Tin Mill: the mill is damp");
    assert!(!page.has("It is handed on"));
    // The page is refused too, and so is what was never agreed to.
    let done = format!("{}/onward/1", loan.path);
    s.other
        .open(&done)
        .await
        .expect(200, "This does not wait to be handed on");
    let form_id = fieldstow::ids::FormId::new().to_string();
    let fields = [("form_id", form_id.as_str()), ("counted", "not")];
    s.other
        .post(&done, &fields)
        .await
        .expect(422, "this was answered or done already");
    s.keeper
        .open(&format!("/places/{}", s.moss))
        .await
        .expect(200, "With Upper Quern");
    world.verify().await;
}

#[tokio::test]
async fn each_hand_has_its_count_and_the_counts_tell_who_lacks_what() {
    let world = World::empty().await;
    let s = scene(&world).await;
    let loan = s.lend(&[]).await;
    // It left uncounted: what the borrower confirms stands for a count.
    let page = s.other.open(&loan.path).await;
    let yes = [("there", "yes")];
    s.other.press(&page, "Say it to the lender", &yes).await;
    s.ask_onward(&loan).await;
    let page = s.keeper.open(&loan.path).await;
    s.keeper
        .press(&page, "Yes, they may", &[("word", "until Friday")])
        .await
        .expect(200, "They may hand it on.");
    let page = s.other.open(&loan.path).await;
    page.expect(200, "They may: until Friday.");
    assert!(!page.html().contains("Ama"));
    let form = s.other.click(&page, "It is handed on").await;
    let peg = world.part("Peg").await;
    let (in_moss, in_ridge) = (s.back_field(s.moss, peg), s.back_field(s.ridge, peg));
    assert!(!form.html().contains(&in_ridge), "only what is handed on");
    s.other
        .press(&form, "It is handed on", &[])
        .await
        .expect(422, "say whether it was counted");
    let counted = [("counted", "counted")];
    s.other
        .press(&form, "It is handed on", &counted)
        .await
        .expect(422, "write how many you counted, 0 for none");
    let counted = [("counted", "counted"), (in_moss.as_str(), "4")];
    world.clock.advance_minutes(60);
    let shown = s.other.press(&form, "It is handed on", &counted).await;
    shown.expect(200, "Handed on.");

    // Who holds what follows, everywhere.
    assert_eq!(
        shown.row("Tin Mill").unwrap()[1..],
        [
            "Moss",
            "4 Mar 2027, 19:00",
            "now",
            "counted as it was handed on"
        ]
    );
    let rows: Vec<_> = shown.texts_of("#hands + div tbody tr");
    assert_eq!(
        rows.len(),
        3,
        "Ridge and Moss left one hand apart: {rows:?}"
    );
    s.keeper
        .open(&format!("/places/{}", s.moss))
        .await
        .expect(200, "With Tin Mill");
    s.keeper
        .open(&format!("/places/{}", s.ridge))
        .await
        .expect(200, "With Upper Quern");
    s.keeper
        .open(&loan.path)
        .await
        .expect(200, "Handed on to Tin Mill.")
        .expect(200, "handed on: Moss to Tin Mill");
    s.keeper
        .open("/loans?borrower=Tin%20Mill")
        .await
        .expect(200, "Loan 1");
    s.form().await.expect(200, "Crate Moss is with Tin Mill.");
    s.lend(&[])
        .await
        .expect(422, "Ridge is out: Upper Quern has it");
    s.keeper.open(&format!("{}/sheet", loan.path)).await.expect(
        200,
        "Tin Mill has Moss since 4 Mar 2027 (counted as it was handed on)",
    );
    // It was no mistake any more.
    let page = s.keeper.open(&loan.path).await;
    assert!(!page.has("It was a mistake: nothing left"));
    let form_id = fieldstow::ids::FormId::new().to_string();
    s.keeper
        .post(
            &format!("{}/take-back", loan.path),
            &[("form_id", &form_id)],
        )
        .await
        .expect(422, "some of it was handed on already");
    world.verify().await;

    // Back: one peg of Moss lacks since the Tin Mill had it, one of Ridge since it left.
    let form = s.keeper.open(&format!("{}/back", loan.path)).await;
    let lamp = world.part("Lamp").await;
    let (ridge, moss) = (crate_field(s.ridge), crate_field(s.moss));
    let lamps = s.back_field(s.ridge, lamp);
    let others = ridge.replacen("crate-", "others-", 1);
    let fields = [
        (ridge.as_str(), "counted"),
        (moss.as_str(), "counted"),
        (in_ridge.as_str(), "7"),
        (lamps.as_str(), "1"),
        (in_moss.as_str(), "3"),
        (others.as_str(), "a red glove"),
    ];
    let back = s.keeper.press(&form, "Record what is back", &fields).await;
    back.expect(200, "While Tin Mill had it: the counts tell it.")
        .expect(200, "While Upper Quern had it: the counts tell it.")
        .expect(200, "In whose time is not said yet.");
    assert_eq!(s.parent(s.moss).await, Some(s.store));
    assert_eq!(s.stands("Peg").await, (10, 2, 0));

    // It is not closed before each is laid to somebody.
    for line in 1..=3 {
        let form_id = fieldstow::ids::FormId::new().to_string();
        let agreement = if line == 3 { "goes back" } else { "wear" };
        let fields = [
            ("form_id", form_id.as_str()),
            ("agreement", agreement),
            ("pays", "nobody"),
            ("lender_name", "Ama"),
            ("borrower_name", "Ivo"),
        ];
        let path = format!("{}/differences/{line}", loan.path);
        assert_eq!(s.keeper.post(&path, &fields).await.status, 303);
    }
    let page = s.keeper.open(&loan.path).await;
    s.keeper
        .press(&page, "Close the loan", &[])
        .await
        .expect(422, "say of every difference in whose time it came about");
    let lay = "They had it then: Not ours: a red glove";
    s.keeper
        .press(&page, lay, &[("stretch", "0")])
        .await
        .expect(422, "say in a word what tells it");
    s.keeper
        .press(&page, lay, &[("stretch", "0"), ("words", "their colours")])
        .await
        .expect(200, "While Upper Quern had it: their colours.");
    let page = s.keeper.open(&loan.path).await;
    s.keeper
        .press(&page, "Close the loan", &[])
        .await
        .expect(200, "The loan is closed.");
    world.verify().await;
}

#[tokio::test]
async fn the_keeper_writes_in_what_an_outsider_handed_on_without_a_count() {
    let world = World::empty().await;
    let s = scene(&world).await;
    let loan = s
        .lend(&[("borrower", "Tin Mill"), ("contact", "the miller")])
        .await;
    let form = s.keeper.click(&loan, "Hand some of it on").await;
    let tick = format!("crate-{}", s.moss);
    let fields = [
        ("to", "Upper Quern"),
        ("onward_why", "they need it sooner"),
        (tick.as_str(), "yes"),
    ];
    let count = s.keeper.press(&form, "Write it in", &fields).await;
    count.expect(200, "Hand on to Upper Quern");
    let not = [("counted", "not")];
    s.keeper
        .press(&count, "It is handed on", &not)
        .await
        .expect(422, "say why it was not counted");
    let not = [("counted", "not"), ("not_counted", "in the rain")];
    s.keeper
        .press(&count, "It is handed on", &not)
        .await
        .expect(200, "not counted: in the rain");
    s.keeper
        .open(&format!("/places/{}", s.moss))
        .await
        .expect(200, "With Upper Quern");

    // Nobody counted between the two: the keeper says it in words.
    let peg = world.part("Peg").await;
    let form = s.keeper.open(&format!("{}/back", loan.path)).await;
    let fields = [
        (crate_field(s.moss), "counted"),
        (crate_field(s.ridge), "as it is"),
        (s.back_field(s.moss, peg), "3"),
    ];
    let fields: Vec<(&str, &str)> = fields.iter().map(|(k, v)| (k.as_str(), *v)).collect();
    s.keeper
        .press(&form, "Record what is back", &fields)
        .await
        .expect(200, "In whose time is not said yet.");
    world.verify().await;
}
