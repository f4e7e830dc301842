//! Counting what goes before it goes, and counts that leave out what is lent.

use super::{Scene, scene};
use crate::support::{Seen, World};

impl Scene<'_> {
    /// Counts everything of a crate in an open count: as many as `numbers` says, by part.
    async fn count_crate(
        &self,
        count: &str,
        place: fieldstow::ids::PlaceId,
        numbers: &[(&str, &str)],
    ) {
        let form_id = fieldstow::ids::FormId::new().to_string();
        let path = format!("{count}/places/{place}/stints");
        let begun = self.keeper.post(&path, &[("form_id", &form_id)]).await;
        let stint = begun.header("location").expect("a stint").to_owned();
        for (part, number) in numbers {
            let part = self.world.part(part).await;
            let page = self.keeper.open(&format!("{stint}?part={part}")).await;
            let mut seen = self
                .keeper
                .press(&page, "Write it down", &[("typed", number)])
                .await;
            if seen.status == 422 {
                let keep = format!("Keep {number}");
                seen = self.keeper.press(&seen, &keep, &[]).await;
            }
            assert_eq!(seen.status, 200, "{}", seen.words());
        }
        let page = self.keeper.open(&format!("{stint}/done")).await;
        let form_id = fieldstow::ids::FormId::new().to_string();
        let fields = [("form_id", form_id.as_str()), ("uncounted", "none")];
        let done = self.keeper.post(&page.path, &fields).await;
        assert_eq!(done.status, 303, "{}", done.words());
    }

    async fn close_count(&self, count: &str) -> Seen {
        let page = self.keeper.open(&format!("{count}/close")).await;
        self.keeper.press(&page, "Close the count", &[]).await
    }
}

#[tokio::test]
async fn count_now_counts_what_goes_and_comes_back_to_the_form_as_typed() {
    let world = World::empty().await;
    let s = scene(&world).await;
    let tick = format!("crate-{}", s.ridge);
    let form = s.form().await;
    let fields = [
        ("borrower", "Tin Mill"),
        ("contact", "the miller, at noon"),
        ("purpose", "Open day"),
        ("due_on", "2027-03-14"),
        (tick.as_str(), "yes"),
    ];
    let now = "Count it now, then lend it";
    let count = s.keeper.press(&form, now, &fields).await;
    count
        .expect(200, "Count what goes.")
        .expect(200, "This count leaves out: Moss, which stays here.")
        .expect(200, "When it is closed, you go on with what waits for it.")
        .expect(200, "Lines counted: 0 of 2");
    // Meanwhile the form says that a count is open, and nothing else is opened.
    let form = s.form().await;
    form.expect(200, "It is being counted now");
    assert!(!form.has(now));

    // A peg lacks. After closing the form is back, with everything typed.
    s.count_crate(&count.path, s.ridge, &[("Peg", "7"), ("Lamp", "1")])
        .await;
    let form = s.close_count(&count.path).await;
    form.expect(200, "Lend Kettlehorn");
    for (field, value) in [
        ("#borrower", "Tin Mill"),
        ("#contact", "the miller, at noon"),
        ("#purpose", "Open day"),
        ("#due_on", "2027-03-14"),
        ("#out_on", "2027-03-04"),
    ] {
        assert_eq!(form.attribute(field, "value").as_deref(), Some(value));
    }
    assert!(
        form.attribute(&format!("#crate-{}", s.ridge), "checked")
            .is_some()
    );
    assert!(
        form.attribute(&format!("#crate-{}", s.moss), "checked")
            .is_none()
    );
    assert!(form.attribute("input[value=closed]", "checked").is_some());
    s.keeper
        .open(&count.path)
        .await
        .expect(200, "Go on with what waited for this count");
    let loan = s.keeper.press(&form, "It is handed out", &[]).await;
    loan.expect(200, "Tin Mill has it");
    let code = count.text_of(".title-block .code .plain");
    let sheet = s.keeper.open(&format!("{}/sheet", loan.path)).await;
    sheet.expect(200, &format!("As last closed on 4 Mar 2027, count {code}"));
    assert_eq!(sheet.row("Peg").unwrap()[1], "7");
    assert_eq!(sheet.texts_of(".place"), ["Ridge"]);
    world.verify().await;

    // Moss was not gone over by that count: it is not "as last closed".
    let tick = format!("crate-{}", s.moss);
    s.lend(&[("counted", "closed"), (tick.as_str(), "yes")])
        .await
        .expect(422, "the last count did not go over Moss");
}

#[tokio::test]
async fn a_count_of_a_kit_leaves_out_what_is_lent_and_says_which() {
    let world = World::empty().await;
    let s = scene(&world).await;
    let tick = format!("crate-{}", s.moss);
    let opened_before = s.form().await;
    let loan = s.lend(&[(&tick, "yes")]).await;
    let form_id = fieldstow::ids::FormId::new().to_string();
    let fields = [("form_id", form_id.as_str()), ("purpose", "recount")];
    let opened = s
        .keeper
        .post(&format!("/kits/{}/counts", s.kit), &fields)
        .await;
    let count = opened.header("location").expect("a count").to_owned();
    let page = s.keeper.open(&count).await;
    page.expect(200, "This count leaves out: Moss, with Upper Quern.")
        .expect(200, "Lines counted: 0 of 2");
    assert!(
        !page
            .texts_of("#bags + ul .name")
            .contains(&"Moss".to_owned())
    );
    s.count_crate(&count, s.ridge, &[("Peg", "8"), ("Lamp", "1")])
        .await;
    s.close_count(&count)
        .await
        .expect(200, "This count is closed");
    // What is lent is neither counted nor missing.
    assert_eq!(s.stands("Peg").await, (8, 4, 0));
    assert_eq!(s.qty(s.moss, "Peg").await, 4);

    // Nothing goes twice, not even to be counted.
    s.keeper
        .press(
            &opened_before,
            "Count it now, then lend it",
            &[(&tick, "yes")],
        )
        .await
        .expect(422, "Moss is out: Upper Quern has it");
    let page = s.keeper.open(&loan.path).await;
    page.expect(200, "with Upper Quern");
    world.verify().await;
}
