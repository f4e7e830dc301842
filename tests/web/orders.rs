//! Order lines: wanted, ordered, arrived, called off, each taken back; and whether they are still needed.

use fieldstow::ids::{KitId, PersonId, PlaceId, TeamId};
use fieldstow::people::Role;

use crate::support::{Browser, Seen, World};

/// A beacon kit that lacks 2 of 20 pegs, and whoever keeps it.
struct Shelf<'w> {
    world: &'w World,
    team: TeamId,
    ama: PersonId,
    keeper: Browser<'w>,
    kit: KitId,
    bag: PlaceId,
}

async fn shelf(world: &World) -> Shelf<'_> {
    let team = world.team("Nine Larches").await;
    let (ama, keeper) = world
        .account("Ama", Some((team, Role::Keeper)), false)
        .await;
    let beacon = world.beacon().await;
    let (kit, bags) = world
        .kit(&beacon, ama, team, "Kettlehorn", &["Bag 1"])
        .await;
    world.receive(ama, kit, bags[0], &[("Peg", 18)]).await;
    Shelf {
        world,
        team,
        ama,
        keeper,
        kit,
        bag: bags[0],
    }
}

impl Shelf<'_> {
    async fn want(&self, fields: &[(&str, &str)]) -> Seen {
        let part = self.world.part("Peg").await;
        let form = format!("/orders/new?kit={}&part={part}&qty=2", self.kit);
        let form = self.keeper.open(&form).await;
        self.keeper.press(&form, "Put it on the list", fields).await
    }

    async fn order(&self, line: &Seen, by: &str) -> Seen {
        let fields = [("supplier", "Kolm Works"), ("by", by)];
        self.keeper.press(line, "It is ordered", &fields).await
    }

    async fn pegs(&self) -> i64 {
        let mut db = self.world.app.db.read().await.unwrap();
        sqlx::query_scalar(
            "select coalesce(sum(qty), 0) from balance \
             where kit_id = $1 and part_id = $2 and outside = 0 and state = 'good'",
        )
        .bind(self.kit)
        .bind(self.world.part("Peg").await)
        .fetch_one(&mut *db)
        .await
        .unwrap()
    }

    /// How many pegs the kit's statement has on order.
    async fn on_order(&self) -> i64 {
        let mut db = self.world.app.db.read().await.unwrap();
        let peg = self.world.part("Peg").await;
        let accounts = fieldstow::kits::accounts(&mut db, self.kit).await.unwrap();
        let found = accounts.iter().find(|account| account.line.part == peg);
        found.expect("pegs are needed").line.facts.on_order
    }
}

/// The name of the button that takes back the step with these words.
fn back(seen: &Seen, words: &str) -> String {
    let css = format!("button[aria-label*='{words}']");
    seen.attribute(&css, "aria-label")
        .unwrap_or_else(|| panic!("nothing says “{words}” on {}:\n{}", seen.path, seen.words()))
}

#[tokio::test]
async fn a_line_waits_is_ordered_arrives_in_two_parcels_and_is_in_the_books() {
    let world = World::empty().await;
    let shelf = shelf(&world).await;
    let keeper = &shelf.keeper;
    let line = shelf.want(&[("needed_on", "2027-03-12")]).await;
    line.expect(200, "2 Peg, black (B-4) for Kettlehorn")
        .expect(200, "2 wait for the next order.")
        .expect(200, "Needed by 12 Mar 2027");
    assert_eq!(shelf.on_order().await, 0, "what waits is on no order");
    keeper
        .open("/")
        .await
        .expect(200, "1 line waits for the next order");

    let line = shelf.order(&line, "2027-03-05").await;
    line.expect(
        200,
        "2 are ordered from Kolm Works, expected by 5 Mar 2027.",
    );
    assert_eq!(shelf.on_order().await, 2);
    // What comes in time for a day cures what stops the build.
    let build = format!("/kits/{}/build?day=2027-03-06", shelf.kit);
    let build = keeper.open(&build).await;
    assert!(
        build.html().contains("ordered, expected by 5 Mar 2027"),
        "{}",
        build.words()
    );
    let mut pages = vec![keeper.open("/orders").await];
    assert!(!pages[0].has("late"));

    let came = |qty: &'static str| [("came", qty)];
    let line = keeper.press(&line, "These arrived", &came("1")).await;
    line.expect(200, "1 is ordered from Kolm Works");
    assert_eq!((shelf.pegs().await, shelf.on_order().await), (19, 1));
    // A pack of four for the one that is left.
    let line = keeper.press(&line, "These arrived", &came("4")).await;
    line.expect(200, "All of it arrived.");
    assert_eq!((shelf.pegs().await, shelf.on_order().await), (23, 0));
    let entry = keeper.click(&line, "In the books").await;
    entry
        .expect(200, "Kettlehorn")
        .expect(200, "brought in")
        .expect(200, "Order line 1");
    world.verify().await;

    // Each step is taken back, what arrived in the ledger.
    let line = keeper
        .press(&line, &back(&line, "that 4 arrived"), &[])
        .await;
    line.expect(200, "1 is ordered from Kolm Works")
        .expect(200, "(taken back)");
    assert_eq!((shelf.pegs().await, shelf.on_order().await), (19, 1));
    keeper
        .press(&line, &back(&line, "ordered it from"), &[])
        .await
        .expect(422, "take back first what happened to it later");
    let line = keeper
        .press(&line, &back(&line, "that 1 arrived"), &[])
        .await;
    let line = keeper
        .press(&line, &back(&line, "ordered it from"), &[])
        .await;
    line.expect(200, "2 wait for the next order.");
    assert_eq!((shelf.pegs().await, shelf.on_order().await), (18, 0));
    world.verify().await;

    // Ordered again, and not here on its day.
    shelf.order(&line, "2027-03-04").await;
    world.clock.advance_minutes(6 * 60);
    pages.push(keeper.open("/").await);
    pages[1]
        .expect(200, "Something ordered is late")
        .expect(200, "Ask where it is.");
    let orders = keeper.open("/orders").await;
    orders.expect(
        200,
        "expected by 4 Mar 2027 and not here: ask where they are.",
    );
    assert_eq!(orders.text_of(".mark.short"), "late");
}

