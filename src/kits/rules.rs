//! What a kit has and lacks. Pure.

use crate::ids::PartId;

/// The facts about one part of a kit, from the parts list and the books. All in pieces.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Facts {
    pub need: i64,
    /// In any of its places, assemblies included.
    pub good: i64,
    pub doubtful: i64,
    pub practice_only: i64,
    pub broken: i64,
    /// Signed off as missing.
    pub missing: i64,
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
    /// `max(0, need − here − still to come)`: what nobody expects any more.
    pub fn short_for_good(&self) -> i64 {
        (self.facts.short_now() - self.still_to_come).max(0)
    }

    /// Whether everything this line needs is here.
    pub fn all_here(&self) -> bool {
        self.facts.short_now() == 0
    }
}

/// What is still to come of a part, given whether its kit's delivery is complete.
pub fn still_to_come(facts: &Facts, delivery_complete: bool) -> i64 {
    if delivery_complete {
        0
    } else {
        facts.short_now()
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
}
