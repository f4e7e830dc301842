//! Guides: what a kit of a season must hold, as the published parts list says it.
//!
//! - A **guide** belongs to a season, or to none (a list of one's own: tools, perimeter). It comes in
//!   dated **revisions**; the newest is the one issued last. A revision's parts list is frozen
//!   (*sealed*) once a kit is checked against it.
//! - A guide defines **sizes**: half, full, or others.
//! - `need` adds a parts list up through its assemblies. Its result is kept in the table `need`,
//!   written in the same transaction as the list, because nearly every page asks for it.
//! - `import` reads a parts list out of a file or a pasted table, and writes one back.
//!
//! `need` and `import` are pure: they know no database, no clock and no pages.

pub mod import;
mod list;
pub mod need;
mod store;

pub use list::{ListRefused, NewChild, NewLine, NewList, NewPart, write_list};
pub use store::{
    Guide, NewGuide, NewRevision, Revision, Size, add_guide, add_revision, add_size, guide, guides,
    need_of, revision, revisions, seal, sizes,
};
