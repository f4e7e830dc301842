//! Fieldstow: keeps the books on competition field kits.

pub mod demo;
