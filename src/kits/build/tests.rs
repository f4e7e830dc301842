//! Cases for the build check; its agreement with trying everything is in `tests/`.

mod everything;
mod sharing;

use super::*;
use crate::guides::need::Basis::{All, Each};
use crate::guides::need::{Basis, Child};

type L = Line<usize, usize>;
type Found = Answer<usize, usize, usize, usize>;

/// What is asked, owned.
#[derive(Debug, Clone)]
struct Case {
    lines: Vec<L>,
    walk: Vec<Wanted<usize>>,
    pieces: Vec<Pieces<usize, usize>>,
    stand_ins: Vec<StandIn<usize>>,
    on_hand: Vec<(usize, u64)>,
    purpose: Purpose,
    sources: Vec<Source<usize, usize>>,
}

fn day(day: i8) -> Day {
    Day(jiff::civil::date(2027, 3, day))
}

impl Case {
    /// Good pieces of one kit, by part.
    fn new(lines: &[L], walk: &[(usize, u64)], stock: &[u64]) -> Self {
        let walk = walk.iter().map(|(assembly, must_stand)| Wanted {
            assembly: *assembly,
            must_stand: *must_stand,
        });
        let pieces = stock.iter().enumerate().map(|(part, pieces)| Pieces {
            part,
            kit: 0,
            state: State::Good,
            pieces: *pieces,
        });
        Self {
            lines: lines.to_vec(),
            walk: walk.collect(),
            pieces: pieces.collect(),
            stand_ins: Vec::new(),
            on_hand: Vec::new(),
            purpose: Purpose::Official,
            sources: Vec::new(),
        }
    }

    fn check_in(&self, steps: u64) -> Result<Found, BuildRefused<usize, usize>> {
        let asked = Asked {
            lines: &self.lines,
            walk: &self.walk,
            pieces: &self.pieces,
            stand_ins: &self.stand_ins,
            on_hand: &self.on_hand,
            purpose: self.purpose,
            sources: &self.sources,
            day: day(10),
        };
        check(&asked, steps)
    }

    #[track_caller]
    fn check(&self) -> Found {
        let found = self.check_in(STEPS).expect("this can be checked");
        assert_eq!(found.proof, Proof::Proven);
        found
    }
}

fn part(parent: usize, part: usize, basis: Basis, quantity: u64) -> L {
    Line {
        parent: Some(parent),
        child: Child::Part(part),
        basis,
        quantity,
    }
}

fn holds(parent: Option<usize>, assembly: usize, quantity: u64) -> L {
    Line {
        parent,
        child: Child::Assembly(assembly),
        basis: Each,
        quantity,
    }
}

fn standing(found: &Found) -> Vec<(usize, u64)> {
    let stands = found.assemblies.iter();
    stands
        .map(|stands| (stands.assembly, stands.stand))
        .collect()
}

/// Three assemblies that want 3, 2 and 2 pieces of one part, and one of another each.
fn three() -> Vec<L> {
    let mut lines = Vec::new();
    for (assembly, pieces) in [(0, 3), (1, 2), (2, 2)] {
        lines.push(holds(None, assembly, 1));
        lines.push(part(assembly, 0, Each, pieces));
        lines.push(part(assembly, 1, Each, 1));
    }
    lines
}

#[test]
fn a_field_with_all_its_pieces_can_be_built() {
    let found = Case::new(&three(), &[(2, 0)], &[7, 3]).check();
    assert!(found.whole && found.lacks.is_empty() && found.cannot_together.is_empty());
    assert_eq!(standing(&found), [(2, 1), (0, 1), (1, 1)]);
    let taken: u64 = found.taken.iter().map(|taken| taken.pieces).sum();
    assert_eq!(taken, 10);
}

#[test]
fn most_assemblies_come_before_the_walk_order_and_what_must_stand_before_both() {
    let walk = [(0, 0), (1, 0), (2, 0)];
    let found = Case::new(&three(), &walk, &[4, 3]).check();
    assert_eq!(standing(&found), [(0, 0), (1, 1), (2, 1)]);
    // Five pieces are enough for the first and one of the others: the earlier of the two.
    let found = Case::new(&three(), &walk, &[5, 2]).check();
    assert_eq!(standing(&found), [(0, 1), (1, 1), (2, 0)]);
    let found = Case::new(&three(), &[(2, 0), (1, 0), (0, 0)], &[5, 2]).check();
    assert_eq!(standing(&found), [(2, 1), (1, 1), (0, 0)]);
    let found = Case::new(&three(), &[(0, 1), (1, 0), (2, 0)], &[4, 3]).check();
    assert_eq!(standing(&found), [(0, 1), (1, 0), (2, 0)]);
    assert_eq!(found.lacks.len(), 1);
    let lack = &found.lacks[0];
    assert_eq!((lack.part, lack.lacking, lack.uncured), (0, 3, 3));
    assert_eq!(lack.stops, [1, 2]);
}

#[test]
fn what_cannot_stand_together_is_named() {
    let found = Case::new(&three(), &[(0, 1), (1, 1), (2, 1)], &[4, 3]).check();
    assert_eq!(found.cannot_together, [(0, 1), (1, 1)]);
    // As many as possible of them stand.
    assert_eq!(standing(&found), [(0, 0), (1, 1), (2, 1)]);
}

