//! The pages of counts.

mod bags;
mod close;
mod counter;
mod desk;
mod film;
mod groups;
mod hand;
mod lines;
mod pile;
mod place;
mod print;
mod stint;
mod tallies;
mod tally;
mod weigh;

pub use counter::Counter;
pub use tallies::{UndoForm, take_back, taps};
pub use tally::{Shown, page};

use std::collections::HashMap;

use sqlx::SqliteConnection;

use super::store::{self, Part};
use crate::app::App;
use crate::clock::Instant;
use crate::ids::{CountId, PartId};
use crate::people::Viewer;
use crate::people::access::{Routes, Rule};
use crate::web::form::Wrong;

pub fn routes() -> Routes {
    Routes::new()
        .get("/counts", Rule::SignedIn, bags::index)
        .post("/kits/{kit}/counts", Rule::Works, bags::open)
        .get("/counts/{count}", Rule::Sees, bags::show)
        .get("/counts/{count}/places/{place}", Rule::Sees, place::show)
        .post(
            "/counts/{count}/places/{place}/stints",
            Rule::Works,
            place::begin,
        )
        .post(
            "/counts/{count}/places/{place}/settle",
            Rule::Keeps,
            place::settle,
        )
        .get("/counts/{count}/film", Rule::Sees, film::show)
        .get("/keys", Rule::Anyone, hand::ask)
        .post("/keys", Rule::Anyone, hand::keep)
        .get("/counts/{count}/sheets", Rule::Sees, print::all)
        .get(
            "/counts/{count}/places/{place}/sheets",
            Rule::Sees,
            print::of_place,
        )
        .get("/counts/{count}/close", Rule::Keeps, close::ask)
        .post("/counts/{count}/close", Rule::Keeps, close::close)
        .post("/counts/{count}/reopen", Rule::Keeps, close::reopen)
        .get("/stints/{stint}", Rule::Sees, stint::show)
        .post("/stints/{stint}/tallies", Rule::Works, tallies::post)
        .get("/stints/{stint}/weigh", Rule::Works, weigh::ask)
        .post("/stints/{stint}/weighings", Rule::Works, weigh::write_down)
        .post("/stints/{stint}/undo", Rule::Works, tallies::undo)
        .get("/stints/{stint}/done", Rule::Works, stint::ask_done)
        .post("/stints/{stint}/done", Rule::Works, stint::done)
        .post("/stints/{stint}/reopen", Rule::Works, stint::take_up)
        .post("/stints/{stint}/set-aside", Rule::Works, stint::set_aside)
        .get("/stints/{stint}/sheet", Rule::Works, desk::show)
        .post("/stints/{stint}/sheet", Rule::Works, desk::post)
}

/// Every part that a count expects or that was counted in it.
async fn parts_by_id(
    db: &mut SqliteConnection,
    count: CountId,
) -> sqlx::Result<HashMap<PartId, Part>> {
    let parts = store::parts_of_count(db, count).await?;
    Ok(parts.into_iter().map(|part| (part.id, part)).collect())
}

/// "18:04" today, "4 Mar 2027, 18:04" on other days, in the viewer's zone.
fn moment(app: &App, viewer: &Viewer, at: Instant) -> String {
    moment_in(app, viewer.zone(), at)
}

fn moment_in(app: &App, zone: &str, at: Instant) -> String {
    if at.day(zone) == app.clock.now().day(zone) {
        at.time_of_day(zone)
    } else {
        at.words(zone)
    }
}

/// A whole number of something, in words: "1 line", "3 lines".
fn several(n: usize, one: &str, many: &str) -> String {
    match n {
        1 => format!("1 {one}"),
        n => format!("{n} {many}"),
    }
}

/// "+ 5", "− 1", "none here": a tap in words.
fn tap_words(amount: i64, undoes: bool) -> String {
    let words = match amount {
        0 => "none here".into(),
        amount if amount > 0 => format!("+ {amount}"),
        amount => format!("− {}", -amount),
    };
    if undoes {
        format!("undo: {words}")
    } else {
        words
    }
}

/// What has to be put right about the form as a whole.
fn whole(text: impl ToString) -> Vec<Wrong> {
    vec![Wrong::at("", sentence(&text.to_string()))]
}

/// A refusal as a sentence: "say why" becomes "Say why."
fn sentence(text: &str) -> String {
    let mut letters = text.chars();
    let mut sentence: String = letters
        .next()
        .map(|first| first.to_uppercase().collect())
        .unwrap_or_default();
    sentence.push_str(letters.as_str());
    if !sentence.ends_with(['.', '?', '!']) {
        sentence.push('.');
    }
    sentence
}
