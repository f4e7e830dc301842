//! Days that are not free: other loans, events, days for counting, and a keeper who says why all the same.

use crate::support::{Seen, World};

use super::{Scene, scene};

impl Scene<'_> {
    /// Upper Quern asks for the kit.
    async fn ask(&self, out_on: &str, due_on: &str) -> Seen {
        let form = self.other.open(&format!("/kits/{}/ask", self.kit)).await;
        let fields = [("out_on", out_on), ("due_on", due_on)];
        self.other.press(&form, "Ask for it", &fields).await
    }

    /// An event that the kit goes to.
    async fn event(&self, first_on: &str, last_on: &str) {
        let form = self.keeper.open("/events/new").await;
        let fields = [
            ("name", "Three Passes Meeting"),
            ("first_on", first_on),
            ("last_on", last_on),
        ];
        let event = self.keeper.press(&form, "Add the event", &fields).await;
        let kit = self.kit.to_string();
        self.keeper
            .press(&event, "It goes", &[("kit", &kit)])
            .await
            .expect(200, "Kettlehorn, Nine Larches");
    }
}

#[tokio::test]
async fn what_is_asked_for_is_free_or_the_first_free_days_are_offered_by_one_press() {
    let world = World::empty().await;
    let s = scene(&world).await;
    s.event("2027-03-20", "2027-03-21").await;
    // Out from today, the 4th, until the 14th; counting takes the 15th.
    s.lend(&[]).await.expect(200, "Upper Quern has it");

    let refused = s.ask("2027-03-15", "2027-03-17").await;
    refused.expect(
        422,
        "it is not free: lent to somebody else from 4 Mar 2027 to 14 Mar 2027",
    );
    refused.expect(422, "free again on 16 Mar 2027");
    // Three days and one for counting fit between the loan and the event.
    refused.expect(
        422,
        "from 16 Mar 2027 to 18 Mar 2027 (free until 19 Mar 2027)",
    );
    let offer = "Take 16 Mar 2027 to 18 Mar 2027 instead";
    let filled = s.other.press(&refused, offer, &[]).await;
    filled.expect(200, "Ask for Kettlehorn");
    assert_eq!(
        filled.attribute("#out_on", "value").as_deref(),
        Some("2027-03-16")
    );
    assert_eq!(
        filled.attribute("#due_on", "value").as_deref(),
        Some("2027-03-18")
    );
    let asked = s.other.press(&filled, "Ask for it", &[]).await;
    asked.expect(
        200,
        "asks Nine Larches for it from 16 Mar 2027 to 18 Mar 2027",
    );

    // Four days do not fit there: they begin after the event.
    let refused = s.ask("2027-03-16", "2027-03-19").await;
    refused.expect(
        422,
        "needed for Three Passes Meeting from 20 Mar 2027 to 21 Mar 2027",
    );
    refused.expect(422, "Take 22 Mar 2027 to 25 Mar 2027 instead");
}

#[tokio::test]
async fn two_promises_for_one_day_need_a_reason_that_both_sides_read() {
    let world = World::empty().await;
    let s = scene(&world).await;
    let first = s.ask("2027-03-16", "2027-03-18").await;
    let second = s.ask("2027-03-17", "2027-03-19").await;
    let page = s.keeper.open(&first.path).await;
    s.keeper
        .press(&page, "Agree to lend it", &[])
        .await
        .expect(200, "agreed to lend it");

    let page = s.keeper.open(&second.path).await;
    assert!(
        !page.has("Agree all the same"),
        "asked for only where it is not free"
    );
    let refused = s.keeper.press(&page, "Agree to lend it", &[]).await;
    refused.expect(422, "lent to Upper Quern from 16 Mar 2027 to 18 Mar 2027");
    let refused = s
        .keeper
        .press(&refused, "Agree to lend it", &[("despite", "  ")])
        .await;
    refused.expect(422, "it is not free");
    let agreed = s
        .keeper
        .press(
            &refused,
            "Agree to lend it",
            &[("despite", "they share it from the 17th")],
        )
        .await;
    agreed.expect(200, "agreed to lend it");
    agreed.expect(200, "they share it from the 17th");
    s.other
        .open(&second.path)
        .await
        .expect(200, "they share it from the 17th");
}

#[tokio::test]
async fn handing_out_and_staying_longer_look_at_what_is_planned() {
    let world = World::empty().await;
    let s = scene(&world).await;
    s.event("2027-03-12", "2027-03-13").await;
    let refused = s.lend(&[]).await;
    refused.expect(
        422,
        "needed for Three Passes Meeting from 12 Mar 2027 to 13 Mar 2027",
    );
    // A day to come cannot be written down as done.
    let early = s
        .lend(&[("out_on", "2027-03-05"), ("due_on", "2027-03-08")])
        .await;
    early.expect(422, "that day is to come");

    let out = s.lend(&[("due_on", "2027-03-08")]).await;
    out.expect(200, "Upper Quern has it");
    let days = [("later_due_on", "2027-03-12"), ("later_why", "the snow")];
    let refused = s.keeper.press(&out, "It may stay", &days).await;
    refused.expect(422, "needed for Three Passes Meeting");
    assert_eq!(
        refused.attribute("#later_due_on", "value").as_deref(),
        Some("2027-03-12")
    );
    let longer = s
        .keeper
        .press(
            &refused,
            "It may stay",
            &[("later_despite", "they bring it there")],
        )
        .await;
    longer.expect(200, "4 Mar 2027 to 12 Mar 2027");
    let sheet = s.keeper.open(&format!("{}/sheet", longer.path)).await;
    sheet.expect(200, "they bring it there");
}

#[tokio::test]
async fn some_crates_can_go_while_others_are_out() {
    let world = World::empty().await;
    let s = scene(&world).await;
    let (ridge, moss) = (format!("crate-{}", s.ridge), format!("crate-{}", s.moss));
    s.lend(&[(&ridge, "yes")])
        .await
        .expect(200, "Upper Quern has it");
    s.lend(&[(&moss, "yes")])
        .await
        .expect(200, "Upper Quern has it");
    // All of it cannot.
    s.ask("2027-03-10", "2027-03-11")
        .await
        .expect(422, "it is not free");
}

#[tokio::test]
async fn a_team_says_how_many_days_it_needs_around_a_loan() {
    let world = World::empty().await;
    let s = scene(&world).await;
    let page = s
        .keeper
        .open(&format!("/teams/{}/loan-days", s.larches))
        .await;
    assert_eq!(page.attribute("#after", "value").as_deref(), Some("1"));
    let wrong = s.keeper.press(&page, "Save", &[("after", "two")]).await;
    wrong.expect(422, "a whole number of days, from 0 to 60");
    s.keeper
        .press(&wrong, "Save", &[("before", "2"), ("after", "0")])
        .await
        .expect(200, "Changed.");
    s.lend(&[]).await.expect(200, "Upper Quern has it");
    // Free on the 15th, and two days are needed before it goes out.
    let refused = s.ask("2027-03-16", "2027-03-18").await;
    refused.expect(422, "Take 17 Mar 2027 to 19 Mar 2027 instead");
    s.other
        .open(&format!("/teams/{}/loan-days", s.larches))
        .await
        .expect(403, "keeper and deputies");
}
