//! Counting back, what differs, closing, and what comes home later.

use fieldstow::people::Role;

use super::{crate_field, scene};
use crate::support::World;

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
        .expect(422, "write how many you counted, 0 for none");

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
            "It is back from Upper Quern. 4 differences are to be agreed about.",
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
async fn numbers_are_never_dropped_without_a_word() {
    let world = World::empty().await;
    let s = scene(&world).await;
    let loan = s.lend(&[]).await;
    let peg = world.part("Peg").await;
    let (ridge, moss) = (crate_field(s.ridge), crate_field(s.moss));
    let in_moss = s.back_field(s.moss, peg);
    let form = s.keeper.open(&format!("{}/back", loan.path)).await;
    for chosen in ["as it is", ""] {
        let fields = [
            (ridge.as_str(), "as it is"),
            (moss.as_str(), chosen),
            (in_moss.as_str(), "3"),
        ];
        let again = s.keeper.press(&form, "Record what is back", &fields).await;
        again.expect(
            422,
            "Moss: you wrote numbers for it. Choose that it was counted",
        );
        let typed = again.attribute(&format!("#{in_moss}"), "value");
        assert_eq!(typed.as_deref(), Some("3"));
    }
    let fields = [(moss.as_str(), "counted"), (in_moss.as_str(), "many")];
    s.keeper
        .press(&form, "Record what is back", &fields)
        .await
        .expect(422, "Peg, black (B-4): write a number of pieces");
    assert_eq!(s.stands("Peg").await, (0, 12, 0), "nothing was recorded");
}

#[tokio::test]
async fn who_counts_back_second_hears_who_was_first() {
    let world = World::empty().await;
    let s = scene(&world).await;
    let loan = s.lend(&[]).await;
    let uli = world.person("Uli Second", s.larches, Role::Deputy).await;
    let peg = world.part("Peg").await;
    let (ridge, moss) = (crate_field(s.ridge), crate_field(s.moss));
    let in_moss = s.back_field(s.moss, peg);
    let both = format!("{}/back", loan.path);
    let (first, second) = (s.keeper.open(&both).await, uli.open(&both).await);
    let fields = [(ridge.as_str(), "as it is"), (moss.as_str(), "as it is")];
    s.keeper.press(&first, "Record what is back", &fields).await;
    let fields = [(moss.as_str(), "counted"), (in_moss.as_str(), "3")];
    uli.press(&second, "Record what is back", &fields)
        .await
        .expect(422, "nothing of this loan is out");
    // Open still, because something was doubted: the second one hears of the first.
    let loan = s.lend(&[]).await;
    let page = s.other.open(&loan.path).await;
    let differs = [("there", "no"), ("differs", "a peg is split")];
    s.other.press(&page, "Say it to the lender", &differs).await;
    s.keeper
        .open("/")
        .await
        .expect(200, "Something of Kettlehorn differs, says Upper Quern");
    let both = format!("{}/back", loan.path);
    let (first, second) = (s.keeper.open(&both).await, uli.open(&both).await);
    let fields = [(ridge.as_str(), "as it is"), (moss.as_str(), "as it is")];
    let back = s.keeper.press(&first, "Record what is back", &fields).await;
    back.expect(200, "and nothing is left to agree about")
        .expect(200, "Close the loan");
    let fields = [(moss.as_str(), "counted"), (in_moss.as_str(), "3")];
    uli.press(&second, "Record what is back", &fields)
        .await
        .expect(
            422,
            "Ama has written down already what is back (Ridge as it is; Moss as it is)",
        );
    world.verify().await;
}

#[tokio::test]
async fn a_piece_of_another_crate_is_written_where_it_lies_and_is_not_missing() {
    let world = World::empty().await;
    let s = scene(&world).await;
    let loan = s.lend(&[]).await;
    let (peg, lamp) = (world.part("Peg").await, world.part("Lamp").await);
    let (ridge, moss) = (crate_field(s.ridge), crate_field(s.moss));
    let also = moss.replacen("crate-", "also-", 1);
    let (pegs, lamps, in_moss) = (
        s.back_field(s.ridge, peg),
        s.back_field(s.ridge, lamp),
        s.back_field(s.moss, peg),
    );
    let form = s.keeper.open(&format!("{}/back", loan.path)).await;
    let counted = |found: &'static str| {
        [
            (ridge.clone(), "counted"),
            (moss.clone(), "counted"),
            (pegs.clone(), "8"),
            (lamps.clone(), "0"),
            (in_moss.clone(), "4"),
            (also.clone(), found),
        ]
    };
    for (found, said) in [
        ("lamp", "line 1: write how many"),
        (
            "1 peg",
            "Peg, black (B-4) belongs here: count it on its line",
        ),
        (
            "1 shade",
            "no other crate of this loan that is out holds “shade”",
        ),
    ] {
        let fields = counted(found);
        let fields: Vec<_> = fields.iter().map(|(k, v)| (k.as_str(), *v)).collect();
        s.keeper
            .press(&form, "Record what is back", &fields)
            .await
            .expect(422, said);
    }
    let fields = counted("1 lamp");
    let fields: Vec<_> = fields.iter().map(|(k, v)| (k.as_str(), *v)).collect();
    s.keeper
        .press(&form, "Record what is back", &fields)
        .await
        .expect(200, "1 Lamp (B-5) in the wrong crate, now in Moss")
        .expect(200, "The loan is closed.");
    assert_eq!(s.qty(s.moss, "Lamp").await, 1);
    assert_eq!(s.stands("Lamp").await, (1, 0, 0));
    world.verify().await;
}
