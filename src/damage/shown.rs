//! What people without an account are shown of a team's crates: the team decides.

use sqlx::SqliteConnection;

use super::Refused;
use super::store::{self, ShownSaid};
use super::wrong;
use crate::app::App;
use crate::error::NotDone;
use crate::ids::TeamId;
use crate::people::Viewer;
use crate::receipts::{self, Outcome, Sent};

/// How much of a crate a stranger sees.
#[derive(Debug, Clone, Copy, PartialEq, Eq, sqlx::Type)]
#[sqlx(rename_all = "lowercase")]
pub enum Shows {
    /// Pictures, names and numbers of the parts.
    Pictures,
    /// Names and numbers only.
    Names,
    /// Nothing but what to do: find the crew.
    Off,
}

impl Shows {
    pub const ALL: [Shows; 3] = [Shows::Pictures, Shows::Names, Shows::Off];

    pub fn word(self) -> &'static str {
        match self {
            Shows::Pictures => "pictures",
            Shows::Names => "names",
            Shows::Off => "off",
        }
    }

    /// As a choice on a form.
    pub fn sentence(self) -> &'static str {
        match self {
            Shows::Pictures => "what is inside, with pictures of the parts",
            Shows::Names => "what is inside, names and numbers only",
            Shows::Off => "nothing: only that they should find the crew",
        }
    }
}

/// What a team shows now. Without a decision, pictures.
pub async fn shows(db: &mut SqliteConnection, team: TeamId) -> sqlx::Result<Shows> {
    let said = store::shown_said(db, team, 1).await?;
    Ok(said.first().map_or(Shows::Pictures, |said| said.shows))
}

/// Every decision of a team, the latest first.
pub async fn said(db: &mut SqliteConnection, team: TeamId) -> sqlx::Result<Vec<ShownSaid>> {
    store::shown_said(db, team, 50).await
}

/// Decides anew. Taking a decision back is deciding what held before it.
pub async fn decide(
    app: &App,
    viewer: &Viewer,
    sent: &Sent,
    team: TeamId,
    shows: &str,
) -> Result<Outcome, NotDone<Refused>> {
    receipts::once(app, sent, Some(viewer.person), async |tx| {
        let chosen = Shows::ALL.into_iter().find(|one| one.word() == shows);
        let Some(chosen) = chosen else {
            return wrong("shows", "choose one of these");
        };
        store::add_shown(tx, team, chosen, viewer.person, app.clock.now()).await?;
        Ok(format!("/teams/{team}/public-page"))
    })
    .await
}
