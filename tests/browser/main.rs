//! The program in a real browser, against a real server: what only a browser can show.
//!
//! Needs Chromium and chromedriver, and axe-core for the checks of accessibility (`.ci/run` fetches
//! it). Where they are missing the tests say so loudly and pass; with `CI=true` that is a failure.

mod support;

mod counting;
mod damage;
mod every_screen;
mod helping;
mod lending;
mod newcomer;
mod support_works;
mod taps;
