//! The program as people use it: through the router, on a fresh database, with a clock that stands still.

mod support;

mod access;
mod kits;
mod people;
mod seasons;
