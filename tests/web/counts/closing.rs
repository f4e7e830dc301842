//! Closing, further deliveries, moves in between, and reopening.

use fieldstow::clock::Clock;
use fieldstow::ids::FormId;
use fieldstow::ledger::{self, Entry, Move, Outside, Stand};
use fieldstow::people::Role;
use serde_json::json;

use super::{Unpack, states, tap, unpack};
use crate::support::Browser;

impl Unpack {
    /// Somebody carries pieces from a bag to another, or into the books where `from` is none.
    async fn carry(&self, part: &str, qty: i64, from: Option<usize>, to: usize) {
        let part = self.world.part(part).await;
        let mut tx = self.world.app.db.begin_write().await.unwrap();
        let now = self.world.clock.now();
        let mut entry = Entry::new(FormId::new(), "moved", self.keeper, now);
        let from = from.map_or(Outside::BroughtIn.place(), |bag| self.bags[bag]);
        entry.moves = vec![Move {
            part,
            qty,
            from: Stand::good(self.kit, from),
            to: Stand::good(self.kit, self.bags[to]),
        }];
        ledger::append(&mut tx, &entry).await.unwrap();
        tx.commit().await.unwrap();
    }

    /// Counts one line of a bag and finishes it.
    async fn count_bag(
        &self,
        browser: &Browser<'_>,
        count: &str,
        bag: usize,
        lines: &[(&str, &str)],
    ) {
        let stint = self.begin(browser, count, bag).await;
        for (part, number) in lines {
            self.count(browser, &stint, part, number).await;
        }
        self.finish(browser, &stint).await;
    }
}

#[tokio::test]
async fn lines_left_uncounted_take_a_name_and_a_reason() {
    let unpack = unpack().await;
    let keeper = unpack.person("Ama", Role::Keeper).await;
    let count = unpack.open(&keeper).await;
    let lines = [("Post", "3"), ("Peg", "8")];
    unpack.count_bag(&keeper, &count, 0, &lines).await;
    let page = keeper.open(&format!("{count}/close")).await;
    page.expect(200, "Bag 1 : Lamp")
        .expect(200, "Bag 2 : Strap, red");
    let asked = keeper
        .press(&page, "Close the count", &[("more", "more")])
        .await;
    asked.expect(422, "Say why 5 lines are left uncounted.");
    assert!(asked.text_of("title").starts_with("Error: "));
    let answers = [("reason", "box 2 comes on Monday")];
    let closed = keeper.press(&asked, "Close the count", &answers).await;
    closed
        .expect(200, "closed 18:00 by Ama")
        .expect(200, "box 2 comes on Monday");
    // Not looked at is not none: no mark, and still to come.
    assert_eq!(unpack.number("select count(*) from count_mark").await, 2);
    assert_eq!(unpack.statement("Strap").await, (6, 0, 6, 0, 6));
    assert_eq!(unpack.statement("Post").await, (4, 3, 1, 0, 1));
    unpack.verify().await;
}

