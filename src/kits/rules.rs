//! What a kit has and lacks. Pure.

pub mod alike;
pub mod details;
pub mod look_first;
pub mod looks;
pub mod promised;
pub mod report;
pub mod slip;

use crate::clock::Instant;
use crate::code::Code;
use crate::ids::{PartId, PlaceId};

/// The facts about one part of a kit, from the parts list and the books. All in pieces, none below zero.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Facts {
    /// What the parts list asks for in the kit's size.
    pub need: i64,
    /// In any of its places, assemblies included.
    pub good: i64,
    pub doubtful: i64,
    pub practice_only: i64,
    pub broken: i64,
    /// Signed off as missing.
    pub missing: i64,
    /// The kit's own good and doubtful pieces that another team has on loan.
    pub lent_out: i64,
    /// Promised by the supplier or ordered, and not arrived.
    pub on_order: i64,
    /// Another team's pieces that stand with the kit on loan. They can be played with and must go back,
    /// so they are said beside the line and make nothing less short.
    pub borrowed: i64,
    /// Pieces in the kit's crates that are not ours and were never lent.
    pub guest: i64,
}

/// One line of a kit's statement.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Line {
    pub part: PartId,
    pub number: String,
    pub name: String,
    pub colour: String,
    pub how_to_know: String,
    pub facts: Facts,
    /// Not here, but more of the delivery is expected, or nobody has finished counting it.
    pub still_to_come: i64,
}

/// What a kit has and lacks of one part.
///
/// A piece is *here* when it lies in one of the kit's places and can be played with. What the list asks
/// for beyond that is *short now*. Some of it will come by itself, because it is lent out, still to be
/// delivered or on order; what is left is *short for good* and somebody must do something about it.
/// Pieces over of one part never make up for another part that is short.
///
/// The definitions are this program's own, there is no published source for them.
impl Facts {
    /// Pieces that can be played with: good and doubtful.
    pub fn here(&self) -> i64 {
        self.good + self.doubtful
    }

    /// `max(0, need − here)`.
    pub fn short_now(&self) -> i64 {
        (self.need - self.here()).max(0)
    }

    /// `max(0, here − need)`. Never netted against another part's short.
    pub fn over(&self) -> i64 {
        (self.here() - self.need).max(0)
    }
}

impl Line {
    /// Pieces that will be here without anybody doing anything: lent out, still to come, on order.
    pub fn expected(&self) -> i64 {
        self.facts.lent_out + self.still_to_come + self.facts.on_order
    }

    /// Pieces that somebody still sends: of the delivery, or promised since.
    pub fn to_come(&self) -> i64 {
        self.still_to_come + self.facts.on_order
    }

    /// `max(0, need − here − lent out − still to come − on order)`: what nobody expects any more.
    pub fn short_for_good(&self) -> i64 {
        (self.facts.short_now() - self.expected()).max(0)
    }

    /// `max(0, here + lent out + still to come + on order − need)`: over once all of it is here.
    pub fn over_for_good(&self) -> i64 {
        (self.facts.here() + self.expected() - self.facts.need).max(0)
    }

    /// Whether everything this line needs is here.
    pub fn all_here(&self) -> bool {
        self.facts.short_now() == 0
    }
}

/// One place in which a part of the kit is, should be, or was looked for.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Spot {
    pub place: PlaceId,
    pub code: Code,
    /// "bag Bag 3".
    pub name: String,
    pub part: PartId,
    /// What the packing slip says; 0 where it says nothing.
    pub planned: i64,
    pub good: i64,
    pub doubtful: i64,
    pub practice_only: i64,
    pub broken: i64,
    /// When somebody last counted the part there.
    pub counted_at: Option<Instant>,
}

impl Spot {
    pub fn here(&self) -> i64 {
        self.good + self.doubtful
    }
}

/// A line of the statement, and where its pieces are.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Account {
    pub line: Line,
    pub spots: Vec<Spot>,
}

/// In one word, how a line stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Standing {
    AllHere,
    Over(i64),
    /// Nothing is short for good: what is not here is lent out.
    LentOut(i64),
    ToCome(i64),
    NotCounted,
    Short(i64),
}

