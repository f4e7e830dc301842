//! People: the first start, signing in and out, links, accounts, teams, the league.

mod account;
mod first_start;
mod held;
mod league;
mod links;
mod log;
mod sign_in;
mod team;

use fieldstow::ids::{PersonId, TeamId};
use fieldstow::people::{self, Role};

use crate::support::{Browser, Seen, World};

pub const PASSWORD: &str = "lantern gravel otter sieve";
pub const OTHER_PASSWORD: &str = "nine copper kettles whistle";

impl World {
    /// An account that can sign in with `PASSWORD`, made the way people make one: by an invitation.
    /// `invites` is somebody who may invite to the team.
    pub async fn joins(
        &self,
        invites: &Browser<'_>,
        team: TeamId,
        role: Role,
        (name, email): (&str, &str),
    ) -> Browser<'_> {
        let link = invite(invites, team, role).await;
        let browser = self.browser();
        let page = browser.open(&link).await;
        let fields = [("name", name), ("email", email), ("password", PASSWORD)];
        let (action, body) = browser.filled(&page, "Make the account", &fields);
        let joined = browser.post_body(&action, body).await;
        joined.expect(303, "");
        browser
    }

    /// Signs in with e-mail and password. The answer before any redirect.
    pub async fn signs_in(&self, browser: &Browser<'_>, email: &str, password: &str) -> Seen {
        let page = browser.open("/sign-in").await;
        let fields = [("email", email), ("password", password)];
        let (action, body) = browser.filled(&page, "Sign in", &fields);
        browser.post_body(&action, body).await
    }
}

/// A keeper with an e-mail and a password, and the team.
pub async fn keeper(world: &World) -> (TeamId, Browser<'_>) {
    let team = world.team("Nine Larches").await;
    let coordinator = world.coordinator("Wen").await;
    let ama = ("Ama", "ama@example.org");
    let keeper = world.joins(&coordinator, team, Role::Keeper, ama).await;
    (team, keeper)
}

/// The path of a new invitation.
pub async fn invite(by: &Browser<'_>, team: TeamId, role: Role) -> String {
    let page = by.open(&format!("/teams/{team}/people")).await;
    let shown = by
        .press(&page, "Make an invitation", &[("role", role.word())])
        .await;
    path_of_link(&shown)
}

/// The path of the link that a page shows once.
pub fn path_of_link(shown: &Seen) -> String {
    shown.expect(200, "shown only now");
    let link = shown.attribute("#link", "value").expect("a link");
    link.strip_prefix("http://localhost:8765")
        .expect("the public address")
        .to_owned()
}

/// A member without e-mail or password, for tests that need only somebody.
pub async fn member(world: &World, name: &str, team: TeamId, role: Role) -> PersonId {
    let mut tx = world.app.db.begin_write().await.unwrap();
    let person = people::add_person(&world.app, &mut tx, name, None, None, false)
        .await
        .unwrap();
    people::add_member(&world.app, &mut tx, person, team, role)
        .await
        .unwrap();
    tx.commit().await.unwrap();
    person
}
