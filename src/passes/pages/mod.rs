//! The pages of helper passes.

mod counting;
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
        .post(
            "/helping/counts/{count}/places/{place}",
            Rule::Helps,
            counting::begin,
        )
        .get("/helping/stints/{stint}", Rule::Helps, counting::show)
        .post("/helping/stints/{stint}", Rule::Helps, counting::write)
        .post(
            "/helping/stints/{stint}/tallies",
            Rule::Helps,
            counting::tap,
        )
        .post("/helping/stints/{stint}/undo", Rule::Helps, counting::undo)
        .post("/helping/stints/{stint}/done", Rule::Helps, counting::done)
        .post(
            "/helping/stints/{stint}/reopen",
            Rule::Helps,
            counting::take_up,
        )
        .post("/helping/stop", Rule::Helps, helping::stop)
}
