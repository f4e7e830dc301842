//! What a test needs to act as a person with a phone does.
//!
//! ```ignore
//! #[tokio::test(flavor = "multi_thread")]
//! async fn a_tap_is_counted_although_the_line_is_cut() {
//!     let Some(stage) = Stage::set("a_tap_is_counted").await else { return };
//!     let team = stage.world.team("Nine Larches").await;
//!     let ama = stage.world.person("Ama", team, Role::Keeper).await;
//!
//!     // Arrange quickly, without a browser: `ama` is one of `tests/web`.
//!     ama.open("/seasons").await.expect(200, "Seasons");
//!     // Act in a window that has the same session.
//!     let phone = stage.window(&ama, Width::Phone).await;
//!     phone.open("/stints/0190…").await;
//!     phone.tap("Add one").await;
//!     stage.line.cut().await;
//!     phone.tap_near("Peg", "Add one").await;
//!     phone.sees("1 waiting").await;
//!     stage.line.mend().await;
//!     phone.sees("all saved").await;
//!     phone.picture("sent").await;      // target/screens/a_tap_is_counted/sent-390.png
//!     phone.is_sound().await;           // axe, no sideways scroll, no violated policy
//! }
//! ```
//!
//! - `Stage` is a world with its server on loopback and the line to it. Two stages at a time, whatever
//!   the number of test threads.
//! - `Window` is Chromium as a person uses it: `open`, `follow` a link, `press` a button, `tap` it with
//!   a finger, `fill` a field by its label, `choose`, `tick`, `key`, `types`, `sees`, `picture`. Words are
//!   those on the screen; what is said twice is told apart by `press_near`, `tap_near`, `follow_near`.
//! - Everything waits up to ten seconds for what it needs and then fails with what was there instead.
//!   No test sleeps.
//! - `stage.window_without_script` has JavaScript switched off.
//! - `stage.line.cut()` is what a lost signal is to the browser: open connections end, new ones are
//!   refused. The browser's own "offline" does not reach workers and is not used.

#![allow(dead_code)]

mod axe;
mod driver;
mod gate;
mod sound;
mod stage;
#[path = "../../web/support/mod.rs"]
mod web;
mod window;
mod words;

pub use axe::{Fault, has_axe};
pub use stage::Stage;
pub use web::{Browser, World, drawn, route_of};
pub use window::{Width, Window};
