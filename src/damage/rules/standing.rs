//! How a report stands, from the steps that were taken about it.

use super::telling::What;
use crate::clock::Instant;
use crate::ids::{DamageId, PersonId};
use crate::ledger::{Seq, State};

/// One kind of step.
#[derive(Debug, Clone, Copy, PartialEq, Eq, sqlx::Type)]
#[sqlx(rename_all = "lowercase")]
pub enum Kind {
    /// Crew say that it is so.
    Accepted,
    /// It tells of the same pieces as another report.
    Joined,
    #[sqlx(rename = "set aside")]
    SetAside,
    /// Dealt with, and no piece moved.
    #[sqlx(rename = "seen to")]
    SeenTo,
    #[sqlx(rename = "kept in use")]
    KeptInUse,
    /// Good again.
    Mended,
    #[sqlx(rename = "practice only")]
    PracticeOnly,
    #[sqlx(rename = "spare used")]
    SpareUsed,
    #[sqlx(rename = "to order")]
    ToOrder,
    #[sqlx(rename = "written off")]
    WrittenOff,
    Missing,
    #[sqlx(rename = "turned up")]
    TurnedUp,
    /// Not to be counted when next season's spares are reckoned.
    #[sqlx(rename = "one-off")]
    OneOff,
    #[sqlx(rename = "taken back")]
    TakenBack,
}

impl Kind {
    /// The word as stored and in the address.
    pub fn word(self) -> &'static str {
        match self {
            Kind::Accepted => "accepted",
            Kind::Joined => "joined",
            Kind::SetAside => "set aside",
            Kind::SeenTo => "seen to",
            Kind::KeptInUse => "kept in use",
            Kind::Mended => "mended",
            Kind::PracticeOnly => "practice only",
            Kind::SpareUsed => "spare used",
            Kind::ToOrder => "to order",
            Kind::WrittenOff => "written off",
            Kind::Missing => "missing",
            Kind::TurnedUp => "turned up",
            Kind::OneOff => "one-off",
            Kind::TakenBack => "taken back",
        }
    }

    /// Whether it settles the pieces it is about.
    fn settles(self) -> bool {
        matches!(
            self,
            Kind::KeptInUse
                | Kind::Mended
                | Kind::PracticeOnly
                | Kind::WrittenOff
                | Kind::Missing
                | Kind::TurnedUp
        )
    }
}

/// A step as it was taken.
#[derive(Debug, Clone)]
pub struct Step {
    pub line: i64,
    pub kind: Kind,
    pub qty: i64,
    /// Accepted: what the pieces became.
    pub state: Option<State>,
    pub entry: Option<Seq>,
    /// The entry was taken back in the ledger.
    pub entry_undone: bool,
    pub other: Option<DamageId>,
    pub undoes: Option<i64>,
    pub why: String,
    pub person: PersonId,
    pub done_at: Instant,
}

/// How a report stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Standing {
    /// Nobody of the team has said anything about it.
    Waiting,
    Joined(DamageId),
    SetAside,
    /// So many pieces, in this state, still wait for a decision. Pieces that are lost have none.
    Open {
        left: i64,
        state: Option<State>,
    },
    Settled,
}

/// What has become of a report.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Stands {
    pub standing: Standing,
    /// Pieces that were accepted; 0 for what only waits, was joined or set aside.
    pub accepted: i64,
    /// Pieces that wait for the next order.
    pub to_order: i64,
    pub spares_used: i64,
    pub one_off: bool,
}

/// Whether a step still counts: it was not taken back, here or in the ledger.
pub fn is_in_force(step: &Step, steps: &[Step]) -> bool {
    !step.entry_undone && steps.iter().all(|other| other.undoes != Some(step.line))
}

