//! Helper passes: people help at an event without an account.
//!
//! A member makes one for an event to which kits of the team go, prints it and hangs it up. Whoever opens it on a
//! phone gives a first name and nothing else. Until the event is over or a member ends the pass, that phone
//! finds the crates of those kits, and what it tells of broken or missing pieces is credited to the first name
//! and waits for somebody of the team like every report without an account. Where a member opened a count, it
//! counts crates too (`counting`). A pass moves nothing.

pub mod counting;
pub mod pages;
pub mod rules;
mod store;

pub use store::{Helper, Pass, in_force, of_event};

use crate::app::App;
use crate::code::Code;
use crate::error::{AppError, NotDone};
use crate::events;
use crate::ids::{EventId, HelperId, PassId, TeamId};
use crate::people::Viewer;
use crate::receipts::{self, Outcome, Sent};
use crate::secret;
use rules::Refused;

/// Phones on which one pass may be opened.
const MOST_HELPERS: i64 = 200;

/// The cookie of a phone on which a pass was opened.
pub fn cookie_name(app: &App) -> &'static str {
    if app.is_https() {
        "__Host-help"
    } else {
        "help"
    }
}

/// The helper with this secret, if the pass still holds.
pub async fn helper(app: &App, token: &str) -> Result<Option<Helper>, AppError> {
    let hash = secret::hash(token.as_bytes());
    let mut db = app.db.read().await?;
    let found = store::helper(&mut db, &hash).await?;
    Ok(found.filter(|helper| helper.pass.holds(app.clock.now())))
}

/// Makes a pass for a team's kits at an event. There is one at a time.
pub async fn make(
    app: &App,
    viewer: &Viewer,
    sent: &Sent,
    event: EventId,
    team: TeamId,
) -> Result<Outcome, NotDone<Refused>> {
    only_members(viewer, team)?;
    receipts::once(app, sent, Some(viewer.person), async |tx| {
        let found = events::find(tx, event)
            .await?
            .ok_or(AppError::NotFound("event"))?;
        if found.is_called_off {
            return Err(NotDone::Refused(Refused::CalledOff));
        }
        let kits = events::kits_of(tx, event).await?;
        if !kits.iter().any(|kit| kit.team == team) {
            return Err(NotDone::Refused(Refused::NoKit));
        }
        let now = app.clock.now();
        if of_event(tx, event)
            .await?
            .iter()
            .any(|pass| pass.team == team && pass.ended_at.is_none())
        {
            return Err(NotDone::Refused(Refused::HasOne));
        }
        let pass = PassId::new();
        // Two passes with the same code cannot be; another number is drawn until a free one is found.
        loop {
            let code = Code::from_random(u64::from_le_bytes(secret::random()));
            if store::insert(tx, pass, event, team, &code, viewer.person, now).await? {
                break;
            }
        }
        Ok(format!("/events/{event}/pass"))
    })
    .await
}

/// Ends a pass before the event is over. Its phones are strangers from then on.
pub async fn end(
    app: &App,
    viewer: &Viewer,
    sent: &Sent,
    event: EventId,
    pass: PassId,
) -> Result<Outcome, NotDone<Refused>> {
    receipts::once(app, sent, Some(viewer.person), async |tx| {
        let found = of_event(tx, event)
            .await?
            .into_iter()
            .find(|one| one.id == pass)
            .ok_or(AppError::NotFound("pass"))?;
        only_members(viewer, found.team)?;
        if !store::end(tx, pass, viewer.person, app.clock.now()).await? {
            return Err(NotDone::Refused(Refused::Ended));
        }
        Ok(format!("/events/{event}/pass"))
    })
    .await
}

/// Opens a pass on a phone: answers the secret for its cookie. Sent twice, the first phone's secret is gone, so
/// another one is drawn and the first name stands there twice; nothing else follows from it.
pub async fn open(app: &App, pass: &Pass, first_name: &str) -> Result<String, NotDone<Refused>> {
    let name = rules::FIRST_NAME.read(first_name);
    let name = name.map_err(|why| NotDone::Refused(why.into()))?;
    let mut tx = app.db.begin_write().await?;
    let pass = store::find(&mut tx, &pass.code)
        .await?
        .filter(|pass| pass.holds(app.clock.now()))
        .ok_or(NotDone::Refused(Refused::Ended))?;
    if pass.helpers >= MOST_HELPERS {
        return Err(NotDone::Refused(Refused::TooMany));
    }
    let token = secret::token();
    let hash = secret::hash(token.as_bytes());
    let now = app.clock.now();
    store::insert_helper(&mut tx, HelperId::new(), pass.id, &name, &hash, now).await?;
    tx.commit().await?;
    Ok(token)
}

fn only_members(viewer: &Viewer, team: TeamId) -> Result<(), AppError> {
    if viewer.role_in(team).is_some() {
        return Ok(());
    }
    Err(AppError::Forbidden(
        "Only members of the team whose kits go make and end its helper passes.".into(),
    ))
}
