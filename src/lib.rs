//! Fieldstow: keeps the books on competition field kits.

pub mod web;

pub mod commands;
pub mod config;
pub mod lock;
pub mod serve;
