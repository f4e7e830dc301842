//! The pages of events.

mod acts;
mod details;
mod list;
mod show;

use crate::people::access::{Routes, Rule};

pub fn routes() -> Routes {
    Routes::new()
        .get("/events", Rule::SignedIn, list::index)
        .get("/events/new", Rule::KeepsSomeTeam, details::new)
        .post("/events", Rule::KeepsSomeTeam, details::plan)
        .get("/events/{event}", Rule::SignedIn, show::show)
        .get("/events/{event}/edit", Rule::Keeps, details::edit)
        .post("/events/{event}/edit", Rule::Keeps, details::change)
        .post("/events/{event}/call-off", Rule::Keeps, acts::call_off)
        .post("/events/{event}/hold", Rule::Keeps, acts::hold)
        .post("/events/{event}/kits", Rule::KeepsSomeTeam, acts::bring)
        .post(
            "/events/{event}/kits/{kit}/stays",
            Rule::KeepsSomeTeam,
            acts::leave_home,
        )
}
