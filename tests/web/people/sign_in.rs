//! Signing in and out.

use fieldstow::people::Role;

use super::{OTHER_PASSWORD, PASSWORD, keeper, path_of_link};
use crate::support::World;

const EMAIL: &str = "ama@example.org";
const WRONG: &str = "this e-mail and password do not go together";

#[tokio::test]
async fn signing_in_leads_back_to_the_page_that_was_wanted() {
    let world = World::empty().await;
    keeper(&world).await;
    let browser = world.browser();
    let page = browser.open("/seasons/new").await;
    page.expect(200, "Sign in");
    let fields = [("email", " AMA@example.org "), ("password", PASSWORD)];
    let (action, body) = browser.filled(&page, "Sign in", &fields);
    let answer = browser.post_body(&action, body).await;
    assert_eq!(answer.header("location"), Some("/seasons/new"));
    assert_eq!(answer.header("cache-control"), Some("no-store"));
    let cookie = answer.header("set-cookie").unwrap();
    for part in [
        "sid=",
        "; HttpOnly",
        "; SameSite=Lax",
        "; Path=/",
        "; Max-Age=2592000",
    ] {
        assert!(cookie.contains(part), "{part} in {cookie}");
    }
    browser
        .open("/seasons/new")
        .await
        .expect(200, "Add a season");

    let first = browser.cookie("sid");
    let again = world.signs_in_anew(&browser).await;
    assert_ne!(browser.cookie("sid"), first, "a new token at every sign-in");
    assert_eq!(again.header("location"), Some("/"));
    let stale = world.browser();
    stale.set_cookie("sid", &first.unwrap());
    let old = stale.open_with("/account", &[]).await;
    assert_eq!(old.status.as_u16(), 303, "the earlier token ended");
}

impl World {
    /// Sends the form of signing in from a browser that is signed in, as a second tab would.
    async fn signs_in_anew(&self, browser: &crate::support::Browser<'_>) -> crate::support::Seen {
        browser
            .post("/sign-in", &[("email", EMAIL), ("password", PASSWORD)])
            .await
    }
}

#[tokio::test]
async fn nobody_is_led_to_another_host() {
    let world = World::empty().await;
    keeper(&world).await;
    for bad in [
        "//evil.example",
        "/\\evil.example",
        "https://evil.example/",
        "javascript:alert(1)",
        "/\t/evil.example",
        "/%09/evil.example\r\nSet-Cookie:x=y",
    ] {
        let browser = world.browser();
        let form = [("email", EMAIL), ("password", PASSWORD), ("then", bad)];
        let answer = browser.post("/sign-in", &form).await;
        assert_eq!(answer.status.as_u16(), 303);
        assert_eq!(answer.header("location"), Some("/"), "{bad:?}");
        // A held form goes nowhere else either: it is dropped.
        let form = [
            ("email", EMAIL),
            ("password", PASSWORD),
            ("held_path", bad),
            ("held", "a=b"),
        ];
        let answer = world.browser().post("/sign-in", &form).await;
        assert_eq!(answer.header("location"), Some("/"), "{bad:?}");
    }
}

#[tokio::test]
async fn a_wrong_password_and_an_unknown_account_look_the_same() {
    let world = World::empty().await;
    keeper(&world).await;
    let browser = world.browser();
    let mut pages = Vec::new();
    for email in [EMAIL, "nobody@example.org", "no address"] {
        let shown = world
            .signs_in(&browser, email, "not the right password")
            .await;
        shown.expect(422, WRONG);
        assert!(!shown.html().contains("not the right password"));
        assert_eq!(shown.attribute("#email", "value").as_deref(), Some(email));
        pages.push(shown.html().replace(email, "…"));
    }
    assert_eq!(pages[0], pages[1]);
    assert_eq!(pages[0], pages[2]);
}

#[tokio::test]
async fn guessing_is_slowed_down_and_then_stopped() {
    let world = World::empty().await;
    let (team, _) = keeper(&world).await;
    let browser = world.browser();
    for known in [EMAIL, "nobody@example.org"] {
        for _ in 0..10 {
            world
                .signs_in(&browser, known, "wrong")
                .await
                .expect(422, WRONG);
        }
        let eleventh = world.signs_in(&browser, known, PASSWORD).await;
        eleventh.expect(429, "wait one second");
    }
    world.clock.advance_minutes(1);
    let right = world.signs_in(&world.browser(), EMAIL, PASSWORD).await;
    assert_eq!(right.status.as_u16(), 303, "{}", right.words());

    // A hundred in a row, slowly: written straight into the table, because each costs a hash.
    let mut tx = world.app.db.begin_write().await.unwrap();
    let hash = fieldstow::secret::hash(EMAIL.as_bytes());
    sqlx::query(
        "insert into sign_in_failure \
         (account_hash, consecutive, window_began_at, in_window, blocked_until) \
         values ($1, 99, 0, 1, 0)",
    )
    .bind(hash.as_slice())
    .execute(&mut *tx)
    .await
    .unwrap();
    tx.commit().await.unwrap();
    world
        .signs_in(&browser, EMAIL, "wrong")
        .await
        .expect(422, WRONG);
    world.clock.advance_minutes(60 * 24);
    let locked = world.signs_in(&browser, EMAIL, PASSWORD).await;
    locked.expect(429, "a link that works once");

    // The link from a coordinator opens it again.
    let coordinator = world.coordinator("Ode").await;
    let people = coordinator.open(&format!("/teams/{team}/people")).await;
    let made = coordinator
        .press(&people, "Make a link for a new password of Ama", &[])
        .await;
    let reset = path_of_link(&made);
    let page = browser.open(&reset).await;
    let done = browser
        .press(&page, "Set the password", &[("password", OTHER_PASSWORD)])
        .await;
    done.expect(200, "Sign in with it");
    let right = world.signs_in(&browser, EMAIL, OTHER_PASSWORD).await;
    assert_eq!(right.status.as_u16(), 303);
}

