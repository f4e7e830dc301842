//! The pages of the calendar, and the feed for calendar programs.

mod links;
mod month;

use crate::people::access::{Routes, Rule};

pub fn routes() -> Routes {
    Routes::new()
        .get("/calendar", Rule::WorksSomewhere, month::show)
        .get("/calendar/links", Rule::WorksSomewhere, links::index)
        .post("/calendar/links", Rule::WorksSomewhere, links::make)
        .post(
            "/calendar/links/{link}/withdraw",
            Rule::WorksSomewhere,
            links::withdraw,
        )
        .get("/calendar/feed/{token}", Rule::Anyone, links::feed)
}
