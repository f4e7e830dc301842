//! The ledger: the one book of what is where. Every slice that moves pieces does it through here.
//!
//! 1. Every change is an **entry** (who, when, why, about what) with **moves**: so many pieces of a
//!    part, from one stand (kit, place, state) to another. Pieces are neither made nor lost: they come
//!    from and go to the outside places (`Outside`).
//! 2. Carrying a crate is a **place move**; its contents go along. A place enters the books nowhere, and
//!    its first place move puts it somewhere.
//! 3. A count leaves **marks**: so many pieces were counted here. They say when a balance was last seen.
//! 4. Nothing is edited or deleted. A correction is another entry that names the first, once.
//! 5. The order is the entries' sequence number, given here, never a clock.
//! 6. Balances are kept in the same transaction, never below zero for a real place, and are always the
//!    sum of the moves (`verify`).
//! 7. A hash chain runs over the entries: a later change to any of them shows. Notes are in it only as
//!    salted commitments, so that they can be erased.
//!
//! The ledger knows no slice: what an entry's kind means is told by the slice that made it.

pub mod balance;
pub mod chain;
pub mod entry;
mod store;
mod undo;
mod verify;

pub use entry::{CountMark, Document, Entry, Move, Outside, PlaceMove, Seq, Stand, State};
pub use store::{Line, Recorded, append, find, head, history, with_hash};
pub use undo::{UndoRefused, undo};
pub use verify::{Findings, verify};

/// Why the ledger turned an entry down. The transaction must be dropped.
#[derive(Debug, thiserror::Error)]
pub enum NotAppended {
    /// A real place would hold less than nothing.
    #[error("only {have} are there, {wanted} were to be taken")]
    NotEnough {
        part: crate::ids::PartId,
        place: crate::ids::PlaceId,
        have: i64,
        wanted: i64,
    },
    /// A crate is not where the entry says it was.
    #[error("it was carried elsewhere in the meantime")]
    CarriedElsewhere { place: crate::ids::PlaceId },
    /// A crate cannot stand in itself, nor in something that stands in it.
    #[error("a place cannot be put into itself")]
    InItself { place: crate::ids::PlaceId },
    #[error(transparent)]
    Sqlx(#[from] sqlx::Error),
}
