//! The program as people use it: through the router, on a fresh database, with a clock that stands still.

#[path = "../hostile/packed.rs"]
mod packed;
mod support;

mod access;
mod build;
mod backups;
mod calendar;
mod counts;
mod damage;
mod events;
mod full_disk;
mod guide_pdf;
mod guides;
mod helping;
mod history;
mod imports;
mod kit_parts;
mod kits;
mod fields;
mod links;
mod loans;
mod orders;
mod look;
mod numbered;
mod packing_slip;
mod parts;
mod passes;
mod pictures;
mod place_tree;
mod places;
mod people;
mod seals;
mod seasons;
mod reports;
mod shorts;
mod today;
mod r#where;