#[tokio::test]
async fn a_further_delivery_is_a_further_count() {
    let unpack = unpack().await;
    let keeper = unpack.person("Ama", Role::Keeper).await;
    let first = unpack.open(&keeper).await;
    let lines = [("Post", "3"), ("Peg", "8"), ("Lamp", "1")];
    unpack.count_bag(&keeper, &first, 0, &lines).await;
    let answers = [("more", "more"), ("reason", "bag 2 is still on its way")];
    unpack
        .close(&keeper, &first, &answers)
        .await
        .expect(200, "closed");

    unpack.world.clock.advance_minutes(6 * 60);
    let second = unpack.open(&keeper).await;
    assert_ne!(first, second);
    let list = keeper.open(&second).await;
    list.expect(200, "0 of 4 lines · 0 of 1 bag")
        .expect(200, "counted on 4 Mar 2027, 18:00")
        .expect(200, "Start Bag 2");
    let stint = unpack.begin(&keeper, &second, 1).await;
    // What the first delivery brought is in the total.
    let line = keeper.open(&unpack.line(&stint, "Peg").await).await;
    line.expect(200, "need 20 · counted 8 · still to come 12");
    for (part, number) in [
        ("Peg", "12"),
        ("Plate, long", "2"),
        ("Plate, short", "2"),
        ("Strap", "6"),
    ] {
        unpack.count(&keeper, &stint, part, number).await;
    }
    unpack.finish(&keeper, &stint).await;
    // A post that was missing turned up in bag 1: the bag is counted again, the line anew.
    let again = unpack.begin(&keeper, &second, 0).await;
    let line = keeper.open(&unpack.line(&again, "Post").await).await;
    assert_eq!(line.text_of("output"), "not counted");
    unpack.count(&keeper, &again, "Post", "4").await;
    unpack.finish(&keeper, &again).await;
    let page = keeper.open(&format!("{second}/close")).await;
    page.expect(200, "23 pieces arrived from the supplier");
    let answers = [
        ("more", "all"),
        ("reason", "pegs and lamp were counted before"),
    ];
    keeper.press(&page, "Close the count", &answers).await;
    assert_eq!(unpack.statement("Peg").await, (20, 20, 0, 0, 0));
    assert_eq!(unpack.statement("Post").await, (4, 4, 0, 0, 0));
    assert_eq!(unpack.statement("Lamp").await, (1, 1, 0, 0, 0));
    unpack.verify().await;
}

#[tokio::test]
async fn pieces_that_move_while_they_are_counted_send_the_line_back() {
    let unpack = unpack().await;
    let keeper = unpack.person("Ama", Role::Keeper).await;
    unpack.carry("Peg", 12, None, 1).await;
    unpack.carry("Strap", 6, None, 1).await;
    let count = unpack.open(&keeper).await;
    let stint = unpack.begin(&keeper, &count, 1).await;
    unpack.count(&keeper, &stint, "Peg", "12").await;
    unpack.count(&keeper, &stint, "Strap", "6").await;
    unpack.carry("Peg", 4, Some(1), 0).await;
    unpack.finish(&keeper, &stint).await;
    // After it was counted a strap is carried away: the count keeps its effect, and so does the move.
    unpack.carry("Strap", 1, Some(1), 0).await;
    keeper
        .open(&count)
        .await
        .expect(200, "1 line to count again");
    let page = keeper.open(&format!("{count}/close")).await;
    page.expect(200, "4 left Bag 2 while it was counted.");
    let place = format!("{count}/places/{}", unpack.bags[1]);
    keeper
        .open(&place)
        .await
        .expect(200, "4 left Bag 2 while it was counted.");

    // Counted again: the first number has no say any more.
    let again = unpack.begin(&keeper, &count, 1).await;
    unpack.count(&keeper, &again, "Peg", "8").await;
    unpack.finish(&keeper, &again).await;
    let page = keeper.open(&format!("{count}/close")).await;
    assert!(!page.has("while it was counted"), "{}", page.words());
    let answers = [("more", "all"), ("reason", "only these two lines today")];
    keeper
        .press(&page, "Close the count", &answers)
        .await
        .expect(200, "closed");
    assert_eq!(unpack.balance(1, "Peg").await, 8);
    assert_eq!(unpack.balance(0, "Peg").await, 4);
    assert_eq!(unpack.balance(1, "Strap").await, 5);
    unpack.verify().await;
}

