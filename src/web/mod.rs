//! HTML plumbing: what lies between a page and the wire. Knows no slice.

pub mod layers;
