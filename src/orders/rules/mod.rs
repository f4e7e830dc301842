//! What may happen to an order line, and how it is told. Pure.

pub mod standing;
pub mod typed;
pub mod words;
