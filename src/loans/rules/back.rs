//! Counting back: what was written down against what went out. Pure.
//!
//! What lacks in one crate and is too much in another of the same loan lies in the wrong crate and moves
//! there. What then lacks is owed: it stays with the borrower in the books until the loan is closed.

use std::collections::BTreeMap;

use crate::ids::{KitId, PartId, PlaceId};
use crate::ledger::{Move, Stand, State};

/// Pieces of a part in a bag that is counted back, by state as in `State::ALL`.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Out {
    pub place: PlaceId,
    pub part: PartId,
    pub kit: KitId,
    pub states: [i64; 4],
}

impl Out {
    pub fn qty(&self) -> i64 {
        self.states.iter().sum()
    }
}

/// What was written on a line: pieces back in any state, and how many of them broke meanwhile.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Back {
    pub back: i64,
    pub broken: i64,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, sqlx::Type)]
#[sqlx(rename_all = "lowercase")]
pub enum Kind {
    Missing,
    Broken,
    Extra,
    #[sqlx(rename = "not ours")]
    NotOurs,
    #[sqlx(rename = "wrong crate")]
    WrongCrate,
}

impl Kind {
    pub const ALL: [Kind; 5] = [
        Kind::Missing,
        Kind::Broken,
        Kind::Extra,
        Kind::NotOurs,
        Kind::WrongCrate,
    ];

    pub fn word(self) -> &'static str {
        match self {
            Kind::Missing => "missing",
            Kind::Broken => "broken",
            Kind::Extra => "extra",
            Kind::NotOurs => "not ours",
            Kind::WrongCrate => "wrong crate",
        }
    }

    /// Whether both sides have to agree about it. What lay in the wrong crate is put right already.
    pub fn wants_agreement(self) -> bool {
        self != Kind::WrongCrate
    }
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Difference {
    pub kind: Kind,
    pub part: PartId,
    pub kit: KitId,
    /// Where it belongs; for what is extra, where it was found.
    pub place: PlaceId,
    pub qty: i64,
}

/// What counting back comes to.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Settled {
    pub differences: Vec<Difference>,
    /// Into the right crates, broken, and into the bag of what is owed.
    pub moves: Vec<Move>,
    /// Of earlier differences, by line: so many pieces turned up, or turned out to belong to another crate.
    pub home: Vec<(i64, i64)>,
}

/// What earlier returns of the same loan left open.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Earlier {
    /// What was missing and is still owed.
    pub owed: Vec<Open>,
    /// What was too much somewhere and is nobody's yet.
    pub extra: Vec<Open>,
    /// The pieces in the bag of what is owed, by state.
    pub held: BTreeMap<(PartId, KitId), [i64; 4]>,
}

/// What is open of a difference.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Open {
    pub line: i64,
    pub part: PartId,
    pub kit: KitId,
    pub place: PlaceId,
    pub qty: i64,
}

/// Takes as much as is there and as is wanted out of what is open of a kind; answers line, place and pieces.
fn take_open(
    open: &mut [Open],
    (part, kit): (PartId, KitId),
    mut wanted: i64,
) -> Vec<(i64, PlaceId, i64)> {
    let mut taken = Vec::new();
    for one in open
        .iter_mut()
        .filter(|one| (one.part, one.kit) == (part, kit))
    {
        let qty = wanted.min(one.qty);
        if qty > 0 {
            one.qty -= qty;
            wanted -= qty;
            taken.push((one.line, one.place, qty));
        }
    }
    taken
}

/// Settles the lines that were counted. `owed` is the place of what stays owed. A piece that came back in another
/// crate on another day lay in the wrong crate too.
pub fn settle(lines: &[(Out, Back)], owed: PlaceId, mut earlier: Earlier) -> Settled {
    let mut settled = Settled::default();
    let mut over: BTreeMap<(PartId, KitId), Vec<(PlaceId, i64)>> = BTreeMap::new();
    for (out, back) in lines {
        let more = back.back - out.qty();
        if more > 0 {
            let found = over.entry((out.part, out.kit)).or_default();
            found.push((out.place, more));
        }
    }
    for (out, back) in lines {
        let mut states = out.states;
        let lacks = (out.qty() - back.back).max(0);
        let mut lacking = lacks;
        for (place, more) in over.entry((out.part, out.kit)).or_default() {
            let here = lacking.min(*more);
            if here > 0 {
                take(&mut settled.moves, &mut states, out, here, *place);
                settled.tell(Kind::WrongCrate, out, *place, here);
                *more -= here;
                lacking -= here;
            }
        }
        // What was too much on an earlier day was this.
        for (line, place, qty) in take_open(&mut earlier.extra, (out.part, out.kit), lacking) {
            take(&mut settled.moves, &mut states, out, qty, place);
            settled.tell(Kind::WrongCrate, out, place, qty);
            settled.home.push((line, qty));
            lacking -= qty;
        }
        if lacking > 0 {
            take(&mut settled.moves, &mut states, out, lacking, owed);
            settled.tell(Kind::Missing, out, out.place, lacking);
        }
        // Pieces that broke while they were away: those that were usable come first.
        let breaks = back.broken.min(states[..3].iter().sum());
        if breaks > 0 {
            let mut left = breaks;
            for (at, state) in State::ALL.into_iter().enumerate().take(3) {
                let qty = left.min(states[at]);
                if qty > 0 {
                    let from = stand(out, out.place, state);
                    settled.moves.push(Move {
                        part: out.part,
                        qty,
                        from,
                        to: Stand {
                            state: State::Broken,
                            ..from
                        },
                    });
                    left -= qty;
                }
            }
            settled.tell(Kind::Broken, out, out.place, breaks);
        }
    }
    for ((part, kit), found) in over {
        for (place, more) in found.into_iter().filter(|(_, more)| *more > 0) {
            let mut qty = more;
            // What was missing on an earlier day is here.
            for (line, _, here) in take_open(&mut earlier.owed, (part, kit), more) {
                let out = Out {
                    place: owed,
                    part,
                    kit,
                    states: earlier.held.get(&(part, kit)).copied().unwrap_or_default(),
                };
                let mut states = out.states;
                take(&mut settled.moves, &mut states, &out, here, place);
                earlier.held.insert((part, kit), states);
                settled.tell(Kind::WrongCrate, &out, place, here);
                settled.home.push((line, here));
                qty -= here;
            }
            if qty == 0 {
                continue;
            }
            settled.differences.push(Difference {
                kind: Kind::Extra,
                part,
                kit,
                place,
                qty,
            });
        }
    }
    settled
}

