//! History, and taking things back.

use fieldstow::ids::{CountId, FormId};
use fieldstow::ledger::{self, Document, Entry, PlaceMove};
use fieldstow::people::Role;
use fieldstow::places::Kind;

use crate::support::World;

#[tokio::test]
async fn every_number_has_a_history_in_sentences() {
    let world = World::empty().await;
    let team = world.team("Nine Larches").await;
    let (ama, keeper) = world
        .account("Ama", Some((team, Role::Keeper)), false)
        .await;
    let beacon = world.beacon().await;
    let (kit, bags) = world
        .kit(&beacon, ama, team, "Kettlehorn", &["Bag 1"])
        .await;
    let bag = bags[0];
    world
        .receive(ama, kit, bag, &[("Peg", 8), ("Lamp", 1)])
        .await;
    let krate = world.place(ama, team, Kind::Crate, "Ridge", None).await;
    let form = keeper.open(&format!("/places/{bag}/carry")).await;
    let to = krate.to_string();
    keeper
        .press(&form, "It is there", &[("to", to.as_str())])
        .await;
    let peg = world.part("Peg").await;
    let (code, on_crate) = (world.code(bag.0).await, world.code(krate.0).await);

    let carried = format!("Bag 1 ({code}) was put in crate Ridge ({on_crate}).");
    let counted = format!("Ama counted Bag 1 ({code}): 8 Peg, black (B-4); 1 Lamp (B-5).");
    let came = format!("8 Peg, black (B-4) came from the supplier into Bag 1 ({code}).");
    for path in [
        format!("/history?kit={kit}"),
        format!("/history?place={bag}"),
    ] {
        let page = keeper.open(&path).await;
        page.expect(200, &carried)
            .expect(200, &counted)
            .expect(200, &came);
        let entries = page.texts_of(".history > li");
        assert_eq!(entries.len(), 2, "{entries:?}");
        assert!(entries[0].starts_with("4 Mar 2027, 18:00, Ama"));
        assert!(entries[0].contains(&carried), "the newest is first");
    }
    // What the crate got, and a part's own lines only.
    keeper
        .open(&format!("/history?place={krate}"))
        .await
        .expect(200, &carried);
    for path in [
        format!("/history?part={peg}"),
        format!("/history?part={peg}&kit={kit}"),
        format!("/history?part={peg}&place={bag}"),
    ] {
        let page = keeper.open(&path).await;
        page.expect(200, &came);
        assert!(!page.has("Lamp") && !page.has("was put in"), "{path}");
    }
    keeper
        .open("/history")
        .await
        .expect(200, "Every number has a history");
    keeper
        .open("/history?kit=nonsense")
        .await
        .expect(404, "There is no such history");
}

#[tokio::test]
async fn other_teams_see_nothing_of_it() {
    let world = World::empty().await;
    let team = world.team("Nine Larches").await;
    let (ama, _) = world
        .account("Ama", Some((team, Role::Keeper)), false)
        .await;
    let beacon = world.beacon().await;
    let (kit, bags) = world
        .kit(&beacon, ama, team, "Kettlehorn", &["Bag 1"])
        .await;
    let seq = world.receive(ama, kit, bags[0], &[("Peg", 8)]).await;
    let peg = world.part("Peg").await;
    let other = world.team("Saddle Post").await;
    let stranger = world.person("Cy", other, Role::Keeper).await;

    for path in [
        format!("/history?kit={kit}"),
        format!("/history?part={peg}&kit={kit}"),
        format!("/history?place={}", bags[0]),
        format!("/entries/{seq}"),
    ] {
        stranger.open(&path).await.expect(403, "This is for");
    }
    stranger
        .open(&format!("/history?part={peg}"))
        .await
        .expect(200, "Nothing is recorded here yet.");
    let form_id = FormId::new().to_string();
    let sent = stranger
        .post(&format!("/entries/{seq}/undo"), &[("form_id", &form_id)])
        .await;
    sent.expect(403, "members of the team");
    // A coordinator looks, but takes nothing back.
    let coordinator = world.coordinator("Dee").await;
    let seen = coordinator.open(&format!("/entries/{seq}")).await;
    seen.expect(200, "8 Peg, black (B-4) came from the supplier");
    assert!(seen.texts_of("button").is_empty());
    let sent = coordinator
        .post(
            &format!("/entries/{seq}/undo"),
            &[("form_id", &FormId::new().to_string())],
        )
        .await;
    sent.expect(403, "members of the team");
}

