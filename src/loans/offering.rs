//! What of a kit can be lent, and what of it was chosen.

use std::collections::{BTreeMap, HashMap, HashSet};

use sqlx::SqliteConnection;

use super::store;
use crate::ids::PlaceId;
use crate::kits::Kit;
use crate::places::rules::words::{named, sentence};
use crate::places::{self, Kind, Pieces, Place};
use crate::web::form::Wrong;

/// A crate or bag that can be lent.
pub struct Offered {
    pub place: Place,
    /// Stands in another that is offered.
    pub inside: Option<PlaceId>,
    /// Who has it now, where it is lent already.
    pub with: Option<String>,
}

/// What of a kit can be lent.
pub struct Offer {
    /// The outermost crates, boxes and bags, each followed by what stands right in it.
    pub crates: Vec<Offered>,
    /// Pieces of the kit, wherever they lie.
    pub pieces: Vec<Pieces>,
    /// Of these, those in no crate: they leave with the whole kit in a bag of their own.
    loose: HashSet<PlaceId>,
    /// Places whose pieces are with somebody already.
    away: HashSet<PlaceId>,
}

/// What was ticked and written; nothing at all means the whole kit, as far as it is here.
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

    /// What is lent already: "Gable 2, gate and hut is with Upper Quern Workshop".
    pub fn away(&self) -> Vec<String> {
        let outermost = self.crates.iter().filter(|one| one.inside.is_none());
        outermost
            .filter_map(|one| {
                let with = one.with.as_ref()?;
                Some(sentence(&format!("{} is with {with}", named(&one.place))))
            })
            .collect()
    }
}

/// What a team's kit consists of in crates and loose pieces.
pub async fn offer(db: &mut SqliteConnection, kit: &Kit) -> sqlx::Result<Offer> {
    let in_order = places::of_team(db, kit.team).await?;
    let nth: HashMap<PlaceId, usize> = in_order
        .iter()
        .enumerate()
        .map(|(nth, place)| (place.id, nth))
        .collect();
    let all: HashMap<PlaceId, Place> = in_order
        .into_iter()
        .map(|place| (place.id, place))
        .collect();
    let leaves = |place: &Place| place.kind.is_carried() && place.kind != Kind::Heap;
    let holding = store::holds(db, kit.id).await?;
    let of_kit = all.values().filter(|place| place.kit == Some(kit.id));
    let mut outermost: Vec<&Place> = Vec::new();
    let mut loose = HashSet::new();
    let mut away = HashSet::new();
    for id in holding.iter().copied().chain(of_kit.map(|place| place.id)) {
        let mut root = None;
        let mut next = all.get(&id);
        let mut steps = 0;
        while let Some(place) = next.filter(|_| steps < 50) {
            if leaves(place) {
                root = Some(place);
            }
            if place.with_borrower {
                away.insert(id);
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
    // As they were made, which is how they are numbered: bag 9 before bag 10.
    let position = |place: &Place| (place.kind, nth.get(&place.id).copied());
    outermost.sort_by_key(|place| position(place));
    let mut crates = Vec::new();
    for root in outermost {
        // Whoever has it is what it stands in.
        let stands_in = root.parent.and_then(|parent| all.get(&parent));
        let with = stands_in
            .filter(|place| place.with_borrower)
            .map(|place| place.name.clone());
        crates.push(Offered {
            place: root.clone(),
            inside: None,
            with: with.clone(),
        });
        let mut inside: Vec<&Place> = all
            .values()
            .filter(|place| place.parent == Some(root.id) && leaves(place))
            .collect();
        inside.sort_by_key(|place| position(place));
        crates.extend(inside.into_iter().map(|place| Offered {
            place: place.clone(),
            inside: Some(root.id),
            with: with.clone(),
        }));
    }
    let mut pieces = Vec::new();
    // What is with somebody cannot be chosen piece by piece.
    for place in holding.into_iter().filter(|place| !away.contains(place)) {
        let here = places::pieces(db, place, false).await?;
        pieces.extend(here.into_iter().filter(|line| line.kit == kit.id));
    }
    pieces.sort_by(|a, b| (&a.name, &a.colour, a.place).cmp(&(&b.name, &b.colour, b.place)));
    Ok(Offer {
        crates,
        pieces,
        loose,
        away,
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
            Ok(qty) if qty > 0 => {
                let are = if line.qty == 1 { "is" } else { "are" };
                wrongs.push(Wrong::at(field, format!("only {} {are} there", line.qty)));
            }
            _ => wrongs.push(Wrong::at(field, "write a number of pieces")),
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
    let chose_nothing = ticked.is_empty() && pieces.is_empty();
    // Where all of it is out, taking it all is refused with the name of whoever has it.
    let is_here = |one: &Offered| one.inside.is_none() && one.with.is_none();
    let some_is_here = offer.crates.iter().any(is_here)
        || offer.loose.iter().any(|place| !offer.away.contains(place));
    let leaves_out = chose_nothing && some_is_here && !offer.away.is_empty();
    let whole_kit = chose_nothing && !leaves_out;
    let crates: Vec<Place> = offer
        .crates
        .iter()
        .filter(|one| match one.inside {
            // What is ticked inside of a ticked crate goes along anyway.
            Some(outer) => ticked.contains(&one.place.id) && !ticked.contains(&outer),
            None if chose_nothing => whole_kit || one.with.is_none(),
            None => ticked.contains(&one.place.id),
        })
        .map(|one| one.place.clone())
        .collect();
    if chose_nothing {
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
