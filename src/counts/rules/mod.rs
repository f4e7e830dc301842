//! What counting decides, without a database, a clock or a page.

pub mod close;
pub mod facts;
pub mod progress;
pub mod second;
pub mod settle;
pub mod tally;
pub mod total;
pub mod typed;
pub mod weighed;
