//! What of a kit can be lent, and what of it was chosen.

use std::collections::{BTreeMap, HashMap, HashSet};

use sqlx::SqliteConnection;

use super::store;
use crate::ids::PlaceId;
use crate::kits::Kit;
use crate::places::{self, Kind, Pieces, Place};
use crate::web::form::Wrong;

/// A crate or bag that can be lent.
pub struct Offered {
    pub place: Place,
    /// Stands in another that is offered.
    pub inside: Option<PlaceId>,
}

/// What of a kit can be lent.
pub struct Offer {
    /// The outermost crates, boxes and bags, each followed by what stands right in it.
    pub crates: Vec<Offered>,
    /// Pieces of the kit, wherever they lie.
    pub pieces: Vec<Pieces>,
    /// Of these, those in no crate: they leave with the whole kit in a bag of their own.
    loose: HashSet<PlaceId>,
}

/// What was ticked and written; nothing at all means the whole kit.
#[derive(Debug, Clone, Default)]
pub struct Chosen {
    pub crates: Vec<String>,
    /// A number by the name of its field (`Offer::field`).
    pub pieces: BTreeMap<String, String>,
}

impl Offer {
    /// The name of the field for pieces of one kind in one place.
    pub fn field(line: &Pieces) -> String {
        format!(
            "qty-{}-{}-{}",
            line.place.0.simple(),
            line.part.0.simple(),
            line.state.word().replace(' ', "-")
        )
    }

    /// Nothing of the kit can be lent.
    pub fn is_empty(&self) -> bool {
        self.crates.is_empty() && self.pieces.is_empty()
    }
}

/// What a team's kit consists of in crates and loose pieces.
pub async fn offer(db: &mut SqliteConnection, kit: &Kit) -> sqlx::Result<Offer> {
    let all: HashMap<PlaceId, Place> = places::of_team(db, kit.team)
        .await?
        .into_iter()
        .map(|place| (place.id, place))
        .collect();
    let leaves = |place: &Place| place.kind.is_carried() && place.kind != Kind::Heap;
    let holding = store::holds(db, kit.id).await?;
    let of_kit = all.values().filter(|place| place.kit == Some(kit.id));
    let mut outermost: Vec<&Place> = Vec::new();
    let mut loose = HashSet::new();
    for id in holding.iter().copied().chain(of_kit.map(|place| place.id)) {
        let mut root = None;
        let mut next = all.get(&id);
        let mut steps = 0;
        while let Some(place) = next.filter(|_| steps < 50) {
            if leaves(place) {
                root = Some(place);
            }
            next = place.parent.and_then(|parent| all.get(&parent));
            steps += 1;
        }
        match root {
            Some(root) if outermost.iter().all(|known| known.id != root.id) => outermost.push(root),
            Some(_) => {}
            None => {
                loose.insert(id);
            }
        }
    }
    let position = |place: &Place| (place.kind, place.name.clone());
    outermost.sort_by_key(|place| position(place));
    let mut crates = Vec::new();
    for root in outermost {
        crates.push(Offered {
            place: root.clone(),
            inside: None,
        });
        let mut inside: Vec<&Place> = all
            .values()
            .filter(|place| place.parent == Some(root.id) && leaves(place))
            .collect();
        inside.sort_by_key(|place| position(place));
        crates.extend(inside.into_iter().map(|place| Offered {
            place: place.clone(),
            inside: Some(root.id),
        }));
    }
    let mut pieces = Vec::new();
    for place in holding {
        let here = places::pieces(db, place, false).await?;
        pieces.extend(here.into_iter().filter(|line| line.kit == kit.id));
    }
    pieces.sort_by(|a, b| (&a.name, &a.colour, a.place).cmp(&(&b.name, &b.colour, b.place)));
    Ok(Offer {
        crates,
        pieces,
        loose,
    })
}

/// What is to leave.
pub(super) struct Going {
    pub crates: Vec<Place>,
    pub pieces: Vec<(Pieces, i64)>,
    pub whole_kit: bool,
}

impl Going {
    /// The crates, and the places where loose pieces lie.
    pub fn places(&self) -> impl Iterator<Item = PlaceId> {
        let crates = self.crates.iter().map(|place| place.id);
        crates.chain(self.pieces.iter().map(|(line, _)| line.place))
    }
}

/// Reads what was ticked and written.
pub(super) fn going(offer: &Offer, chosen: &Chosen) -> Result<Going, Vec<Wrong>> {
    let mut wrongs = Vec::new();
    let mut pieces = Vec::new();
    for line in &offer.pieces {
        let field = Offer::field(line);
        let typed = chosen.pieces.get(&field).map_or("", |text| text.trim());
        if typed.is_empty() {
            continue;
        }
        match typed.parse::<i64>() {
            Ok(0) => {}
            Ok(qty) if (1..=line.qty).contains(&qty) => pieces.push((line.clone(), qty)),
            Ok(_) => wrongs.push(Wrong::at(field, format!("only {} are there", line.qty))),
            Err(_) => wrongs.push(Wrong::at(field, "write a number of pieces")),
        }
    }
    let ticked: HashSet<PlaceId> = chosen
        .crates
        .iter()
        .filter_map(|id| id.parse().ok())
        .collect();
    if !wrongs.is_empty() {
        return Err(wrongs);
    }
    let whole_kit = ticked.is_empty() && pieces.is_empty();
    let crates: Vec<Place> = offer
        .crates
        .iter()
        .filter(|one| match one.inside {
            // What is ticked inside of a ticked crate goes along anyway.
            Some(outer) => ticked.contains(&one.place.id) && !ticked.contains(&outer),
            None => whole_kit || ticked.contains(&one.place.id),
        })
        .map(|one| one.place.clone())
        .collect();
    if whole_kit {
        let loose = offer.pieces.iter();
        pieces = loose
            .filter(|line| offer.loose.contains(&line.place))
            .map(|line| (line.clone(), line.qty))
            .collect();
    }
    if crates.is_empty() && pieces.is_empty() {
        let text = "nothing of this kit is in the books yet; count it first";
        return Err(vec![Wrong::at("", text)]);
    }
    Ok(Going {
        crates,
        pieces,
        whole_kit,
    })
}
