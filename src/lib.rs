//! Fieldstow: keeps the books on competition field kits.
//!
//! Read the modules in this order. Each slice may use those above it, never those below.

// What everything stands on.
pub mod clock;
pub mod code;
pub mod codes;
pub mod db;
pub mod disk;
pub mod error;
pub mod ids;
pub mod receipts;
pub mod reckon;
pub mod secret;
pub mod spreadsheet;
pub mod text;
pub mod web;

// The one book.
pub mod ledger;

// The slices.
pub mod people;
pub mod seasons;
pub mod pictures;
pub mod guides;
pub mod parts;
pub mod kits;
pub mod places;
pub mod numbered;
pub mod events;
pub mod fields;
pub mod counts;
pub mod reports;
pub mod loans;
pub mod orders;
pub mod find;
pub mod passes;
pub mod lent;
pub mod damage;
pub mod history;
pub mod calendar;
pub mod backups;
pub mod today;

// What joins them.
pub mod app;
pub mod archive;
pub mod demo;

// The program around it.
pub mod lock;
pub mod serve;
pub mod config;
pub mod commands;