#[tokio::test]
async fn a_line_is_called_off_with_a_word_and_comes_back() {
    let world = World::empty().await;
    let shelf = shelf(&world).await;
    let keeper = &shelf.keeper;
    let line = shelf.want(&[]).await;
    keeper
        .press(&line, "Call it off", &[])
        .await
        .expect(422, "write a word why");
    let fields = [("off_why", "two turned up in the van")];
    let off = keeper.press(&line, "Call it off", &fields).await;
    off.expect(200, "Called off.")
        .expect(200, "two turned up in the van");
    assert!(!off.has("These arrived") && !off.has("It is ordered"));
    // A form from before is refused, and the same form again is recorded once.
    shelf
        .order(&line, "")
        .await
        .expect(422, "this order line was called off; take that back first");
    let line = keeper.press(&off, &back(&off, "called it off"), &[]).await;
    line.expect(200, "2 wait for the next order.");
    let (path, body) = keeper.filled(
        &line,
        "It is ordered",
        &[("supplier", "Kolm Works"), ("by", "")],
    );
    for _ in 0..2 {
        assert_eq!(keeper.post_body(&path, body.clone()).await.status, 303);
    }
    let line = keeper.open(&line.path).await;
    assert_eq!(
        line.html().matches("ordered it from Kolm").count(),
        2,
        "once, and its button"
    );
    keeper
        .post_body(&path, keeper.filled(&line, "Call it off", &[]).1)
        .await
        .expect(422, "it was ordered already");
}

#[tokio::test]
async fn the_page_says_when_the_kit_does_not_lack_it_any_more() {
    let world = World::empty().await;
    let shelf = shelf(&world).await;
    let line = shelf.want(&[]).await;
    assert!(!line.has("more than is needed"));
    world
        .receive(shelf.ama, shelf.kit, shelf.bag, &[("Peg", 1)])
        .await;
    let says = "The kit needs 20 and has 19 good: it lacks only 1, and 2 are wanted or on order.";
    shelf.keeper.open(&line.path).await.expect(200, says);
    shelf.keeper.open("/orders").await.expect(200, says);
    world
        .receive(shelf.ama, shelf.kit, shelf.bag, &[("Peg", 1)])
        .await;
    shelf
        .keeper
        .open(&line.path)
        .await
        .expect(200, "it lacks none, and 2 are wanted or on order");
}

#[tokio::test]
async fn what_cannot_be_meant_is_told_at_its_field_and_kept() {
    let world = World::empty().await;
    let shelf = shelf(&world).await;
    for (fields, sentence) in [
        (vec![("part", "wheel")], "no part is called so"),
        (vec![("part", "")], "write which part"),
        (vec![("qty", "0")], "write a whole number"),
        (vec![("needed_on", "soon")], "give the day as 2027-03-04"),
    ] {
        let mut fields = fields;
        fields.push(("why", "for the ridge"));
        let again = shelf.want(&fields).await;
        again.expect(422, sentence);
        assert_eq!(
            again.attribute("#why", "value").as_deref(),
            Some("for the ridge")
        );
    }
    let line = shelf.want(&[]).await;
    for (button, fields, sentence) in [
        ("It is ordered", vec![("supplier", "")], "write from whom"),
        (
            "It is ordered",
            vec![("supplier", "Kolm"), ("by", "2027-03-01")],
            "it cannot be expected before it was ordered",
        ),
        (
            "These arrived",
            vec![("came", "0")],
            "write how many arrived",
        ),
        (
            "These arrived",
            vec![("came_on", "2027-03-05")],
            "that day is still to come",
        ),
    ] {
        shelf
            .keeper
            .press(&line, button, &fields)
            .await
            .expect(422, sentence);
    }
    assert_eq!(shelf.pegs().await, 18);
}

#[tokio::test]
async fn other_teams_see_no_orders_and_crew_only_take_in() {
    let world = World::empty().await;
    let shelf = shelf(&world).await;
    let line = shelf.want(&[]).await;
    let line = shelf.order(&line, "").await;
    let other = world.team("Hobnail Bridge").await;
    let dot = world.person("Dot", other, Role::Keeper).await;
    assert_eq!(dot.open(&line.path).await.status, 403);
    dot.open("/orders")
        .await
        .expect(200, "Nothing waits for the next order.");
    let form = dot.open("/orders/new").await;
    form.expect(200, "You keep no kit");
    let form_id = uuid::Uuid::now_v7().to_string();
    let kit = shelf.kit.to_string();
    dot.post(
        "/orders",
        &[("form_id", &form_id), ("kit", &kit), ("part", "Peg")],
    )
    .await
    .expect(422, "choose one of your kits");

    let crew = world.person("Cy", shelf.team, Role::Crew).await;
    let seen = crew.open(&line.path).await;
    assert!(!seen.has("Call it off"));
    crew.press(&seen, "These arrived", &[("came", "2")])
        .await
        .expect(200, "All of it arrived.");
    assert_eq!(shelf.pegs().await, 20);
    crew.open("/orders/new")
        .await
        .expect(403, "keepers and deputies");
}
