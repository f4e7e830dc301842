//! The database as `db` opens it: what it refuses to open, and what its one writer lives through.

mod forms;
mod opening;
#[path = "../ledger/world.rs"]
mod world;
mod writing;
