//! New passwords by a link that works once: from a keeper or coordinator, or from the machine itself.

use super::links::{LinkMade, context, find_invite, link, recorded_before, usable};
use super::password::{self, without_password};
use super::rules::{self, PeopleRefused};
use super::store::accounts::{self, Account};
use super::store::links::{self as rows, NewLink, Purpose};
use super::store::members;
use super::{Viewer, sign_in};
use crate::app::App;
use crate::error::{AppError, NotDone};
use crate::ids::{PersonId, TeamId};
use crate::receipts::{self, Outcome, Sent};
use crate::secret;

/// Makes the link with which a member of a team chooses a new password.
pub async fn reset_link(
    app: &App,
    viewer: &Viewer,
    sent: &Sent,
    team: TeamId,
    person: PersonId,
) -> Result<LinkMade, NotDone<PeopleRefused>> {
    let token = secret::token();
    let outcome = receipts::once(app, sent, Some(viewer.person), async |tx| {
        let missing = || AppError::NotFound("member");
        members::role(tx, person, team).await?.ok_or_else(missing)?;
        let maker = members::reach(tx, viewer.person)
            .await?
            .ok_or_else(missing)?;
        let whose = members::reach(tx, person).await?.ok_or_else(missing)?;
        if let Err(refused) = rules::may_reset(&maker, &whose) {
            tracing::warn!(by = %viewer.person, %person, "denied a link for a new password");
            return Err(NotDone::Refused(refused));
        }
        let now = app.clock.now();
        rows::delete_resets(tx, person).await?;
        let new = NewLink {
            person: Some(person),
            made_by: Some(viewer.person),
            ..link(
                &token,
                Purpose::Reset,
                now,
                now.plus_minutes(rules::RESET_MINUTES),
            )
        };
        rows::insert(tx, &new).await?;
        tracing::info!(by = %viewer.person, %person, "made a link for a new password");
        Ok(format!("/teams/{team}/people"))
    })
    .await?;
    Ok(match outcome {
        Outcome::Done { .. } => LinkMade::Now {
            path: format!("/resets/{token}"),
        },
        again => LinkMade::Before(again),
    })
}

/// Sets the password of an account that exists, with an invitation made on the machine itself. What the
/// account may do stays as it was.
pub async fn set_password_by_invite(
    app: &App,
    sent: &Sent,
    token: &str,
    email: &str,
    new: &str,
) -> Result<Outcome, NotDone<PeopleRefused>> {
    let sent = without_password(sent, &["/invites/password", token, email]);
    if let Some(outcome) = recorded_before(app, &sent).await? {
        return Ok(outcome);
    }
    if !find_invite(app, token).await?.sets_passwords() {
        return Err(AppError::NotFound("page").into());
    }
    let account = {
        let mut db = app.db.read().await?;
        accounts::by_email(&mut db, &sign_in::key(email)).await?
    };
    let account = account.ok_or(NotDone::Refused(PeopleRefused::NoSuchAccount))?;
    choose_and_set(app, &sent, &account, new, Purpose::Invite, token).await
}

/// The link for a new password, if it still works. Answers whose account it is.
pub async fn find_reset(app: &App, token: &str) -> Result<PersonId, AppError> {
    let mut db = app.db.read().await?;
    let link = usable(&mut db, token, Purpose::Reset, app.clock.now()).await?;
    link.person.ok_or(AppError::NotFound("link"))
}

/// Sets a new password with a link from a keeper or coordinator.
pub async fn reset_password(
    app: &App,
    sent: &Sent,
    token: &str,
    new: &str,
) -> Result<Outcome, NotDone<PeopleRefused>> {
    let sent = without_password(sent, &["/resets", token]);
    if let Some(outcome) = recorded_before(app, &sent).await? {
        return Ok(outcome);
    }
    let person = find_reset(app, token).await?;
    let account = {
        let mut db = app.db.read().await?;
        accounts::by_id(&mut db, person).await?
    };
    let account = account.ok_or(AppError::NotFound("account"))?;
    choose_and_set(app, &sent, &account, new, Purpose::Reset, token).await
}

async fn choose_and_set(
    app: &App,
    sent: &Sent,
    account: &Account,
    new: &str,
    purpose: Purpose,
    token: &str,
) -> Result<Outcome, NotDone<PeopleRefused>> {
    let email = account.email.clone().unwrap_or_default();
    let teams = {
        let mut db = app.db.read().await?;
        super::store::memberships(&mut db, account.person).await?
    };
    let teams = teams.into_iter().map(|there| there.team_name);
    let words = context(app, &account.name, &email, teams).await?;
    let hash = password::choose(&app.people.hashing, new, words).await?;
    receipts::once(app, sent, Some(account.person), async |tx| {
        let now = app.clock.now();
        let link = usable(tx, token, purpose, now).await?;
        rows::use_up(tx, link.id, now).await?;
        sign_in::set_password(tx, account, &hash, None).await?;
        tracing::info!(person = %account.person, ?purpose, "chose a new password by link");
        Ok("/sign-in".into())
    })
    .await
}
