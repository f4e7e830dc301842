//! Opening a count of a kit, and beginning to count a place in it.

use super::rules::close::{Purpose, Source};
use super::rules::facts::StintState;
use super::store::{self, NewStint};
use crate::app::App;
use crate::codes::{self, CodeKind};
use crate::db::Tx;
use crate::error::{AppError, NotDone};
use crate::ids::{CountId, KitId, PlaceId, StintId};
use crate::people::Viewer;
use crate::receipts::{self, Outcome, Sent};
use crate::{kits, ledger};

/// Why a count was not opened.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum OpenRefused {
    #[error("this kit is being counted already; this is its count")]
    OpenAlready(CountId),
    #[error("this kit is put away")]
    PutAway,
}

/// Opens the count of a kit. Without a purpose it is an arrival until everything arrived, and a recount
/// after that.
pub async fn open(
    app: &App,
    viewer: &Viewer,
    sent: &Sent,
    kit: KitId,
    purpose: Option<Purpose>,
) -> Result<Outcome, NotDone<OpenRefused>> {
    receipts::once(app, sent, Some(viewer.person), async |tx| {
        let count = open_in(app, tx, viewer, kit, purpose, None).await?;
        Ok(format!("/counts/{count}"))
    })
    .await
}

/// The same in another act: of some places alone, with all that stands in them, if only those are named. What is
/// with a borrower is left out in any case.
pub async fn open_in(
    app: &App,
    tx: &mut Tx,
    viewer: &Viewer,
    kit: KitId,
    purpose: Option<Purpose>,
    only: Option<&[PlaceId]>,
) -> Result<CountId, NotDone<OpenRefused>> {
    let found = kits::find(tx, kit)
        .await?
        .ok_or(AppError::NotFound("kit"))?;
    let arrival = kits::arrival(tx, kit).await?;
    if let Some(open) = arrival.open {
        return Err(NotDone::Refused(OpenRefused::OpenAlready(open)));
    }
    if found.put_away {
        return Err(NotDone::Refused(OpenRefused::PutAway));
    }
    let purpose = purpose.unwrap_or(if arrival.complete {
        Purpose::Recount
    } else {
        Purpose::Arrival
    });
    let source = if found.brought_in {
        Source::BroughtIn
    } else {
        Source::Supplier
    };
    let now = app.clock.now();
    let count = CountId::new();
    store::insert(tx, count, kit, purpose, source, viewer.person, now).await?;
    codes::give(tx, CodeKind::Count, count.0, now).await?;
    store::leave_out_lent(tx, count, kit).await?;
    if let Some(only) = only {
        store::leave_out_others(tx, count, kit, only).await?;
    }
    match purpose {
        Purpose::Arrival => store::expect_slip(tx, count, kit).await?,
        Purpose::Recount => store::expect_books(tx, count, kit).await?,
    }
    Ok(count)
}

/// Why a stint did not begin.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum BeginRefused {
    #[error("this count is closed; reopen it to count on")]
    Closed,
    /// Somebody else is at it. Whoever wants to may begin a count of their own beside it.
    #[error("{0} is counting here")]
    Occupied(String),
}

/// Begins to count a place; leads to the person's own open stint there if there is one. `beside` says
/// that they know of another's open stint and want their own.
pub async fn begin(
    app: &App,
    viewer: &Viewer,
    sent: &Sent,
    count: CountId,
    place: PlaceId,
    beside: bool,
) -> Result<Outcome, NotDone<BeginRefused>> {
    receipts::once(app, sent, Some(viewer.person), async |tx| {
        let sheet = store::find(tx, count)
            .await?
            .ok_or(AppError::NotFound("count"))?;
        if !store::is_place_of(tx, place, sheet.team).await? {
            return Err(AppError::NotFound("place").into());
        }
        if !sheet.is_open() {
            return Err(NotDone::Refused(BeginRefused::Closed));
        }
        let stints = store::of_count(tx, count).await?;
        let here = || {
            stints
                .iter()
                .filter(|stint| stint.place == place && !stint.is_set_aside())
        };
        if let Some(own) = here().find(|stint| stint.is_open() && stint.person == viewer.person) {
            return Ok(format!("/stints/{}", own.id));
        }
        if !beside && let Some(other) = here().find(|stint| stint.is_open()) {
            let name = other.person_name.clone();
            return Err(NotDone::Refused(BeginRefused::Occupied(name)));
        }
        if sheet.purpose == Purpose::Arrival {
            store::join_place(tx, count, place).await?;
        }
        let now = app.clock.now();
        let id = StintId::new();
        let (head, _) = ledger::head(tx).await?;
        let new = NewStint {
            id,
            count,
            place,
            person: viewer.person,
            began_seq: head,
            began_at: now,
            last_at: now,
            state: StintState::Open,
            done_at: None,
            done_seq: None,
            blind: here().next().is_some(),
            copied_from: None,
        };
        store::insert_stint(tx, &new).await?;
        Ok(format!("/stints/{id}"))
    })
    .await
}
