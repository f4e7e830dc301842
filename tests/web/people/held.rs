//! A form that was sent after its session had ended.

use super::{PASSWORD, keeper};
use crate::support::World;

const EMAIL: &str = "ama@example.org";

#[tokio::test]
async fn what_was_typed_survives_signing_in_again_and_is_recorded_once() {
    let world = World::empty().await;
    let (_, browser) = keeper(&world).await;
    let form = browser.open("/seasons/new").await;
    let typed = [("name", "Winter & <Post> ü+1")];
    let (action, body) = browser.filled(&form, "Add the season", &typed);
    world.clock.advance_minutes(12 * 60);

    let asked = browser.post_body(&action, body).await;
    asked.expect(401, "What you wrote is kept on this page");
    assert_eq!(asked.header("cache-control"), Some("no-store"));
    let seen_id = |page: &crate::support::Seen| page.attribute("[name=form_id]", "value");
    let fields = [("email", EMAIL), ("password", "mistyped")];
    let (to, body) = browser.filled(&asked, "Sign in", &fields);
    assert_eq!(to, "/sign-in");
    let mistyped = browser.post_body(&to, body).await;
    mistyped.expect(422, "do not go together");

    let fields = [("email", EMAIL), ("password", PASSWORD)];
    let (to, body) = browser.filled(&mistyped, "Sign in", &fields);
    let back = browser.post_body(&to, body).await;
    back.expect(200, "You are signed in again");
    back.expect(200, "Winter & <Post> ü+1");
    back.expect(200, "under your name, Ama");
    assert_eq!(seen_id(&back), seen_id(&form), "the very same form");

    let (to, body) = browser.filled(&back, "Send it now", &[]);
    assert_eq!(to, action);
    let sent = browser.post_body(&to, body.clone()).await;
    sent.expect(303, "");
    let twice = browser.post_body(&to, body).await;
    assert_eq!(twice.header("location"), sent.header("location"));
    let seasons = browser.open("/seasons").await;
    let names = seasons.texts_of("main .name");
    let found = names.iter().filter(|name| *name == "Winter & <Post> ü+1");
    assert_eq!(found.count(), 1, "{names:?}");
}

#[tokio::test]
async fn passwords_files_and_what_is_too_long_are_not_held() {
    let world = World::empty().await;
    keeper(&world).await;
    let nobody = world.browser();
    let secret = nobody
        .post("/account/password", &[("current_password", "hush-hush")])
        .await;
    secret.expect(401, "passwords are not kept");
    assert!(!secret.html().contains("hush-hush"));

    let headers = [("content-type", "multipart/form-data; boundary=x")];
    let file = nobody
        .send(
            axum::http::Method::POST,
            "/seasons",
            Some(b"--x--".to_vec()),
            &headers,
        )
        .await;
    file.expect(401, "choose it again");

    let long = format!("name={}", "x".repeat(256 * 1024));
    let long = nobody.post_body("/seasons", long).await;
    long.expect(401, "too long to keep");

    // The largest form that is held passes the sign-in form, however its characters are encoded.
    let largest = format!("a={}", "%C3%A4".repeat(256 * 1024 / 6 - 1));
    let held = nobody.post_body("/seasons", largest).await;
    held.expect(401, "is kept on this page");
    let fields = [("email", EMAIL), ("password", PASSWORD)];
    let (to, body) = nobody.filled(&held, "Sign in", &fields);
    let back = nobody.post_body(&to, body).await;
    back.expect(200, "You are signed in again");
    let kept = back.attribute("[name=a]", "value").unwrap();
    assert_eq!(kept.chars().count(), 256 * 1024 / 6 - 1);
}

#[tokio::test]
async fn a_script_is_told_to_sign_in_without_a_page() {
    let world = World::empty().await;
    keeper(&world).await;
    let nobody = world.browser();
    let answer = nobody
        .post_json("/seasons", serde_json::json!({ "name": "x" }))
        .await;
    assert_eq!(answer.status.as_u16(), 401);
}