#[tokio::test]
async fn taking_back_is_another_entry_and_is_done_once() {
    let world = World::empty().await;
    let team = world.team("Nine Larches").await;
    let (ama, keeper) = world
        .account("Ama", Some((team, Role::Keeper)), false)
        .await;
    let store = world.place(ama, team, Kind::Store, "Cellar", None).await;
    let krate = world.place(ama, team, Kind::Crate, "Ridge", None).await;
    let form = keeper.open(&format!("/places/{krate}/carry")).await;
    let to = store.to_string();
    let done = keeper
        .press(&form, "It is there", &[("to", to.as_str())])
        .await;
    let (action, body) = keeper.filled(&done, "Undo", &[]);
    let first = keeper.post_body(&action, body.clone()).await;
    let second = keeper.post_body(&action, body).await;
    assert_eq!(first.status.as_u16(), 303);
    assert_eq!(first.header("location"), second.header("location"));

    let old = keeper.open(&done.path).await;
    old.expect(200, "Was taken back by")
        .expect(200, "It was taken back already.");
    assert!(old.texts_of("button").is_empty());
    keeper
        .open(&format!("/places/{krate}"))
        .await
        .expect(200, "Nowhere yet.");
    // The undo can itself be taken back.
    let undone = keeper.open(first.header("location").unwrap()).await;
    undone.expect(200, "Takes back");
    keeper.press(&undone, "Undo", &[]).await;
    keeper
        .open(&format!("/places/{krate}"))
        .await
        .expect(200, "In store Cellar.");
    world.verify().await;
}

#[tokio::test]
async fn what_is_no_longer_there_cannot_go_back() {
    let world = World::empty().await;
    let team = world.team("Nine Larches").await;
    let (ama, keeper) = world
        .account("Ama", Some((team, Role::Keeper)), false)
        .await;
    let beacon = world.beacon().await;
    let (kit, bags) = world
        .kit(
            &beacon,
            ama,
            team,
            "Kettlehorn",
            &["Bag 1", "Bag 2", "Bag 3"],
        )
        .await;
    world.receive(ama, kit, bags[0], &[("Peg", 8)]).await;
    let peg = world.part("Peg").await;
    let field = format!("qty-{}-{}-good", peg.0.simple(), kit.0.simple());
    let go = async |from: usize, to: usize, qty: &str| {
        let form = keeper.open(&format!("/places/{}/move", bags[from])).await;
        let to = bags[to].to_string();
        let fields = [(field.as_str(), qty), ("to", to.as_str())];
        keeper.press(&form, "Move them", &fields).await
    };
    let first = go(0, 1, "8").await;
    go(1, 2, "5").await;
    let code = world.code(bags[1].0).await;
    keeper.press(&first, "Undo", &[]).await.expect(
        422,
        &format!("only 3 Peg, black (B-4) are still in Bag 2 ({code}); 8 would have to go back"),
    );

    // Bag 1 is empty now and put away: nothing goes back into it.
    let page = keeper.open(&format!("/places/{}", bags[0])).await;
    keeper.press(&page, "Put it away", &[]).await;
    keeper
        .press(&first, "Undo", &[])
        .await
        .expect(422, "was put away since; bring it back first");
    world.verify().await;
}

#[tokio::test]
async fn a_count_is_not_taken_back_here() {
    let world = World::empty().await;
    let team = world.team("Nine Larches").await;
    let (ama, keeper) = world
        .account("Ama", Some((team, Role::Keeper)), false)
        .await;
    let krate = world.place(ama, team, Kind::Crate, "Ridge", None).await;
    let store = world.place(ama, team, Kind::Store, "Cellar", None).await;
    let count = CountId::new();
    let mut tx = world.app.db.begin_write().await.unwrap();
    let mut entry = Entry::new(FormId::new(), "count closed", ama, world.app.clock.now());
    entry.document = Some(Document::Count(count));
    entry.carried = vec![PlaceMove {
        place: krate,
        from: None,
        to: Some(store),
    }];
    let seq = ledger::append(&mut tx, &entry).await.unwrap();
    tx.commit().await.unwrap();

    let page = keeper.open(&format!("/entries/{seq}")).await;
    page.expect(200, "A count is taken back by opening it again");
    assert_eq!(page.link("the count"), Some(format!("/counts/{count}")));
    assert!(page.texts_of("button").is_empty());
    let form_id = FormId::new().to_string();
    let sent = keeper
        .post(&format!("/entries/{seq}/undo"), &[("form_id", &form_id)])
        .await;
    sent.expect(422, "a count is taken back by opening it again");
}

#[tokio::test]
async fn a_long_history_goes_on_on_older_pages() {
    let world = World::empty().await;
    let team = world.team("Nine Larches").await;
    let (ama, keeper) = world
        .account("Ama", Some((team, Role::Keeper)), false)
        .await;
    let beacon = world.beacon().await;
    let (kit, bags) = world
        .kit(&beacon, ama, team, "Kettlehorn", &["Bag 1"])
        .await;
    for _ in 0..27 {
        world.receive(ama, kit, bags[0], &[("Peg", 1)]).await;
    }
    for path in [
        format!("/history?kit={kit}"),
        format!("/history?place={}", bags[0]),
        format!("/history?part={}", world.part("Peg").await),
    ] {
        let first = keeper.open(&path).await;
        assert_eq!(first.texts_of(".history > li").len(), 25, "{path}");
        let rest = keeper.click(&first, "Older").await;
        assert_eq!(rest.texts_of(".history > li").len(), 2, "{path}");
        assert_eq!(rest.link("Older"), None);
    }
}
