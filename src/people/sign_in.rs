//! Signing in and out.
//!
//! An attempt is counted before the password is looked at, and the count is wiped when it was right: so
//! many attempts at once cannot slip past the limit. Accounts that do not exist are counted and answered
//! just like those that do.

use super::password::without_password;
use super::rules::{Failures, PeopleRefused};
use super::store::{self, accounts, sign_in as rows};
use super::{Viewer, open_session, viewer};
use crate::app::App;
use crate::error::{AppError, NotDone};
use crate::ids::{PersonId, SessionId};
use crate::receipts::{self, Outcome, Sent};
use crate::secret;

pub use rows::OpenSession;

const FAILURES_KEPT_DAYS: i64 = 90;

/// Who signed in, and the token for their cookie.
pub struct SignedIn {
    pub person: PersonId,
    pub name: String,
    pub token: String,
}

/// Why nobody was signed in.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum SignInRefused {
    /// Says nothing about whether the account exists.
    #[error("this e-mail and password do not go together")]
    Wrong,
    #[error(transparent)]
    Throttled(PeopleRefused),
}

/// Signs in with e-mail and password. The session the browser had before ends.
pub async fn sign_in(
    app: &App,
    email: &str,
    password: &str,
    device: &str,
    before: Option<&Viewer>,
) -> Result<SignedIn, NotDone<SignInRefused>> {
    let email = key(email);
    let account = {
        let mut db = app.db.read().await?;
        accounts::by_email(&mut db, &email).await?
    };
    let person = account.as_ref().map(|account| account.person);
    let stored = account
        .as_ref()
        .and_then(|account| account.password_hash.clone());
    let fits =
        fits(app, &email, password, stored.clone())
            .await
            .map_err(|not_done| match not_done {
                NotDone::Refused(refused) => {
                    tracing::warn!(person = %shown(person), "a sign-in was throttled");
                    NotDone::Refused(SignInRefused::Throttled(refused))
                }
                NotDone::Failed(error) => NotDone::Failed(error),
            })?;
    let (Some(account), true) = (account, fits) else {
        tracing::info!(person = %shown(person), "a sign-in failed");
        return Err(NotDone::Refused(SignInRefused::Wrong));
    };

    let mut tx = app.db.begin_write().await?;
    // The password may have been changed while it was checked.
    let now_stored = accounts::by_id(&mut tx, account.person).await?;
    if now_stored.and_then(|account| account.password_hash) != stored {
        return Err(NotDone::Refused(SignInRefused::Wrong));
    }
    rows::forget_failures(&mut tx, &secret::hash(email.as_bytes())).await?;
    if let Some(before) = before {
        rows::end_session(&mut tx, before.person, before.session).await?;
    }
    let token = open_session(app, &mut tx, account.person, device).await?;
    tx.commit().await?;
    tracing::info!(person = %account.person, "signed in");
    Ok(SignedIn {
        person: account.person,
        name: account.name,
        token,
    })
}

/// Whether a password fits, counted as an attempt on the account.
pub(super) async fn fits(
    app: &App,
    email: &str,
    password: &str,
    stored: Option<String>,
) -> Result<bool, NotDone<PeopleRefused>> {
    let turn = app.people.hashing.turn().await?;
    let account = secret::hash(email.as_bytes());
    let now = app.clock.now();
    let mut tx = app.db.begin_write().await?;
    let failures = rows::failures(&mut tx, &account)
        .await?
        .unwrap_or_else(|| Failures::none(now))
        .attempt(now)
        .map_err(NotDone::Refused)?;
    rows::sweep_failures(&mut tx, now.plus_days(-FAILURES_KEPT_DAYS)).await?;
    rows::set_failures(&mut tx, &account, &failures).await?;
    tx.commit_quietly().await?;
    Ok(turn.verify(password.to_owned(), stored).await?)
}

/// An e-mail as accounts are looked up by it. Any text will do: one that is no address belongs to nobody.
pub(super) fn key(email: &str) -> String {
    email.trim().to_lowercase()
}

fn shown(person: Option<PersonId>) -> String {
    person.map_or_else(|| "nobody".into(), |person| person.to_string())
}

/// Ends this session.
pub async fn sign_out(app: &App, viewer: &Viewer) -> Result<(), AppError> {
    let mut tx = app.db.begin_write().await?;
    rows::end_session(&mut tx, viewer.person, viewer.session).await?;
    tx.commit().await?;
    tracing::info!(person = %viewer.person, "signed out");
    Ok(())
}

/// The browsers in which a person is signed in.
pub async fn sessions(app: &App, viewer: &Viewer) -> Result<Vec<OpenSession>, AppError> {
    let now = app.clock.now();
    let idle_since = now.plus_minutes(-viewer::IDLE_MINUTES);
    let mut db = app.db.read().await?;
    Ok(rows::sessions(&mut db, viewer.person, now, idle_since).await?)
}

/// Ends one session of one's own.
pub async fn end_session(
    app: &App,
    viewer: &Viewer,
    sent: &Sent,
    session: SessionId,
) -> Result<Outcome, NotDone<PeopleRefused>> {
    receipts::once(app, sent, Some(viewer.person), async |tx| {
        if !rows::end_session(tx, viewer.person, session).await? {
            return Err(AppError::NotFound("sign-in").into());
        }
        tracing::info!(person = %viewer.person, "ended a session of their own");
        Ok("/account".into())
    })
    .await
}

/// Ends every other session of one's own.
pub async fn end_other_sessions(
    app: &App,
    viewer: &Viewer,
    sent: &Sent,
) -> Result<Outcome, NotDone<PeopleRefused>> {
    receipts::once(app, sent, Some(viewer.person), async |tx| {
        rows::end_sessions_except(tx, viewer.person, Some(viewer.session)).await?;
        tracing::info!(person = %viewer.person, "ended all other sessions of their own");
        Ok("/account".into())
    })
    .await
}

/// Sets a password: every other session ends, links for the password are taken back, failures forgotten.
pub(super) async fn set_password(
    tx: &mut crate::db::Tx,
    account: &accounts::Account,
    hash: &str,
    kept: Option<SessionId>,
) -> sqlx::Result<()> {
    accounts::set_password(tx, account.person, hash).await?;
    rows::end_sessions_except(tx, account.person, kept).await?;
    store::links::delete_resets(tx, account.person).await?;
    if let Some(email) = &account.email {
        rows::forget_failures(tx, &secret::hash(email.as_bytes())).await?;
    }
    Ok(())
}

/// Changes one's own password, who knows the present one. Other sessions end.
pub async fn change_password(
    app: &App,
    viewer: &Viewer,
    sent: &Sent,
    current: &str,
    new: &str,
) -> Result<Outcome, NotDone<PeopleRefused>> {
    let sent = without_password(sent, &["/account/password"]);
    let account = super::account::own(app, viewer).await?;
    {
        let mut db = app.db.read().await?;
        if let Some(outcome) = receipts::again(&mut db, &sent).await? {
            return Ok(outcome);
        }
    }
    super::account::prove(app, &account, current).await?;
    let context = super::account::context(app, viewer, &account).await?;
    let hash = super::password::choose(&app.people.hashing, new, context).await?;
    receipts::once(app, &sent, Some(viewer.person), async |tx| {
        set_password(tx, &account, &hash, Some(viewer.session)).await?;
        tracing::info!(person = %viewer.person, "changed their password");
        Ok("/account".into())
    })
    .await
}
