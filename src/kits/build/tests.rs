//! Cases for the build check, and its agreement with trying everything on small fields.

use proptest::prelude::*;

use super::*;
use crate::guides::need::Basis::{All, Each};
use crate::guides::need::{Basis, Child, Need, share};

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

// Trying everything.

/// What so many copies of an assembly want of this child.
fn wants(
    case: &Case,
    need: &Need<usize, usize>,
    parent: usize,
    child: Child<usize, usize>,
    copies: u64,
) -> u64 {
    let lines = case
        .lines
        .iter()
        .filter(|l| l.parent == Some(parent) && l.child == child);
    lines
        .map(|line| match line.basis {
            Each => line.quantity * copies,
            All => share(line.quantity, copies, need.assembly(parent)),
        })
        .sum()
}

struct Naive {
    /// The assemblies of the field in walk order, with how many it has.
    held: Vec<(usize, u64)>,
    must: Vec<u64>,
    already: Vec<u64>,
    /// Every choice that counts.
    choices: Vec<Vec<u64>>,
}

fn naive(case: &Case) -> Naive {
    let need = need(&case.lines).expect("no cycle is generated");
    let mut held: Vec<(usize, u64)> = Vec::new();
    let walk = case.walk.iter().map(|wanted| wanted.assembly);
    for assembly in walk.chain(need.assemblies().map(|(assembly, _)| assembly)) {
        let copies = need.assembly(assembly);
        if copies > 0 && !held.iter().any(|(other, _)| *other == assembly) {
            held.push((assembly, copies));
        }
    }
    let must = |assembly: &usize| {
        let wanted = case.walk.iter().find(|wanted| wanted.assembly == *assembly);
        wanted.map_or(0, |wanted| wanted.must_stand)
    };
    let already = held
        .iter()
        .map(|(assembly, _)| stands_already(case, &need, *assembly))
        .collect();
    let mut naive = Naive {
        must: held.iter().map(|(assembly, _)| must(assembly)).collect(),
        already,
        choices: vec![Vec::new()],
        held,
    };
    for (at, (_, held)) in naive.held.iter().enumerate() {
        let choices = std::mem::take(&mut naive.choices);
        for choice in choices {
            for copies in naive.already[at]..=*held {
                naive
                    .choices
                    .push(choice.iter().copied().chain([copies]).collect());
            }
        }
    }
    let mut choices = std::mem::take(&mut naive.choices);
    choices.retain(|choice| naive.counts(case, &need, choice));
    naive.choices = choices;
    naive
}

fn stands_already(case: &Case, need: &Need<usize, usize>, assembly: usize) -> u64 {
    let own = case
        .on_hand
        .iter()
        .filter(|(on_hand, _)| *on_hand == assembly);
    let own: u64 = own.map(|(_, copies)| copies).sum();
    let inside: u64 = need
        .assemblies()
        .filter(|(outer, _)| *outer != assembly)
        .filter(|(outer, _)| wants(case, need, *outer, Child::Assembly(assembly), 1) > 0)
        .map(|(outer, _)| {
            let copies = stands_already(case, need, outer);
            wants(case, need, outer, Child::Assembly(assembly), copies)
        })
        .sum();
    (own + inside).min(need.assembly(assembly))
}

impl Naive {
    /// Whether what is inside stands, and no set of parts wants more than may serve it.
    fn counts(&self, case: &Case, need: &Need<usize, usize>, choice: &[u64]) -> bool {
        for (inner, (assembly, _)) in self.held.iter().enumerate() {
            let outer = self.held.iter().zip(choice);
            let inside: u64 = outer
                .map(|((outer, _), copies)| {
                    wants(case, need, *outer, Child::Assembly(*assembly), *copies)
                })
                .sum();
            if inside > choice[inner] {
                return false;
            }
        }
        (1_usize..1 << PARTS).all(|set| {
            let is_in = |part: usize| set >> part & 1 == 1;
            let mut wanted = 0;
            for (at, (assembly, _)) in self.held.iter().enumerate() {
                for part in (0..PARTS).filter(|part| is_in(*part)) {
                    let child = Child::Part(part);
                    wanted += wants(case, need, *assembly, child, choice[at])
                        - wants(case, need, *assembly, child, self.already[at]);
                }
            }
            let practice = case.purpose == Purpose::Practice;
            let serves = |heap: &&Pieces<usize, usize>| {
                let counts = match heap.state {
                    State::Good | State::Doubtful => true,
                    State::PracticeOnly => practice,
                    State::Broken => false,
                };
                let stands_in = case.stand_ins.iter().any(|stand_in| {
                    stand_in.part == heap.part
                        && is_in(stand_in.stands_in_for)
                        && (practice || stand_in.officially)
                });
                counts && (is_in(heap.part) || stands_in)
            };
            let there: u64 = case
                .pieces
                .iter()
                .filter(serves)
                .map(|heap| heap.pieces)
                .sum();
            wanted <= there
        })
    }

