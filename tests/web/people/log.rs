//! What the log says about people: ids, and nothing that tells who they are or lets anybody in.

use std::cell::RefCell;
use std::io::Write;

use fieldstow::people::Role;

use super::{OTHER_PASSWORD, PASSWORD, invite, keeper, path_of_link};
use crate::support::World;

thread_local! {
    /// What was logged on this thread, since it asked for it.
    static LOGGED: RefCell<Option<Vec<u8>>> = const { RefCell::new(None) };
}

/// Each test runs on a thread of its own, so it keeps the lines of its own world.
struct OfThisThread;

impl Write for OfThisThread {
    fn write(&mut self, bytes: &[u8]) -> std::io::Result<usize> {
        LOGGED.with_borrow_mut(|logged| {
            if let Some(logged) = logged {
                logged.extend_from_slice(bytes);
            }
        });
        Ok(bytes.len())
    }

    fn flush(&mut self) -> std::io::Result<()> {
        Ok(())
    }
}

#[tokio::test]
async fn the_log_names_ids_and_no_persons_and_no_secrets() {
    // For the whole program: with a subscriber for one thread only, what other threads came across
    // first would be thought unwanted everywhere.
    tracing_subscriber::fmt()
        // The parser with which tests read pages logs them, so not everything.
        .with_env_filter("info,fieldstow=trace,sqlx=debug")
        .with_writer(|| OfThisThread)
        .init();
    LOGGED.set(Some(Vec::new()));

    let world = World::empty().await;
    let (team, ama) = keeper(&world).await;
    let bo = ("Bogdana", "bogdana@example.org");
    let crew = world.joins(&ama, team, Role::Crew, bo).await;
    crew.open("/teams/new").await.expect(403, "coordinators");
    let invitation = invite(&ama, team, Role::Crew).await;
    let people = format!("/teams/{team}/people");
    let page = ama.open(&people).await;
    let button = "Make a link for a new password of Bogdana";
    let reset = path_of_link(&ama.press(&page, button, &[]).await);
    let page = ama.open(&people).await;
    let role = [("role", "deputy")];
    ama.press(&page, "Change the role of Bogdana", &role).await;
    let browser = world.browser();
    let page = browser.open(&reset).await;
    let new = [("password", OTHER_PASSWORD)];
    browser.press(&page, "Set the password", &new).await;
    world.signs_in(&browser, bo.1, OTHER_PASSWORD).await;
    let session = browser.cookie("sid").expect("signed in");
    for _ in 0..11 {
        let other = world.browser();
        world.signs_in(&other, bo.1, "certainly not it").await;
    }

    let log = String::from_utf8(LOGGED.take().unwrap()).unwrap();
    for event in [
        "signed in",
        "a sign-in failed",
        "a sign-in was throttled",
        "invited somebody",
        "accepted an invitation",
        "changed what somebody is to a team",
        "made a link for a new password",
        "chose a new password by link",
        "refused",
    ] {
        assert!(log.contains(event), "“{event}” is not in the log:\n{log}");
    }
    let token_of = |path: &str| path.rsplit('/').next().unwrap().to_owned();
    for secret in [
        "Ama",
        "ama@example.org",
        "Bogdana",
        "bogdana@example.org",
        PASSWORD,
        OTHER_PASSWORD,
        "certainly not it",
        &token_of(&invitation),
        &token_of(&reset),
        &session,
    ] {
        assert!(!log.contains(secret), "“{secret}” is in the log:\n{log}");
    }
}
