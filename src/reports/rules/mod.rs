//! How a report stands, what forms about it say, and the sentences. Pure.

pub mod standing;
pub mod typed;
pub mod words;
