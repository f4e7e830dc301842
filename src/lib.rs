//! Fieldstow: keeps the books on competition field kits.

pub mod guides;
pub mod text;
