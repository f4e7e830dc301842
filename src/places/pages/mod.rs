//! The pages of places.

mod bags;
mod going;
mod index;
mod making;
mod packing;
mod seals;
mod show;

use sqlx::SqliteConnection;

use super::rules::tree::Node;
use super::rules::words::called;
use super::{Kind, NOWHERE, Place};
use crate::ids::{PlaceId, TeamId};
use crate::people::access::{Routes, Rule};
use crate::web::form::Choice;

pub fn routes() -> Routes {
    Routes::new()
        .get("/places", Rule::SignedIn, index::index)
        .get("/places/new", Rule::WorksSomewhere, making::new)
        .post("/places", Rule::WorksSomewhere, making::add)
        .get("/places/{place}", Rule::Sees, show::show)
        .get("/places/{place}/edit", Rule::Works, making::edit)
        .post("/places/{place}/edit", Rule::Works, making::change)
        .post("/places/{place}/put-away", Rule::Works, show::put_away)
        .post("/places/{place}/bring-back", Rule::Works, show::bring_back)
        .get("/places/{place}/move", Rule::Works, going::move_from)
        .post("/places/{place}/move", Rule::Works, going::move_pieces)
        .get("/places/{place}/carry", Rule::Works, going::carry_from)
        .post("/places/{place}/carry", Rule::Works, going::carry)
        .get(
            "/places/{place}/packing-list",
            Rule::Sees,
            packing::packing_list,
        )
        .post("/places/{place}/seal", Rule::Works, seals::seal)
        .post("/places/{place}/open", Rule::Works, seals::open)
        .post(
            "/places/{place}/seal/take-back",
            Rule::Works,
            seals::take_back,
        )
        .get("/kits/{kit}/bags", Rule::Sees, bags::bags)
        .post("/kits/{kit}/bags", Rule::Works, bags::add)
        .post(
            "/kits/{kit}/bags/without-label",
            Rule::Works,
            bags::add_unlabelled,
        )
}

/// The places of a team as choices, in the order of what stands in what, those that `fits` leaves.
async fn choices(
    db: &mut SqliteConnection,
    team: TeamId,
    chosen: &str,
    fits: impl Fn(&Place) -> bool,
) -> sqlx::Result<Vec<Choice>> {
    let nodes = super::tree_of(db, team).await?;
    Ok(nodes
        .iter()
        .filter(|node| !node.place.with_borrower && fits(&node.place))
        .map(|node| Choice::one_of(node.place.id.to_string(), indented(node), chosen))
        .collect())
}

fn indented(node: &Node) -> String {
    format!("{}{}", "\u{2003}".repeat(node.depth), called(&node.place))
}

/// The same with "nowhere yet" or another word for none in front.
async fn choices_or(
    none: Choice,
    db: &mut SqliteConnection,
    team: TeamId,
    chosen: &str,
    fits: impl Fn(&Place) -> bool,
) -> sqlx::Result<Vec<Choice>> {
    let mut all = vec![none];
    all.extend(choices(db, team, chosen, fits).await?);
    Ok(all)
}

fn nowhere(chosen: &str) -> Choice {
    Choice::one_of(NOWHERE, "nowhere yet", chosen)
}

/// A place chosen from a list; "" and "nowhere yet" are none.
fn chosen_place(value: &str) -> Option<PlaceId> {
    value.parse().ok()
}

/// The kinds that somebody may make, as choices.
fn kinds(chosen: &str, may: impl Fn(Kind) -> bool) -> Vec<Choice> {
    Kind::ALL
        .into_iter()
        .filter(|kind| may(*kind))
        .map(|kind| Choice::one_of(kind.word(), kind.word(), chosen))
        .collect()
}
