//! All places of the viewer's teams.

use std::collections::HashMap;

use askama::Template;
use axum::extract::State;
use sqlx::SqliteConnection;

use crate::app::App;
use crate::error::AppError;
use crate::ids::{PlaceId, TeamId};
use crate::people::Viewer;
use crate::places::rules::mass::amount;
use crate::places::rules::tree::{self, Node};
use crate::places::rules::words::{named, pieces, sentence};
use crate::places::{Kind, Place, store};
use crate::web::frame::Frame;
use crate::web::page::Page;

#[derive(Template)]
#[template(path = "places/index.html")]
pub struct IndexPage {
    frame: Frame,
    teams: Vec<TeamPlaces>,
}

struct TeamPlaces {
    name: String,
    /// The rooms and vehicles, each followed by what stands in it; what stands in places of other teams;
    /// what nobody put anywhere yet.
    stands: [Stands; 3],
}

struct Stands {
    caption: &'static str,
    rows: Vec<Row>,
}

impl TeamPlaces {
    fn is_empty(&self) -> bool {
        self.stands.iter().all(|stands| stands.rows.is_empty())
    }
}

struct Row {
    place: Place,
    depth: usize,
    /// "12 pieces, at least 3.4 kg".
    holds: String,
}

impl Row {
    fn name(&self) -> String {
        sentence(&named(&self.place))
    }

    /// How far it is moved in; deeper steps look alike.
    fn step(&self) -> usize {
        self.depth.min(4)
    }
}

pub async fn index(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
) -> Result<Page<IndexPage>, AppError> {
    let mut db = app.db.read().await?;
    let mut teams = Vec::new();
    for membership in viewer.memberships() {
        teams.push(of_team(&mut db, membership.team, &membership.team_name).await?);
    }
    Ok(Page(IndexPage { frame, teams }))
}

async fn of_team(db: &mut SqliteConnection, team: TeamId, name: &str) -> sqlx::Result<TeamPlaces> {
    let places = store::of_team(db, team).await?;
    let loads = store::loads(db, team).await?;
    let holds = add_up(&places, &loads);
    let nodes = tree::below(&places, None);
    let mut standing = Vec::new();
    let mut elsewhere = Vec::new();
    let mut nowhere = Vec::new();
    // A crate at the top stands with another team, or nowhere yet.
    let mut top = Top::Room;
    for Node { place, depth } in nodes {
        if depth == 0 {
            top = match (place.kind.is_carried(), place.parent) {
                (false, _) => Top::Room,
                (true, Some(_)) => Top::Elsewhere,
                (true, None) => Top::Nowhere,
            };
        }
        let rows = match top {
            Top::Room => &mut standing,
            Top::Elsewhere => &mut elsewhere,
            Top::Nowhere => &mut nowhere,
        };
        let holds = holds.get(&place.id).map_or_else(String::new, Held::words);
        rows.push(Row {
            place,
            depth,
            holds,
        });
    }
    Ok(TeamPlaces {
        name: name.to_owned(),
        stands: [
            Stands {
                caption: "Where things stand",
                rows: standing,
            },
            Stands {
                caption: "With other teams; each says where on its own page",
                rows: elsewhere,
            },
            Stands {
                caption: "Nowhere yet",
                rows: nowhere,
            },
        ],
    })
}

/// Where the outermost place of a row is.
#[derive(Clone, Copy)]
enum Top {
    Room,
    Elsewhere,
    Nowhere,
}

/// What is in a place with all that stands in it.
#[derive(Debug, Clone, Copy, Default)]
struct Held {
    pieces: i64,
    known_g: f64,
    unknown: bool,
    is_carried: bool,
}

impl Held {
    fn words(&self) -> String {
        if self.pieces == 0 {
            return "empty".into();
        }
        let held = pieces(self.pieces);
        if !self.is_carried {
            held
        } else if !self.unknown {
            format!("{held}, {}", amount(self.known_g))
        } else if self.known_g > 0.0 {
            format!("{held}, at least {}", amount(self.known_g))
        } else {
            format!("{held}, mass unknown")
        }
    }
}

/// Adds loads and empties up the tree.
fn add_up(places: &[Place], loads: &[store::Load]) -> HashMap<PlaceId, Held> {
    let mut held: HashMap<PlaceId, Held> = places
        .iter()
        .map(|place| {
            let needs_tare = matches!(place.kind, Kind::Crate | Kind::Box | Kind::Tray);
            let own = Held {
                pieces: 0,
                known_g: place.tare_g.unwrap_or(0.0),
                unknown: needs_tare && place.tare_g.is_none(),
                is_carried: place.kind.is_carried(),
            };
            (place.id, own)
        })
        .collect();
    for load in loads {
        if let Some(own) = held.get_mut(&load.place) {
            own.pieces += load.pieces;
            own.known_g += load.known_g;
            own.unknown |= load.has_unknown;
        }
    }
    // Innermost first: each is whole before its parent takes it up.
    for node in tree::below(places, None).iter().rev() {
        let Some(parent) = node.place.parent else {
            continue;
        };
        let inner = held.get(&node.place.id).copied().unwrap_or_default();
        if let Some(outer) = held.get_mut(&parent) {
            outer.pieces += inner.pieces;
            outer.known_g += inner.known_g;
            outer.unknown |= inner.unknown;
        }
    }
    held
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::places::rules::words::tests::place;

    #[test]
    fn a_crate_holds_what_its_bags_hold() {
        let store = place(Kind::Store, "Cellar", None);
        let mut krate = place(Kind::Crate, "Ridge", Some(&store));
        krate.tare_g = Some(2000.0);
        let bag = place(Kind::Bag, "Bag 1", Some(&krate));
        let empty = place(Kind::Bag, "Bag 2", None);
        let load = |place: &Place, pieces, known_g, has_unknown| store::Load {
            place: place.id,
            pieces,
            known_g,
            has_unknown,
        };
        let loads = [load(&bag, 8, 400.0, true), load(&krate, 1, 100.0, false)];
        let places = [&bag, &krate, &store, &empty].map(Clone::clone);
        let held = add_up(&places, &loads);
        assert_eq!(held[&bag.id].words(), "8 pieces, at least 400 g");
        assert_eq!(held[&krate.id].words(), "9 pieces, at least 2.5 kg");
        assert_eq!(held[&store.id].words(), "9 pieces");
        assert_eq!(held[&empty.id].words(), "empty");
    }
}
