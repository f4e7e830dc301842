//!
//! Read the modules in this order. Each slice may use those above it, never those below.

// What everything stands on.
pub mod clock;
pub mod code;
pub mod db;
pub mod error;
pub mod ids;
pub mod receipts;
pub mod secret;
pub mod text;
pub mod web;

// The one book.
pub mod ledger;

// The slices.
pub mod people;
pub mod seasons;

// What joins them.
pub mod app;
pub mod demo;
