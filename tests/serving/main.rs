//! The server as a stranger's socket meets it: limits, layers, stopping. No page is needed for it.

mod connections;
mod layers;
mod support;
