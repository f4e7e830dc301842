//! Counting a few to learn about many: which to open, how many, and what may then be said.
//!
//! `draw` picks them by lot, `discovery` says how many must be opened to find a fault if there is one, and
//! `tables` holds the published single-sampling plans.

pub mod discovery;
pub mod draw;
pub mod tables;