/// How a report stands after its steps.
///
/// Steps that were taken back count for nothing. The first accepting step says how many pieces it is
/// about; each decision settles some of them; what is left waits.
pub fn stands(what: What, steps: &[Step]) -> Stands {
    let mut in_force = steps.iter().filter(|step| is_in_force(step, steps));
    let mut stands = Stands {
        standing: Standing::Waiting,
        accepted: 0,
        to_order: 0,
        spares_used: 0,
        one_off: false,
    };
    let mut state = None;
    let mut settled = 0;
    let mut ended = None;
    for step in &mut in_force {
        match step.kind {
            Kind::Accepted => {
                stands.accepted = step.qty;
                state = step.state;
            }
            Kind::Joined => ended = step.other.map(Standing::Joined),
            Kind::SetAside => ended = Some(Standing::SetAside),
            Kind::SeenTo => ended = Some(Standing::Settled),
            Kind::ToOrder => stands.to_order += step.qty,
            Kind::SpareUsed => stands.spares_used += step.qty,
            Kind::OneOff => stands.one_off = true,
            kind if kind.settles() => settled += step.qty,
            _ => {}
        }
    }
    let left = stands.accepted - settled;
    stands.standing = match ended {
        Some(ended) => ended,
        None if stands.accepted == 0 => Standing::Waiting,
        // What was found lies in its place: accepting it is all there is to do.
        None if left <= 0 || what == What::Found => Standing::Settled,
        None => Standing::Open { left, state },
    };
    stands
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::clock::Instant;

    fn step(line: i64, kind: Kind, qty: i64) -> Step {
        Step {
            line,
            kind,
            qty,
            state: (kind == Kind::Accepted).then_some(State::Broken),
            entry: None,
            entry_undone: false,
            other: None,
            undoes: None,
            why: String::new(),
            person: PersonId::new(),
            done_at: Instant(0),
        }
    }

    fn open(left: i64) -> Standing {
        Standing::Open {
            left,
            state: Some(State::Broken),
        }
    }

    #[test]
    fn each_decision_settles_its_pieces() {
        let mut steps = Vec::new();
        let check = |steps: &[Step], expected| {
            assert_eq!(stands(What::Broken, steps).standing, expected);
        };
        check(&steps, Standing::Waiting);
        steps.push(step(1, Kind::Accepted, 3));
        check(&steps, open(3));
        steps.push(step(2, Kind::Mended, 1));
        check(&steps, open(2));
        steps.push(step(3, Kind::ToOrder, 2));
        steps.push(step(4, Kind::SpareUsed, 1));
        steps.push(step(5, Kind::OneOff, 0));
        check(&steps, open(2));
        steps.push(step(6, Kind::WrittenOff, 2));
        let now = stands(What::Broken, &steps);
        assert_eq!(
            now,
            Stands {
                standing: Standing::Settled,
                accepted: 3,
                to_order: 2,
                spares_used: 1,
                one_off: true,
            }
        );
    }

    #[test]
    fn what_was_taken_back_counts_for_nothing() {
        let mut steps = vec![step(1, Kind::Accepted, 2), step(2, Kind::WrittenOff, 2)];
        steps[1].entry_undone = true;
        assert_eq!(stands(What::Broken, &steps).standing, open(2));
        steps.push(step(3, Kind::KeptInUse, 2));
        assert_eq!(stands(What::Broken, &steps).standing, Standing::Settled);
        steps.push(Step {
            undoes: Some(3),
            ..step(4, Kind::TakenBack, 0)
        });
        assert_eq!(stands(What::Broken, &steps).standing, open(2));
        steps[0].entry_undone = true;
        assert_eq!(stands(What::Broken, &steps).standing, Standing::Waiting);
    }

    #[test]
    fn joined_and_set_aside_reports_are_about_no_pieces() {
        let other = DamageId::new();
        let joined = Step {
            other: Some(other),
            ..step(1, Kind::Joined, 0)
        };
        let found = stands(What::Broken, &[joined]);
        assert_eq!(
            (found.standing, found.accepted),
            (Standing::Joined(other), 0)
        );
        let aside = stands(What::Broken, &[step(1, Kind::SetAside, 0)]);
        assert_eq!((aside.standing, aside.accepted), (Standing::SetAside, 0));
    }

    #[test]
    fn a_found_piece_is_settled_once_it_is_accepted() {
        let steps = [step(1, Kind::Accepted, 1)];
        assert_eq!(stands(What::Found, &steps).standing, Standing::Settled);
        assert_eq!(
            stands(What::Astray, &[step(1, Kind::SeenTo, 0)]).standing,
            Standing::Settled
        );
    }
}
