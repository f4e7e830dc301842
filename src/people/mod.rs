//! People: who uses Fieldstow, for which team, what they may do, and how they sign in.
//!
//! - A **coordinator** answers for the league: teams, other coordinators, seasons and guides. They see
//!   every team's books but do not write in them, unless they belong to the team as well.
//! - A **keeper** answers for a team's kits; a **deputy** stands in and may do the same; **crew** count,
//!   move and report.
//! - Nobody is deleted: ledger entries point at people. Names and e-mails can be blanked.
//! - The first account is made with a code that the console prints (`start_code`); all others by links
//!   that work once (`links`). Who forgot a password gets such a link from a keeper or coordinator; who is
//!   alone makes one on the machine itself (`invite_coordinator`).
//! - A form sent after its session ended is held on the sign-in page and can be sent after signing in.

pub mod access;
pub mod account;
pub mod bare_name;
pub mod links;
pub mod members;
mod memory;
pub mod pages;
mod password;
pub mod resets;
pub mod rules;
pub mod sign_in;
pub mod start;
mod store;
pub mod teams;
pub mod viewer;

pub use links::invite_coordinator;
pub use memory::{Memory, league};
pub use start::start_code;
pub use store::{keepers, names, shown_name, subject_team as team_of};
pub use viewer::{Membership, Viewer};

use sqlx::SqliteConnection;

use crate::app::App;
use crate::db::Tx;
use crate::ids::{PersonId, SessionId, TeamId};
use crate::secret;

/// What a team is called; empty where there is none.
pub async fn team_name(db: &mut SqliteConnection, team: TeamId) -> sqlx::Result<String> {
    let found = store::teams::find(db, team).await?;
    Ok(found.map_or_else(String::new, |team| team.name))
}

/// Adds a team.
pub async fn add_team(tx: &mut Tx, name: &str, zone: &str) -> sqlx::Result<TeamId> {
    let team = TeamId::new();
    store::insert_team(tx, team, name, zone).await?;
    Ok(team)
}

/// Adds a person with an account. `password_hash` is a PHC string.
pub async fn add_person(
    app: &App,
    tx: &mut Tx,
    name: &str,
    email: Option<&str>,
    password_hash: Option<&str>,
    coordinator: bool,
) -> sqlx::Result<PersonId> {
    let id = PersonId::new();
    let now = app.clock.now();
    store::insert_person(
        tx,
        store::NewPerson {
            id,
            name,
            email,
            password_hash,
            coordinator,
            now,
        },
    )
    .await?;
    Ok(id)
}

/// Makes a person a member of a team.
pub async fn add_member(
    app: &App,
    tx: &mut Tx,
    person: PersonId,
    team: TeamId,
    role: Role,
) -> sqlx::Result<()> {
    store::insert_membership(tx, person, team, role, app.clock.now()).await
}

/// Hashes a password that needs no checking: the demo's.
pub async fn hash_password(
    app: &App,
    password: &str,
) -> Result<String, crate::error::NotDone<rules::PeopleRefused>> {
    password::choose(&app.people.hashing, password, Vec::new()).await
}

/// Signs a person in. Answers the token for the cookie; only its hash is kept. Beyond ten browsers the
/// oldest is signed out.
pub async fn open_session(
    app: &App,
    tx: &mut Tx,
    person: PersonId,
    device: &str,
) -> sqlx::Result<String> {
    let token = secret::token();
    let now = app.clock.now();
    let device: String = device.chars().take(200).collect();
    let idle_since = now.plus_minutes(-viewer::IDLE_MINUTES);
    store::sign_in::sweep_sessions(tx, now, idle_since).await?;
    store::insert_session(
        tx,
        store::NewSession {
            token_hash: secret::hash(token.as_bytes()),
            id: SessionId::new(),
            person,
            now,
            ends_at: now.plus_days(viewer::LONGEST_DAYS),
            device: &device,
        },
    )
    .await?;
    store::sign_in::end_oldest_sessions(tx, person, rules::MOST_SESSIONS).await?;
    Ok(token)
}

/// Signs everybody out and takes back every link that was not used yet: what was ended after a backup was
/// made must not come back with it.
pub async fn sign_everybody_out(tx: &mut Tx) -> sqlx::Result<()> {
    store::sign_in::end_all(tx).await
}

/// What a person is to a team.
#[derive(
    Debug,
    Clone,
    Copy,
    PartialEq,
    Eq,
    PartialOrd,
    Ord,
    Hash,
    serde::Serialize,
    serde::Deserialize,
    sqlx::Type,
)]
#[sqlx(rename_all = "lowercase")]
#[serde(rename_all = "lowercase")]
pub enum Role {
    Keeper,
    Deputy,
    Crew,
}

impl Role {
    pub const ALL: [Role; 3] = [Role::Keeper, Role::Deputy, Role::Crew];

    pub fn word(self) -> &'static str {
        match self {
            Role::Keeper => "keeper",
            Role::Deputy => "deputy",
            Role::Crew => "crew",
        }
    }

    /// Whether they answer for the team's kits.
    pub fn keeps(self) -> bool {
        match self {
            Role::Keeper | Role::Deputy => true,
            Role::Crew => false,
        }
    }
}
