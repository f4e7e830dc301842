//! Guides: what a kit of a season must hold, as the published parts list says it.
//!
//! - `need` adds a parts list up through its assemblies.
//! - `import` reads a parts list out of a file or a pasted table, and writes one back.
//!
//! Both are pure: they know no database, no clock and no pages.

pub mod import;
pub mod need;
