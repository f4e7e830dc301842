//! The program as people use it: through the router, on a fresh database, with a clock that stands still.

mod support;

mod counts;
mod kits;
mod seasons;
