//! The pages of helper passes.

mod helping;
mod team;

use crate::people::access::{Routes, Rule};

pub use helping::helper;

pub fn routes() -> Routes {
    Routes::new()
        .get("/events/{event}/pass", Rule::WorksSomewhere, team::show)
        .post("/events/{event}/pass", Rule::WorksSomewhere, team::make)
        .post(
            "/events/{event}/pass/{pass}/end",
            Rule::WorksSomewhere,
            team::end,
        )
        .get("/pass", Rule::Anyone, helping::ask)
        .post("/pass", Rule::Anyone, helping::look_up)
        .get("/pass/{code}", Rule::Anyone, helping::begin)
        // A QR symbol holds the address in upper case.
        .get("/PASS/{code}", Rule::Anyone, helping::begin)
        .post("/pass/{code}", Rule::Anyone, helping::open)
        .get("/helping", Rule::Helps, helping::helping)
        .post("/helping/stop", Rule::Helps, helping::stop)
}