    fn key(&self, choice: &[u64]) -> (u64, u64, Vec<u64>) {
        let must = choice
            .iter()
            .zip(&self.must)
            .map(|(copies, must)| *copies.min(must))
            .sum();
        (must, choice.iter().sum(), choice.to_vec())
    }

    fn can_stand(&self, least: &[(usize, u64)]) -> bool {
        self.choices.iter().any(|choice| {
            least.iter().all(|(assembly, least)| {
                let at = self.held.iter().position(|(other, _)| other == assembly);
                at.is_some_and(|at| choice[at] >= *least)
            })
        })
    }
}

const PARTS: usize = 4;

fn any_case() -> impl Strategy<Value = Case> {
    let basis = prop_oneof![3 => Just(Each), 1 => Just(All)];
    let line =
        (0_usize..6, 0_usize..10, basis, 1_u64..4).prop_map(|(parent, child, basis, quantity)| {
            let assembly = child.checked_sub(PARTS).filter(|inner| *inner > parent);
            Line {
                parent: Some(parent),
                child: assembly.map_or(Child::Part(child % PARTS), Child::Assembly),
                basis,
                quantity: if assembly.is_some() {
                    1 + quantity / 3
                } else {
                    quantity
                },
            }
        });
    let state = prop_oneof![
        5 => Just(State::Good),
        1 => Just(State::Doubtful),
        1 => Just(State::PracticeOnly),
        1 => Just(State::Broken),
    ];
    let heap =
        (0..PARTS, 0_usize..3, state, 0_u64..8).prop_map(|(part, kit, state, pieces)| Pieces {
            part,
            kit,
            state,
            pieces,
        });
    let stand_in =
        (0..PARTS, 1..PARTS, any::<bool>()).prop_map(|(part, further, officially)| StandIn {
            part,
            stands_in_for: (part + further) % PARTS,
            officially,
        });
    let top = prop::collection::vec(0_u64..3, 6);
    (
        prop::collection::vec(line, 1..14),
        top,
        prop::collection::vec(heap, 0..12),
        prop::collection::vec(stand_in, 0..4),
        prop::collection::vec((0_usize..6, 1_u64..3), 0..2),
        any::<bool>(),
        prop::collection::vec((0_u64..3, any::<prop::sample::Index>()), 0..6),
    )
        .prop_map(
            |(mut lines, top, pieces, stand_ins, mut on_hand, practice, order)| {
                for (assembly, copies) in top.into_iter().enumerate() {
                    lines.push(holds(None, assembly, copies));
                }
                let need = need(&lines).expect("no cycle is generated");
                let mut left: Vec<(usize, u64)> =
                    need.assemblies().filter(|(_, held)| *held > 0).collect();
                on_hand.retain(|(assembly, _)| need.assembly(*assembly) > 0);
                let mut walk = Vec::new();
                for (must, index) in order {
                    if !left.is_empty() {
                        let (assembly, held) = left.remove(index.index(left.len()));
                        walk.push(Wanted {
                            assembly,
                            must_stand: must.min(held),
                        });
                    }
                }
                let purpose = if practice {
                    Purpose::Practice
                } else {
                    Purpose::Official
                };
                Case {
                    lines,
                    walk,
                    pieces,
                    stand_ins,
                    on_hand,
                    purpose,
                    sources: Vec::new(),
                }
            },
        )
        .prop_filter("at most twelve assemblies", |case| {
            let need = need(&case.lines).expect("no cycle is generated");
            need.assemblies().map(|(_, held)| held).sum::<u64>() <= 12
        })
}

