//! Replacement orders: pieces bought or asked for in time. So far only what is computed about them.
//!
//! - `cover` is the cheapest way to buy at least so many pieces of one part.
//! - `plan` makes orders of all that is needed: from whom, by when, for how much, and who pays.
//! - `stock` is for what is always kept in store and bought again and again.

pub mod cover;
pub mod plan;
pub mod stock;
