//! A second, naive book: maps and nothing else. It says what the real one must do.

use std::collections::BTreeMap;

use fieldstow::ids::{KitId, PartId, PlaceId};
use fieldstow::ledger::{Entry, Move, Outside, PlaceMove, Seq, Stand, State};

/// What the model says that an entry comes to.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Verdict {
    Recorded(Seq),
    NotEnough {
        part: PartId,
        place: PlaceId,
        have: i64,
        wanted: i64,
    },
    CarriedElsewhere(PlaceId),
    InItself(PlaceId),
    NoSuchEntry,
    Already(Seq),
    NothingMoved,
}

/// Part, kit, place and state.
pub type Slot = (PartId, KitId, PlaceId, &'static str);

#[derive(Debug, Clone, Default)]
pub struct Model {
    /// Quantity and last count of each stand that was ever touched.
    pub held: BTreeMap<Slot, (i64, Option<Seq>)>,
    pub parents: BTreeMap<PlaceId, PlaceId>,
    pub entries: Vec<Past>,
}

#[derive(Debug, Clone)]
pub struct Past {
    pub moves: Vec<Move>,
    pub carried: Vec<PlaceMove>,
    pub corrected_by: Option<Seq>,
}

impl Model {
    pub fn last(&self) -> Seq {
        self.entries.len() as Seq
    }

    pub fn parent(&self, place: PlaceId) -> Option<PlaceId> {
        self.parents.get(&place).copied()
    }

    fn slot(&mut self, part: PartId, stand: Stand) -> &mut (i64, Option<Seq>) {
        self.held
            .entry((part, stand.kit, stand.place, stand.state.word()))
            .or_default()
    }

    /// Records an entry, or leaves everything as it is and says why not.
    pub fn record(&mut self, entry: &Entry) -> Verdict {
        let mut next = self.clone();
        let verdict = next.apply(entry);
        if matches!(verdict, Verdict::Recorded(_)) {
            *self = next;
        }
        verdict
    }

    fn apply(&mut self, entry: &Entry) -> Verdict {
        let seq = self.last() + 1;
        for one in &entry.moves {
            let key = (
                one.part,
                one.from.kit,
                one.from.place,
                one.from.state.word(),
            );
            let have = self.held.get(&key).map_or(0, |slot| slot.0);
            let is_outside = Outside::ALL
                .iter()
                .any(|outside| outside.place() == one.from.place);
            if have < one.qty && !is_outside {
                return Verdict::NotEnough {
                    part: one.part,
                    place: one.from.place,
                    have,
                    wanted: one.qty,
                };
            }
            self.slot(one.part, one.from).0 -= one.qty;
            self.slot(one.part, one.to).0 += one.qty;
        }
        for one in &entry.carried {
            let mut above = one.to;
            while let Some(place) = above {
                if place == one.place {
                    return Verdict::InItself(one.place);
                }
                above = self.parent(place);
            }
            if self.parent(one.place) != one.from {
                return Verdict::CarriedElsewhere(one.place);
            }
            match one.to {
                Some(to) => self.parents.insert(one.place, to),
                None => self.parents.remove(&one.place),
            };
        }
        for one in &entry.counted {
            let states = State::ALL.map(State::word);
            let known: Vec<_> = states
                .into_iter()
                .filter(|state| {
                    self.held
                        .contains_key(&(one.part, one.kit, one.place, *state))
                })
                .collect();
            if known.is_empty() {
                self.slot(one.part, Stand::good(one.kit, one.place)).1 = Some(seq);
            }
            for state in known {
                if let Some(slot) = self.held.get_mut(&(one.part, one.kit, one.place, state)) {
                    slot.1 = Some(seq);
                }
            }
        }
        if let Some(first) = entry.corrects {
            self.entries[first as usize - 1].corrected_by = Some(seq);
        }
        self.entries.push(Past {
            moves: entry.moves.clone(),
            carried: entry.carried.clone(),
            corrected_by: None,
        });
        Verdict::Recorded(seq)
    }

    /// Takes an entry back.
    pub fn undo(&mut self, seq: Seq, template: Entry) -> Verdict {
        let Some(first) = seq
            .checked_sub(1)
            .and_then(|index| self.entries.get(index as usize))
        else {
            return Verdict::NoSuchEntry;
        };
        if let Some(by) = first.corrected_by {
            return Verdict::Already(by);
        }
        if first.moves.is_empty() && first.carried.is_empty() {
            return Verdict::NothingMoved;
        }
        let mut entry = template;
        entry.corrects = Some(seq);
        for one in first.moves.iter().rev() {
            entry.moves.push(Move {
                from: one.to,
                to: one.from,
                ..*one
            });
        }
        for one in first.carried.iter().rev() {
            entry.carried.push(PlaceMove {
                from: one.to,
                to: one.from,
                ..*one
            });
        }
        self.record(&entry)
    }
}
