//! Where: one box over everything, and the codes on crates.

use fieldstow::people::Role;
use fieldstow::places::Kind;

use crate::support::World;

#[tokio::test]
async fn a_part_is_found_by_the_beginning_of_its_words() {
    let world = World::empty().await;
    let team = world.team("Nine Larches").await;
    let (ama, keeper) = world
        .account("Ama", Some((team, Role::Keeper)), false)
        .await;
    let beacon = world.beacon().await;
    let (kit, bags) = world
        .kit(&beacon, ama, team, "Kettlehorn", &["Bag 1", "Bag 2"])
        .await;
    let store = world.place(ama, team, Kind::Store, "Cellar", None).await;
    let krate = world
        .place(ama, team, Kind::Crate, "Ridge", Some(store))
        .await;
    world.receive(ama, kit, bags[0], &[("Peg", 3)]).await;
    world.receive(ama, kit, krate, &[("Peg", 8)]).await;
    let (bag, code) = (world.code(bags[0].0).await, world.code(krate.0).await);

    let empty = keeper.open("/where").await;
    empty.expect(200, "Write the beginning of any word");
    assert!(empty.attribute("#q", "autofocus").is_some());

    for typed in ["peg", "PEG+bla", "b-4", "Pég", "%22peg%22", "peg)"] {
        let found = keeper.open(&format!("/where?q={typed}")).await;
        found.expect(200, "Peg, black (B-4)");
        assert_eq!(
            found.texts_of(".at li"),
            [
                format!(
                    "8 in crate Ridge ({code}), in store Cellar ; kit Kettlehorn ; \
                     last counted 4 Mar 2027, 18:00 by Ama."
                ),
                format!(
                    "3 in Bag 1 ({bag}), nowhere yet ; kit Kettlehorn ; \
                     last counted 4 Mar 2027, 18:00 by Ama."
                ),
            ],
            "{typed}"
        );
    }
    keeper
        .open("/where?q=peg+white")
        .await
        .expect(200, "Nothing found");
    keeper
        .open("/where?q=lamp")
        .await
        .expect(200, "None in your team’s books.");
    keeper
        .open("/where?q=cellar")
        .await
        .expect(200, "1 crate, bag or place")
        .expect(200, "Store Cellar");
    keeper.open("/where?q=kettle").await.expect(200, "1 kit");
    for nothing in ["*", "%22", "-", "%00", "AND"] {
        keeper
            .open(&format!("/where?q={nothing}"))
            .await
            .expect(200, "Nothing found");
    }
}

#[tokio::test]
async fn other_teams_are_known_only_by_what_they_can_spare() {
    let world = World::empty().await;
    let ours = world.team("Saddle Post").await;
    let theirs = world.team("Nine Larches").await;
    let (ama, _) = world
        .account("Ama", Some((theirs, Role::Keeper)), false)
        .await;
    let keeper = world.person("Cy", ours, Role::Keeper).await;
    let beacon = world.beacon().await;
    let (kit, bags) = world
        .kit(&beacon, ama, theirs, "Kettlehorn", &["Bag 1"])
        .await;
    // A full beacon needs 20 pegs and 4 posts.
    world
        .receive(ama, kit, bags[0], &[("Peg", 24), ("Post", 4)])
        .await;

    let found = keeper.open("/where?q=peg").await;
    found.expect(200, "Nine Larches has 4 good ones spare.");
    assert!(!found.has("Ama") && !found.has("Kettlehorn") && !found.has("Bag 1"));
    keeper
        .open("/where?q=post")
        .await
        .expect(200, "No other team has any spare.");
    keeper
        .open("/where?q=bag")
        .await
        .expect(200, "Nothing found");
    keeper
        .open("/where?q=kettlehorn")
        .await
        .expect(200, "Nothing found");
    let code = world.code(bags[0].0).await;
    let found = keeper.open(&format!("/where?q={code}")).await;
    found.expect(200, "No crate, bag, kit or sheet of yours bears");

    let coordinator = world.coordinator("Dee").await;
    coordinator
        .open("/where?q=bag")
        .await
        .expect(200, "Bag 1 (");
}

