//! Who belongs to a team, and as what.

use super::rules::{self, PeopleRefused};
use super::store::members as rows;
use super::{Role, Viewer};
use crate::app::App;
use crate::error::{AppError, NotDone};
use crate::ids::{PersonId, TeamId};
use crate::receipts::{self, Outcome, Sent};

pub use rows::{Member, members as of_team};

/// Makes a member something else in the team.
pub async fn change_role(
    app: &App,
    viewer: &Viewer,
    sent: &Sent,
    team: TeamId,
    person: PersonId,
    role: Role,
) -> Result<Outcome, NotDone<PeopleRefused>> {
    change(app, viewer, sent, team, person, Some(role)).await
}

/// Ends a membership. What the person recorded stays under their name.
pub async fn end(
    app: &App,
    viewer: &Viewer,
    sent: &Sent,
    team: TeamId,
    person: PersonId,
) -> Result<Outcome, NotDone<PeopleRefused>> {
    change(app, viewer, sent, team, person, None).await
}

async fn change(
    app: &App,
    viewer: &Viewer,
    sent: &Sent,
    team: TeamId,
    person: PersonId,
    becomes: Option<Role>,
) -> Result<Outcome, NotDone<PeopleRefused>> {
    receipts::once(app, sent, Some(viewer.person), async |tx| {
        let is = rows::role(tx, person, team)
            .await?
            .ok_or(AppError::NotFound("member"))?;
        let keepers = rows::keepers(tx, team).await?;
        rules::change_role(is, becomes, keepers).map_err(NotDone::Refused)?;
        match becomes {
            Some(role) => rows::set_role(tx, person, team, role).await?,
            None => rows::delete(tx, person, team).await?,
        }
        tracing::info!(
            by = %viewer.person,
            %person,
            %team,
            was = is.word(),
            is = becomes.map_or("no member", Role::word),
            "changed what somebody is to a team"
        );
        Ok(format!("/teams/{team}/people"))
    })
    .await
}