impl Account {
    /// Whether anybody counted the part anywhere in the kit.
    pub fn is_counted(&self) -> bool {
        self.spots.iter().any(|spot| spot.counted_at.is_some())
    }

    /// Places where the packing slip promises the part and nobody counted it.
    pub fn uncounted_spots(&self) -> impl Iterator<Item = &Spot> {
        self.spots
            .iter()
            .filter(|spot| spot.planned > 0 && spot.counted_at.is_none())
    }

    pub fn standing(&self) -> Standing {
        let line = &self.line;
        if line.facts.over() > 0 {
            Standing::Over(line.facts.over())
        } else if line.all_here() {
            Standing::AllHere
        } else if line.facts.lent_out > 0 && line.to_come() == 0 && line.short_for_good() == 0 {
            Standing::LentOut(line.facts.lent_out)
        } else if line.to_come() > 0 && line.short_for_good() == 0 {
            Standing::ToCome(line.to_come())
        } else if !self.is_counted() {
            Standing::NotCounted
        } else {
            Standing::Short(line.short_for_good())
        }
    }
}

/// How many lines of a kit stand how. A line that is needed and more than all here counts in `all_here`
/// and in `over`.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Summary {
    /// Lines that the kit needs.
    pub lines: usize,
    pub pieces: i64,
    pub all_here: usize,
    pub short: usize,
    pub to_come: usize,
    pub lent_out: usize,
    pub not_counted: usize,
    pub over: usize,
}

impl Summary {
    pub fn of(accounts: &[Account]) -> Self {
        let mut summary = Self::default();
        for account in accounts {
            let facts = &account.line.facts;
            let needed = usize::from(facts.need > 0);
            summary.lines += needed;
            summary.pieces += facts.need;
            match account.standing() {
                Standing::AllHere => summary.all_here += needed,
                Standing::Over(_) => {
                    summary.all_here += needed;
                    summary.over += 1;
                }
                Standing::LentOut(_) => summary.lent_out += 1,
                Standing::ToCome(_) => summary.to_come += 1,
                Standing::NotCounted => summary.not_counted += 1,
                Standing::Short(_) => summary.short += 1,
            }
        }
        summary
    }

    /// "94 of 96 lines all here, 2 short, 1 over".
    pub fn words(&self) -> String {
        let mut words = format!(
            "{} of {} {} all here",
            self.all_here,
            self.lines,
            plural(self.lines, "line", "lines")
        );
        for (count, what) in [
            (self.short, "short"),
            (self.lent_out, "lent out"),
            (self.to_come, "still to come"),
            (self.not_counted, "not counted"),
            (self.over, "over"),
        ] {
            if count > 0 {
                words.push_str(&format!(", {count} {what}"));
            }
        }
        words
    }
}

/// The word that fits a number.
pub fn plural<'a>(count: usize, one: &'a str, many: &'a str) -> &'a str {
    if count == 1 { one } else { many }
}

