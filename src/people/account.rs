//! One's own account: name and e-mail, and proving that one is still oneself.

use super::rules::{self, PeopleRefused};
use super::store::accounts::{self, Account};
use super::store::sign_in as rows;
use super::{Viewer, memory, sign_in};
use crate::app::App;
use crate::error::{AppError, NotDone};
use crate::receipts::{self, Outcome, Sent};
use crate::secret;

/// The viewer's account.
pub(super) async fn own(app: &App, viewer: &Viewer) -> Result<Account, AppError> {
    let mut db = app.db.read().await?;
    accounts::by_id(&mut db, viewer.person)
        .await?
        .ok_or(AppError::NotFound("account"))
}

/// The e-mail of the viewer's account; empty if it has none.
pub async fn email(app: &App, viewer: &Viewer) -> Result<String, AppError> {
    Ok(own(app, viewer).await?.email.unwrap_or_default())
}

/// The present password, asked again before something that whoever finds an open phone must not do.
/// Wrong ones count as failed sign-ins and end no session.
pub(super) async fn prove(
    app: &App,
    account: &Account,
    current: &str,
) -> Result<(), NotDone<PeopleRefused>> {
    let email = account.email.clone().unwrap_or_default();
    let fits = sign_in::fits(app, &email, current, account.password_hash.clone()).await?;
    if !fits {
        tracing::info!(person = %account.person, "gave a wrong password for their own account");
        return Err(NotDone::Refused(PeopleRefused::NotYourPassword));
    }
    let mut tx = app.db.begin_write().await?;
    rows::forget_failures(&mut tx, &secret::hash(email.as_bytes())).await?;
    tx.commit_quietly().await?;
    Ok(())
}

/// What a password must not be made of.
pub(super) async fn context(
    app: &App,
    viewer: &Viewer,
    account: &Account,
) -> Result<Vec<String>, AppError> {
    let mut words = vec![memory::league(app).await?, account.name.clone()];
    words.extend(account.email.clone());
    words.extend(
        viewer
            .memberships()
            .iter()
            .map(|there| there.team_name.clone()),
    );
    Ok(words)
}

/// Changes one's own name and e-mail. Another e-mail takes the password, because who has the e-mail
/// has the account.
pub async fn change(
    app: &App,
    viewer: &Viewer,
    sent: &Sent,
    name: &str,
    email: &str,
    current: &str,
) -> Result<Outcome, NotDone<Vec<PeopleRefused>>> {
    let sent = super::password::without_password(sent, &["/account", name, email]);
    let account = own(app, viewer).await?;
    {
        let mut db = app.db.read().await?;
        if let Some(outcome) = receipts::again(&mut db, &sent).await? {
            return Ok(outcome);
        }
    }
    let (name, email) = match (rules::person_name(name), rules::email(email)) {
        (Ok(name), Ok(email)) => (name, email),
        (name, email) => {
            let refused = name.err().into_iter().chain(email.err()).collect();
            return Err(NotDone::Refused(refused));
        }
    };
    if account.email.as_ref() != Some(&email) {
        prove(app, &account, current).await.map_err(NotDone::one)?;
    }
    receipts::once(app, &sent, Some(viewer.person), async |tx| {
        let other = accounts::by_email(tx, &email).await?;
        if other.is_some_and(|other| other.person != viewer.person) {
            return Err(NotDone::Refused(vec![PeopleRefused::EmailTaken]));
        }
        accounts::set_name_and_email(tx, viewer.person, &name, &email).await?;
        tracing::info!(person = %viewer.person, "changed their name or e-mail");
        Ok("/account".into())
    })
    .await
}

impl NotDone<PeopleRefused> {
    /// The same, for a form that may be refused for several reasons.
    pub(super) fn one(self) -> NotDone<Vec<PeopleRefused>> {
        match self {
            NotDone::Refused(refused) => NotDone::Refused(vec![refused]),
            NotDone::Failed(error) => NotDone::Failed(error),
        }
    }

    /// The same, where there is no form to show again.
    pub(super) fn page(self) -> AppError {
        match self {
            NotDone::Refused(refused) => AppError::BadRequest(refused.to_string()),
            NotDone::Failed(error) => error,
        }
    }
}
