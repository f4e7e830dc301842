//! Counting back, what differs, closing, and what comes home later.

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