/// What is still to come of a part, given whether its kit's delivery is complete: what is not here and
/// neither lent out nor on order.
pub fn still_to_come(facts: &Facts, delivery_complete: bool) -> i64 {
    if delivery_complete {
        0
    } else {
        (facts.short_now() - facts.lent_out - facts.on_order).max(0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn check(need: i64, good: i64, doubtful: i64, complete: bool, expected: (i64, i64, i64, i64)) {
        let facts = Facts {
            need,
            good,
            doubtful,
            practice_only: 9,
            broken: 9,
            missing: 9,
            borrowed: 9,
            guest: 9,
            ..Facts::default()
        };
        let line = Line {
            part: PartId::new(),
            number: String::new(),
            name: String::new(),
            colour: String::new(),
            how_to_know: String::new(),
            still_to_come: still_to_come(&facts, complete),
            facts,
        };
        let found = (
            line.facts.short_now(),
            line.still_to_come,
            line.short_for_good(),
            line.facts.over(),
        );
        assert_eq!(
            found, expected,
            "need {need}, good {good}, doubtful {doubtful}"
        );
    }

    #[test]
    fn doubtful_pieces_are_here_and_broken_ones_are_not() {
        check(12, 8, 2, true, (2, 0, 2, 0));
        check(12, 8, 4, true, (0, 0, 0, 0));
        check(12, 0, 0, true, (12, 0, 12, 0));
    }

    #[test]
    fn what_is_still_to_come_is_not_short_for_good() {
        check(12, 8, 0, false, (4, 4, 0, 0));
        check(12, 14, 0, false, (0, 0, 0, 2));
    }

    #[test]
    fn over_is_said_and_not_netted() {
        check(0, 3, 0, true, (0, 0, 0, 3));
    }

    #[test]
    fn what_is_lent_out_or_on_order_is_short_now_and_not_for_good() {
        // need, good, lent out, still to come, on order -> short now, short for good, over for good
        for (need, good, lent_out, to_come, on_order, expected) in [
            (12, 8, 4, 0, 0, (4, 0, 0)),
            (12, 8, 0, 0, 3, (4, 1, 0)),
            (12, 8, 1, 1, 1, (4, 1, 0)),
            (12, 8, 4, 0, 2, (4, 0, 2)),
            (12, 14, 2, 0, 0, (0, 0, 4)),
            (0, 0, 0, 0, 0, (0, 0, 0)),
        ] {
            let mut line = account(need, good, to_come, true).line;
            line.facts.lent_out = lent_out;
            line.facts.on_order = on_order;
            let found = (
                line.facts.short_now(),
                line.short_for_good(),
                line.over_for_good(),
            );
            assert_eq!(
                found, expected,
                "need {need}, good {good}, lent out {lent_out}, to come {to_come}, on order {on_order}"
            );
        }
    }

    fn account(need: i64, good: i64, still_to_come: i64, counted: bool) -> Account {
        let part = PartId::new();
        Account {
            line: Line {
                part,
                number: String::new(),
                name: String::new(),
                colour: String::new(),
                how_to_know: String::new(),
                facts: Facts {
                    need,
                    good,
                    ..Facts::default()
                },
                still_to_come,
            },
            spots: vec![Spot {
                place: PlaceId::new(),
                code: Code::from_random(7),
                name: "bag 1".into(),
                part,
                planned: need,
                good,
                doubtful: 0,
                practice_only: 0,
                broken: 0,
                counted_at: counted.then_some(Instant(0)),
            }],
        }
    }

    #[test]
    fn blank_is_not_zero() {
        for (account, expected) in [
            (account(4, 4, 0, true), Standing::AllHere),
            (account(4, 5, 0, true), Standing::Over(1)),
            (account(0, 2, 0, true), Standing::Over(2)),
            (account(4, 1, 3, true), Standing::ToCome(3)),
            (account(4, 0, 4, false), Standing::ToCome(4)),
            (account(4, 0, 0, false), Standing::NotCounted),
            (account(4, 0, 0, true), Standing::Short(4)),
        ] {
            assert_eq!(account.standing(), expected);
        }
    }

    #[test]
    fn what_is_promised_is_still_to_come_and_the_rest_is_short() {
        for (on_order, expected) in [
            (0, Standing::Short(4)),
            (1, Standing::Short(3)),
            (4, Standing::ToCome(4)),
            (5, Standing::ToCome(5)),
        ] {
            let mut promised = account(4, 0, 0, true);
            promised.line.facts.on_order = on_order;
            assert_eq!(promised.standing(), expected, "{on_order} promised");
        }
    }

    #[test]
    fn a_kit_is_summed_up_in_one_sentence() {
        let accounts = [
            account(4, 4, 0, true),
            account(4, 6, 0, true),
            account(0, 1, 0, true),
            account(4, 0, 0, false),
            account(4, 1, 0, true),
            account(4, 1, 3, true),
        ];
        let summary = Summary::of(&accounts);
        assert_eq!(
            summary.words(),
            "2 of 5 lines all here, 1 short, 1 still to come, 1 not counted, 2 over"
        );
        assert_eq!(summary.pieces, 20);
        assert_eq!(Summary::of(&accounts[..1]).words(), "1 of 1 line all here");
    }
}