#[tokio::test]
async fn open_counts_are_waited_for_or_taken_as_they_are() {
    let unpack = unpack().await;
    let keeper = unpack.person("Ama", Role::Keeper).await;
    let ben = unpack.person("Ben", Role::Crew).await;
    let count = unpack.open(&keeper).await;
    let stint = unpack.begin(&ben, &count, 1).await;
    unpack.count(&ben, &stint, "Peg", "9").await;
    let page = keeper.open(&format!("{count}/close")).await;
    page.expect(200, "Ben is counting Bag 2 since 18:00");
    let answers = [("more", "more"), ("reason", "the hall closes")];
    let asked = keeper.press(&page, "Close the count", &answers).await;
    asked.expect(422, "Somebody is still counting");
    // Ben counts on: what the keeper saw is not what would be recorded.
    unpack.count(&ben, &stint, "Strap", "6").await;
    let answers = [("as_they_are", "yes")];
    let changed = keeper.press(&asked, "Close the count", &answers).await;
    changed.expect(422, "Something was counted since you opened this page");
    let closed = keeper.press(&changed, "Close the count", &[]).await;
    closed.expect(200, "This count is closed");
    assert_eq!(unpack.balance(1, "Peg").await, 9);
    assert_eq!(unpack.balance(1, "Strap").await, 6);
    unpack.verify().await;
}

#[tokio::test]
async fn closing_twice_at_once_closes_once() {
    let unpack = unpack().await;
    let ama = unpack.person("Ama", Role::Keeper).await;
    let ida = unpack.person("Ida", Role::Deputy).await;
    let count = unpack.open(&ama).await;
    let lines = [("Post", "4"), ("Peg", "8"), ("Lamp", "1")];
    unpack.count_bag(&ama, &count, 0, &lines).await;
    let answers = [("more", "more"), ("reason", "bag 2 comes later")];
    let (one, other) = (
        ama.open(&format!("{count}/close")).await,
        ida.open(&format!("{count}/close")).await,
    );
    let (action, first) = ama.filled(&one, "Close the count", &answers);
    let (_, second) = ida.filled(&other, "Close the count", &answers);
    let (one, other, again) = tokio::join!(
        ama.post_body(&action, first.clone()),
        ida.post_body(&action, second),
        ama.post_body(&action, first)
    );
    let mut statuses = [one, other, again].map(|answer| answer.status.as_u16());
    statuses.sort_unstable();
    // Whoever came first closed it; the form that was sent twice says the same twice.
    assert!(
        statuses == [303, 303, 422] || statuses == [303, 422, 422],
        "{statuses:?}"
    );
    assert_eq!(unpack.balance(0, "Peg").await, 8);
    assert_eq!(
        unpack
            .number("select count(*) from entry where kind = 'count closed'")
            .await,
        1
    );
    unpack.verify().await;
}

#[tokio::test]
async fn a_late_tap_is_kept_and_reopening_carries_everything_on() {
    let unpack = unpack().await;
    let keeper = unpack.person("Ama", Role::Keeper).await;
    let ben = unpack.person("Ben", Role::Crew).await;
    let count = unpack.open(&keeper).await;
    let lines = [("Post", "4"), ("Peg", "8"), ("Lamp", "1")];
    unpack.count_bag(&keeper, &count, 0, &lines).await;
    let stint = unpack.begin(&ben, &count, 1).await;
    unpack.count(&ben, &stint, "Peg", "10").await;
    unpack.count(&ben, &stint, "Strap", "6").await;
    unpack.finish(&ben, &stint).await;
    let answers = [("more", "more"), ("reason", "the plates come later")];
    unpack
        .close(&keeper, &count, &answers)
        .await
        .expect(200, "closed");
    assert_eq!(unpack.balance(1, "Peg").await, 10);

    // Ben's phone was away; its last taps arrive now.
    let peg = unpack.world.part("Peg").await;
    let late = json!({ "tallies": [tap(peg, 2, Some(10))] });
    let answer = ben
        .post_json(&format!("{stint}/tallies"), late.clone())
        .await;
    assert_eq!(states(&answer), ["recorded"]);
    assert!(
        answer.json()["results"][0]["why"]
            .as_str()
            .unwrap()
            .contains("late")
    );
    let closed = keeper.open(&count).await;
    closed.expect(200, "Ben : + 2 Peg in Bag 2, arrived 18:00");
    assert_eq!(unpack.balance(1, "Peg").await, 10);

    let reopened = keeper.press(&closed, "Reopen this count", &[]).await;
    assert_ne!(reopened.path, count);
    reopened.expect(200, "5 of 7 lines · 2 of 2 bags");
    assert_eq!(unpack.balance(1, "Peg").await, 0);
    keeper.open(&count).await.expect(200, "reopened");
    // Sent again to where it was first sent, it is known.
    let answer = ben.post_json(&format!("{stint}/tallies"), late).await;
    assert_eq!(states(&answer), ["again"]);
    // A new tap on the old stint finds its way to the one that carries it on.
    let more = json!({ "tallies": [tap(peg, 1, Some(12))] });
    let answer = ben.post_json(&format!("{stint}/tallies"), more).await;
    assert_eq!(answer.json()["totals"][0]["stint"], 13);
    let answers = [("more", "more"), ("reason", "the plates come later")];
    unpack
        .close(&keeper, &reopened.path, &answers)
        .await
        .expect(200, "closed");
    assert_eq!(unpack.balance(0, "Post").await, 4);
    assert_eq!(unpack.balance(1, "Peg").await, 13);
    assert_eq!(unpack.balance(1, "Strap").await, 6);
    unpack.verify().await;
}

