//! Loan links: the borrower's side of one loan, without an account.
//!
//! The lender's keeper makes a link on the loan's page, shows its picture code or gives its letters, and can
//! withdraw it and make it anew. Whoever opens it on a phone gives a name. Until the loan is closed or the link
//! withdrawn, that phone sees this one loan: its sheet, what is out and what differs. It confirms the count at the
//! start, tells of damage, answers differences, asks to hand crates on and says that they were given back. Nothing
//! of it moves a piece, and nothing else of the lender is shown.
//!
//! The code is shown once, when it is made; the database holds its hash, and the hash of each phone's secret.

pub mod pages;
pub mod rules;
mod store;

pub use store::{Link, Phone, link_of, phones};

use sqlx::SqliteConnection;

use crate::app::App;
use crate::db::Tx;
use crate::error::{AppError, NotDone};
use crate::ids::{LinkId, LoanId, PhoneId, PlaceId};
use crate::loans::rules::words::State;
use crate::loans::{self, Loan};
use crate::people::Viewer;
use crate::places;
use crate::receipts::{self, Outcome, Sent};
use crate::secret;
use rules::{Key, Refused};

/// Phones on which one link may be opened.
const MOST_PHONES: i64 = 20;

/// The cookie of a phone on which a link was opened.
pub fn cookie_name(app: &App) -> &'static str {
    if app.is_https() {
        "__Host-lent"
    } else {
        "lent"
    }
}

/// The phone with this secret, if its link still holds.
pub async fn phone(app: &App, token: &str) -> Result<Option<Phone>, AppError> {
    let hash = secret::hash(token.as_bytes());
    let mut db = app.db.read().await?;
    let found = store::phone(&mut db, &hash).await?;
    Ok(found.filter(|phone| phone.holds()))
}

/// The link of a key, if it holds.
pub async fn in_force(db: &mut SqliteConnection, key: &Key) -> sqlx::Result<Option<Link>> {
    let hash = secret::hash(key.plain().as_bytes());
    let found = store::find(db, &hash).await?;
    Ok(found.filter(Link::holds))
}

/// What became of the form that makes a link.
pub enum Made {
    /// Its key, to be shown now and never again.
    Now(Key),
    /// It was made before.
    Before(Outcome),
}

/// Makes a link to a loan for a borrower outside the league. One that holds is withdrawn by it.
pub async fn make(
    app: &App,
    viewer: &Viewer,
    sent: &Sent,
    loan: LoanId,
) -> Result<Made, NotDone<Refused>> {
    let key = Key::draw();
    let outcome = receipts::once(app, sent, Some(viewer.person), async |tx| {
        let loan = found(tx, loan).await?;
        if loan.borrower.is_some() {
            return Err(NotDone::Refused(Refused::HasAccounts));
        }
        if !matches!(loan.state, State::Agreed | State::Out) {
            return Err(NotDone::Refused(Refused::NotOpen));
        }
        let now = app.clock.now();
        if let Some(link) = store::link_of(tx, loan.id).await?
            && store::end(tx, link.id, viewer.person, now).await?
        {
            loans::note_link(app, tx, viewer, loan.id, "link withdrawn").await?;
        }
        let hash = secret::hash(key.plain().as_bytes());
        store::insert(tx, LinkId::new(), loan.id, &hash, viewer.person, now).await?;
        loans::note_link(app, tx, viewer, loan.id, "link made").await?;
        Ok(format!("/loans/{}/link", loan.id))
    })
    .await?;
    Ok(match outcome {
        Outcome::Done { .. } => Made::Now(key),
        again => Made::Before(again),
    })
}

/// Withdraws the link of a loan. Its phones are strangers from then on.
pub async fn withdraw(
    app: &App,
    viewer: &Viewer,
    sent: &Sent,
    loan: LoanId,
) -> Result<Outcome, NotDone<Refused>> {
    receipts::once(app, sent, Some(viewer.person), async |tx| {
        let link = store::link_of(tx, loan).await?;
        let ended = match link {
            Some(link) => store::end(tx, link.id, viewer.person, app.clock.now()).await?,
            None => false,
        };
        if !ended {
            return Err(NotDone::Refused(Refused::Ended));
        }
        loans::note_link(app, tx, viewer, loan, "link withdrawn").await?;
        Ok(format!("/loans/{loan}/link"))
    })
    .await
}

/// Opens a link on a phone: answers the secret for its cookie.
pub async fn open(app: &App, key: &Key, name: &str) -> Result<String, NotDone<Refused>> {
    let name = rules::NAME.read(name);
    let name = name.map_err(|why| NotDone::Refused(why.into()))?;
    let mut tx = app.db.begin_write().await?;
    let link = in_force(&mut tx, key)
        .await?
        .ok_or(NotDone::Refused(Refused::Ended))?;
    if link.phones >= MOST_PHONES {
        return Err(NotDone::Refused(Refused::TooMany));
    }
    let token = secret::token();
    let hash = secret::hash(token.as_bytes());
    let now = app.clock.now();
    store::insert_phone(&mut tx, PhoneId::new(), link.id, &name, &hash, now).await?;
    tx.commit().await?;
    Ok(token)
}

/// Whether a place left on the phone's loan and is still out, or stands in one that is.
pub async fn has(db: &mut SqliteConnection, phone: &Phone, place: PlaceId) -> sqlx::Result<bool> {
    let out = loans::places_out(db, phone.loan).await?;
    let way = places::way(db, place).await?;
    Ok(way.iter().any(|step| out.contains(&step.id)))
}

async fn found(tx: &mut Tx, loan: LoanId) -> Result<Loan, AppError> {
    loans::find(tx, loan)
        .await?
        .ok_or(AppError::NotFound("loan"))
}
