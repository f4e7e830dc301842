//! Numbered pieces: which of several timers is which, and where each was seen last.

use fieldstow::people::Role;

use crate::support::World;

#[tokio::test]
async fn a_piece_is_numbered_seen_looked_for_and_put_away() {
    let world = World::empty().await;
    let team = world.team("Nine Larches").await;
    let (person, keeper) = world
        .account("Ama", Some((team, Role::Keeper)), false)
        .await;
    let beacon = world.beacon().await;
    let (kit, bags) = world
        .kit(&beacon, person, team, "Kettlehorn", &["Bag 1", "Bag 2"])
        .await;
    let page = keeper.open(&format!("/kits/{kit}")).await;
    let list = keeper.click(&page, "Numbered pieces").await;
    for (part, serial, why) in [
        ("Lantern", "7", "No part is called so."),
        ("Shade", "7", "Several parts are called so."),
        ("Lamp", "", "Write a serial number or a name"),
    ] {
        let fields = [("part", part), ("serial", serial)];
        let refused = keeper.press(&list, "Add it", &fields).await;
        refused.expect(422, why);
        assert_eq!(
            refused.attribute("input[name=part]", "value").as_deref(),
            Some(part)
        );
    }
    let fields = [
        ("part", "Lamp"),
        ("serial", "KL-2207"),
        ("name", "the bright one"),
    ];
    let piece = keeper.press(&list, "Add it", &fields).await;
    piece
        .expect(200, "nobody has seen it yet")
        .expect(200, "Write its code on it");
    // Its like with the same number is refused, its like with another is not.
    let list = keeper.open(&list.path).await;
    let refused = keeper.press(&list, "Add it", &fields[..2]).await;
    refused.expect(422, "Another piece of this kind bears this serial number.");

    let seen = keeper
        .press(&piece, "It is there", &[("sighting_note", "works")])
        .await;
    seen.expect(200, "in Bag 1")
        .expect(200, "seen in Bag 1, Ama")
        .expect(200, "works");
    // Scanning its code opens it; the search says where it is.
    let code = seen.text_of("h1 .code .plain").replace('-', "");
    assert_eq!(keeper.open(&format!("/c/{code}")).await.path, piece.path);
    let found = keeper.open(&format!("/where?q={code}")).await;
    found.expect(200, "Lamp KL-2207").expect(200, "In Bag 1");

    // Whoever counts the bag is asked which piece it is.
    let page = keeper.open(&format!("/kits/{kit}")).await;
    let count = keeper.press(&page, "Unpack and count", &[]).await;
    let place = keeper
        .open(&format!("{}/places/{}", count.path, bags[0]))
        .await;
    let stint = keeper.press(&place, "Count this bag", &[]).await;
    stint
        .expect(200, "Which piece is it?")
        .expect(200, "KL-2207");
    let looked = keeper
        .press(&stint, "Not here: KL-2207, the bright one", &[])
        .await;
    assert!(looked.path.starts_with(&stint.path));
    keeper
        .open(&format!("/kits/{kit}/numbered"))
        .await
        .expect(200, "not where it was seen last (Bag 1)");

    // Two people write at once: the second is told.
    let first = keeper.open(&piece.path).await;
    let beside = keeper.open(&piece.path).await;
    let note = [("note", "new battery in March")];
    let kept = keeper.press(&first, "Keep this", &note).await;
    kept.expect(200, "new battery in March");
    let late = keeper.press(&beside, "Keep this", &[("note", "old")]).await;
    late.expect(422, "Somebody else changed this piece meanwhile.");

    let page = keeper.open(&piece.path).await;
    let refused = keeper.press(&page, "Put it away", &[("why", " ")]).await;
    refused.expect(422, "Say why it is put away");
    let page = keeper.open(&piece.path).await;
    let away = keeper
        .press(&page, "Put it away", &[("why", "fell off the table")])
        .await;
    away.expect(200, "Put away: fell off the table.");
    // Its number is free again, so it comes back only while nobody else has it.
    let list = keeper.open(&list.path).await;
    let again = keeper.press(&list, "Add it", &fields[..2]).await;
    again.expect(200, "KL-2207");
    keeper
        .press(&away, "Bring it back", &[])
        .await
        .expect(422, "Another piece of this kind bears this serial number.");
}

#[tokio::test]
async fn other_teams_neither_see_nor_change_it() {
    let world = World::empty().await;
    let team = world.team("Nine Larches").await;
    let (person, keeper) = world
        .account("Ama", Some((team, Role::Keeper)), false)
        .await;
    let crew = world.person("Bo", team, Role::Crew).await;
    let other = world.team("Hobnail Bridge").await;
    let stranger = world.person("Cleo", other, Role::Keeper).await;
    let beacon = world.beacon().await;
    let (kit, _) = world
        .kit(&beacon, person, team, "Kettlehorn", &["Bag 1"])
        .await;
    let list = keeper.open(&format!("/kits/{kit}/numbered")).await;
    let piece = keeper
        .press(&list, "Add it", &[("part", "Lamp"), ("serial", "KL-1")])
        .await;
    assert_eq!(stranger.open(&piece.path).await.status.as_u16(), 403);
    let code = piece.text_of("h1 .code .plain").replace('-', "");
    assert_eq!(
        stranger.open(&format!("/c/{code}")).await.status.as_u16(),
        403
    );
    // The crew says where it is, and leaves the rest to the keeper.
    let seen = crew.open(&piece.path).await;
    crew.press(&seen, "It is there", &[])
        .await
        .expect(200, "in Bag 1");
    assert!(!seen.has("Put it away"));
}
