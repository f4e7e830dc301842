//! Reckoning that knows nothing of kits: days, units, chances, samples, masses, lifts and choices.
//!
//! Everything here is a pure function: no database, no page, no clock, and randomness only from a seed
//! that is given. Each says in plain words what it answers before it gives the formula and its source,
//! and refuses in a sentence what makes no sense. The published values it is checked against are in
//! `tests/published/`.

pub mod accuracy;
pub mod choose;
pub mod days;
pub mod groups;
pub mod interval;
pub mod lift;
pub mod money;
pub mod qr_size;
pub mod repacking;
pub mod sampling;
pub mod spares;
pub mod units;
pub mod vehicle;
pub mod weighing;
