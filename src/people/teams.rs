//! Teams, the league's name, and who coordinates it.

use super::rules::{self, PeopleRefused};
use super::store::{accounts, teams as rows};
use super::{Viewer, add_team, sign_in};
use crate::app::App;
use crate::db::Tx;
use crate::error::{AppError, NotDone};
use crate::ids::{PersonId, TeamId};
use crate::receipts::{self, Outcome, Sent};

pub use accounts::{Coordinator, coordinators};
pub use rows::{Team, TeamLine, find, lines};

/// Checks a team's name and zone against the others.
async fn checked(
    tx: &mut Tx,
    except: Option<TeamId>,
    name: &str,
    zone: &str,
) -> Result<(String, String), NotDone<Vec<PeopleRefused>>> {
    let others = rows::names_except(tx, except).await?;
    let name = rules::team_name(name, others.iter().map(String::as_str));
    match (name, rules::zone(zone)) {
        (Ok(name), Ok(zone)) => Ok((name, zone)),
        (name, zone) => Err(NotDone::Refused(
            name.err().into_iter().chain(zone.err()).collect(),
        )),
    }
}

/// Adds a team to the league.
pub async fn add(
    app: &App,
    viewer: &Viewer,
    sent: &Sent,
    name: &str,
    zone: &str,
) -> Result<Outcome, NotDone<Vec<PeopleRefused>>> {
    receipts::once(app, sent, Some(viewer.person), async |tx| {
        let (name, zone) = checked(tx, None, name, zone).await?;
        let team = add_team(tx, &name, &zone).await?;
        tracing::info!(by = %viewer.person, %team, "added a team");
        Ok(format!("/teams/{team}/people"))
    })
    .await
}

/// Changes a team's name and zone, unless somebody else did since the form was shown.
pub async fn change(
    app: &App,
    viewer: &Viewer,
    sent: &Sent,
    (team, shown): (TeamId, i64),
    name: &str,
    zone: &str,
) -> Result<Outcome, NotDone<Vec<PeopleRefused>>> {
    receipts::once(app, sent, Some(viewer.person), async |tx| {
        let now = rows::find(tx, team)
            .await?
            .ok_or(AppError::NotFound("team"))?;
        if now.version != shown {
            return Err(NotDone::Refused(vec![PeopleRefused::ChangedMeanwhile {
                name: now.name,
                zone: now.zone,
            }]));
        }
        let (name, zone) = checked(tx, Some(team), name, zone).await?;
        rows::update(tx, team, &name, &zone).await?;
        tracing::info!(by = %viewer.person, %team, "changed a team");
        Ok(format!("/teams/{team}"))
    })
    .await
}

/// Names the league, for whoever loads a whole world into an empty database.
pub async fn set_league(tx: &mut Tx, name: &str) -> sqlx::Result<()> {
    rows::set_league(tx, name).await
}

/// Gives the league another name.
pub async fn name_league(
    app: &App,
    viewer: &Viewer,
    sent: &Sent,
    name: &str,
) -> Result<Outcome, NotDone<PeopleRefused>> {
    receipts::once(app, sent, Some(viewer.person), async |tx| {
        let name = rules::league_name(name).map_err(NotDone::Refused)?;
        rows::set_league(tx, &name).await?;
        tracing::info!(by = %viewer.person, "changed the league's name");
        Ok("/league".into())
    })
    .await
}

/// Makes the account with this e-mail a coordinator.
pub async fn give_coordinator(
    app: &App,
    viewer: &Viewer,
    sent: &Sent,
    email: &str,
) -> Result<Outcome, NotDone<PeopleRefused>> {
    receipts::once(app, sent, Some(viewer.person), async |tx| {
        let account = accounts::by_email(tx, &sign_in::key(email))
            .await?
            .ok_or(NotDone::Refused(PeopleRefused::NoSuchAccount))?;
        accounts::set_coordinator(tx, account.person, true).await?;
        tracing::info!(by = %viewer.person, person = %account.person, "made somebody coordinator");
        Ok("/league".into())
    })
    .await
}

/// Takes the role of coordinator from somebody. The last one keeps it.
pub async fn take_coordinator(
    app: &App,
    viewer: &Viewer,
    sent: &Sent,
    person: PersonId,
) -> Result<Outcome, NotDone<PeopleRefused>> {
    receipts::once(app, sent, Some(viewer.person), async |tx| {
        let coordinators = accounts::coordinators(tx).await?;
        if !coordinators.iter().any(|known| known.person == person) {
            return Err(AppError::NotFound("coordinator").into());
        }
        if coordinators.len() == 1 {
            return Err(NotDone::Refused(PeopleRefused::LastCoordinator));
        }
        accounts::set_coordinator(tx, person, false).await?;
        tracing::info!(by = %viewer.person, %person, "took the role of coordinator");
        Ok("/league".into())
    })
    .await
}
