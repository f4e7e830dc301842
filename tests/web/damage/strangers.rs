//! What people without an account tell, and what becomes of it.

use fieldstow::people::Role;

use super::{states, stocked};
use crate::support::World;

#[tokio::test]
async fn three_strangers_report_the_same_two_pieces_and_two_are_broken() {
    let world = World::empty().await;
    let stock = stocked(&world).await;
    let key = stock.key("Peg", stock.bag).await;
    for name in ["Sam", "Uli", ""] {
        let thanks = stock
            .told_by_stranger(
                stock.bag,
                &[("stand", &key), ("qty", "2"), ("reporter", name)],
            )
            .await;
        thanks.expect(200, "Thank you");
    }
    assert_eq!(
        stock.states("Peg").await,
        states(&[("good", 20)]),
        "nothing moves by a stranger's word"
    );
    world.verify().await;

    let crew = world.person("Cy", stock.team, Role::Crew).await;
    crew.open("/").await.expect(200, "3 things were reported");
    let list = crew.open("/damage?show=waiting").await;
    list.expect(200, "by Sam, without an account");
    let first = list.attribute(".jobs a", "href").expect("a report");
    let slip = crew.open(&first).await;
    slip.expect(200, "Nobody of the team has looked at it yet.");
    let slip = crew.press(&slip, "It is so", &[]).await;
    slip.expect(200, "2 pieces are broken");
    for _ in 0..2 {
        let list = crew.open("/damage?show=waiting").await;
        let next = list.attribute(".jobs a", "href").expect("a report");
        let waits = crew.open(&next).await;
        let id = first.rsplit('/').next().unwrap();
        let joined = crew.press(&waits, "Join them", &[("other", id)]).await;
        joined.expect(200, "2 pieces are broken");
    }
    assert_eq!(
        stock.states("Peg").await,
        states(&[("broken", 2), ("good", 18)])
    );
    crew.open("/damage?show=waiting")
        .await
        .expect(200, "Nothing here.");
    let most = stock.keeper.open("/damage/most").await;
    assert_eq!(
        most.row("Peg, black (B-4)").expect("a row")[1..4],
        ["2", "0", "2"]
    );
    world.verify().await;
}

#[tokio::test]
async fn a_crate_tells_strangers_no_names_and_takes_only_so_much() {
    let world = World::empty().await;
    let stock = stocked(&world).await;
    let code = world.code(stock.bag.0).await;
    stock
        .tell(&[
            ("part", "peg"),
            ("note", "Ama dropped it"),
            ("event", "Pass Day"),
        ])
        .await;
    let nobody = world.browser();
    for page in ["inside", "tell", "thanks"] {
        let seen = nobody.open(&format!("/c/{code}/{page}")).await;
        assert_eq!(seen.status.as_u16(), 200);
        assert_eq!(
            seen.attribute("meta[name=robots]", "content").as_deref(),
            Some("noindex")
        );
        for secret in [
            "Ama",
            "dropped",
            "Pass Day",
            "Kolm Works",
            "P-77",
            "KW-0042",
            "@",
        ] {
            assert!(!seen.html().contains(secret), "{secret} on {page}");
        }
        assert!(seen.html().len() < 50_000);
    }
    nobody
        .open(&format!("/c/{code}/inside"))
        .await
        .expect(200, "It belongs to Nine Larches, kit Kettlehorn.")
        .expect(200, "Peg, black (B-4)");
    nobody
        .open("/c/7K3-F2X/inside")
        .await
        .expect(404, "Check the characters");

    let form = nobody.open(&format!("/c/{code}/tell")).await;
    nobody.press(&form, "Tell them", &[]).await.expect(
        422,
        "choose the part, photograph it, or write a few words about it",
    );
    for n in 0..20 {
        let seen = stock
            .told_by_stranger(stock.bag, &[("note", &format!("crack {n}"))])
            .await;
        assert_eq!(seen.status.as_u16(), 200, "{n}: {}", seen.words());
        world.clock.advance_minutes(1);
    }
    stock
        .told_by_stranger(stock.bag, &[("note", "crack 20")])
        .await
        .expect(429, "Please tell the team in person.");
}

#[tokio::test]
async fn what_a_stranger_found_out_of_place_is_seen_to() {
    let world = World::empty().await;
    let stock = stocked(&world).await;
    stock
        .told_by_stranger(
            stock.krate,
            &[("what", "astray"), ("note", "by the stairs")],
        )
        .await
        .expect(200, "Thank you");
    let crew = world.person("Cy", stock.team, Role::Crew).await;
    let list = crew.open("/damage").await;
    let slip = crew.open(&list.attribute(".jobs a", "href").unwrap()).await;
    slip.expect(200, "A crate is out of place")
        .expect(200, "by the stairs");
    let slip = crew
        .press(&slip, "Seen to", &[("why", "carried back")])
        .await;
    slip.expect(200, "Settled.").expect(200, "carried back");
}

#[tokio::test]
async fn a_report_is_set_aside_with_a_word_and_other_teams_see_none() {
    let world = World::empty().await;
    let stock = stocked(&world).await;
    stock
        .told_by_stranger(stock.bag, &[("note", "all green ones are blue")])
        .await;
    let list = stock.keeper.open("/damage").await;
    let page = list.attribute(".jobs a", "href").unwrap();
    let slip = stock.keeper.open(&page).await;
    stock
        .keeper
        .press(&slip, "Set it aside", &[("why", "")])
        .await
        .expect(422, "write a word why");
    let slip = stock
        .keeper
        .press(&slip, "Set it aside", &[("why", "a joke")])
        .await;
    slip.expect(200, "Set aside.").expect(200, "a joke");

    let other = world.team("Saddle Post").await;
    let stranger = world.person("Dee", other, Role::Keeper).await;
    stranger.open(&page).await.expect(403, "This is for");
    stranger.open("/damage").await.expect(200, "Nothing here.");
    let crew = world.person("Cy", stock.team, Role::Crew).await;
    let told = crew.open("/broken").await;
    let slip = crew.press(&told, "Record it", &[("part", "peg")]).await;
    assert!(!slip.has("What becomes of it?"), "crew do not decide");
    crew.post(
        &format!("{}/decide", slip.path),
        &[("kind", "written off"), ("why", "x")],
    )
    .await
    .expect(403, "keeper");
}