#[tokio::test]
async fn twenty_answers_are_shown_and_the_others_follow() {
    let world = World::empty().await;
    let team = world.team("Nine Larches").await;
    let (ama, keeper) = world
        .account("Ama", Some((team, Role::Keeper)), false)
        .await;
    for n in 1..=23 {
        let name = format!("Ridge {n}");
        world.place(ama, team, Kind::Crate, &name, None).await;
    }
    let first = keeper.open("/where?q=ridge").await;
    first.expect(200, "The first 20 crates, bags and places");
    assert_eq!(first.texts_of(".found > li").len(), 20);
    let rest = keeper.click(&first, "More crates, bags and places").await;
    rest.expect(200, "3 crates, bags and places");
}

#[tokio::test]
async fn a_code_leads_to_its_thing_in_either_case() {
    let world = World::empty().await;
    let team = world.team("Nine Larches").await;
    let (ama, keeper) = world
        .account("Ama", Some((team, Role::Keeper)), false)
        .await;
    let krate = world.place(ama, team, Kind::Crate, "Ridge", None).await;
    let code = world.code(krate.0).await;
    let plain = code.replace('-', "");
    let page = format!("/places/{krate}");
    for path in [
        format!("/c/{code}"),
        format!("/c/{}", plain.to_lowercase()),
        format!("/C/{plain}"),
    ] {
        let seen = keeper.open_with(&path, &[]).await;
        assert_eq!(seen.header("location"), Some(page.as_str()), "{path}");
    }
    keeper
        .open(&format!("/where?q={code}"))
        .await
        .expect(200, &format!("Code {code}"))
        .expect(200, &format!("Crate Ridge ({code})"));

    let nobody = world.browser();
    let asked = nobody.open_with(&format!("/C/{plain}"), &[]).await;
    let inside = format!("/c/{plain}/inside");
    assert_eq!(asked.header("location"), Some(inside.as_str()));
    let other = world.team("Saddle Post").await;
    let stranger = world.person("Cy", other, Role::Keeper).await;
    let asked = stranger.open_with(&format!("/c/{code}"), &[]).await;
    assert_eq!(asked.header("location"), Some(inside.as_str()));

    let beacon = world.beacon().await;
    let (kit, _) = world.kit(&beacon, ama, team, "Kettlehorn", &[]).await;
    let code = world.code(kit.0).await;
    let asked = nobody.open_with(&format!("/c/{code}"), &[]).await;
    let sign_in = format!("/sign-in?then=/c/{code}");
    assert_eq!(asked.header("location"), Some(sign_in.as_str()));
    stranger
        .open(&format!("/c/{code}"))
        .await
        .expect(403, "belongs to another team");
    keeper
        .open("/c/7K3-F2X")
        .await
        .expect(404, "Check the characters of 7K3-F2X");
}

#[tokio::test]
async fn codes_cannot_be_found_by_trying() {
    let world = World::empty().await;
    let team = world.team("Nine Larches").await;
    let (ama, keeper) = world
        .account("Ama", Some((team, Role::Keeper)), false)
        .await;
    let krate = world.place(ama, team, Kind::Crate, "Ridge", None).await;
    let code = world.code(krate.0).await;
    let nobody = world.browser();
    for _ in 0..30 {
        nobody
            .open("/c/000-002")
            .await
            .expect(404, "Check the characters of 000-002");
    }
    nobody
        .open(&format!("/c/{code}"))
        .await
        .expect(429, "Wait ten minutes");
    let seen = keeper.open_with(&format!("/c/{code}"), &[]).await;
    assert_eq!(seen.status.as_u16(), 303, "others are not kept waiting");
    world.clock.advance_minutes(10);
    let seen = nobody.open_with(&format!("/c/{code}"), &[]).await;
    assert_eq!(seen.status.as_u16(), 303);
}
