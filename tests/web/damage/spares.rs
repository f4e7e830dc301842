//! Spares for the next season, from what broke: one-offs are told and left out; and found pieces that another team
//! misses.

use fieldstow::people::Role;

use super::{Stocked, stocked};
use crate::support::{Seen, World};

impl Stocked<'_> {
    async fn goes_to(&self, name: &str, first_on: &str, last_on: &str) {
        let form = self.keeper.open("/events/new").await;
        let fields = [("name", name), ("first_on", first_on), ("last_on", last_on)];
        let event = self.keeper.press(&form, "Add the event", &fields).await;
        let kit = self.kit.to_string();
        self.keeper.press(&event, "It goes", &[("kit", &kit)]).await;
    }

    async fn spares(&self, asked: &str) -> Seen {
        let page = format!("/kits/{}/spares{asked}", self.kit);
        self.keeper.open(&page).await
    }
}

#[tokio::test]
async fn one_offs_are_left_out_of_the_spares_and_told() {
    let world = World::empty().await;
    let stock = stocked(&world).await;
    stock
        .spares("")
        .await
        .expect(200, "Nothing was in use before")
        .expect(200, "Add the days of practice");

    // Ten days of use: four at events that have begun, six of practice.
    stock.goes_to("Pass Day", "2027-02-01", "2027-02-03").await;
    stock.goes_to("Rope Day", "2027-03-04", "2027-03-06").await;
    stock.goes_to("Far Day", "2027-05-01", "2027-05-09").await;
    stock.tell(&[("part", "peg"), ("qty", "5")]).await;
    let bag = stock.tell(&[("part", "peg"), ("qty", "2")]).await;
    let one_off = "This was a one-off: do not reckon with it next season";
    let asked = "?season=all&practice=6&sure=95";
    // With all seven counted on, and with two of them in one accident: 5 and 7 seen, twice the same days, 95 %.
    let all = stock.spares(asked).await;
    let row = all.row("Peg, black (B-4)").expect("a row");
    assert_eq!(row[1], "7 broke or were lost");
    let counted_on: i64 = row[2].parse().expect("a number");
    stock.keeper.press(&bag, one_off, &[]).await;
    let page = stock.spares(asked).await;
    page.expect(
        200,
        "4 days at events and 6 days of practice, for 10 days of use to come",
    );
    let row = page.row("Peg, black (B-4)").expect("a row");
    assert_eq!(
        row[1],
        "7 broke or were lost, 2 of them in one accident and not counted on"
    );
    let left_out: i64 = row[2].parse().expect("a number");
    assert!(left_out < counted_on, "{left_out} of {counted_on}");
    // What never broke needs some too.
    let post = page.row("Post").expect("a row");
    assert_eq!(post[1..3], ["none broke or was lost", "2"]);

    // From here to the order, for so many as lack.
    let order = format!("Order {left_out} Peg, black (B-4)");
    let form = stock.keeper.click(&page, &order).await;
    assert_eq!(form.attribute("#qty", "value"), Some(left_out.to_string()));
    stock
        .keeper
        .press(&form, "Put it on the list", &[])
        .await
        .expect(200, "wait for the next order.");

    stock
        .spares("?season=all&practice=many")
        .await
        .expect(200, "write a whole number of days");
    // Reached from what broke most and from the kit.
    let most = stock.keeper.open("/damage/most").await;
    stock
        .keeper
        .click(&most, "Kettlehorn")
        .await
        .expect(200, "Spares for next season");
    let kit = stock.keeper.open(&format!("/kits/{}", stock.kit)).await;
    stock
        .keeper
        .click(&kit, "Spares for next season")
        .await
        .expect(200, "Spares for next season");
    let other = world.team("Hobnail Bridge").await;
    let dot = world.person("Dot", other, Role::Keeper).await;
    let page = format!("/kits/{}/spares", stock.kit);
    assert_eq!(dot.open(&page).await.status, 403);
}

#[tokio::test]
async fn a_found_piece_that_another_team_misses_goes_to_the_coordinator() {
    let world = World::empty().await;
    let stock = stocked(&world).await;
    // Another team has signed a post off as missing.
    let other = world.team("Hobnail Bridge").await;
    let (dot_id, dot) = world
        .account("Dot", Some((other, Role::Keeper)), false)
        .await;
    let (theirs, bags) = world
        .kit(&stock.beacon, dot_id, other, "Old Needle", &["Bag 7"])
        .await;
    world
        .receive(dot_id, theirs, bags[0], &[("Post", 4), ("Lamp", 1)])
        .await;
    for part in ["post", "lamp"] {
        let form = dot.open("/broken").await;
        let fields = [("part", part), ("what", "lost")];
        let slip = dot.press(&form, "Record it", &fields).await;
        dot.press(&slip, "Decide so", &[("kind", "missing")])
            .await
            .expect(200, "Settled.");
    }

    // Ours has all its posts: the found one is over, and somebody else misses one.
    let says = "No kit of yours misses one, but another team of the league does. Hand it to the coordinator.";
    let code = world.code(stock.krate.0).await;
    let found = [("part", "post"), ("what", "found"), ("code", code.as_str())];
    let slip = stock.tell(&found).await;
    slip.expect(200, "Found, and back in its place.")
        .expect(200, says);
    for secret in ["Hobnail", "Dot", "Old Needle", "Bag 7"] {
        assert!(!slip.html().contains(secret), "{secret}");
    }
    // Of a lamp our kit has never had one.
    stock
        .tell(&[("part", "lamp"), ("what", "found")])
        .await
        .expect(
            422,
            "another team of the league misses one; hand it to the coordinator",
        );
    // A peg nobody misses.
    let code = world.code(stock.bag.0).await;
    let found = [("part", "peg"), ("what", "found"), ("code", code.as_str())];
    let slip = stock.tell(&found).await;
    assert!(!slip.has("another team"));

    // Once ours misses one itself, a found one comes home and nothing is said.
    let slip = stock.tell(&[("part", "post"), ("what", "lost")]).await;
    stock
        .keeper
        .press(&slip, "Decide so", &[("kind", "missing")])
        .await;
    let slip = stock.tell(&[("part", "post"), ("what", "found")]).await;
    slip.expect(200, "Found, and back in its place.");
    assert!(!slip.has("another team"), "{}", slip.words());
    // Strangers hear nothing of it.
    let nobody = world.browser();
    let code = world.code(stock.krate.0).await;
    let seen = nobody.open(&format!("/c/{code}/inside")).await;
    assert!(!seen.html().contains("another team"));
    world.verify().await;
}
