//! The acts of a random history, and how they are spelled out as entries.

use fieldstow::ledger::{CountMark, Entry, Move, Outside, PlaceMove, Stand, State};
use proptest::collection::vec;
use proptest::prelude::*;

use crate::model::Model;
use crate::world::{NOW, form, kit, part, person, place};

/// Small numbers that `spell` turns into something that makes sense now.
#[derive(Debug, Clone)]
pub enum Act {
    /// From an outside place, so that it always succeeds.
    Arrive {
        part: u8,
        kit: u8,
        place: u8,
        qty: i64,
        outside: u8,
    },
    /// Several lines of every kind in one entry. Many are refused.
    Mixed {
        moves: Vec<Hop>,
        carries: Vec<Carry>,
        marks: Vec<(u8, u8, u8, i64)>,
        note: bool,
    },
    /// Recorded, and then the transaction is dropped instead of committed.
    GivenUp {
        moves: Vec<Hop>,
    },
    Undo {
        back: u8,
    },
    /// A form that was recorded arrives again, with the same words or with others.
    Again {
        back: u8,
        same: bool,
    },
    /// An entry under an id that the book has already, past the receipts.
    Twice {
        back: u8,
    },
}

#[derive(Debug, Clone)]
pub struct Hop {
    part: u8,
    qty: i64,
    from: (u8, u8, u8),
    to: (u8, u8, u8),
    /// Take exactly what is there, or one more.
    all: Option<bool>,
}

#[derive(Debug, Clone)]
pub struct Carry {
    place: u8,
    to: Option<u8>,
    /// Claims that it stood there, true or not.
    claims: Option<Option<u8>>,
}

pub fn acts(most: usize) -> impl Strategy<Value = Vec<Act>> {
    let stand = || (0u8..2, 0u8..8, 0u8..4);
    let hop = (
        0u8..5,
        1i64..30,
        stand(),
        stand(),
        proptest::option::of(any::<bool>()),
    )
        .prop_map(|(part, qty, from, to, all)| Hop {
            part,
            qty,
            from,
            to,
            all,
        });
    let claim = prop_oneof![4 => Just(None), 1 => proptest::option::of(0u8..6).prop_map(Some)];
    let carry = (0u8..6, proptest::option::weighted(0.8, 0u8..6), claim)
        .prop_map(|(place, to, claims)| Carry { place, to, claims });
    let mark = (0u8..5, 0u8..2, 0u8..6, 0i64..40);
    let act = prop_oneof![
        4 => (0u8..5, 0u8..2, 0u8..6, 1i64..60, 0u8..7)
            .prop_map(|(part, kit, place, qty, outside)| Act::Arrive { part, kit, place, qty, outside }),
        6 => (vec(hop.clone(), 0..4), vec(carry, 0..3), vec(mark, 0..3), any::<bool>())
            .prop_map(|(moves, carries, marks, note)| Act::Mixed { moves, carries, marks, note }),
        1 => vec(hop, 1..3).prop_map(|moves| Act::GivenUp { moves }),
        3 => (0u8..12).prop_map(|back| Act::Undo { back }),
        2 => (0u8..20, any::<bool>()).prop_map(|(back, same)| Act::Again { back, same }),
        1 => (0u8..20).prop_map(|back| Act::Twice { back }),
    ];
    vec(act, 1..=most)
}

/// The six crates, and two of the outside places.
fn stand((kit_number, place_number, state): (u8, u8, u8)) -> Stand {
    let place = match place_number {
        6 => Outside::Missing.place(),
        7 => Outside::Found.place(),
        inside => place(inside),
    };
    Stand {
        kit: kit(kit_number),
        place,
        state: State::ALL[usize::from(state % 4)],
    }
}

/// Turns an act into an entry, as of what the model knows.
pub fn spell(act: &Act, number: u32, model: &Model) -> Entry {
    let mut entry = Entry::new(form(number), "act", person(), NOW);
    match act {
        Act::Arrive {
            part: p,
            kit: k,
            place: at,
            qty,
            outside,
        } => {
            let outside = Outside::ALL[usize::from(outside % 7)].place();
            entry.moves.push(Move {
                part: part(*p),
                qty: *qty,
                from: Stand::good(kit(*k), outside),
                to: Stand::good(kit(*k), place(*at)),
            });
        }
        Act::Mixed {
            moves,
            carries,
            marks,
            note,
        } => {
            entry.moves = hops(moves, model);
            entry.carried = carried(carries, model);
            entry.counted = marks
                .iter()
                .map(|(p, k, at, qty)| CountMark {
                    part: part(*p),
                    kit: kit(*k),
                    place: place(*at),
                    qty: *qty,
                })
                .collect();
            entry.note = note.then(|| format!("note {number}"));
        }
        Act::GivenUp { moves } => entry.moves = hops(moves, model),
        Act::Undo { .. } | Act::Again { .. } | Act::Twice { .. } => {}
    }
    entry
}

fn hops(hops: &[Hop], model: &Model) -> Vec<Move> {
    hops.iter()
        .map(|hop| {
            let (from, to) = (stand(hop.from), stand(hop.to));
            let key = (part(hop.part), from.kit, from.place, from.state.word());
            let have = model.held.get(&key).map_or(0, |slot| slot.0);
            let qty = match hop.all {
                None => hop.qty,
                Some(true) => have.max(1),
                Some(false) => have.max(0) + 1,
            };
            Move {
                part: part(hop.part),
                qty,
                from,
                to,
            }
        })
        .filter(|one| one.from != one.to)
        .collect()
}

fn carried(carries: &[Carry], model: &Model) -> Vec<PlaceMove> {
    let mut now = model.parents.clone();
    let mut all = Vec::new();
    for carry in carries {
        let at = place(carry.place);
        let to = carry.to.map(place);
        let from = match carry.claims {
            None => now.get(&at).copied(),
            Some(claim) => claim.map(place),
        };
        if from != to {
            all.push(PlaceMove {
                place: at,
                from,
                to,
            });
            match to {
                Some(to) => now.insert(at, to),
                None => now.remove(&at),
            };
        }
    }
    all
}
