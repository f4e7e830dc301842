//! How far a count has come, in words and parts. Pure.

use super::facts::{CountFacts, Line, StintState, Whose};
use super::settle::{How, Verdict};
use crate::ids::PlaceId;

/// What a bag list says about a place.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PlaceState {
    NotBegun,
    /// Some stint is open.
    BeingCounted,
    Counted,
    /// Counts of a line differ.
    Differs,
    /// Two or more counts agree, or somebody chose.
    Settled,
}

impl PlaceState {
    pub fn word(self) -> &'static str {
        match self {
            PlaceState::NotBegun => "not begun",
            PlaceState::BeingCounted => "being counted",
            PlaceState::Counted => "counted",
            PlaceState::Differs => "counts differ",
            PlaceState::Settled => "settled",
        }
    }
}

/// One place's progress. Shorts and overs are pieces, known once the place is counted.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PlaceProgress {
    pub place: PlaceId,
    pub state: PlaceState,
    /// Lines that are due here.
    pub due_lines: usize,
    /// Due lines with a number.
    pub done_lines: usize,
    /// Lines with a number that nobody expected here.
    pub other_lines: usize,
    /// Due lines that lack pieces.
    pub short_lines: usize,
    pub short: i64,
    pub over: i64,
    pub differing_lines: usize,
    /// Lines that pieces left or entered while they were being counted.
    pub sent_back: usize,
    pub doubted: bool,
}

impl PlaceProgress {
    pub fn is_finished(&self) -> bool {
        matches!(self.state, PlaceState::Counted | PlaceState::Settled)
    }

    /// Whether this count has anything to do with the place.
    pub fn takes_part(&self) -> bool {
        self.due_lines > 0 || self.state != PlaceState::NotBegun
    }
}

/// The progress of each of `places`, in their order.
pub fn of_places(facts: &CountFacts, places: &[PlaceId]) -> Vec<PlaceProgress> {
    let all = facts.lines(Whose::All);
    let finished = facts.lines(Whose::Finished);
    places
        .iter()
        .map(|place| of_place(facts, *place, &all, &finished))
        .collect()
}

fn of_place(facts: &CountFacts, place: PlaceId, all: &[Line], finished: &[Line]) -> PlaceProgress {
    let mut progress = PlaceProgress {
        place,
        state: PlaceState::NotBegun,
        due_lines: 0,
        done_lines: 0,
        other_lines: 0,
        short_lines: 0,
        short: 0,
        over: 0,
        differing_lines: 0,
        sent_back: 0,
        doubted: false,
    };
    for line in all.iter().filter(|line| line.place == place) {
        progress.doubted |= line.doubted;
        match (line.due.is_some(), line.is_counted()) {
            (true, true) => {
                progress.due_lines += 1;
                progress.done_lines += 1;
            }
            (true, false) => progress.due_lines += 1,
            (false, true) => progress.other_lines += 1,
            (false, false) => {}
        }
    }
    let mut compared = false;
    for line in finished.iter().filter(|line| line.place == place) {
        if !line.is_counted() && !line.disturbed.is_empty() {
            progress.sent_back += 1;
        }
        match line.verdict {
            Verdict::Uncounted => {}
            Verdict::Differs | Verdict::ToChoose { .. } => progress.differing_lines += 1,
            Verdict::Stands { number, how } => {
                compared |= how != How::One;
                let due = line.due.map_or(0, |due| due.qty);
                if number.qty < due {
                    progress.short_lines += 1;
                    progress.short += due - number.qty;
                }
                // Where no slip says what is due, nothing is over.
                if line.due.is_some() {
                    progress.over += (number.qty - due).max(0);
                }
            }
        }
    }
    let (mut open, mut done) = (0, 0);
    for stint in facts.counting(place) {
        match stint.state {
            StintState::Open => open += 1,
            StintState::Done => done += 1,
            StintState::SetAside => {}
        }
    }
    progress.state = if open > 0 {
        PlaceState::BeingCounted
    } else if done == 0 {
        PlaceState::NotBegun
    } else if progress.differing_lines > 0 {
        PlaceState::Differs
    } else if compared {
        PlaceState::Settled
    } else {
        PlaceState::Counted
    };
    progress
}

/// A whole count's progress.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Progress {
    pub due_lines: usize,
    pub done_lines: usize,
    pub other_lines: usize,
    pub places: usize,
    pub finished_places: usize,
    pub short_lines: usize,
    pub differing_lines: usize,
}

/// Adds the places up that take part in the count.
pub fn of_count(places: &[PlaceProgress]) -> Progress {
    let mut all = Progress::default();
    for place in places.iter().filter(|place| place.takes_part()) {
        all.due_lines += place.due_lines;
        all.done_lines += place.done_lines;
        all.other_lines += place.other_lines;
        all.places += 1;
        all.finished_places += usize::from(place.is_finished());
        all.short_lines += place.short_lines;
        all.differing_lines += place.differing_lines;
    }
    all
}

