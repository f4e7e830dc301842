//! How an order line stands, from the steps that were taken about it.

use crate::clock::{Day, Instant};
use crate::ids::PersonId;
use crate::ledger::Seq;

/// One kind of step.
#[derive(Debug, Clone, Copy, PartialEq, Eq, sqlx::Type)]
#[sqlx(rename_all = "lowercase")]
pub enum Kind {
    Ordered,
    Arrived,
    #[sqlx(rename = "called off")]
    CalledOff,
    #[sqlx(rename = "taken back")]
    TakenBack,
}

impl Kind {
    pub const ALL: [Kind; 4] = [
        Kind::Ordered,
        Kind::Arrived,
        Kind::CalledOff,
        Kind::TakenBack,
    ];
}

/// What is kept beside a line, so that open ones are found quickly.
#[derive(Debug, Clone, Copy, PartialEq, Eq, sqlx::Type)]
#[sqlx(rename_all = "lowercase")]
pub enum State {
    Waiting,
    Ordered,
    #[sqlx(rename = "called off")]
    CalledOff,
}

impl State {
    pub const ALL: [State; 3] = [State::Waiting, State::Ordered, State::CalledOff];
}

/// A step as it was taken.
#[derive(Debug, Clone)]
pub struct Step {
    pub line: i64,
    pub kind: Kind,
    pub day: Day,
    /// Ordered: from whom. Called off: why.
    pub words: String,
    /// Ordered: expected by the end of this day.
    pub by: Option<Day>,
    /// Arrived: so many.
    pub qty: i64,
    pub entry: Option<Seq>,
    /// The entry was taken back in the ledger.
    pub entry_undone: bool,
    pub undoes: Option<i64>,
    pub person: PersonId,
    pub done_at: Instant,
}

/// How a line stands.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Standing {
    /// So many wait for the next order.
    Waiting {
        left: i64,
    },
    /// So many are on order, from somebody, expected by a day if anybody said.
    Ordered {
        left: i64,
        from: String,
        by: Option<Day>,
    },
    /// All that was wanted is here.
    Arrived,
    CalledOff,
}

impl Standing {
    /// Pieces that are still wanted or waited for.
    pub fn left(&self) -> i64 {
        match self {
            Standing::Waiting { left } | Standing::Ordered { left, .. } => *left,
            Standing::Arrived | Standing::CalledOff => 0,
        }
    }

    pub fn is_open(&self) -> bool {
        self.left() > 0
    }

    /// Whether it should have been here before today.
    pub fn is_late(&self, today: Day) -> bool {
        matches!(self, Standing::Ordered { by: Some(by), .. } if *by < today)
    }
}

/// Whether a step still counts: it was not taken back, here or in the ledger.
pub fn is_in_force(step: &Step, steps: &[Step]) -> bool {
    !step.entry_undone && steps.iter().all(|other| other.undoes != Some(step.line))
}

/// Pieces that arrived.
pub fn arrived(steps: &[Step]) -> i64 {
    let in_force = steps.iter().filter(|step| is_in_force(step, steps));
    in_force.map(|step| step.qty).sum()
}

/// How a line of so many pieces stands after its steps. What arrived counts, whether or not anybody wrote
/// down before that it was ordered.
pub fn standing(qty: i64, steps: &[Step]) -> Standing {
    let left = qty - arrived(steps);
    let mut found = Standing::Waiting { left };
    for step in steps.iter().filter(|step| is_in_force(step, steps)) {
        match step.kind {
            Kind::CalledOff => return Standing::CalledOff,
            Kind::Ordered => {
                found = Standing::Ordered {
                    left,
                    from: step.words.clone(),
                    by: step.by,
                }
            }
            Kind::Arrived | Kind::TakenBack => {}
        }
    }
    if left <= 0 { Standing::Arrived } else { found }
}

/// What is kept beside the line after its steps. What has arrived whole stays as it was before.
pub fn state(steps: &[Step]) -> State {
    let in_force = || steps.iter().filter(|step| is_in_force(step, steps));
    if in_force().any(|step| step.kind == Kind::CalledOff) {
        State::CalledOff
    } else if in_force().any(|step| step.kind == Kind::Ordered) {
        State::Ordered
    } else {
        State::Waiting
    }
}

/// Why a step is not taken, in words for the person.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum StepRefused {
    #[error("this order line was called off; take that back first")]
    CalledOff,
    #[error("all of it has arrived")]
    Arrived,
    #[error("it was ordered already; take that back first to order it elsewhere")]
    Ordered,
    #[error("this was taken back before")]
    TakenBack,
    #[error("take back first what happened to it later")]
    Later,
}

/// Whether a line that stands so may be ordered, arrive or be called off.
pub fn may(kind: Kind, standing: &Standing) -> Result<(), StepRefused> {
    match (kind, standing) {
        (_, Standing::CalledOff) => Err(StepRefused::CalledOff),
        (Kind::Ordered | Kind::CalledOff, Standing::Arrived) => Err(StepRefused::Arrived),
        (Kind::Ordered, Standing::Ordered { .. }) => Err(StepRefused::Ordered),
        // More may come in a second parcel than was wanted.
        (Kind::Arrived, _) | (Kind::Ordered | Kind::CalledOff, Standing::Waiting { .. }) => Ok(()),
        (Kind::CalledOff, Standing::Ordered { .. }) | (Kind::TakenBack, _) => Ok(()),
    }
}

