//! The program as people use it: through the router, on a fresh database, with a clock that stands still.

mod support;

mod guides;
mod history;
mod imports;
mod kits;
mod look;
mod parts;
mod places;
mod seasons;
mod today;
mod r#where;