impl Settled {
    fn tell(&mut self, kind: Kind, out: &Out, place: PlaceId, qty: i64) {
        self.differences.push(Difference {
            kind,
            part: out.part,
            kit: out.kit,
            place,
            qty,
        });
    }
}

fn stand(out: &Out, place: PlaceId, state: State) -> Stand {
    Stand {
        kit: out.kit,
        place,
        state,
    }
}

/// Moves pieces of a line elsewhere, the good ones first.
fn take(moves: &mut Vec<Move>, states: &mut [i64; 4], out: &Out, qty: i64, to: PlaceId) {
    let mut left = qty;
    for (at, state) in State::ALL.into_iter().enumerate() {
        let some = left.min(states[at]);
        if some > 0 {
            moves.push(Move {
                part: out.part,
                qty: some,
                from: stand(out, out.place, state),
                to: stand(out, to, state),
            });
            states[at] -= some;
            left -= some;
        }
    }
}

/// What both sides agree about a difference.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Agreement {
    FoundLater,
    BorrowerReplaces,
    Wear,
    LendersLoss,
    GoesBack,
    Ours,
}

impl Agreement {
    /// What can be agreed about a difference of a kind.
    pub fn of(kind: Kind) -> &'static [Agreement] {
        match kind {
            Kind::Missing => &[
                Agreement::FoundLater,
                Agreement::BorrowerReplaces,
                Agreement::Wear,
                Agreement::LendersLoss,
            ],
            Kind::Broken => &[
                Agreement::BorrowerReplaces,
                Agreement::Wear,
                Agreement::LendersLoss,
            ],
            Kind::Extra => &[Agreement::Ours, Agreement::GoesBack],
            Kind::NotOurs => &[Agreement::GoesBack],
            Kind::WrongCrate => &[],
        }
    }

    /// As stored and sent.
    pub fn word(self) -> &'static str {
        match self {
            Agreement::FoundLater => "found later",
            Agreement::BorrowerReplaces => "borrower replaces",
            Agreement::Wear => "wear",
            Agreement::LendersLoss => "lender’s loss",
            Agreement::GoesBack => "goes back",
            Agreement::Ours => "ours",
        }
    }

    /// The same about a difference of a kind: what is too much may also never have been there.
    pub fn told(self, kind: Kind) -> &'static str {
        match (self, kind) {
            (Agreement::GoesBack, Kind::Extra) => {
                "It goes back to whose it is, or it was counted wrong"
            }
            _ => self.sentence(),
        }
    }

    fn sentence(self) -> &'static str {
        match self {
            Agreement::FoundLater => "It will be found later",
            Agreement::BorrowerReplaces => "The borrower replaces it",
            Agreement::Wear => "It is wear",
            Agreement::LendersLoss => "It is the lender’s loss",
            Agreement::GoesBack => "It goes back to whose it is",
            Agreement::Ours => "It is ours, and comes into the books",
        }
    }

    pub fn from_word(kind: Kind, word: &str) -> Option<Agreement> {
        Self::of(kind)
            .iter()
            .copied()
            .find(|known| known.word() == word)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    struct Case {
        a: Out,
        b: Out,
        owed: PlaceId,
    }

    fn case() -> Case {
        let (part, kit) = (PartId::new(), KitId::new());
        let out = |states| Out {
            place: PlaceId::new(),
            part,
            kit,
            states,
        };
        Case {
            a: out([8, 1, 0, 1]),
            b: out([4, 0, 0, 0]),
            owed: PlaceId::new(),
        }
    }

    fn told(settled: &Settled) -> Vec<(Kind, i64)> {
        let mut told: Vec<_> = settled
            .differences
            .iter()
            .map(|one| (one.kind, one.qty))
            .collect();
        told.sort_unstable();
        told
    }

    #[track_caller]
    fn check(a: Back, b: Back, expected: &[(Kind, i64)]) -> Settled {
        let case = case();
        let settled = settle(&[(case.a, a), (case.b, b)], case.owed, Earlier::default());
        assert_eq!(told(&settled), expected);
        settled
    }

    const fn back(back: i64, broken: i64) -> Back {
        Back { back, broken }
    }

    #[test]
    fn what_is_all_back_differs_in_nothing() {
        let settled = check(back(10, 0), back(4, 0), &[]);
        assert!(settled.moves.is_empty());
    }

    #[test]
    fn a_short_and_an_over_are_first_the_wrong_crate() {
        check(back(8, 0), back(6, 0), &[(Kind::WrongCrate, 2)]);
        check(
            back(7, 0),
            back(6, 0),
            &[(Kind::Missing, 1), (Kind::WrongCrate, 2)],
        );
        check(
            back(9, 0),
            back(6, 0),
            &[(Kind::Extra, 1), (Kind::WrongCrate, 1)],
        );
        check(back(10, 0), back(5, 0), &[(Kind::Extra, 1)]);
    }

    #[test]
    fn usable_pieces_break_first_and_no_more_than_there_were() {
        let settled = check(back(10, 9), back(4, 0), &[(Kind::Broken, 9)]);
        let moved: Vec<_> = settled
            .moves
            .iter()
            .map(|one| (one.from.state, one.qty))
            .collect();
        assert_eq!(moved, [(State::Good, 8), (State::Doubtful, 1)]);
        // One was broken when it left: nine could break.
        check(back(10, 10), back(4, 0), &[(Kind::Broken, 9)]);
        check(
            back(2, 2),
            back(4, 0),
            &[(Kind::Missing, 8), (Kind::Broken, 1)],
        );
    }

    #[test]
    fn what_came_back_in_another_crate_on_another_day_lay_in_the_wrong_crate() {
        let Case { a, b, owed } = case();
        let open = |line, place, qty| Open {
            line,
            part: a.part,
            kit: a.kit,
            place,
            qty,
        };
        // Two of another crate are owed; here are three too many.
        let elsewhere = PlaceId::new();
        let earlier = Earlier {
            owed: vec![open(1, elsewhere, 1), open(4, elsewhere, 1)],
            held: [((a.part, a.kit), [1, 0, 0, 1])].into(),
            ..Earlier::default()
        };
        let settled = settle(&[(b.clone(), back(7, 0))], owed, earlier);
        assert_eq!(settled.home, [(1, 1), (4, 1)]);
        assert_eq!(
            told(&settled),
            [
                (Kind::Extra, 1),
                (Kind::WrongCrate, 1),
                (Kind::WrongCrate, 1)
            ]
        );
        let moved: Vec<_> = settled
            .moves
            .iter()
            .map(|one| {
                (
                    one.from.place == owed,
                    one.to.place == b.place,
                    one.from.state,
                    one.qty,
                )
            })
            .collect();
        assert_eq!(
            moved,
            [(true, true, State::Good, 1), (true, true, State::Broken, 1)]
        );
        // One was too many there on an earlier day; here two lack.
        let earlier = Earlier {
            extra: vec![open(2, elsewhere, 1)],
            ..Earlier::default()
        };
        let settled = settle(&[(b.clone(), back(2, 0))], owed, earlier);
        assert_eq!(settled.home, [(2, 1)]);
        assert_eq!(told(&settled), [(Kind::Missing, 1), (Kind::WrongCrate, 1)]);
        let to: Vec<_> = settled.moves.iter().map(|one| one.to.place).collect();
        assert_eq!(to, [elsewhere, owed]);
    }

    #[test]
    fn every_piece_is_accounted_for() {
        for a in 0..13 {
            for b in 0..7 {
                for broken in 0..=a {
                    let case = case();
                    let (before_a, before_b) = (case.a.qty(), case.b.qty());
                    let lines = [
                        (case.a.clone(), back(a, broken)),
                        (case.b.clone(), back(b, 0)),
                    ];
                    let settled = settle(&lines, case.owed, Earlier::default());
                    let gone = |place| -> i64 {
                        let taken = settled.moves.iter().filter(|one| one.from.place == place);
                        let given = settled.moves.iter().filter(|one| one.to.place == place);
                        given.map(|one| one.qty).sum::<i64>()
                            - taken.map(|one| one.qty).sum::<i64>()
                    };
                    let extra = |place| -> i64 {
                        let found = settled
                            .differences
                            .iter()
                            .filter(|one| one.kind == Kind::Extra && one.place == place);
                        found.map(|one| one.qty).sum()
                    };
                    assert_eq!(before_a + gone(case.a.place) + extra(case.a.place), a);
                    assert_eq!(before_b + gone(case.b.place) + extra(case.b.place), b);
                }
            }
        }
    }
}
