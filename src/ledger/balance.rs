//! From moves to balances. Pure: the second opinion on the balances that the database keeps.

use std::collections::BTreeMap;

use super::entry::{CountMark, Move, Outside, Seq, Stand, State};
use crate::ids::PartId;

/// How many pieces are at a stand, and the entry by which somebody last counted them.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Balance {
    pub qty: i64,
    pub counted: Option<Seq>,
}

/// All balances of a ledger.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Balances(pub BTreeMap<(PartId, Stand), Balance>);

impl Balances {
    /// Applies one entry's moves, then its marks.
    pub fn apply(&mut self, seq: Seq, moves: &[Move], counted: &[CountMark]) {
        for one in moves {
            self.0.entry((one.part, one.from)).or_default().qty -= one.qty;
            self.0.entry((one.part, one.to)).or_default().qty += one.qty;
        }
        for mark in counted {
            let mut any = false;
            for state in State::ALL {
                let stand = Stand {
                    kit: mark.kit,
                    place: mark.place,
                    state,
                };
                if let Some(balance) = self.0.get_mut(&(mark.part, stand)) {
                    balance.counted = Some(seq);
                    any = true;
                }
            }
            // "None here" is knowledge too.
            if !any {
                let stand = Stand::good(mark.kit, mark.place);
                self.0.insert(
                    (mark.part, stand),
                    Balance {
                        qty: 0,
                        counted: Some(seq),
                    },
                );
            }
        }
    }

    /// The first real place that holds less than nothing, if any.
    pub fn first_negative(&self) -> Option<(PartId, Stand, i64)> {
        self.0
            .iter()
            .find(|((_, stand), balance)| {
                balance.qty < 0 && Outside::from_place(stand.place).is_none()
            })
            .map(|((part, stand), balance)| (*part, *stand, balance.qty))
    }

    /// What all places together hold: always zero, since pieces are neither made nor lost.
    pub fn sum(&self) -> i64 {
        self.0.values().map(|balance| balance.qty).sum()
    }
}