#[test]
fn what_is_inside_must_stand_first() {
    // A tower holds two hubs; each hub wants two pegs and the tower one mast.
    let lines = [
        holds(None, 0, 2),
        holds(Some(0), 1, 2),
        part(1, 0, Each, 2),
        part(0, 1, Each, 1),
    ];
    let walk = [(0, 0), (1, 0)];
    let found = Case::new(&lines, &walk, &[5, 2]).check();
    assert_eq!(standing(&found), [(0, 1), (1, 2)]);
    // A tower that stands brings its hubs.
    let mut case = Case::new(&lines, &walk, &[5, 1]);
    case.on_hand = vec![(0, 1)];
    let found = case.check();
    assert_eq!(standing(&found), [(0, 2), (1, 4)]);
    assert!(found.whole);
    assert_eq!(
        found
            .assemblies
            .iter()
            .map(|stands| stands.already)
            .collect::<Vec<_>>(),
        [1, 2]
    );
}

#[test]
fn some_copies_want_their_share_of_a_line_for_all() {
    // Three copies share seven pieces: one wants three, two want five.
    let lines = [holds(None, 0, 3), part(0, 0, All, 7)];
    for (pieces, stand) in [(2, 0), (3, 1), (4, 1), (5, 2), (6, 2), (7, 3)] {
        let found = Case::new(&lines, &[(0, 0)], &[pieces]).check();
        assert_eq!(standing(&found), [(0, stand)], "{pieces} pieces");
    }
}

#[test]
fn pieces_beside_the_assemblies_stop_none() {
    let mut lines = three();
    lines.push(Line {
        parent: None,
        child: Child::Part(0),
        basis: Each,
        quantity: 2,
    });
    let found = Case::new(&lines, &[], &[8, 3]).check();
    assert_eq!(standing(&found), [(0, 1), (1, 1), (2, 1)]);
    assert!(!found.whole);
    assert_eq!((found.lacks[0].lacking, found.lacks[0].stops.len()), (1, 0));
}

#[test]
fn cures_are_tried_in_order_and_never_cover_more_than_is_lacking() {
    let mut case = Case::new(&three(), &[], &[1, 3]);
    case.pieces.push(Pieces {
        part: 0,
        kit: 1,
        state: State::PracticeOnly,
        pieces: 1,
    });
    let source = |kind, source, pieces, there_on| Source {
        kind,
        source,
        part: 0,
        pieces,
        there_on: day(there_on),
    };
    case.sources = vec![
        source(CureKind::Order, 5, 9, 11),
        source(CureKind::Order, 6, 9, 10),
        source(CureKind::OtherTeam, 7, 1, 4),
        source(CureKind::SparesBox, 8, 2, 1),
    ];
    let found = case.check();
    let lack = &found.lacks[0];
    let cures: Vec<_> = lack
        .cures
        .iter()
        .map(|cure| (cure.kind, cure.source, cure.pieces))
        .collect();
    assert_eq!(
        cures,
        [
            (CureKind::PracticeOrStandIn, None, 1),
            (CureKind::SparesBox, Some(8), 2),
            (CureKind::OtherTeam, Some(7), 1),
            (CureKind::Order, Some(6), 2),
        ]
    );
    assert_eq!((lack.lacking, lack.uncured, lack.too_late), (6, 0, 9));
    // For practice the worn piece counts from the start.
    case.purpose = Purpose::Practice;
    assert_eq!(case.check().lacks[0].lacking, 5);
}

#[test]
fn a_stand_in_counts_where_it_may() {
    let mut case = Case::new(&[holds(None, 0, 1), part(0, 0, Each, 2)], &[], &[1, 1]);
    case.stand_ins = vec![StandIn {
        part: 1,
        stands_in_for: 0,
        officially: false,
    }];
    let found = case.check();
    assert!(!found.whole);
    assert_eq!(found.lacks[0].cures[0].kind, CureKind::PracticeOrStandIn);
    case.purpose = Purpose::Practice;
    assert!(case.check().whole);
    case.purpose = Purpose::Official;
    case.stand_ins[0].officially = true;
    assert!(case.check().whole);
}

#[test]
fn what_makes_no_sense_is_refused() {
    let refused = |case: &Case| case.check_in(STEPS).expect_err("this makes no sense");
    let case = |walk: &[(usize, u64)]| Case::new(&three(), walk, &[]);
    assert_eq!(
        refused(&case(&[(0, 0), (0, 0)])),
        BuildRefused::TwiceInWalk(0)
    );
    assert_eq!(refused(&case(&[(7, 0)])), BuildRefused::NotInField(7));
    assert_eq!(refused(&case(&[(0, 2)])), BuildRefused::MoreThanHeld(0));
    let mut odd = case(&[]);
    odd.on_hand = vec![(7, 1)];
    assert_eq!(refused(&odd), BuildRefused::NotInField(7));
    odd.on_hand.clear();
    odd.stand_ins = vec![StandIn {
        part: 0,
        stands_in_for: 0,
        officially: true,
    }];
    assert_eq!(refused(&odd), BuildRefused::StandsInForItself(0));
    let cycle = Case::new(&[holds(Some(0), 0, 1)], &[], &[]);
    assert!(matches!(
        refused(&cycle),
        BuildRefused::Need(NeedRefused::Cycle(_))
    ));
    let many = Case::new(&[holds(None, 0, MOST_ASSEMBLIES + 1)], &[], &[]);
    assert_eq!(refused(&many), BuildRefused::TooLarge);
}

#[test]
fn without_steps_what_must_stand_stands_all_the_same() {
    let case = Case::new(&three(), &[(0, 1)], &[4, 3]);
    let found = case.check_in(0).expect("this can be checked");
    assert_eq!(found.proof, Proof::BestFound { steps: 0 });
    assert_eq!(standing(&found)[0], (0, 1));
}
