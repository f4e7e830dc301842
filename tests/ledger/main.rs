//! The book: random histories against a naive model, changes behind its back, its locks, and its speed.

mod acts;
mod histories;
mod locks;
mod model;
mod speed;
mod tampering;
mod world;
