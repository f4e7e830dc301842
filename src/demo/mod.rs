//! The demo: an invented league whose kits are in the middle of being counted.
//! It is there for trying the program, for its pictures and for many tests.

pub mod world;
