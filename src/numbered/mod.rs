//! Numbered pieces: single pieces that have a code of their own, because it matters which one it is (a timer, a
//! controller).
//!
//! - The books count kinds of piece and know no single one. This list stands beside them: which pieces there are,
//!   what is written on each, and where somebody saw it last.
//! - A **sighting** says that somebody saw it in a place, or looked for it there and it was not. The last one where
//!   it was seen says where it is; nothing moves in the books by it.
//! - A piece is put away with a reason, never deleted, and its code is never given again.

pub mod pages;
pub mod rules;
mod store;

pub use store::{Piece, Sighting, find, in_place, of_kit};

use crate::app::App;
use crate::codes::{self, CodeKind};
use crate::error::{AppError, NotDone};
use crate::ids::{KitId, PieceId, PlaceId};
use crate::people::Viewer;
use crate::receipts::{self, Outcome, Sent};
use crate::{kits, parts};
use rules::{Refused, Said, Typed};

/// Adds a piece to a kit's list and gives it a code.
pub async fn add(
    app: &App,
    viewer: &Viewer,
    sent: &Sent,
    kit: KitId,
    part: &str,
    typed: &Typed,
) -> Result<Outcome, NotDone<Refused>> {
    receipts::once(app, sent, Some(viewer.person), async |tx| {
        kits::find(tx, kit)
            .await?
            .ok_or(AppError::NotFound("kit"))?;
        let part = match parts::called(tx, part).await?.as_slice() {
            [] => return Err(NotDone::Refused(Refused::NoSuchPart)),
            [one] => *one,
            _ => return Err(NotDone::Refused(Refused::SeveralParts)),
        };
        let said = rules::read(typed).map_err(NotDone::Refused)?;
        if store::has_serial(tx, part, &said.serial, None).await? {
            return Err(NotDone::Refused(Refused::SerialTaken));
        }
        let now = app.clock.now();
        let piece = PieceId::new();
        store::insert(tx, (piece, kit, part), &said, viewer.person, now).await?;
        codes::give(tx, CodeKind::Piece, piece.0, now).await?;
        Ok(format!("/numbered/{piece}"))
    })
    .await
}

/// Changes what is written about a piece, unless somebody else did since `version` was shown.
pub async fn change(
    app: &App,
    viewer: &Viewer,
    sent: &Sent,
    piece: PieceId,
    version: i64,
    typed: &Typed,
) -> Result<Outcome, NotDone<Refused>> {
    receipts::once(app, sent, Some(viewer.person), async |tx| {
        let known = found(tx, piece).await?;
        let said = rules::read(typed).map_err(NotDone::Refused)?;
        if known.version != version {
            return Err(NotDone::Refused(Refused::Changed));
        }
        if store::has_serial(tx, known.part, &said.serial, Some(piece)).await? {
            return Err(NotDone::Refused(Refused::SerialTaken));
        }
        store::update(tx, piece, &said).await?;
        Ok(format!("/numbered/{piece}"))
    })
    .await
}

/// Writes down that somebody saw it in a place, or did not; leads to `then`.
pub async fn see(
    app: &App,
    viewer: &Viewer,
    sent: &Sent,
    piece: PieceId,
    (place, said, note): (Option<PlaceId>, &str, &str),
    then: &str,
) -> Result<Outcome, NotDone<Refused>> {
    receipts::once(app, sent, Some(viewer.person), async |tx| {
        let known = found(tx, piece).await?;
        let said = Said::from_word(said).ok_or(NotDone::Refused(Refused::NothingSaid))?;
        let place = place.ok_or(NotDone::Refused(Refused::Nowhere))?;
        let note = rules::note(note).map_err(NotDone::Refused)?;
        if known.is_put_away() {
            return Err(NotDone::Refused(Refused::PutAway));
        }
        if !kits::may_hold(tx, known.kit, place).await? {
            return Err(AppError::NotFound("place").into());
        }
        let now = app.clock.now();
        store::add_sighting(tx, (piece, place), said, &note, viewer.person, now).await?;
        Ok(then.to_owned())
    })
    .await
}

/// Puts a piece away, with a reason, or brings it back (`None`).
pub async fn put_away(
    app: &App,
    viewer: &Viewer,
    sent: &Sent,
    piece: PieceId,
    why: Option<&str>,
) -> Result<Outcome, NotDone<Refused>> {
    receipts::once(app, sent, Some(viewer.person), async |tx| {
        let known = found(tx, piece).await?;
        match why {
            Some(why) => {
                let why = rules::reason(why).map_err(NotDone::Refused)?;
                store::put_away(tx, piece, Some(app.clock.now()), &why).await?;
            }
            None => {
                if store::has_serial(tx, known.part, &known.serial, Some(piece)).await? {
                    return Err(NotDone::Refused(Refused::SerialTaken));
                }
                store::put_away(tx, piece, None, "").await?;
            }
        }
        Ok(format!("/numbered/{piece}"))
    })
    .await
}

async fn found(db: &mut sqlx::SqliteConnection, piece: PieceId) -> Result<Piece, AppError> {
    find(db, piece)
        .await?
        .ok_or(AppError::NotFound("numbered piece"))
}