impl Progress {
    /// "41 of 96 lines · 5 of 9 bags · 3 short so far".
    pub fn words(&self) -> String {
        let mut words = Vec::new();
        if self.due_lines > 0 {
            words.push(format!("{} of {} lines", self.done_lines, self.due_lines));
            if self.other_lines > 0 {
                words.push(format!("{} more lines counted", self.other_lines));
            }
        } else {
            words.push(match self.other_lines {
                1 => "1 line counted".into(),
                lines => format!("{lines} lines counted"),
            });
        }
        words.push(match self.places {
            0 => "no bag begun".into(),
            1 => format!("{} of 1 bag", self.finished_places),
            places => format!("{} of {places} bags", self.finished_places),
        });
        if self.short_lines > 0 {
            words.push(format!("{} short so far", self.short_lines));
        }
        match self.differing_lines {
            0 => {}
            1 => words.push("the counts of 1 line differ".into()),
            lines => words.push(format!("the counts of {lines} lines differ")),
        }
        words.join(" · ")
    }
}

#[cfg(test)]
mod tests {
    use super::super::facts::{Due, StintFacts};
    use super::super::tally::Standing;
    use super::*;
    use crate::ids::{PartId, StintId};

    /// A stint's state and its numbers for two lines.
    type Numbers = (StintState, [Option<i64>; 2]);

    /// One bag with two due lines of 4 each; each stint's numbers for the two, and its state.
    fn bag(stints: &[Numbers]) -> PlaceProgress {
        let place = PlaceId::new();
        let parts = [PartId::new(), PartId::new()];
        let mut facts = CountFacts::default();
        for (position, part) in (0..).zip(parts) {
            facts.due.insert((place, part), Due { position, qty: 4 });
        }
        for (state, numbers) in stints {
            let id = StintId::new();
            facts.stints.push(StintFacts {
                id,
                place,
                state: *state,
                began: 0,
                ended: Some(0),
            });
            for (part, number) in parts.into_iter().zip(numbers) {
                if number.is_some() {
                    let standing = Standing {
                        total: *number,
                        doubted: false,
                    };
                    facts.totals.insert((id, part), standing);
                }
            }
        }
        of_places(&facts, &[place]).remove(0)
    }

    #[test]
    fn a_bag_says_how_far_it_is() {
        use PlaceState::*;
        use StintState::*;
        let cases: Vec<(&[Numbers], PlaceState, usize, i64, i64)> = vec![
            // stints, state, lines done, short, over
            (&[], NotBegun, 0, 0, 0),
            (&[(SetAside, [Some(4), Some(4)])], NotBegun, 0, 0, 0),
            // While it is being counted nothing is short yet.
            (&[(Open, [Some(1), None])], BeingCounted, 1, 0, 0),
            (&[(Done, [Some(4), Some(4)])], Counted, 2, 0, 0),
            // Errors are never netted against each other.
            (&[(Done, [Some(1), Some(6)])], Counted, 2, 3, 2),
            (&[(Done, [Some(0), None])], Counted, 1, 4, 0),
            (
                &[(Done, [Some(4), Some(4)]), (Done, [Some(4), Some(3)])],
                Differs,
                2,
                0,
                0,
            ),
            (
                &[(Done, [Some(4), Some(3)]), (Done, [Some(4), Some(3)])],
                Settled,
                2,
                1,
                0,
            ),
            (
                &[(Done, [Some(4), Some(3)]), (Open, [None, None])],
                BeingCounted,
                2,
                1,
                0,
            ),
        ];
        for (stints, state, done_lines, short, over) in cases {
            let progress = bag(stints);
            assert_eq!(progress.state, state, "{stints:?}");
            assert_eq!(progress.due_lines, 2);
            assert_eq!(progress.done_lines, done_lines, "{stints:?}");
            assert_eq!((progress.short, progress.over), (short, over), "{stints:?}");
        }
    }

    #[test]
    fn progress_is_told_in_words_and_parts() {
        let progress = |due_lines, done_lines, other_lines, places, finished, short, differing| {
            Progress {
                due_lines,
                done_lines,
                other_lines,
                places,
                finished_places: finished,
                short_lines: short,
                differing_lines: differing,
            }
            .words()
        };
        let cases = [
            (
                progress(96, 41, 0, 9, 5, 3, 0),
                "41 of 96 lines · 5 of 9 bags · 3 short so far",
            ),
            (
                progress(0, 0, 0, 0, 0, 0, 0),
                "0 lines counted · no bag begun",
            ),
            (progress(0, 0, 1, 1, 0, 0, 0), "1 line counted · 0 of 1 bag"),
            (
                progress(8, 8, 2, 2, 2, 0, 1),
                "8 of 8 lines · 2 more lines counted · 2 of 2 bags · the counts of 1 line differ",
            ),
        ];
        for (words, expected) in cases {
            assert_eq!(words, expected);
        }
    }
}
