//! Counted lines added up by count and by part. Pure.

use crate::clock::Instant;
use crate::ids::{CountId, PartId};
use crate::reckon::accuracy::{Accuracy, Record, accuracy};

/// One line of a closed count: what was counted, and what the books had said.
#[derive(Debug, Clone)]
pub struct Counted {
    pub count: CountId,
    pub kit_name: String,
    pub closed_at: Instant,
    pub part: PartId,
    pub part_words: String,
    pub counted: i64,
    pub book: i64,
}

impl Counted {
    fn record(&self) -> Record {
        Record {
            book: self.book.unsigned_abs(),
            counted: self.counted.unsigned_abs(),
            tolerance_per_mille: 0,
        }
    }

    fn off(&self) -> i64 {
        (self.counted - self.book).abs()
    }
}

/// One count of the page.
#[derive(Debug, Clone)]
pub struct OfCount {
    pub count: CountId,
    pub kit_name: String,
    pub closed_at: Instant,
    pub accuracy: Accuracy,
}

/// A part that was wrong at least once.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct OfPart {
    pub part: PartId,
    pub words: String,
    pub wrong: usize,
    pub records: usize,
    /// Pieces too few and too many together.
    pub off: i64,
    /// The counts in which it was wrong, the newest first.
    pub counts: Vec<(CountId, Instant)>,
}

/// All records together; none where nothing was counted again.
pub fn of_all(lines: &[Counted]) -> Option<Accuracy> {
    let records: Vec<Record> = lines.iter().map(Counted::record).collect();
    accuracy(&records).ok()
}

/// Each count, in the order given, whose lines stand together.
pub fn by_count(lines: &[Counted]) -> Vec<OfCount> {
    lines
        .chunk_by(|one, other| one.count == other.count)
        .filter_map(|lines| {
            Some(OfCount {
                count: lines[0].count,
                kit_name: lines[0].kit_name.clone(),
                closed_at: lines[0].closed_at,
                accuracy: of_all(lines)?,
            })
        })
        .collect()
}

/// The parts that were wrong, the most often wrong first, then those that were off by most.
pub fn most_wrong(lines: &[Counted]) -> Vec<OfPart> {
    let mut parts: Vec<OfPart> = Vec::new();
    for line in lines {
        let at = match parts.iter().position(|part| part.part == line.part) {
            Some(at) => at,
            None => {
                parts.push(OfPart {
                    part: line.part,
                    words: line.part_words.clone(),
                    wrong: 0,
                    records: 0,
                    off: 0,
                    counts: Vec::new(),
                });
                parts.len() - 1
            }
        };
        let part = &mut parts[at];
        part.records += 1;
        if line.off() > 0 {
            part.wrong += 1;
            part.off += line.off();
            if part.counts.iter().all(|(count, _)| *count != line.count) {
                part.counts.push((line.count, line.closed_at));
            }
        }
    }
    parts.retain(|part| part.wrong > 0);
    parts.sort_by_key(|part| {
        (
            std::cmp::Reverse((part.wrong, part.off)),
            part.words.clone(),
        )
    });
    parts
}

#[cfg(test)]
mod tests {
    use super::*;

    fn line(count: CountId, part: PartId, book: i64, counted: i64) -> Counted {
        Counted {
            count,
            kit_name: "Kettlehorn".into(),
            closed_at: Instant(0),
            part,
            part_words: "B-4 Peg".into(),
            counted,
            book,
        }
    }

    #[test]
    fn too_many_here_do_not_make_up_for_too_few_there() {
        let (first, second) = (CountId::new(), CountId::new());
        let (peg, lamp) = (PartId::new(), PartId::new());
        let lines = [
            line(first, peg, 8, 10),
            line(first, peg, 8, 6),
            line(first, lamp, 1, 1),
            line(second, peg, 10, 10),
            line(second, lamp, 0, 1),
        ];
        let all = of_all(&lines).unwrap();
        assert_eq!((all.right, all.records), (2, 5));
        let counts = by_count(&lines);
        let found: Vec<_> = counts
            .iter()
            .map(|one| (one.accuracy.right, one.accuracy.records))
            .collect();
        assert_eq!(found, [(1, 3), (1, 2)]);
        let wrong = most_wrong(&lines);
        let found: Vec<_> = wrong
            .iter()
            .map(|part| {
                (
                    part.part,
                    part.wrong,
                    part.records,
                    part.off,
                    part.counts.len(),
                )
            })
            .collect();
        assert_eq!(found, [(peg, 2, 3, 4, 1), (lamp, 1, 2, 1, 1)]);
    }

    #[test]
    fn nothing_counted_is_no_figure() {
        assert_eq!(of_all(&[]), None);
        assert!(most_wrong(&[]).is_empty());
    }
}
