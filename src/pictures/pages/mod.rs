//! The pages of pictures: adding one, its own page, and its bytes.

mod adding;
mod bytes;
mod show;

use super::rules::Wrongs;
use crate::people::access::{Routes, Rule};
use crate::web::form::Wrong;

pub use bytes::{file_headers, streamed};

/// What a body of the form may hold: a picture taken, one chosen, and the rest.
pub const BODY_BYTES: usize = 2 * super::rules::MOST_BYTES + 1024 * 1024;

pub fn routes() -> Routes {
    Routes::new()
        .get(
            "/parts/{part}/pictures/new",
            Rule::WorksSomewhere,
            adding::new_of_part,
        )
        .post_large(
            "/parts/{part}/pictures",
            Rule::WorksSomewhere,
            BODY_BYTES,
            adding::add_of_part,
        )
        .get(
            "/places/{place}/pictures/new",
            Rule::Works,
            adding::new_of_place,
        )
        .post_large(
            "/places/{place}/pictures",
            Rule::Works,
            BODY_BYTES,
            adding::add_of_place,
        )
        .get("/pictures/{picture}", Rule::Sees, show::show)
        .get("/pictures/{picture}/large.jpg", Rule::Sees, bytes::large)
        .get("/pictures/{picture}/thumb.jpg", Rule::Sees, bytes::thumb)
        .post("/pictures/{picture}/describe", Rule::Works, show::describe)
        .post("/pictures/{picture}/first", Rule::Works, show::put_first)
        .post("/pictures/{picture}/remove", Rule::Works, show::remove)
        .post(
            "/pictures/{picture}/bring-back",
            Rule::Works,
            show::bring_back,
        )
        .post("/pictures/{picture}/erase", Rule::Keeps, show::erase)
}

/// What the day of a picture means.
fn day_label(of_a_place: bool) -> &'static str {
    if of_a_place {
        "Packed like this on"
    } else {
        "Taken on"
    }
}

fn told(wrongs: Wrongs) -> Vec<Wrong> {
    wrongs
        .into_iter()
        .map(|(field, refused)| Wrong::at(field, refused))
        .collect()
}
