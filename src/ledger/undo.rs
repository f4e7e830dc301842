//! Taking an entry back: another entry with every move reversed.

use sqlx::SqliteConnection;

use super::entry::{Entry, Move, PlaceMove, Seq};
use super::{NotAppended, store};
use crate::clock::Instant;
use crate::ids::{FormId, PersonId};

/// Why an entry cannot be taken back, in words.
#[derive(Debug, thiserror::Error)]
pub enum UndoRefused {
    #[error("there is no entry with this number")]
    NoSuchEntry,
    #[error("this was taken back already, by entry {0}")]
    Already(Seq),
    #[error("this entry only records a count; there is nothing to move back")]
    NothingMoved,
    #[error(transparent)]
    NotAppended(#[from] NotAppended),
}

impl UndoRefused {
    /// The same for the page of a thing that tells its steps and no entries' numbers: a step was the entry.
    /// What the database could not do is no refusal.
    pub fn of_step(self) -> Result<&'static str, sqlx::Error> {
        match self {
            UndoRefused::NotAppended(NotAppended::Sqlx(error)) => Err(error),
            UndoRefused::Already(_) => Ok("this was taken back before"),
            UndoRefused::NoSuchEntry
            | UndoRefused::NothingMoved
            | UndoRefused::NotAppended(
                NotAppended::NotEnough { .. }
                | NotAppended::CarriedElsewhere { .. }
                | NotAppended::InItself { .. },
            ) => Ok(
                "the pieces have been moved on since; take back first what happened to them after",
            ),
        }
    }
}

/// Records the reverse of the entry `seq`, which must still be possible: what it moved must be where it
/// moved it. A count's marks stay: that somebody counted remains true.
pub async fn undo(
    db: &mut SqliteConnection,
    seq: Seq,
    id: FormId,
    actor: PersonId,
    now: Instant,
    note: Option<String>,
) -> Result<Seq, UndoRefused> {
    let first = store::find(db, seq)
        .await
        .map_err(NotAppended::from)?
        .ok_or(UndoRefused::NoSuchEntry)?;
    if let Some(by) = first.corrected_by {
        return Err(UndoRefused::Already(by));
    }
    let mut entry = Entry::new(id, "undo", actor, now);
    entry.document = first.document;
    entry.corrects = Some(seq);
    entry.note = note;
    entry.moves = first
        .moves
        .iter()
        .rev()
        .map(|one| Move {
            part: one.part,
            qty: one.qty,
            from: one.to,
            to: one.from,
        })
        .collect();
    entry.carried = first
        .carried
        .iter()
        .rev()
        .map(|one| PlaceMove {
            place: one.place,
            from: one.to,
            to: one.from,
        })
        .collect();
    if entry.is_empty() {
        return Err(UndoRefused::NothingMoved);
    }
    Ok(store::append(db, &entry).await?)
}
