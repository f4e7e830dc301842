//! The first start.

use fieldstow::people;

use super::PASSWORD;
use crate::support::World;

fn fields<'f>(code: &'f str, password: &'f str) -> [(&'static str, &'f str); 7] {
    [
        ("code", code),
        ("league", "Cloud Ladder League"),
        ("team", "Nine Larches"),
        ("zone", "Europe/Vienna"),
        ("name", "Ama"),
        ("email", "Ama@Example.org"),
        ("password", password),
    ]
}

#[tokio::test]
async fn the_printed_code_makes_the_first_account() {
    let world = World::empty().await;
    let code = people::start_code(&world.app).await.unwrap().unwrap();
    let browser = world.browser();

    let led = browser.open_with("/kits", &[]).await;
    assert_eq!(led.header("location"), Some("/start"));
    let page = browser.open("/").await;
    page.expect(200, "Nobody has an account yet");

    // As somebody types it from the console.
    let typed = code.to_lowercase().replace('-', " ");
    let (action, body) = browser.filled(&page, "Set up the league", &fields(&typed, PASSWORD));
    let done = browser.post_body(&action, body.clone()).await;
    done.expect(303, "");
    assert_eq!(done.header("location"), Some("/"));

    let account = browser.open("/account").await;
    account.expect(200, "You coordinate the league.");
    account.expect(200, "You are keeper of Nine Larches.");
    account.expect(200, "Cloud Ladder League");
    assert_eq!(
        account.attribute("#email", "value").as_deref(),
        Some("ama@example.org")
    );

    // The same form once more makes nothing, and the code is used up.
    let again = browser.post_body(&action, body).await;
    again.expect(303, "");
    let teams = browser.open("/teams").await;
    teams.expect(200, "1 team in the league");
    assert!(people::start_code(&world.app).await.unwrap().is_none());
    let nobody = world.browser();
    nobody.open("/start").await.expect(200, "Set up already");
    let late = nobody.post("/start", &[("form_id", FORM_ID)]).await;
    late.expect(409, "Set up already");
}

const FORM_ID: &str = "01960000-0000-7000-8000-000000000001";

#[tokio::test]
async fn wrong_and_old_codes_make_nothing() {
    let world = World::empty().await;
    let first = people::start_code(&world.app).await.unwrap().unwrap();
    let second = people::start_code(&world.app).await.unwrap().unwrap();
    let browser = world.browser();
    let page = browser.open("/start").await;

    let button = "Set up the league";
    let shown = browser.press(&page, button, &fields("7K3", PASSWORD)).await;
    shown.expect(422, "three groups of six characters");
    assert_eq!(
        shown.attribute("#league", "value").as_deref(),
        Some("Cloud Ladder League"),
        "what was typed stays"
    );
    assert_eq!(shown.attribute("#password", "value").as_deref(), Some(""));
    assert!(!shown.html().contains(PASSWORD));

    let earlier = browser
        .press(&page, button, &fields(&first, PASSWORD))
        .await;
    earlier.expect(422, "not the code that the program printed");
    let weak = browser
        .press(&page, button, &fields(&second, "nine larches nine larches"))
        .await;
    weak.expect(422, "too easy to guess");
    world.clock.advance_minutes(30);
    let old = browser
        .press(&page, button, &fields(&second, PASSWORD))
        .await;
    old.expect(422, "older than 30 minutes");
    browser.open("/").await.expect(200, "Nobody has an account");
}

#[tokio::test]
async fn everything_wrong_with_the_form_is_said_at_once() {
    let world = World::empty().await;
    let code = people::start_code(&world.app).await.unwrap().unwrap();
    let browser = world.browser();
    let page = browser.open("/start").await;
    let typed = [("code", &*code), ("zone", "Nowhere"), ("email", "ama")];
    let shown = browser.press(&page, "Set up the league", &typed).await;
    for sentence in [
        "give the league a name",
        "give the team a name",
        "“Nowhere” is not a time zone",
        "give your name",
        "give an e-mail address",
        "a password has at least 15 characters",
    ] {
        shown.expect(422, sentence);
    }
    assert_eq!(
        shown.attribute("#zone", "aria-invalid").as_deref(),
        Some("true")
    );
}
