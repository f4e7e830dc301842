//! How often the books were right, as counting again showed. Pure.
//!
//! A line is one part in one place, counted again and compared with what the books said then. It is right if
//! both are the same number. Lines are never set off against each other: five too many in one bag and five too
//! few in another are two wrong lines.

use std::collections::BTreeMap;

use crate::clock::Instant;
use crate::ids::{CountId, PartId, PlaceId};
use crate::reckon::accuracy::{Accuracy, Record, accuracy};

/// A line that was counted again.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Line {
    pub count: CountId,
    pub kit_name: String,
    pub closed_at: Instant,
    pub part: PartId,
    pub part_name: String,
    pub place: PlaceId,
    pub place_name: String,
    pub counted: i64,
    /// What counting changed: pieces that were in the place less those in the books.
    pub change: i64,
}

impl Line {
    /// What the books said.
    pub fn book(&self) -> i64 {
        self.counted - self.change
    }

    pub fn is_right(&self) -> bool {
        self.change == 0
    }

    fn record(&self) -> Record {
        Record {
            book: u64::try_from(self.book()).unwrap_or(0),
            counted: u64::try_from(self.counted).unwrap_or(0),
            tolerance_per_mille: 0,
        }
    }
}

/// The lines of one count, or all of them.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Share {
    pub lines: u64,
    pub right: u64,
}

impl Share {
    /// None where nothing was counted.
    fn of<'a>(lines: impl Iterator<Item = &'a Line>) -> Option<Self> {
        let records: Vec<Record> = lines.map(Line::record).collect();
        let Accuracy { right, records } = accuracy(&records).ok()?;
        Some(Self {
            lines: records,
            right,
        })
    }

    /// "94 of 96 lines were right: 97.9 %". Rounded down, so that only all of them are 100 %.
    pub fn words(&self) -> String {
        let tenths = self.right * 1000 / self.lines.max(1);
        let lines = if self.lines == 1 {
            "line was"
        } else {
            "lines were"
        };
        format!(
            "{} of {} {lines} right: {}.{} %",
            self.right,
            self.lines,
            tenths / 10,
            tenths % 10
        )
    }
}

/// A part that was wrong at least once.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Wrong {
    pub part: PartId,
    pub name: String,
    pub lines: u64,
    pub wrong: u64,
    /// Pieces too few in the books and too many, each added up by itself.
    pub too_few: i64,
    pub too_many: i64,
}

/// All lines together.
pub fn total(lines: &[Line]) -> Option<Share> {
    Share::of(lines.iter())
}

/// One count after the other, the latest first.
pub fn by_count(lines: &[Line]) -> Vec<(&Line, Share)> {
    let mut counts: BTreeMap<(Instant, CountId), Vec<&Line>> = BTreeMap::new();
    for line in lines {
        counts
            .entry((line.closed_at, line.count))
            .or_default()
            .push(line);
    }
    counts
        .into_values()
        .rev()
        .filter_map(|lines| Share::of(lines.iter().copied()).map(|share| (lines[0], share)))
        .collect()
}

/// The parts that were wrong, most often first.
pub fn wrong_most(lines: &[Line]) -> Vec<Wrong> {
    let mut parts: BTreeMap<PartId, Wrong> = BTreeMap::new();
    for line in lines {
        let wrong = parts.entry(line.part).or_insert_with(|| Wrong {
            part: line.part,
            name: line.part_name.clone(),
            lines: 0,
            wrong: 0,
            too_few: 0,
            too_many: 0,
        });
        wrong.lines += 1;
        wrong.wrong += u64::from(!line.is_right());
        wrong.too_few += line.change.max(0);
        wrong.too_many += (-line.change).max(0);
    }
    let mut wrong: Vec<Wrong> = parts.into_values().filter(|part| part.wrong > 0).collect();
    wrong.sort_by(|a, b| {
        (b.wrong, b.too_few + b.too_many, &a.name).cmp(&(a.wrong, a.too_few + a.too_many, &b.name))
    });
    wrong
}

#[cfg(test)]
mod tests {
    use super::*;

    fn line(count: CountId, at: i64, part: PartId, name: &str, counted: i64, change: i64) -> Line {
        Line {
            count,
            kit_name: "Kettlehorn".into(),
            closed_at: Instant(at),
            part,
            part_name: name.into(),
            place: PlaceId::new(),
            place_name: "Bag 1".into(),
            counted,
            change,
        }
    }

    #[test]
    fn five_too_many_here_do_not_make_up_for_five_too_few_there() {
        let (first, second) = (CountId::new(), CountId::new());
        let (peg, post) = (PartId::new(), PartId::new());
        let lines = [
            line(first, 1, peg, "Peg", 15, 5),
            line(first, 1, peg, "Peg", 10, -5),
            line(first, 1, post, "Post", 4, 0),
            line(second, 2, post, "Post", 3, -1),
            line(second, 2, peg, "Peg", 0, 0),
        ];
        assert_eq!(
            total(&lines).unwrap().words(),
            "2 of 5 lines were right: 40.0 %"
        );
        let counts = by_count(&lines);
        let words: Vec<String> = counts.iter().map(|(_, share)| share.words()).collect();
        assert_eq!(
            words,
            [
                "1 of 2 lines were right: 50.0 %",
                "1 of 3 lines were right: 33.3 %"
            ]
        );
        assert_eq!(counts[0].0.count, second, "the latest first");
        let wrong = wrong_most(&lines);
        let told: Vec<_> = wrong
            .iter()
            .map(|one| {
                (
                    one.name.as_str(),
                    one.lines,
                    one.wrong,
                    one.too_few,
                    one.too_many,
                )
            })
            .collect();
        assert_eq!(told, [("Peg", 3, 2, 5, 5), ("Post", 2, 1, 0, 1)]);
        assert_eq!(lines[1].book(), 15);
        assert_eq!(total(&[]), None);
        // 999 of 1000 and one more are not all of them.
        let nearly = Share {
            lines: 10_000,
            right: 9_999,
        };
        assert_eq!(nearly.words(), "9999 of 10000 lines were right: 99.9 %");
    }
}
