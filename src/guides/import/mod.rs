//! Import.
