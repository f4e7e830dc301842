//! Everything that was counted in one count, and what it comes to line by line. Pure.

use std::collections::{BTreeMap, BTreeSet, HashMap};

use super::settle::{COUNTS_TO_CHOOSE, COUNTS_TO_CHOOSE_AT_AN_EVENT, Number, Verdict, settle};
use super::tally::Standing;
use crate::ids::{PartId, PlaceId, StintId};
use crate::ledger::Seq;

/// How far a stint has come.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, sqlx::Type)]
#[sqlx(rename_all = "lowercase")]
pub enum StintState {
    Open,
    Done,
    #[sqlx(rename = "set aside")]
    SetAside,
}

/// A stint as far as comparing it needs.
#[derive(Debug, Clone, Copy)]
pub struct StintFacts {
    pub id: StintId,
    pub place: PlaceId,
    pub state: StintState,
    /// The ledger's last entry when it began, and when its counting ended; none while it goes on.
    pub began: Seq,
    pub ended: Option<Seq>,
}

/// An entry that changed how many pieces of a line the books hold.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Touch {
    pub seq: Seq,
    /// The entry it takes back.
    pub corrects: Option<Seq>,
    /// More than zero: pieces came.
    pub delta: i64,
}

/// A line is a part in a place.
pub type LineKey = (PlaceId, PartId);

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Due {
    pub position: i64,
    pub qty: i64,
}

/// All that is known about a count. Stints are in the order in which they began.
#[derive(Debug, Default)]
pub struct CountFacts {
    pub stints: Vec<StintFacts>,
    pub due: BTreeMap<LineKey, Due>,
    pub totals: HashMap<(StintId, PartId), Standing>,
    pub chosen: HashMap<LineKey, StintId>,
    pub touches: HashMap<LineKey, Vec<Touch>>,
    /// The kit is at an event: nobody counts a third time there.
    pub at_event: bool,
}

/// Which stints have a say.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Whose {
    /// Only finished ones.
    Finished,
    /// Open ones too, as they are: what closing now would take.
    All,
}

/// One line and what its counts come to.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Line {
    pub place: PlaceId,
    pub part: PartId,
    pub due: Option<Due>,
    /// Numbers that still hold, in the order their stints began.
    pub numbers: Vec<Number>,
    /// Numbers that do not, because pieces moved while they were being counted.
    pub disturbed: Vec<Disturbed>,
    pub verdict: Verdict,
    /// Enough counts to show them all and choose.
    pub may_choose: bool,
    /// Some tap was made on another number than stood there.
    pub doubted: bool,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Disturbed {
    pub number: Number,
    pub left: i64,
    pub came: i64,
}

impl Line {
    pub fn is_counted(&self) -> bool {
        !self.numbers.is_empty()
    }
}

impl CountFacts {
    pub fn stint(&self, id: StintId) -> Option<&StintFacts> {
        self.stints.iter().find(|stint| stint.id == id)
    }

    /// The stints of a place that are not set aside.
    pub fn counting(&self, place: PlaceId) -> impl Iterator<Item = &StintFacts> {
        self.stints
            .iter()
            .filter(move |stint| stint.place == place && stint.state != StintState::SetAside)
    }

    /// Every line that is due or was counted, due ones in their order first.
    pub fn lines(&self, whose: Whose) -> Vec<Line> {
        let mut keys: BTreeSet<LineKey> = self.due.keys().copied().collect();
        for stint in &self.stints {
            if stint.state == StintState::SetAside {
                continue;
            }
            keys.extend(
                self.totals
                    .keys()
                    .filter(|(of, _)| *of == stint.id)
                    .map(|(_, part)| (stint.place, *part)),
            );
        }
        let mut lines: Vec<Line> = keys.into_iter().map(|key| self.line(key, whose)).collect();
        lines.sort_by_key(|line| line.due.map_or(i64::MAX, |due| due.position));
        lines
    }

    /// After so many differing counts all numbers are shown and somebody chooses.
    pub fn counts_to_choose(&self) -> usize {
        if self.at_event {
            COUNTS_TO_CHOOSE_AT_AN_EVENT
        } else {
            COUNTS_TO_CHOOSE
        }
    }