/// Whether a step may be taken back: the latest first, but for what arrived, which the ledger guards.
pub fn may_take_back(taken: &Step, steps: &[Step]) -> Result<(), StepRefused> {
    if taken.kind == Kind::TakenBack || !is_in_force(taken, steps) {
        return Err(StepRefused::TakenBack);
    }
    let later = steps.iter().any(|step| {
        step.line > taken.line && step.kind != Kind::TakenBack && is_in_force(step, steps)
    });
    if later && taken.kind != Kind::Arrived {
        return Err(StepRefused::Later);
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn day(text: &str) -> Day {
        text.parse().expect("a day")
    }

    fn step(line: i64, kind: Kind, qty: i64) -> Step {
        Step {
            line,
            kind,
            day: day("2027-03-04"),
            words: match kind {
                Kind::Ordered => "Kolm Works".into(),
                _ => String::new(),
            },
            by: (kind == Kind::Ordered).then(|| day("2027-03-20")),
            qty,
            entry: (kind == Kind::Arrived).then_some(line),
            entry_undone: false,
            undoes: None,
            person: PersonId::new(),
            done_at: Instant(0),
        }
    }

    fn back(line: i64, undoes: i64) -> Step {
        Step {
            undoes: Some(undoes),
            ..step(line, Kind::TakenBack, 0)
        }
    }

    fn ordered(left: i64) -> Standing {
        Standing::Ordered {
            left,
            from: "Kolm Works".into(),
            by: Some(day("2027-03-20")),
        }
    }

    #[test]
    fn a_line_waits_is_ordered_and_arrives_in_parts() {
        let mut undone = step(2, Kind::Arrived, 3);
        undone.entry_undone = true;
        let order = || step(1, Kind::Ordered, 0);
        let came = |line, qty| step(line, Kind::Arrived, qty);
        for (steps, expected, kept) in [
            (vec![], Standing::Waiting { left: 3 }, State::Waiting),
            (vec![order()], ordered(3), State::Ordered),
            (vec![order(), came(2, 1)], ordered(2), State::Ordered),
            (
                vec![order(), came(2, 1), came(3, 2)],
                Standing::Arrived,
                State::Ordered,
            ),
            // A pack of twelve for three.
            (
                vec![order(), came(2, 12)],
                Standing::Arrived,
                State::Ordered,
            ),
            // Somebody just brought some in.
            (
                vec![came(1, 1)],
                Standing::Waiting { left: 2 },
                State::Waiting,
            ),
            (vec![order(), undone], ordered(3), State::Ordered),
            (
                vec![order(), back(2, 1)],
                Standing::Waiting { left: 3 },
                State::Waiting,
            ),
            (
                vec![order(), came(2, 1), step(3, Kind::CalledOff, 0)],
                Standing::CalledOff,
                State::CalledOff,
            ),
            (
                vec![order(), step(2, Kind::CalledOff, 0), back(3, 2)],
                ordered(3),
                State::Ordered,
            ),
        ] {
            assert_eq!(standing(3, &steps), expected, "{steps:?}");
            assert_eq!(state(&steps), kept, "{steps:?}");
        }
    }

    #[test]
    fn what_can_follow_on_what() {
        let waiting = Standing::Waiting { left: 1 };
        for (kind, standing, expected) in [
            (Kind::Ordered, &waiting, Ok(())),
            (Kind::Arrived, &waiting, Ok(())),
            (Kind::CalledOff, &waiting, Ok(())),
            (Kind::Ordered, &ordered(1), Err(StepRefused::Ordered)),
            (Kind::Arrived, &ordered(1), Ok(())),
            (Kind::CalledOff, &ordered(1), Ok(())),
            (Kind::Ordered, &Standing::Arrived, Err(StepRefused::Arrived)),
            (Kind::Arrived, &Standing::Arrived, Ok(())),
            (
                Kind::CalledOff,
                &Standing::Arrived,
                Err(StepRefused::Arrived),
            ),
            (
                Kind::Ordered,
                &Standing::CalledOff,
                Err(StepRefused::CalledOff),
            ),
            (
                Kind::Arrived,
                &Standing::CalledOff,
                Err(StepRefused::CalledOff),
            ),
        ] {
            assert_eq!(may(kind, standing), expected, "{kind:?} {standing:?}");
        }
    }

    #[test]
    fn the_latest_step_is_taken_back_first() {
        let steps = [
            step(1, Kind::Ordered, 0),
            step(2, Kind::Arrived, 1),
            step(3, Kind::CalledOff, 0),
        ];
        assert_eq!(may_take_back(&steps[0], &steps), Err(StepRefused::Later));
        assert_eq!(may_take_back(&steps[1], &steps), Ok(()));
        assert_eq!(may_take_back(&steps[2], &steps), Ok(()));
        let steps = [steps[0].clone(), back(2, 1)];
        for step in &steps {
            assert_eq!(may_take_back(step, &steps), Err(StepRefused::TakenBack));
        }
    }

    #[test]
    fn late_is_what_was_expected_before_today() {
        assert!(!ordered(1).is_late(day("2027-03-20")));
        assert!(ordered(1).is_late(day("2027-03-21")));
        assert!(!Standing::Arrived.is_late(day("2027-03-21")));
    }
}
