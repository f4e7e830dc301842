//! The pages of damage.

mod deciding;
mod known;
mod list;
mod pictures;
mod shown;
mod slip;
mod spares;
mod stranger;
mod tell;

use super::Refused;
use super::rules::telling::Wrong as Told;
use crate::people::access::{Routes, Rule};
use crate::pictures::pages::BODY_BYTES;
use crate::web::form::Wrong;

pub fn routes() -> Routes {
    Routes::new()
        .get("/broken", Rule::SignedIn, tell::ask)
        .post_large("/damage", Rule::WorksSomewhere, BODY_BYTES, tell::tell)
        .get("/damage", Rule::SignedIn, list::index)
        .get("/damage/most", Rule::SignedIn, list::most)
        .get("/kits/{kit}/spares", Rule::Sees, spares::spares)
        .get("/damage/{damage}", Rule::Sees, slip::show)
        .post_large(
            "/damage/{damage}/pictures",
            Rule::Works,
            BODY_BYTES,
            pictures::add,
        )
        .post("/damage/{damage}/accept", Rule::Works, deciding::accept)
        .post("/damage/{damage}/join", Rule::Works, deciding::join)
        .post(
            "/damage/{damage}/set-aside",
            Rule::Works,
            deciding::set_aside,
        )
        .post("/damage/{damage}/see-to", Rule::Works, deciding::see_to)
        .post("/damage/{damage}/decide", Rule::Keeps, deciding::decide)
        .post(
            "/damage/{damage}/take-back",
            Rule::Works,
            deciding::take_back,
        )
        .get("/c/{code}/inside", Rule::Anyone, stranger::inside)
        .get(
            "/c/{code}/pictures/{part}/small.jpg",
            Rule::Anyone,
            known::picture,
        )
        .get("/c/{code}/tell", Rule::Anyone, stranger::ask)
        .post_large("/c/{code}/tell", Rule::Anyone, BODY_BYTES, stranger::tell)
        .get("/c/{code}/thanks", Rule::Anyone, stranger::thanks)
        .get("/teams/{team}/public-page", Rule::Works, shown::public_page)
        .post("/teams/{team}/public-page", Rule::Keeps, shown::decide)
}

fn at_fields(wrongs: Vec<Told>) -> Vec<Wrong> {
    wrongs
        .into_iter()
        .map(|(field, text)| Wrong::at(field, text))
        .collect()
}

/// What has to be put right, where nothing was to be chosen.
fn wrongs_of(refused: Refused) -> Vec<Wrong> {
    match refused {
        Refused::Wrong(wrongs) => at_fields(wrongs),
        Refused::Several(_) => vec![Wrong::at("part", SEVERAL)],
    }
}

const SEVERAL: &str = "several fit; choose which one below";
