//! Today: what there is to do now, chosen from open work and dates, and the search box.
//!
//! One job comes first, with one wide button; at most five others wait below it. Which is first is a rule
//! (`rules::choose`), not a setting.

mod lent;
pub mod pages;
pub mod rules;
mod store;