/// That no piece is taken twice, only where it may be, and exactly as many as are wanted.
fn check_taken(case: &Case, naive: &Naive, choice: &[u64], found: &Found) {
    let need = need(&case.lines).expect("no cycle is generated");
    for part in 0..PARTS {
        for (kit, state) in (0..3).flat_map(|kit| State::ALL.map(|state| (kit, state))) {
            let is = |p: usize, k: usize, s: State| (p, k, s) == (part, kit, state);
            let there = case
                .pieces
                .iter()
                .filter(|heap| is(heap.part, heap.kit, heap.state));
            let taken = found
                .taken
                .iter()
                .filter(|taken| is(taken.part, taken.kit, taken.state));
            let there: u64 = there.map(|heap| heap.pieces).sum();
            let taken: u64 = taken.map(|taken| taken.pieces).sum();
            assert!(taken <= there, "pieces of part {part} are taken twice");
            assert!(taken == 0 || case.purpose.takes(state));
        }
        let mut wanted = 0;
        for (at, (assembly, _)) in naive.held.iter().enumerate() {
            wanted += wants(case, &need, *assembly, Child::Part(part), choice[at])
                - wants(case, &need, *assembly, Child::Part(part), naive.already[at]);
        }
        let taken = found.taken.iter().filter(|taken| taken.for_part == part);
        assert_eq!(taken.map(|taken| taken.pieces).sum::<u64>(), wanted);
    }
    for taken in &found.taken {
        let may = case.stand_ins.iter().any(|stand_in| {
            (stand_in.part, stand_in.stands_in_for) == (taken.part, taken.for_part)
                && (stand_in.officially || case.purpose == Purpose::Practice)
        });
        assert!(taken.part == taken.for_part || may);
    }
}

proptest! {
    #![proptest_config(ProptestConfig { max_global_rejects: 100_000, ..ProptestConfig::with_cases(800) })]

    #[test]
    fn the_build_check_equals_trying_everything(case in any_case()) {
        let naive = naive(&case);
        let found = case.check();
        let choice: Vec<u64> = found.assemblies.iter().map(|stands| stands.stand).collect();
        let best = naive.choices.iter().max_by_key(|choice| naive.key(choice));
        prop_assert_eq!(Some(&choice), best);
        let held: Vec<(usize, u64)> =
            found.assemblies.iter().map(|stands| (stands.assembly, stands.held)).collect();
        prop_assert_eq!(&held, &naive.held);
        check_taken(&case, &naive, &choice, &found);

        let musts: Vec<(usize, u64)> =
            case.walk.iter().map(|wanted| (wanted.assembly, wanted.must_stand)).collect();
        prop_assert_eq!(found.cannot_together.is_empty(), naive.can_stand(&musts));
        if !found.cannot_together.is_empty() {
            prop_assert!(!naive.can_stand(&found.cannot_together));
            for at in 0..found.cannot_together.len() {
                let mut fewer = found.cannot_together.clone();
                fewer[at].1 -= 1;
                prop_assert!(naive.can_stand(&fewer));
            }
        }
    }

    #[test]
    fn any_number_of_steps_gives_what_can_be_built(case in any_case(), steps in 0_u64..3) {
        let naive = naive(&case);
        let found = case.check_in(steps).expect("this can be checked");
        let choice: Vec<u64> = found.assemblies.iter().map(|stands| stands.stand).collect();
        prop_assert!(naive.choices.contains(&choice));
        check_taken(&case, &naive, &choice, &found);
    }

    #[test]
    fn what_is_lacking_and_its_cures_add_up(case in any_case()) {
        let found = case.check();
        prop_assert_eq!(found.whole, found.lacks.is_empty());
        for lack in &found.lacks {
            let cured: u64 = lack.cures.iter().map(|cure| cure.pieces).sum();
            prop_assert!(lack.lacking > 0);
            prop_assert_eq!(lack.lacking, cured + lack.uncured);
        }
        // The lacking pieces are enough: with them in the kit the field is whole.
        let mut cured = case.clone();
        cured.pieces.extend(found.lacks.iter().map(|lack| Pieces {
            part: lack.part,
            kit: 0,
            state: State::Good,
            pieces: lack.lacking,
        }));
        prop_assert!(cured.check().whole);
        // Those that cure it for practice are there for practice.
        if case.purpose == Purpose::Official {
            let practised = Case { purpose: Purpose::Practice, ..case };
            let lacking = |found: &Found| found.lacks.iter().map(|lack| lack.lacking).sum::<u64>();
            let uncured: u64 = found.lacks.iter().map(|lack| lack.uncured).sum();
            prop_assert_eq!(uncured, lacking(&practised.check()));
        }
    }
}
