//! Which lines are worth a second count, by somebody who does not see the first. Pure.
//!
//! Counting everything twice costs as much again and mostly confirms. A line is counted again for what happened
//! to it, never for its size: it came out short or over after every place was looked through, nothing else could
//! make up for it, or the bag changed hands while it was counted. At an event nobody counts a second time: what
//! lies in another crate settles there.

use std::cmp::Ordering;
use std::collections::{BTreeSet, HashMap, HashSet};

use super::facts::{CountFacts, Line, LineKey, Whose};
use super::settle::{How, Verdict};
use crate::ids::{PartId, PersonId, PlaceId, StintId};

/// What makes a second count worth while.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Why {
    Short,
    /// Short, and no other kit of the team has one over: it stops the build.
    ShortWithoutSpare,
    Over,
    HandedOver,
}

impl Why {
    pub fn words(self) -> &'static str {
        match self {
            Why::Short => "short, after every place was looked through",
            Why::ShortWithoutSpare => "short, and none of your other kits has one over",
            Why::Over => "over, after every place was looked through",
            Why::HandedOver => "somebody else went on with it",
        }
    }
}

/// A line, and why it is worth a second count.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Second {
    pub place: PlaceId,
    pub part: PartId,
    pub why: Why,
}

/// One tap as far as hand-overs ask: in the order in which they were recorded.
#[derive(Debug, Clone, Copy)]
pub struct TapBy {
    pub stint: StintId,
    pub place: PlaceId,
    pub part: PartId,
    pub person: PersonId,
}

/// The lines at which somebody else went on with a stint: the last one tapped before, and the first one after.
pub fn hand_overs(taps: &[TapBy]) -> BTreeSet<LineKey> {
    let mut last: HashMap<StintId, TapBy> = HashMap::new();
    let mut lines = BTreeSet::new();
    for tap in taps {
        if let Some(before) = last.insert(tap.stint, *tap)
            && before.person != tap.person
        {
            lines.insert((before.place, before.part));
            lines.insert((tap.place, tap.part));
        }
    }
    lines
}

/// A line that was counted once, and whether that came out short or over for good.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Once {
    place: PlaceId,
    part: PartId,
    off: Option<Off>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Off {
    Short,
    Over,
}

impl Once {
    /// Spares elsewhere matter to it.
    pub fn is_short(&self) -> bool {
        self.off == Some(Off::Short)
    }
}

/// The lines that one person counted and nobody else, in the order of the count's lines: only among these is
/// anything worth a second count. Two that agree, or one that somebody chose, have had theirs.
pub fn counted_once(facts: &CountFacts) -> Vec<Once> {
    if facts.at_event {
        return Vec::new();
    }
    let lines = facts.lines(Whose::Finished);
    let mut of_part: HashMap<PartId, Vec<&Line>> = HashMap::new();
    for line in &lines {
        of_part.entry(line.part).or_default().push(line);
    }
    lines
        .iter()
        .filter_map(|line| {
            let Verdict::Stands {
                number,
                how: How::One,
            } = line.verdict
            else {
                return None;
            };
            Some(Once {
                place: line.place,
                part: line.part,
                off: off(line, number.qty, &of_part[&line.part]),
            })
        })
        .collect()
}

/// Those of them that are worth a second count. `spared` are the parts of which another kit of the team has some
/// over.
pub fn worth_it(
    once: &[Once],
    handed_over: &BTreeSet<LineKey>,
    spared: &HashSet<PartId>,
) -> Vec<Second> {
    once.iter()
        .filter_map(|line| {
            let why = match line.off {
                Some(Off::Short) if spared.contains(&line.part) => Why::Short,
                Some(Off::Short) => Why::ShortWithoutSpare,
                Some(Off::Over) => Why::Over,
                None if handed_over.contains(&(line.place, line.part)) => Why::HandedOver,
                None => return None,
            };
            Some(Second {
                place: line.place,
                part: line.part,
                why,
            })
        })
        .collect()
}