    /// What one line comes to.
    pub fn line(&self, key: LineKey, whose: Whose) -> Line {
        let (place, part) = key;
        let mut numbers = Vec::new();
        let mut disturbed = Vec::new();
        let mut doubted = false;
        for stint in self.counting(place) {
            if whose == Whose::Finished && stint.state != StintState::Done {
                continue;
            }
            let Some(standing) = self.totals.get(&(stint.id, part)) else {
                continue;
            };
            let Some(qty) = standing.total else { continue };
            doubted |= standing.doubted;
            let number = Number {
                stint: stint.id,
                qty,
            };
            let touches = self.touches.get(&key).map_or(&[][..], Vec::as_slice);
            match disturbance(touches, stint.began, stint.ended) {
                None => numbers.push(number),
                Some((left, came)) => disturbed.push(Disturbed { number, left, came }),
            }
        }
        let enough = self.counts_to_choose();
        Line {
            place,
            part,
            due: self.due.get(&key).copied(),
            verdict: settle(&numbers, self.chosen.get(&key).copied(), enough),
            may_choose: numbers.len() >= enough,
            numbers,
            disturbed,
            doubted,
        }
    }
}

/// How many pieces left and came while a line was being counted; `None` if nothing moved. An entry
/// that was taken back within that time did not disturb.
pub fn disturbance(touches: &[Touch], began: Seq, ended: Option<Seq>) -> Option<(i64, i64)> {
    let during: Vec<&Touch> = touches
        .iter()
        .filter(|touch| touch.seq > began && ended.is_none_or(|ended| touch.seq <= ended))
        .collect();
    let (mut left, mut came) = (0, 0);
    for touch in &during {
        let takes_back = touch
            .corrects
            .is_some_and(|first| during.iter().any(|other| other.seq == first));
        let taken_back = during.iter().any(|other| other.corrects == Some(touch.seq));
        if takes_back || taken_back {
            continue;
        }
        if touch.delta < 0 {
            left -= touch.delta;
        } else {
            came += touch.delta;
        }
    }
    (left > 0 || came > 0).then_some((left, came))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn touch(seq: Seq, delta: i64, corrects: Option<Seq>) -> Touch {
        Touch {
            seq,
            corrects,
            delta,
        }
    }

    #[test]
    fn only_moves_during_the_counting_disturb_it() {
        let cases = [
            (vec![], 10, Some(20), None),
            (vec![touch(10, -4, None)], 10, Some(20), None),
            (vec![touch(11, -4, None)], 10, Some(20), Some((4, 0))),
            (vec![touch(20, 3, None)], 10, Some(20), Some((0, 3))),
            (vec![touch(21, -4, None)], 10, Some(20), None),
            (vec![touch(21, -4, None)], 10, None, Some((4, 0))),
            (
                vec![touch(12, -4, None), touch(13, 1, None)],
                10,
                None,
                Some((4, 1)),
            ),
            // Taken back before the counting ended.
            (
                vec![touch(12, -4, None), touch(13, 4, Some(12))],
                10,
                None,
                None,
            ),
            // Taken back only afterwards.
            (
                vec![touch(12, -4, None), touch(23, 4, Some(12))],
                10,
                Some(20),
                Some((4, 0)),
            ),
        ];
        for (touches, began, ended, disturbed) in cases {
            assert_eq!(
                disturbance(&touches, began, ended),
                disturbed,
                "{touches:?}"
            );
        }
    }

    #[test]
    fn a_disturbed_number_has_no_say_once_somebody_counted_again() {
        let (place, part) = (PlaceId::new(), PartId::new());
        let (first, second) = (StintId::new(), StintId::new());
        let stint = |id, began, ended| StintFacts {
            id,
            place,
            state: StintState::Done,
            began,
            ended: Some(ended),
        };
        let counted = |total| Standing {
            total: Some(total),
            doubted: false,
        };
        let mut facts = CountFacts {
            stints: vec![stint(first, 1, 3)],
            ..CountFacts::default()
        };
        facts.totals.insert((first, part), counted(12));
        facts
            .touches
            .insert((place, part), vec![touch(2, -4, None)]);
        let line = facts.line((place, part), Whose::Finished);
        assert_eq!(line.verdict, Verdict::Uncounted);
        assert_eq!((line.disturbed[0].left, line.disturbed[0].came), (4, 0));

        facts.stints.push(stint(second, 3, 4));
        facts.totals.insert((second, part), counted(8));
        let line = facts.line((place, part), Whose::Finished);
        assert_eq!(line.verdict.standing().map(|number| number.qty), Some(8));
    }
}
