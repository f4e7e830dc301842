//! Seals: a crate that is closed gets a number, and whoever opens it says whether that seal was intact.
//!
//! - A seal says nothing by itself: it says how far the last count can be trusted (`rules::seals::trust`).
//! - Nothing is put into or taken out of a sealed crate by hand before somebody says that it was opened. What
//!   other acts record of its inside (a count, a repair) opens it without a word, and its page says so.
//! - A seal that was broken, gone or another one makes everything in the crate "not counted since".
//! - Carrying a sealed crate, lending it and taking it back leave the seal as it is.
//! - Every step can be taken back; numbers may come again.

use sqlx::SqliteConnection;

use super::rules::Wrong;
use super::rules::seals::{self, Contents, Found, Kind, Sealing, Step};
use super::{known, refused, store};
use crate::app::App;
use crate::clock::Instant;
use crate::error::{AppError, NotDone};
use crate::ids::PlaceId;
use crate::ledger;
use crate::people::Viewer;
use crate::receipts::{self, Outcome, Sent};

/// The seal of a crate, what was done about it, and what it is worth.
#[derive(Debug, Clone)]
pub struct SealOf {
    pub sealing: Sealing,
    pub contents: Contents,
    pub steps: Vec<Step>,
}

impl SealOf {
    /// The number of the seal that is on it now.
    pub fn number(&self) -> Option<&str> {
        match &self.sealing {
            Sealing::Sealed(seal) => Some(&seal.number),
            _ => None,
        }
    }

    /// Whether something about it wants to be said loudly.
    pub fn is_doubtful(&self) -> bool {
        match self.sealing {
            Sealing::Sealed(_) => self.contents.reached_into.is_some(),
            Sealing::OpenedBroken { .. } => self.contents.doubted > 0,
            Sealing::Open | Sealing::OpenedIntact { .. } => false,
        }
    }

    /// Whether it ever had one.
    pub fn is_used(&self) -> bool {
        !self.steps.is_empty()
    }

    /// "As counted on 12 Mar 2027, seal 0451, put on 12 Mar 2027 and not opened since."
    pub fn words(&self, zone: &str) -> String {
        let day = |at: Instant| at.day(zone).words();
        seals::trust(&self.sealing, &self.contents, day)
    }
}

/// The seal of a crate, for its page and for whoever lends, packs or counts it.
pub async fn seal_of(db: &mut SqliteConnection, place: PlaceId) -> sqlx::Result<SealOf> {
    let steps = store::seal_steps(db, place).await?;
    let sealing = seals::stands(&steps);
    let (after, doubted) = match &sealing {
        Sealing::Sealed(seal) => (seal.seq, -1),
        Sealing::OpenedBroken { seq, .. } => (ledger::Seq::MAX, *seq),
        Sealing::Open | Sealing::OpenedIntact { .. } => (ledger::Seq::MAX, -1),
    };
    let contents = if steps.is_empty() {
        Contents::default()
    } else {
        store::seal_contents(db, place, after, doubted).await?
    };
    Ok(SealOf {
        sealing,
        contents,
        steps,
    })
}

/// Why nothing can be put into or taken out of a place, if it or what it stands in is sealed.
pub async fn sealed_words(
    db: &mut SqliteConnection,
    place: PlaceId,
) -> sqlx::Result<Option<String>> {
    let sealed = store::sealed_around(db, place).await?;
    Ok(sealed.map(|(_, name, number)| {
        format!("{name} is sealed with {number}; say on its page first that it was opened")
    }))
}

/// Refuses what would reach into a sealed crate.
pub(super) async fn not_sealed(
    db: &mut SqliteConnection,
    place: Option<PlaceId>,
    field: &'static str,
) -> Result<(), NotDone<Wrong>> {
    let words = match place {
        Some(place) => sealed_words(db, place).await?,
        None => None,
    };
    match words {
        None => Ok(()),
        Some(words) => Err(NotDone::Refused(Wrong::new(field, words))),
    }
}

/// Puts a seal on a crate.
pub async fn seal(
    app: &App,
    viewer: &Viewer,
    sent: &Sent,
    place: PlaceId,
    number: &str,
) -> Result<Outcome, NotDone<Vec<Wrong>>> {
    receipts::once(app, sent, Some(viewer.person), async |tx| {
        let place = known(tx, place).await?;
        if !place.kind.is_sealed() || place.put_away {
            let text = "only a crate, box, bag or tray that is in use is sealed";
            return Err(refused(Wrong::new("number", text)));
        }
        if let Some((at, name, on)) = store::sealed_around(tx, place.id).await? {
            let text = if at == place.id {
                format!("it is sealed with {on} already; open it first")
            } else {
                format!("it stands in {name}, which is sealed with {on}; open that first")
            };
            return Err(refused(Wrong::new("number", text)));
        }
        let number = seals::number(number).map_err(refused)?;
        let step = Step {
            number,
            ..step(tx, app, viewer, Kind::Sealed).await?
        };
        store::add_seal_step(tx, place.id, &step).await?;
        Ok(format!("/places/{}", place.id))
    })
    .await
}

/// Says that a sealed crate was opened, and how its seal was.
pub async fn open(
    app: &App,
    viewer: &Viewer,
    sent: &Sent,
    place: PlaceId,
    intact: &str,
    words: &str,
) -> Result<Outcome, NotDone<Vec<Wrong>>> {
    receipts::once(app, sent, Some(viewer.person), async |tx| {
        let place = known(tx, place).await?;
        if seal_of(tx, place.id).await?.number().is_none() {
            return Err(refused(Wrong::new("intact", "it bears no seal")));
        }
        let (found, words) = seals::found(intact, words).map_err(refused)?;
        let step = Step {
            found,
            words,
            ..step(tx, app, viewer, Kind::Opened).await?
        };
        store::add_seal_step(tx, place.id, &step).await?;
        Ok(format!("/places/{}", place.id))
    })
    .await
}

/// Takes back the last thing that was written down about a seal.
pub async fn take_back_seal(
    app: &App,
    viewer: &Viewer,
    sent: &Sent,
    place: PlaceId,
    line: i64,
) -> Result<Outcome, NotDone<Vec<Wrong>>> {
    receipts::once(app, sent, Some(viewer.person), async |tx| {
        let place = known(tx, place).await?;
        let steps = store::seal_steps(tx, place.id).await?;
        let last = steps
            .iter()
            .rev()
            .find(|step| seals::is_in_force(step, &steps));
        if last.map(|step| step.line) != Some(line) {
            let text = "only the last step that counts is taken back";
            return Err(refused(Wrong::new("", text)));
        }
        let step = Step {
            undoes: Some(line),
            ..step(tx, app, viewer, Kind::TakenBack).await?
        };
        store::add_seal_step(tx, place.id, &step).await?;
        Ok(format!("/places/{}", place.id))
    })
    .await
}

/// A step of now.
async fn step(
    db: &mut SqliteConnection,
    app: &App,
    viewer: &Viewer,
    kind: Kind,
) -> Result<Step, AppError> {
    let (head, _) = ledger::head(db).await?;
    Ok(Step {
        line: 0,
        kind,
        number: String::new(),
        found: Found::Nothing,
        words: String::new(),
        seq: head,
        undoes: None,
        person: viewer.person,
        done_at: app.clock.now(),
    })
}
