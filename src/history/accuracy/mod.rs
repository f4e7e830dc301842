//! How right the books were when somebody counted again.
//!
//! A record is one part in one place of one kit. It was right if the count found exactly what the books said
//! at that moment. Nothing is set off: two too many here and two too few there are two wrong records. Counts on
//! arrival say nothing about the books, which held nothing yet.

pub mod pages;
pub mod rules;
mod store;
