//! One's own account.

use super::{OTHER_PASSWORD, PASSWORD, keeper, member};
use crate::support::World;
use fieldstow::people::Role;

const EMAIL: &str = "ama@example.org";

#[tokio::test]
async fn a_name_is_changed_freely_an_email_with_the_password() {
    let world = World::empty().await;
    let (_, browser) = keeper(&world).await;
    let page = browser.open("/account").await;
    assert_eq!(page.header("cache-control"), Some("no-store"));
    let button = "Change name and e-mail";
    let named = browser.press(&page, button, &[("name", "Ama Holm")]).await;
    named.expect(200, "Account changed.");
    named.expect(200, "Ama Holm");

    let moved = [("email", "holm@example.org")];
    let page = browser.open("/account").await;
    let asked = browser.press(&page, button, &moved).await;
    asked.expect(422, "this is not your present password");
    assert_eq!(
        asked.attribute("#email", "value").as_deref(),
        Some("holm@example.org")
    );
    let proved = [
        ("email", "holm@example.org"),
        ("current_password", PASSWORD),
    ];
    let done = browser.press(&asked, button, &proved).await;
    done.expect(200, "Account changed.");
    let elsewhere = world.browser();
    let in_again = world
        .signs_in(&elsewhere, "holm@example.org", PASSWORD)
        .await;
    assert_eq!(in_again.status.as_u16(), 303);
}

#[tokio::test]
async fn an_email_belongs_to_one_account() {
    let world = World::empty().await;
    let (team, browser) = keeper(&world).await;
    let bo = ("Bo", "bo@example.org");
    world.joins(&browser, team, Role::Crew, bo).await;
    let page = browser.open("/account").await;
    let typed = [("email", "BO@example.org"), ("current_password", PASSWORD)];
    let refused = browser.press(&page, "Change name and e-mail", &typed).await;
    refused.expect(422, "another account has this e-mail");
}

#[tokio::test]
async fn a_new_password_takes_the_present_one_and_signs_out_elsewhere() {
    let world = World::empty().await;
    let (_, browser) = keeper(&world).await;
    let elsewhere = world.browser();
    world.signs_in(&elsewhere, EMAIL, PASSWORD).await;
    elsewhere.open("/account").await.expect(200, "Account");

    let page = browser.open("/account/password").await;
    let button = "Change the password";
    let wrong = [
        ("current_password", OTHER_PASSWORD),
        ("password", OTHER_PASSWORD),
    ];
    let refused = browser.press(&page, button, &wrong).await;
    refused.expect(422, "this is not your present password");
    let short = [("current_password", PASSWORD), ("password", "short")];
    let refused = browser.press(&page, button, &short).await;
    refused.expect(422, "at least 15 characters");
    assert!(!refused.html().contains("value=\"short\""));
    let league = [
        ("current_password", PASSWORD),
        ("password", "ama nine larches ama"),
    ];
    let refused = browser.press(&page, button, &league).await;
    refused.expect(422, "too easy to guess");

    let right = [("current_password", PASSWORD), ("password", OTHER_PASSWORD)];
    let done = browser.press(&refused, button, &right).await;
    done.expect(200, "Everywhere else you are signed out");
    let ended = elsewhere.open_with("/account", &[]).await;
    assert_eq!(ended.status.as_u16(), 303);
    let old = world.signs_in(&elsewhere, EMAIL, PASSWORD).await;
    assert_eq!(old.status.as_u16(), 422);
    let new = world.signs_in(&elsewhere, EMAIL, OTHER_PASSWORD).await;
    assert_eq!(new.status.as_u16(), 303);
}

/// A fast hash of a form with a password in it would undo the slow one.
#[tokio::test]
async fn no_receipt_depends_on_a_password() {
    let world = World::empty().await;
    let (_, browser) = keeper(&world).await;
    let page = browser.open("/account/password").await;
    let typed = [("current_password", PASSWORD), ("password", OTHER_PASSWORD)];
    let (action, body) = browser.filled(&page, "Change the password", &typed);
    browser
        .post_body(&action, body.clone())
        .await
        .expect(303, "");
    let mut signed = action.into_bytes();
    signed.push(0);
    signed.extend(body.bytes());
    let quick = fieldstow::secret::hash(&signed);
    let mut db = world.app.db.read().await.unwrap();
    let kept: Vec<Vec<u8>> = sqlx::query_scalar("select content_hash from receipt")
        .fetch_all(&mut *db)
        .await
        .unwrap();
    assert!(kept.len() >= 2);
    assert!(!kept.iter().any(|hash| hash == &quick));
}

#[tokio::test]
async fn other_sessions_are_ended_one_by_one_or_together() {
    let world = World::empty().await;
    let (team, browser) = keeper(&world).await;
    let others = [world.browser(), world.browser(), world.browser()];
    for (minutes, other) in others.iter().enumerate() {
        world.clock.advance_minutes(minutes as i64 + 1);
        world.signs_in(other, EMAIL, PASSWORD).await;
    }
    let page = browser.open("/account").await;
    assert_eq!(page.texts_of("ul.history li").len(), 4);
    let first = page.texts_of("ul.history button")[0].clone();
    let after = browser.press(&page, &first, &[]).await;
    after.expect(200, "Signed out there.");
    assert_eq!(after.texts_of("ul.history li").len(), 3);
    let ended = others[2].open_with("/account", &[]).await;
    assert_eq!(ended.status.as_u16(), 303, "the one used last stood first");

    let alone = browser.press(&after, "Sign out everywhere else", &[]).await;
    alone.expect(200, "Signed out everywhere else.");
    assert_eq!(alone.texts_of("ul.history li").len(), 1);

    // Somebody else's session cannot be ended.
    let stranger = member(&world, "Bo", team, Role::Crew).await;
    let mut tx = world.app.db.begin_write().await.unwrap();
    fieldstow::people::open_session(&world.app, &mut tx, stranger, "phone")
        .await
        .unwrap();
    tx.commit().await.unwrap();
    let mut db = world.app.db.read().await.unwrap();
    let theirs = sqlx::query_scalar::<_, fieldstow::ids::SessionId>(
        "select id from session where person_id = $1",
    )
    .bind(stranger)
    .fetch_one(&mut *db)
    .await
    .unwrap();
    let path = format!("/account/sessions/{theirs}/end");
    let form = [("form_id", "01960000-0000-7000-8000-000000000001")];
    browser
        .post(&path, &form)
        .await
        .expect(404, "no such sign-in");
}
