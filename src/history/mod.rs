//! History: who did what to a number, a place or a kit, and taking it back.
//!
//! - Entries are told as sentences (`rules`), newest first.
//! - Taking back is another entry. What was moved must still be there; a count is taken back by opening
//!   it again, which is the counts' own business.

pub mod accuracy;
pub mod pages;
pub mod rules;
mod store;

use sqlx::SqliteConnection;

use crate::app::App;
use crate::error::{AppError, NotDone};
use crate::ids::{KitId, PartId, PlaceId};
use crate::ledger::{self, Line, NotAppended, Recorded, Seq, UndoRefused};
use crate::people::{self, Viewer};
use crate::places;
use crate::places::rules::words::{part, sentence};
use crate::receipts::{self, Outcome, Sent};
use rules::{Names, NotUndone};

/// Entries on a page.
pub const SHOWN: usize = 25;

/// The entries of a line that the viewer may see, newest first, and whether there are older ones. The
/// caller has checked the kit or place.
pub async fn entries(
    db: &mut SqliteConnection,
    viewer: &Viewer,
    line: Line,
) -> sqlx::Result<(Vec<Recorded>, bool)> {
    let limit = SHOWN as i64 + 1;
    let mut seqs = Vec::new();
    let is_of_all_teams = line.kit.is_none() && line.place.is_none() && !viewer.is_coordinator();
    if is_of_all_teams {
        // A part belongs to everybody, its history to the teams whose pieces they are.
        for membership in viewer.memberships() {
            for kit in store::kits_of_team(db, membership.team).await? {
                let line = Line {
                    kit: Some(kit),
                    ..line
                };
                seqs.extend(ledger::history(db, line, limit).await?);
            }
        }
        seqs.sort_unstable_by(|a, b| b.cmp(a));
        seqs.dedup();
    } else {
        seqs = ledger::history(db, line, limit).await?;
    }
    let more = seqs.len() > SHOWN;
    seqs.truncate(SHOWN);
    let mut entries = Vec::with_capacity(seqs.len());
    for seq in seqs {
        entries.extend(ledger::find(db, seq).await?);
    }
    Ok((entries, more))
}

/// What everything in some entries is called.
pub async fn names(db: &mut SqliteConnection, entries: &[Recorded]) -> sqlx::Result<Names> {
    let mut parts: Vec<PartId> = Vec::new();
    let mut kits: Vec<KitId> = Vec::new();
    let mut places: Vec<PlaceId> = Vec::new();
    for entry in entries {
        for one in &entry.moves {
            parts.push(one.part);
            kits.extend([one.from.kit, one.to.kit]);
            places.extend([one.from.place, one.to.place]);
        }
        for mark in &entry.counted {
            parts.push(mark.part);
            kits.push(mark.kit);
            places.push(mark.place);
        }
        for one in &entry.carried {
            places.push(one.place);
            places.extend(one.from);
            places.extend(one.to);
        }
        match entry.document {
            Some(ledger::Document::Kit(kit)) => kits.push(kit),
            Some(ledger::Document::Place(place)) => places.push(place),
            Some(ledger::Document::Count(_)) | None => {}
        }
    }
    parts.sort_unstable();
    parts.dedup();
    kits.sort_unstable();
    kits.dedup();
    places.sort_unstable();
    places.dedup();
    let people: Vec<_> = entries.iter().map(|entry| entry.actor).collect();
    Ok(Names {
        parts: part_names(db, &parts).await?.into_iter().collect(),
        kits: store::kits(db, &kits).await?.into_iter().collect(),
        people: people::names(db, &people).await?.into_iter().collect(),
        places: places::ways(db, &places).await?,
    })
}

/// Parts in words: "Peg, black (B-4)".
async fn part_names(
    db: &mut SqliteConnection,
    parts: &[PartId],
) -> sqlx::Result<Vec<(PartId, String)>> {
    Ok(store::parts(db, parts)
        .await?
        .into_iter()
        .map(|row| (row.part, part(&row.name, &row.colour, &row.number)))
        .collect())
}

/// Takes an entry back by another one.
pub async fn undo(
    app: &App,
    viewer: &Viewer,
    sent: &Sent,
    seq: Seq,
) -> Result<Outcome, NotDone<NotUndone>> {
    receipts::once(app, sent, Some(viewer.person), async |tx| {
        let entry = ledger::find(tx, seq)
            .await?
            .ok_or(AppError::NotFound("entry"))?;
        let teams = store::teams_of(tx, seq).await?;
        if !teams.iter().all(|team| viewer.role_in(*team).is_some()) {
            return Err(NotDone::Refused(NotUndone::NotYours));
        }
        rules::may_undo(&entry).map_err(NotDone::Refused)?;
        let names = names(tx, std::slice::from_ref(&entry)).await?;
        if let Some(place) = put_away(&entry, &names) {
            return Err(NotDone::Refused(NotUndone::PutAway(place)));
        }
        let now = app.clock.now();
        let by = ledger::undo(tx, seq, sent.id, viewer.person, now, None)
            .await
            .map_err(|why| not_undone(why, &names))?;
        Ok(format!("/entries/{by}"))
    })
    .await
}

/// A place that something would go back into, or that would be carried back, but that was put away.
fn put_away(entry: &Recorded, names: &Names) -> Option<String> {
    let back = entry.moves.iter().map(|one| one.from.place);
    let carried = entry.carried.iter().map(|one| one.place);
    let to = entry.carried.iter().filter_map(|one| one.from);
    back.chain(carried)
        .chain(to)
        .filter_map(|place| names.places.get(place))
        .find(|place| place.put_away)
        .map(|place| sentence(&names.places.called(place.id)))
}

fn not_undone(why: UndoRefused, names: &Names) -> NotDone<NotUndone> {
    let called = |place| sentence(&names.places.called(place));
    NotDone::Refused(match why {
        UndoRefused::NotAppended(NotAppended::Sqlx(error)) => return error.into(),
        UndoRefused::NoSuchEntry => return AppError::NotFound("entry").into(),
        UndoRefused::Already(_) => NotUndone::Already,
        UndoRefused::NothingMoved => NotUndone::NothingMoved,
        UndoRefused::NotAppended(NotAppended::NotEnough {
            part,
            place,
            have,
            wanted,
        }) => NotUndone::NoLongerThere {
            part: names.part(part).to_owned(),
            place: names.places.called(place),
            have,
            wanted,
        },
        UndoRefused::NotAppended(NotAppended::CarriedElsewhere { place }) => {
            NotUndone::CarriedSince(called(place))
        }
        UndoRefused::NotAppended(NotAppended::InItself { place }) => {
            NotUndone::InItself(called(place))
        }
    })
}
