//! The server as a stranger's socket meets it: limits, layers, stopping. No page is needed for it.

mod answers;
mod connections;
mod hostile;
mod origin;
mod small_app;
mod support;
mod work;
