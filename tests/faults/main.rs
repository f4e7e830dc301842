//! The machine that stops: its disk fails, fills up, or loses power. Nothing acknowledged is lost, nothing is
//! half-recorded, and every request is answered.
//!
//! The calls by which this process reaches files are our own here (`calls.rs`), for SQLite and for everything
//! else alike: they are recorded, or made to fail, and nothing of the program knows. Only Linux's are taken over.
//!
//! By default a sample is tried. For more of it, and figures:
//! `FIELDSTOW_POWER_CUTS=10000 cargo test --test faults power_cut -- --nocapture`
//! `FIELDSTOW_FAULTS=all cargo test --test faults disk_that_fails -- --nocapture`

#![cfg(all(target_os = "linux", target_pointer_width = "64"))]

mod calls;
mod commands;
mod dice;
mod disk;
mod errors;
mod league;
mod machine;
mod power;

#[path = "../web/support/mod.rs"]
mod support;
