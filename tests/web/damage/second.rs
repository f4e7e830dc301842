//! Above a value, writing pieces off needs a second name; what pieces cost stays with the team.

use fieldstow::people::Role;

use super::{Stocked, states, stocked};
use crate::support::{Seen, World};

impl Stocked<'_> {
    /// A slip of broken pegs.
    async fn broken_pegs(&self, qty: &str) -> Seen {
        self.tell(&[("part", "peg"), ("qty", qty)]).await
    }

    async fn write_off(&self, slip: &Seen, fields: &[(&str, &str)]) -> Seen {
        let mut all = vec![("kind", "written off"), ("why", "split")];
        all.extend(fields);
        self.keeper.press(slip, "Decide so", &all).await
    }

    async fn money(&self, currency: &str, above: &str) -> Seen {
        let page = format!("/teams/{}/money", self.team);
        let page = self.keeper.open(&page).await;
        let fields = [("currency", currency), ("above", above)];
        self.keeper.press(&page, "Decide so", &fields).await
    }

    async fn price(&self, part: &str, amount: &str) -> Seen {
        let page = format!(
            "/teams/{}/prices/{}",
            self.team,
            self.world.part(part).await
        );
        let page = self.keeper.open(&page).await;
        let fields = [("amount", amount)];
        self.keeper.press(&page, "It costs this", &fields).await
    }
}

#[tokio::test]
async fn a_write_off_above_the_value_waits_for_a_second_name() {
    let world = World::empty().await;
    let stock = stocked(&world).await;
    let slip = stock.broken_pegs("3").await;
    slip.expect(200, "Your team wants no second name");
    assert!(!slip.has("Who else agrees?"));

    // A value without a price: nobody is asked, and the page says so.
    stock.money("eur", "50").await.expect(
        200,
        "A second name is needed to write off more than 50.00 EUR.",
    );
    let slip = stock.keeper.open(&slip.path).await;
    slip.expect(
        200,
        "Nobody has said what it costs, so no second name is asked for.",
    );
    let slip = stock.write_off(&slip, &[("qty", "1")]).await;
    slip.expect(200, "2 pieces are broken");
    assert!(!slip.has("Worth"));

    // From the slip to what it costs, by its link.
    let page = stock.keeper.click(&slip, "What it costs").await;
    let page = stock
        .keeper
        .press(&page, "It costs this", &[("amount", "25.50")])
        .await;
    page.expect(200, "Buying it again costs 25.50 EUR.");
    let slip = stock.keeper.open(&slip.path).await;
    slip.expect(200, "Above 50.00 EUR a second name is needed");

    let refused = stock.write_off(&slip, &[("qty", "2")]).await;
    refused.expect(
        422,
        "2 of it are worth 51.00 EUR. Above 50.00 EUR your team wants a second name",
    );
    assert_eq!(refused.attribute("#why", "value").as_deref(), Some("split"));
    stock
        .write_off(&slip, &[("qty", "2"), ("second", "ama")])
        .await
        .expect(422, "that is your own name");
    assert_eq!(
        stock.states("Peg").await,
        states(&[("broken", 2), ("good", 17)]),
        "nothing moves before somebody agreed"
    );
    let slip = stock
        .write_off(&slip, &[("qty", "2"), ("second", "Fenna Tor")])
        .await;
    slip.expect(200, "Settled.").expect(
        200,
        "Worth 51.00 EUR. Fenna Tor agreed, as is needed above 50.00 EUR.",
    );
    assert_eq!(stock.states("Peg").await, states(&[("good", 17)]));

    // One alone is below the value: its worth is told, and nobody is asked.
    let slip = stock.broken_pegs("1").await;
    assert!(!slip.has("Who else agrees?"));
    let slip = stock.write_off(&slip, &[]).await;
    slip.expect(200, "Settled.").expect(200, "Worth 25.50 EUR.");
    assert!(!slip.has("agreed"));
    world.verify().await;
}

#[tokio::test]
async fn what_cannot_be_meant_about_money_is_told_at_its_field() {
    let world = World::empty().await;
    let stock = stocked(&world).await;
    stock.money("EURO", "").await.expect(422, "three letters");
    let page = format!("/teams/{}/prices/{}", stock.team, world.part("Peg").await);
    stock
        .keeper
        .open(&page)
        .await
        .expect(200, "in which currency it reckons");
    stock
        .money("EUR", "fifty")
        .await
        .expect(422, "write an amount like 12.50");
    stock.money("EUR", "").await.expect(200, "Nobody is asked");
    stock
        .price("Peg", "1.234")
        .await
        .expect(422, "EUR has 2 decimal places");
    stock.price("Peg", "4,5").await.expect(200, "4.50 EUR");
    stock
        .money("CHF", "20")
        .await
        .expect(422, "one team reckons in one currency");
    stock
        .price("Peg", "")
        .await
        .expect(200, "Nobody has said what it costs.")
        .expect(200, "Ama: 4.50 EUR");
    let money = stock.money("CHF", "20").await;
    money
        .expect(200, "more than 20.00 CHF.")
        .expect(200, "Ama: Prices are in EUR.");
}

#[tokio::test]
async fn prices_are_seen_by_the_team_and_by_nobody_else() {
    let world = World::empty().await;
    let stock = stocked(&world).await;
    stock.money("EUR", "1").await;
    stock.price("Peg", "77.31").await;
    let slip = stock.broken_pegs("1").await;
    let slip = stock.write_off(&slip, &[("second", "Fenna Tor")]).await;
    slip.expect(200, "Worth 77.31 EUR.");
    let part = format!("/parts/{}", world.part("Peg").await);
    stock.keeper.open(&part).await.expect(200, "77.31 EUR");

    let other = world.team("Hobnail Bridge").await;
    let dot = world.person("Dot", other, Role::Keeper).await;
    let wen = world.coordinator("Wen").await;
    let nobody = world.browser();
    let code = world.code(stock.bag.0).await;
    let mut pages = Vec::new();
    for page in [&part, "/where?q=peg&spares=yes", "/damage/most"] {
        pages.push(dot.open(page).await);
        pages.push(wen.open(page).await);
    }
    pages.push(wen.open(&slip.path).await);
    let seq = slip
        .attribute("a[href^='/entries/']", "href")
        .expect("an entry");
    pages.push(wen.open(&seq).await);
    for page in ["inside", "tell", "thanks"] {
        pages.push(nobody.open(&format!("/c/{code}/{page}")).await);
    }
    for page in pages {
        assert_eq!(page.status, 200, "{}", page.path);
        for secret in ["77.31", "EUR", "Fenna"] {
            assert!(!page.html().contains(secret), "{secret} on {}", page.path);
        }
    }
    for page in ["money", &format!("prices/{}", world.part("Peg").await)] {
        let page = format!("/teams/{}/{page}", stock.team);
        for browser in [&dot, &wen] {
            assert_eq!(browser.open(&page).await.status, 403, "{page}");
        }
        nobody.open(&page).await.expect(200, "Sign in");
    }
}
