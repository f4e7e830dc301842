//! The ledger's tables: the only code that writes them, and the reads of them.

mod append;
mod history;
mod read;
mod whole;

pub use append::append;
pub use history::{Line, history};
pub use read::{Recorded, find, head, with_hash};
pub(super) use read::{to_document, to_hash};
pub(super) use whole::{
    Whole, balances, between, lines_out_of_order, orphans, parents, seqs_after,
};