#[tokio::test]
async fn moves_between_closing_and_reopening_keep_their_effect() {
    let unpack = unpack().await;
    let keeper = unpack.person("Ama", Role::Keeper).await;
    let count = unpack.open(&keeper).await;
    let lines = [("Post", "4"), ("Peg", "8"), ("Lamp", "1")];
    unpack.count_bag(&keeper, &count, 0, &lines).await;
    let answers = [("more", "more"), ("reason", "bag 2 comes later")];
    unpack.close(&keeper, &count, &answers).await;
    // 3 pegs come in: 11 are there.
    unpack.carry("Peg", 3, None, 0).await;
    let closed = keeper.open(&count).await;
    let reopened = keeper.press(&closed, "Reopen this count", &[]).await;
    unpack
        .close(&keeper, &reopened.path, &answers)
        .await
        .expect(200, "closed");
    assert_eq!(unpack.balance(0, "Peg").await, 11);
    // Once they were carried off, the entry cannot be taken back.
    unpack.carry("Lamp", 1, Some(0), 1).await;
    let closed = keeper.open(&reopened.path).await;
    let refused = keeper.press(&closed, "Reopen this count", &[]).await;
    refused.expect(200, "Pieces it recorded were moved since");
    assert_eq!(unpack.number("select count(*) from count_sheet").await, 2);
    unpack.verify().await;
}

#[tokio::test]
async fn a_count_set_aside_has_no_say() {
    let unpack = unpack().await;
    let keeper = unpack.person("Ama", Role::Keeper).await;
    let ben = unpack.person("Ben", Role::Crew).await;
    let count = unpack.open(&keeper).await;
    let left = unpack.begin(&ben, &count, 0).await;
    unpack.count(&ben, &left, "Peg", "3").await;
    let place = format!("{count}/places/{}", unpack.bags[0]);
    let page = keeper.open(&place).await;
    let button = "Set aside the count of Ben";
    let asked = keeper.press(&page, button, &[("reason", " ")]).await;
    asked.expect(422, "Say why this count does not hold.");
    let aside = keeper
        .press(&asked, button, &[("reason", "Ben had to leave")])
        .await;
    aside.expect(200, "set aside by Ama: Ben had to leave");
    let lines = [("Post", "4"), ("Peg", "8"), ("Lamp", "1")];
    unpack.count_bag(&keeper, &count, 0, &lines).await;
    let answers = [("more", "more"), ("reason", "bag 2 comes later")];
    unpack
        .close(&keeper, &count, &answers)
        .await
        .expect(200, "closed");
    assert_eq!(unpack.balance(0, "Peg").await, 8);
    unpack.verify().await;
}
