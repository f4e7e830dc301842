//! How a report stands, from its lines and the steps that were taken about it.

use crate::clock::{Day, Instant};
use crate::ids::{PartId, PersonId};
use crate::ledger::Seq;

/// One kind of step.
#[derive(Debug, Clone, Copy, PartialEq, Eq, sqlx::Type)]
#[sqlx(rename_all = "lowercase")]
pub enum Kind {
    Sent,
    Answered,
    Arrived,
    Closed,
    #[sqlx(rename = "taken back")]
    TakenBack,
}

impl Kind {
    pub const ALL: [Kind; 5] = [
        Kind::Sent,
        Kind::Answered,
        Kind::Arrived,
        Kind::Closed,
        Kind::TakenBack,
    ];
}

/// The state as stored.
#[derive(Debug, Clone, Copy, PartialEq, Eq, sqlx::Type)]
#[sqlx(rename_all = "lowercase")]
pub enum State {
    Open,
    Closed,
    #[sqlx(rename = "not sent")]
    NotSent,
}

/// A step as it was taken.
#[derive(Debug, Clone)]
pub struct Step {
    pub line: i64,
    pub kind: Kind,
    /// The day on which it happened.
    pub day: Day,
    pub words: String,
    pub entry: Option<Seq>,
    /// The entry was taken back in the ledger.
    pub entry_undone: bool,
    pub undoes: Option<i64>,
    pub person: PersonId,
    pub done_at: Instant,
}

/// One line as it was reported, and what became of it.
#[derive(Debug, Clone)]
pub struct Line {
    pub line: i64,
    pub part: PartId,
    pub number: String,
    pub name: String,
    pub colour: String,
    pub need: i64,
    pub received: i64,
    pub not_good: i64,
    pub short: i64,
    pub over: i64,
    /// What the last answer about it promised; `None` while nobody answered.
    pub promised: Option<i64>,
    pub by: Option<Day>,
    pub arrived: i64,
}

impl Line {
    /// "Peg, black (B-4)".
    fn called(&self) -> String {
        let mut words = self.name.clone();
        if !self.colour.is_empty() {
            words.push_str(", ");
            words.push_str(&self.colour);
        }
        if !self.number.is_empty() {
            words.push_str(&format!(" ({})", self.number));
        }
        words
    }

    /// What is asked of a line when something arrived.
    pub fn came_label(&self) -> String {
        format!("{}, of {} that lack", self.called(), self.lacks())
    }

    /// What is asked of a line when it was spoken of.
    pub fn promised_label(&self) -> String {
        format!("{}, of {}", self.called(), self.short)
    }

    /// Reported short, and not come.
    pub fn lacks(&self) -> i64 {
        (self.short - self.arrived).max(0)
    }

    /// Promised, and not come.
    pub fn waited_for(&self) -> i64 {
        (self.promised.unwrap_or(0) - self.arrived).max(0)
    }
}

/// How a report stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Standing {
    /// It was written down by mistake.
    NotSent,
    /// Nobody answered.
    Sent,
    /// Answered, and nothing is promised that has not come.
    Answered {
        lacks: i64,
    },
    /// So many pieces are promised and have not come, some of them by a day.
    Promised {
        pieces: i64,
        by: Option<Day>,
    },
    /// All that was short has come. Somebody has to close it.
    AllArrived,
    Closed,
}

impl Standing {
    /// Whether something can still be written down about it.
    pub fn is_under_way(self) -> bool {
        !matches!(self, Standing::NotSent | Standing::Closed)
    }
}

/// Whether a step still counts: it was not taken back, here or in the ledger.
pub fn is_in_force(step: &Step, steps: &[Step]) -> bool {
    !step.entry_undone && steps.iter().all(|other| other.undoes != Some(step.line))
}

