//! What may be told about damage, and how a report stands. Pure.

pub mod most;
pub mod second;
pub mod spares;
pub mod standing;
pub mod telling;
pub mod words;
