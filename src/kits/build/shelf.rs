//! The pieces that will be there, by part, and which of them take part for a purpose.

use super::stock::{Sharing, Stock};
use super::{BuildRefused, Pieces, Purpose, StandIn, Taken};
use crate::ledger::State;

/// What is there on the day.
pub(super) struct Shelf<P, K> {
    parts: Vec<P>,
    /// The pieces that count for the purpose, and what may stand in.
    pub stock: Stock,
    /// Part → its heaps, the good ones first, then doubtful, then practice only.
    heaps: Vec<Vec<(State, K, u64)>>,
    /// Part → those that stand in for practice only, in order.
    for_practice: Vec<Vec<usize>>,
    /// No part can use more than this.
    enough: u64,
}

impl<P: Copy + Ord, K: Copy> Shelf<P, K> {
    /// `parts` are all parts of the field and all that may stand in, in order; nothing uses more than `enough`.
    pub fn read<A>(
        parts: &[P],
        pieces: &[Pieces<P, K>],
        stand_ins: &[StandIn<P>],
        purpose: Purpose,
        enough: u64,
    ) -> Result<Self, BuildRefused<P, A>> {
        let mut heaps = vec![Vec::new(); parts.len()];
        for heap in pieces {
            if let Ok(part) = parts.binary_search(&heap.part)
                && heap.state != State::Broken
            {
                heaps[part].push((heap.state, heap.kit, heap.pieces));
            }
        }
        for heaps in &mut heaps {
            heaps.sort_by_key(|(state, _, _)| *state);
        }
        let mut officially = vec![Vec::new(); parts.len()];
        let mut for_practice = vec![Vec::new(); parts.len()];
        for stand_in in stand_ins {
            if stand_in.part == stand_in.stands_in_for {
                return Err(BuildRefused::StandsInForItself(stand_in.part));
            }
            let by = parts.binary_search(&stand_in.part);
            let of = parts.binary_search(&stand_in.stands_in_for);
            if let (Ok(by), Ok(of)) = (by, of) {
                let list = if stand_in.officially {
                    &mut officially
                } else {
                    &mut for_practice
                };
                list[of].push(by);
            }
        }
        let mut served_by = Vec::with_capacity(parts.len());
        for (part, (officially, practice)) in
            officially.iter_mut().zip(&mut for_practice).enumerate()
        {
            officially.sort_unstable();
            officially.dedup();
            practice.sort_unstable();
            practice.dedup();
            practice.retain(|by| officially.binary_search(by).is_err());
            let mut by = vec![part];
            by.append(officially);
            if purpose == Purpose::Practice {
                by.append(practice);
            }
            served_by.push(by);
        }
        let mut shelf = Self {
            parts: parts.to_vec(),
            stock: Stock {
                pieces: Vec::new(),
                served_by,
            },
            heaps,
            for_practice,
            enough,
        };
        shelf.stock.pieces = shelf.counted(|state| purpose.takes(state));
        Ok(shelf)
    }

    fn counted(&self, takes: impl Fn(State) -> bool) -> Vec<u64> {
        let count = |heaps: &Vec<(State, K, u64)>| {
            let heaps = heaps.iter().filter(|(state, _, _)| takes(*state));
            let all = heaps.fold(0_u64, |all, (_, _, pieces)| all.saturating_add(*pieces));
            all.min(self.enough)
        };
        self.heaps.iter().map(count).collect()
    }

    /// The stock as it would be for practice.
    pub fn for_practice(&self) -> Stock {
        let mut stock = self.stock.clone();
        for (by, practice) in stock.served_by.iter_mut().zip(&self.for_practice) {
            by.extend(practice);
        }
        stock.pieces = self.counted(|state| Purpose::Practice.takes(state));
        stock
    }

    /// The pieces of a sharing, taken from the heaps: good ones first, of those alike the first named.
    pub fn take(&self, sharing: &Sharing) -> Vec<Taken<P, K>> {
        let mut heaps = self.heaps.clone();
        let mut all = Vec::new();
        for (part, taken) in sharing.taken.iter().enumerate() {
            for (by, taken) in self.stock.served_by[part].iter().zip(taken) {
                let mut left = *taken;
                for (state, kit, pieces) in &mut heaps[*by] {
                    let now = left.min(*pieces);
                    if now > 0 {
                        *pieces -= now;
                        left -= now;
                        all.push(Taken {
                            for_part: self.parts[part],
                            part: self.parts[*by],
                            kit: *kit,
                            state: *state,
                            pieces: now,
                        });
                    }
                }
            }
        }
        all
    }
}

impl Purpose {
    /// Whether pieces in this state take part.
    pub fn takes(self, state: State) -> bool {
        match state {
            State::Good | State::Doubtful => true,
            State::PracticeOnly => self == Self::Practice,
            State::Broken => false,
        }
    }
}