/// How a report stands.
pub fn stands(state: State, lines: &[Line], steps: &[Step]) -> Standing {
    match state {
        State::NotSent => return Standing::NotSent,
        State::Closed => return Standing::Closed,
        State::Open => {}
    }
    let short: i64 = lines.iter().map(|line| line.short).sum();
    let lacks: i64 = lines.iter().map(Line::lacks).sum();
    let pieces: i64 = lines.iter().map(Line::waited_for).sum();
    let is_answered = steps
        .iter()
        .any(|step| step.kind == Kind::Answered && is_in_force(step, steps));
    if short > 0 && lacks == 0 {
        Standing::AllArrived
    } else if pieces > 0 {
        let by = lines
            .iter()
            .filter(|line| line.waited_for() > 0)
            .filter_map(|line| line.by)
            .min();
        Standing::Promised { pieces, by }
    } else if is_answered {
        Standing::Answered { lacks }
    } else {
        Standing::Sent
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn line(short: i64, promised: Option<i64>, arrived: i64, by: Option<&str>) -> Line {
        Line {
            line: 1,
            part: PartId::new(),
            number: "B-4".into(),
            name: "Peg".into(),
            colour: "black".into(),
            need: 20,
            received: 20 - short,
            not_good: 0,
            short,
            over: 0,
            promised,
            by: by.map(|day| day.parse().unwrap()),
            arrived,
        }
    }

    fn step(line: i64, kind: Kind, undoes: Option<i64>) -> Step {
        Step {
            line,
            kind,
            day: "2027-03-03".parse().unwrap(),
            words: String::new(),
            entry: None,
            entry_undone: false,
            undoes,
            person: PersonId::new(),
            done_at: Instant(0),
        }
    }

    #[test]
    fn a_report_stands_as_its_lines_do() {
        let sent = [step(1, Kind::Sent, None)];
        let answered = [step(1, Kind::Sent, None), step(2, Kind::Answered, None)];
        let none = [line(4, None, 0, None)];
        assert_eq!(stands(State::Open, &none, &sent), Standing::Sent);
        // An answer without a promise, and one that promises none.
        let unpromised = Standing::Answered { lacks: 4 };
        assert_eq!(stands(State::Open, &none, &answered), unpromised);
        let refused = [line(4, Some(0), 0, None)];
        assert_eq!(stands(State::Open, &refused, &answered), unpromised);
        // The earliest day of what is waited for.
        let promised = [
            line(4, Some(3), 1, Some("2027-04-02")),
            line(1, Some(1), 0, Some("2027-03-20")),
            line(2, Some(2), 2, Some("2027-03-10")),
        ];
        let waits = Standing::Promised {
            pieces: 3,
            by: Some("2027-03-20".parse().unwrap()),
        };
        assert_eq!(stands(State::Open, &promised, &answered), waits);
        // What was promised has come, and some of the rest is short.
        let partly = [line(4, Some(3), 3, None)];
        let left = Standing::Answered { lacks: 1 };
        assert_eq!(stands(State::Open, &partly, &answered), left);
        let all = [line(4, None, 4, None)];
        assert_eq!(stands(State::Open, &all, &sent), Standing::AllArrived);
        assert_eq!(stands(State::Closed, &none, &sent), Standing::Closed);
        assert_eq!(stands(State::NotSent, &none, &sent), Standing::NotSent);
    }

    #[test]
    fn an_answer_that_was_taken_back_is_none() {
        let steps = [
            step(1, Kind::Sent, None),
            step(2, Kind::Answered, None),
            step(3, Kind::TakenBack, Some(2)),
        ];
        let lines = [line(4, None, 0, None)];
        assert_eq!(stands(State::Open, &lines, &steps), Standing::Sent);
    }

    #[test]
    fn a_report_of_pieces_that_are_over_waits_for_nothing() {
        let mut over = line(0, None, 0, None);
        over.over = 2;
        let sent = [step(1, Kind::Sent, None)];
        assert_eq!(stands(State::Open, &[over], &sent), Standing::Sent);
    }
}