/// Whether a line is short or over for good: it differs from what is due, the part's lines together differ too,
/// and none of them is left to look through.
fn off(line: &Line, qty: i64, of_part: &[&Line]) -> Option<Off> {
    let due = line.due?.qty;
    let mut together = 0;
    for other in of_part {
        let counted = match (&other.verdict, other.due) {
            (Verdict::Stands { number, .. }, _) => number.qty,
            // Not counted, or counted and in doubt: look there first.
            (_, Some(_)) => return None,
            (_, None) => 0,
        };
        together += counted - other.due.map_or(0, |due| due.qty);
    }
    match (qty.cmp(&due), together.cmp(&0)) {
        (Ordering::Less, Ordering::Less) => Some(Off::Short),
        (Ordering::Greater, Ordering::Greater) => Some(Off::Over),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::super::facts::{Due, StintFacts, StintState};
    use super::super::tally::Standing;
    use super::*;

    /// Two bags, one part: what is due in each, and what each stint of it counted.
    fn facts(bags: &[(i64, &[Option<i64>])]) -> (CountFacts, PartId, Vec<PlaceId>) {
        let part = PartId::new();
        let mut facts = CountFacts::default();
        let mut places = Vec::new();
        for (position, (due, counts)) in bags.iter().enumerate() {
            let place = PlaceId::new();
            places.push(place);
            facts.due.insert(
                (place, part),
                Due {
                    position: position as i64,
                    qty: *due,
                },
            );
            for count in *counts {
                let id = StintId::new();
                facts.stints.push(StintFacts {
                    id,
                    place,
                    state: StintState::Done,
                    began: 1,
                    ended: Some(1),
                });
                if let Some(qty) = count {
                    facts.totals.insert(
                        (id, part),
                        Standing {
                            total: Some(*qty),
                            doubted: false,
                        },
                    );
                }
            }
        }
        (facts, part, places)
    }

    fn whys(facts: &CountFacts, handed: &BTreeSet<LineKey>, spared: &HashSet<PartId>) -> Vec<Why> {
        worth_it(&counted_once(facts), handed, spared)
            .into_iter()
            .map(|second| second.why)
            .collect()
    }

    #[test]
    fn lines_are_counted_again_for_what_happened_and_never_for_their_size() {
        use Why::{Over, ShortWithoutSpare};
        type Bags<'a> = &'a [(i64, &'a [Option<i64>])];
        let cases: [(Bags<'_>, Vec<Why>); 9] = [
            (&[(12, &[Some(12)])], vec![]),
            // Ten thousand that are all here are not counted again.
            (&[(10_000, &[Some(10_000)])], vec![]),
            (&[(1, &[Some(0)])], vec![ShortWithoutSpare]),
            (&[(4, &[Some(5)])], vec![Over]),
            // Still to look through another bag.
            (&[(12, &[Some(10)]), (8, &[])], vec![]),
            (&[(12, &[Some(10)]), (8, &[None])], vec![]),
            // What lacks here lies there.
            (&[(12, &[Some(10)]), (8, &[Some(10)])], vec![]),
            // One bag is short, the other all here: only the short one.
            (
                &[(12, &[Some(10)]), (8, &[Some(8)])],
                vec![ShortWithoutSpare],
            ),
            // Counted twice alike: that is settled.
            (&[(12, &[Some(10), Some(10)])], vec![]),
        ];
        for (bags, expected) in cases {
            let (facts, ..) = facts(bags);
            assert_eq!(
                whys(&facts, &BTreeSet::new(), &HashSet::new()),
                expected,
                "{bags:?}"
            );
        }
    }

    #[test]
    fn a_spare_elsewhere_takes_the_edge_off_and_an_event_the_whole() {
        let (mut facts, part, places) = facts(&[(12, &[Some(10)])]);
        let spared = HashSet::from([part]);
        assert_eq!(whys(&facts, &BTreeSet::new(), &spared), vec![Why::Short]);
        facts.at_event = true;
        let handed = BTreeSet::from([(places[0], part)]);
        assert_eq!(whys(&facts, &handed, &spared), vec![]);
    }

    #[test]
    fn a_bag_that_changed_hands_is_counted_again_where_it_did() {
        let (stint, place) = (StintId::new(), PlaceId::new());
        let parts: Vec<PartId> = (0..4).map(|_| PartId::new()).collect();
        let (one, other) = (PersonId::new(), PersonId::new());
        let taps: Vec<TapBy> = [(0, one), (1, one), (2, other), (3, other)]
            .into_iter()
            .map(|(part, person)| TapBy {
                stint,
                place,
                part: parts[part],
                person,
            })
            .collect();
        let lines = hand_overs(&taps);
        assert_eq!(
            lines,
            BTreeSet::from([(place, parts[1]), (place, parts[2])])
        );
        assert!(hand_overs(&taps[..2]).is_empty());

        let (facts, part, places) = facts(&[(12, &[Some(12)])]);
        let handed = BTreeSet::from([(places[0], part)]);
        assert_eq!(
            whys(&facts, &handed, &HashSet::new()),
            vec![Why::HandedOver]
        );
    }

    #[test]
    fn spares_elsewhere_matter_only_where_a_line_is_short() {
        type Bags<'a> = &'a [(i64, &'a [Option<i64>])];
        let cases: [(Bags<'_>, usize, bool); 6] = [
            // Nothing is counted yet.
            (&[(12, &[])], 0, false),
            (&[(12, &[Some(12)])], 1, false),
            (&[(12, &[Some(13)])], 1, false),
            (&[(12, &[Some(10)])], 1, true),
            // Short here, and a bag is left to look through.
            (&[(12, &[Some(10)]), (8, &[])], 1, false),
            // Counted twice.
            (&[(12, &[Some(10), Some(10)])], 0, false),
        ];
        for (bags, lines, short) in cases {
            let once = counted_once(&facts(bags).0);
            assert_eq!(once.len(), lines, "{bags:?}");
            assert_eq!(once.iter().any(Once::is_short), short, "{bags:?}");
        }
    }
}
