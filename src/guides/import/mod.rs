//! Import: a parts list out of a file or a pasted table, and back into a file.
//!
//! The steps follow each other, each a pure function of what came before, so that a page can
//! keep only the bytes and the mapping and run everything again on each request:
//!
//! 1. [`decode::decode`]: bytes to text, or a sentence why not.
//! 2. [`table::read`]: text to rows of cells with their line numbers, or a sentence why not. A spreadsheet
//!    file takes another way to the same rows: [`workbook::read`].
//! 3. [`columns::guess`]: which column means what; a person corrects the [`mapping::Mapping`].
//! 4. [`preview::preview`]: the parts, assemblies and lines it comes to, and every doubt.
//!
//! [`opened::open`] takes either way. [`export`] writes a list that these steps read back as the same list.

mod cells;
pub mod columns;
pub mod decode;
pub mod doubts;
pub mod export;
pub mod guard;
pub mod list;
pub mod mapping;
mod marks;
mod names;
pub mod opened;
mod parts;
pub mod preview;
mod rows;
mod sentences;
pub mod table;
mod tree;
mod ways;
pub mod workbook;
