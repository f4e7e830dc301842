//! Comparing what several stints counted in one line of one place. Counts are compared, never added. Pure.

use crate::ids::StintId;

/// What one stint counted in the line.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Number {
    pub stint: StintId,
    pub qty: i64,
}

/// After this many differing counts all numbers are shown and somebody chooses.
pub const COUNTS_TO_CHOOSE: usize = 3;
/// At an event the van waits: two are compared, and nobody is sent for a third.
pub const COUNTS_TO_CHOOSE_AT_AN_EVENT: usize = 2;

/// What the counts of a line come to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Verdict {
    /// Nobody counted it.
    Uncounted,
    /// One count, or several that agree, or the one that somebody chose.
    Stands { number: Number, how: How },
    /// They differ, and are too few to choose from: it is counted again from the bag.
    Differs,
    /// They differ, and somebody chooses. `proposed` is a number that most counts share.
    ToChoose { proposed: Option<Number> },
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum How {
    One,
    Agreed,
    Chosen,
}

impl Verdict {
    pub fn standing(&self) -> Option<Number> {
        match self {
            Verdict::Stands { number, .. } => Some(*number),
            Verdict::Uncounted | Verdict::Differs | Verdict::ToChoose { .. } => None,
        }
    }

    pub fn is_open(&self) -> bool {
        matches!(self, Verdict::Differs | Verdict::ToChoose { .. })
    }
}

/// Compares the numbers of a line, in the order in which their stints began. A stint that left the line
/// blank has no number here, and no say. Of equal numbers the latest stands, because the least can have
/// moved since. After `enough` differing counts somebody chooses.
pub fn settle(numbers: &[Number], chosen: Option<StintId>, enough: usize) -> Verdict {
    let Some(last) = numbers.last() else {
        return Verdict::Uncounted;
    };
    if numbers.iter().all(|number| number.qty == last.qty) {
        return Verdict::Stands {
            number: *last,
            how: if numbers.len() == 1 {
                How::One
            } else {
                How::Agreed
            },
        };
    }
    if let Some(number) = numbers.iter().find(|number| Some(number.stint) == chosen) {
        return Verdict::Stands {
            number: *number,
            how: How::Chosen,
        };
    }
    if numbers.len() < enough {
        return Verdict::Differs;
    }
    Verdict::ToChoose {
        proposed: most_agree(numbers),
    }
}

/// The latest of the numbers that more than half of the counts share.
fn most_agree(numbers: &[Number]) -> Option<Number> {
    numbers
        .iter()
        .rev()
        .find(|candidate| {
            let sharing = numbers
                .iter()
                .filter(|number| number.qty == candidate.qty)
                .count();
            2 * sharing > numbers.len()
        })
        .copied()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn counts_are_compared_and_never_added() {
        let stints: Vec<StintId> = (0..4).map(|_| StintId::new()).collect();
        let number = |at: usize, qty| Number {
            stint: stints[at],
            qty,
        };
        let stands = |at, qty, how| Verdict::Stands {
            number: number(at, qty),
            how,
        };
        let cases: Vec<(&[i64], Option<usize>, Verdict)> = vec![
            (&[], None, Verdict::Uncounted),
            (&[], Some(0), Verdict::Uncounted),
            (&[7], None, stands(0, 7, How::One)),
            (&[7, 7], None, stands(1, 7, How::Agreed)),
            (&[7, 8], None, Verdict::Differs),
            (&[0, 0, 0], None, stands(2, 0, How::Agreed)),
            (
                &[7, 8, 8],
                None,
                Verdict::ToChoose {
                    proposed: Some(number(2, 8)),
                },
            ),
            (
                &[8, 8, 7],
                None,
                Verdict::ToChoose {
                    proposed: Some(number(1, 8)),
                },
            ),
            (&[6, 7, 8], None, Verdict::ToChoose { proposed: None }),
            (&[7, 7, 8, 8], None, Verdict::ToChoose { proposed: None }),
            (&[6, 7, 8], Some(0), stands(0, 6, How::Chosen)),
            // Somebody chose a stint that has no number here any more.
            (&[6, 7, 8], Some(3), Verdict::ToChoose { proposed: None }),
        ];
        for (quantities, chosen, verdict) in cases {
            let numbers: Vec<Number> = quantities
                .iter()
                .enumerate()
                .map(|(at, qty)| number(at, *qty))
                .collect();
            let chosen = chosen.map(|at| stints[at]);
            assert_eq!(
                settle(&numbers, chosen, COUNTS_TO_CHOOSE),
                verdict,
                "{quantities:?}"
            );
        }
        let two = [number(0, 7), number(1, 8)];
        assert_eq!(
            settle(&two, None, COUNTS_TO_CHOOSE_AT_AN_EVENT),
            Verdict::ToChoose { proposed: None }
        );
    }
}
