//! The program as people use it: through the router, on a fresh database, with a clock that stands still.

mod support;

mod guides;
mod imports;
mod kits;
mod links;
mod look;
mod parts;
mod seasons;
mod today;