#[tokio::test]
async fn many_attempts_at_once_do_not_slip_past_the_limit() {
    let world = World::empty().await;
    keeper(&world).await;
    let browsers: Vec<_> = (0..16).map(|_| world.browser()).collect();
    let form = [("email", EMAIL), ("password", "wrong")];
    let attempts = browsers
        .iter()
        .map(|browser| browser.post("/sign-in", &form));
    let answers = join_all(attempts).await;
    let looked_at = answers
        .iter()
        .filter(|seen| seen.status.as_u16() == 422)
        .count();
    assert_eq!(looked_at, 10);
}

/// Waits for all of them, polling them together.
async fn join_all<F: Future>(futures: impl Iterator<Item = F>) -> Vec<F::Output> {
    let mut waiting: Vec<_> = futures.map(|future| (Box::pin(future), None)).collect();
    std::future::poll_fn(|context| {
        let mut all = true;
        for (future, done) in &mut waiting {
            if done.is_none() {
                match future.as_mut().poll(context) {
                    std::task::Poll::Ready(output) => *done = Some(output),
                    std::task::Poll::Pending => all = false,
                }
            }
        }
        if all {
            std::task::Poll::Ready(())
        } else {
            std::task::Poll::Pending
        }
    })
    .await;
    waiting.into_iter().filter_map(|(_, done)| done).collect()
}

#[tokio::test]
async fn an_eleventh_browser_signs_the_oldest_out() {
    let world = World::empty().await;
    let (_, first) = keeper(&world).await;
    first.open("/account").await.expect(200, "Account");
    for _ in 0..10 {
        world.clock.advance_minutes(1);
        let answer = world.signs_in(&world.browser(), EMAIL, PASSWORD).await;
        assert_eq!(answer.status.as_u16(), 303);
    }
    let ended = first.open_with("/account", &[]).await;
    assert_eq!(ended.header("location"), Some("/sign-in?then=/account"));
}

#[tokio::test]
async fn signing_out_leaves_nothing_behind() {
    let world = World::empty().await;
    let (_, browser) = keeper(&world).await;
    let token = browser.cookie("sid").unwrap();
    let page = browser.open("/account").await;
    let (action, body) = browser.filled(&page, "Sign out here", &[]);
    let answer = browser.post_body(&action, body).await;
    assert_eq!(answer.header("location"), Some("/sign-in"));
    assert_eq!(
        answer.header("clear-site-data"),
        Some("\"cache\", \"storage\"")
    );
    assert_eq!(browser.cookie("sid"), None);
    browser.set_cookie("sid", &token);
    let after = browser.open_with("/account", &[]).await;
    assert_eq!(after.status.as_u16(), 303, "the session itself is gone");
    // Once more, without a session, is no mistake.
    let again = world.browser().post("/sign-out", &[]).await;
    assert_eq!(again.status.as_u16(), 303);
}

#[tokio::test]
async fn an_idle_session_ends_after_twelve_hours() {
    let world = World::empty().await;
    let team = world.team("Quern").await;
    let crew = world.person("Bo", team, Role::Crew).await;
    world.clock.advance_minutes(12 * 60 - 1);
    crew.open("/account").await.expect(200, "You are crew");
    world.clock.advance_minutes(12 * 60);
    crew.open("/account").await.expect(200, "Sign in");
}

#[tokio::test]
async fn an_address_may_try_sixty_times_a_minute() {
    let world = World::empty().await;
    keeper(&world).await;
    let router = fieldstow::app::router(world.app.clone());
    let mut statuses = Vec::new();
    for _ in 0..61 {
        // RFC 5737: an address for documentation.
        let address: std::net::SocketAddr = "192.0.2.7:4000".parse().unwrap();
        let request = axum::http::Request::builder()
            .uri("/resets/unknown")
            .extension(axum::extract::ConnectInfo(address))
            .body(axum::body::Body::empty())
            .unwrap();
        let answer = tower::ServiceExt::oneshot(router.clone(), request)
            .await
            .unwrap();
        statuses.push(answer.status().as_u16());
    }
    assert_eq!(statuses[..60], [410; 60]);
    assert_eq!(statuses[60], 429);
}
