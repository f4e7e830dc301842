//! What may be lent and how it comes back. Pure.

pub mod back;
pub mod borrowed;
pub mod lending;
pub mod saying;
pub mod stretches;
pub mod words;
