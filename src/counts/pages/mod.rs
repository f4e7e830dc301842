//! The pages of counts.

mod bags;
mod close;
mod desk;
mod lines;
mod place;
mod print;
mod stint;
mod tallies;
mod tally;

use crate::app::App;
use crate::clock::Instant;
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
        .post("/stints/{stint}/undo", Rule::Works, tallies::undo)
        .get("/stints/{stint}/done", Rule::Works, stint::ask_done)
        .post("/stints/{stint}/done", Rule::Works, stint::done)
        .post("/stints/{stint}/reopen", Rule::Works, stint::take_up)
        .post("/stints/{stint}/set-aside", Rule::Works, stint::set_aside)
        .get("/stints/{stint}/sheet", Rule::Works, desk::show)
        .post("/stints/{stint}/sheet", Rule::Works, desk::post)
}

/// "18:04" today, "4 Mar 2027, 18:04" on other days, in the viewer's zone.
fn moment(app: &App, viewer: &Viewer, at: Instant) -> String {
    if at.day(viewer.zone()) == viewer.today(app) {
        at.time_of_day(viewer.zone())
    } else {
        at.words(viewer.zone())
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
