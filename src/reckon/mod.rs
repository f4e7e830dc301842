//! Reckoning that knows nothing of kits: days, units, chances, samples, masses and lifts.
//!
//! Everything here is a pure function: no database, no page, no clock, and randomness only from a seed
//! that is given. Each says in plain words what it answers before it gives the formula and its source,
//! and refuses in a sentence what makes no sense. The published values it is checked against are in
//! `tests/published/`.

pub mod days;
pub mod interval;
pub mod money;
pub mod qr_size;
