//! The demo: an invented league whose kits are in the middle of being counted.
//! It is there for trying the program, for its pictures and for many tests.
//!
//! `fill` does by the same verbs what people would do on the pages, at the times the story tells.

mod beside;
mod broke;
mod counted;
mod drawn;
mod fill;
mod kept;
mod lent;
mod lists;
mod planned;
mod store;
pub mod world;

pub use fill::{Account, Filled, PASSWORD, fill};
