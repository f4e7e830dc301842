//! What a supplier promised and has not sent yet. Pure.
//!
//! A kit can have several reports under way, and what arrives says nothing about which of them it answers.
//! So pieces of a part go to the oldest report that still lacks it. What a supplier takes back ("never came
//! after all") is taken from the newest first.

use crate::ledger::Seq;

/// One line of a report that was sent.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Asked {
    /// The ledger's last entry when it was sent.
    pub after: Seq,
    /// And when it was closed.
    pub until: Option<Seq>,
    pub short: i64,
    /// `None` while nobody answered.
    pub promised: Option<i64>,
}

impl Asked {
    fn takes(&self, seq: Seq) -> bool {
        self.after < seq && self.until.is_none_or(|until| seq <= until)
    }

    /// Pieces that may be waited for.
    pub fn still_promised(&self, arrived: i64) -> i64 {
        (self.promised.unwrap_or(0) - arrived).max(0)
    }
}

/// How many pieces of one part arrived for each of its reports, which stand in the order in which they were
/// sent. `came` are the entries' pieces in order, below zero for what went back.
pub fn allot(asked: &[Asked], came: &[(Seq, i64)]) -> Vec<i64> {
    let mut arrived = vec![0; asked.len()];
    for &(seq, mut qty) in came {
        let open = || (0..asked.len()).filter(|&at| asked[at].takes(seq));
        for at in open() {
            let taken = qty.clamp(0, (asked[at].short - arrived[at]).max(0));
            arrived[at] += taken;
            qty -= taken;
        }
        for at in open().rev() {
            let given = (-qty).clamp(0, arrived[at]);
            arrived[at] -= given;
            qty += given;
        }
    }
    arrived
}

#[cfg(test)]
mod tests {
    use super::*;

    fn asked(after: Seq, short: i64) -> Asked {
        Asked {
            after,
            until: None,
            short,
            promised: None,
        }
    }

    #[test]
    fn what_arrives_goes_to_the_oldest_report_that_lacks_it() {
        let two = [asked(10, 3), asked(20, 2)];
        for (came, expected) in [
            (vec![], [0, 0]),
            // Before either was sent.
            (vec![(9, 4)], [0, 0]),
            (vec![(10, 4)], [0, 0]),
            // Before the second was sent: what is beyond the first belongs to nobody.
            (vec![(11, 5)], [3, 0]),
            (vec![(21, 2)], [2, 0]),
            (vec![(21, 4)], [3, 1]),
            (vec![(21, 9)], [3, 2]),
            (vec![(11, 1), (21, 3)], [3, 1]),
            // Taken back: the newest first.
            (vec![(21, 5), (22, -1)], [3, 1]),
            (vec![(21, 5), (22, -3)], [2, 0]),
            (vec![(21, 1), (22, -5)], [0, 0]),
        ] {
            assert_eq!(allot(&two, &came), expected, "{came:?}");
        }
    }

    #[test]
    fn what_comes_after_a_report_was_closed_answers_another() {
        let mut two = [asked(10, 3), asked(20, 2)];
        two[0].until = Some(30);
        assert_eq!(allot(&two, &[(25, 1), (30, 1), (31, 2)]), [2, 2]);
    }

    #[test]
    fn only_what_was_promised_is_waited_for() {
        let line = |promised| Asked {
            promised,
            ..asked(1, 4)
        };
        assert_eq!(line(None).still_promised(0), 0);
        assert_eq!(line(Some(0)).still_promised(0), 0);
        assert_eq!(line(Some(3)).still_promised(0), 3);
        assert_eq!(line(Some(3)).still_promised(2), 1);
        assert_eq!(line(Some(3)).still_promised(4), 0);
    }
}
