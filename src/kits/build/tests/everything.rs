//! The build check equals trying everything on small fields, takes no piece twice, and its lacks add up.

use proptest::prelude::*;

use super::*;
use crate::guides::need::{Need, share};

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
