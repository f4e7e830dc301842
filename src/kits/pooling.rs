//! Pooling: what several incomplete kits of one design make together.
//!
//! In plain words: lay all the kits side by side. How many of them can be made complete with the pieces
//! of all? Of the ways to do that, take one that opens the fewest other kits, and of those one that moves the
//! fewest pieces. The answer is a list to work through: so many of this part from that kit into this one.
//!
//! - A **complete** kit holds at least the need of every part afterwards. Which kits become complete is part
//!   of the choice; their number is the most there can be, and never more than there are kits.
//! - A **giving** kit is one that at least one piece leaves. A kit that becomes complete gives only what it
//!   has over; one that does not may give all it has. It may be best to give from a kit that was complete.
//! - Pieces nobody needs stay where they are.
//!
//! # Method
//!
//! The number of complete kits is the smallest, over the parts, of *all pieces / need of one kit*, rounded
//! down, and at most the number of kits: whatever kits are chosen, with every kit giving the pieces suffice,
//! because those above a chosen kit's need and those of the kits left over are together at least what the chosen
//! ones lack.
//!
//! A part of which every kit has its need plays no further role. For the others each kit is settled one of
//! four ways: complete or not, giving or not; kits that hold the same of these parts are alike. The exact
//! search of [`crate::reckon::choose`] finds first the fewest giving kits, then, with no more of them, the
//! fewest pieces moved. Pieces moved are what the complete kits lacked: each is put in once and none is moved
//! twice.
//!
//! Up to [`STEPS`] steps are made for each of the two questions. A season's kits with few parts short take
//! a handful. Beyond the limit the answer still completes as many kits as there can be, but says that fewer
//! giving kits or fewer pieces might do ([`Proof::BestFound`]).

use std::collections::{BTreeMap, BTreeSet};

use crate::reckon::choose::{Best, ChooseRefused, Class, Problem, Settled};

#[cfg(test)]
#[path = "pooling_tests.rs"]
mod tests;

/// The most steps of either search, unless the caller allows another number.
pub const STEPS: u64 = 5_000;

/// One of the kits, and what it holds.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PooledKit<K, P> {
    pub kit: K,
    /// Part and pieces. A part that is named twice counts twice; one without need is left alone.
    pub pieces: Vec<(P, u64)>,
}

/// Pieces to take out of one kit and put into another.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct Move<K, P> {
    pub part: P,
    pub pieces: u64,
    pub from: K,
    pub to: K,
}

/// How sure the answer is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Proof {
    /// Nothing is better.
    Proven,
    /// As many kits as possible are complete, but after so many steps it is not proven that fewer
    /// giving kits, or fewer pieces moved, would not do.
    BestFound { steps: u64 },
}

/// What the kits make together.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Pooled<K, P> {
    /// The kits that are complete after the moves, in the order given.
    pub complete: Vec<K>,
    /// The kits that a piece leaves, in the order given.
    pub giving: Vec<K>,
    /// By part in the order of the need, then by giving kit, then by receiving kit.
    pub moves: Vec<Move<K, P>>,
    /// All pieces moved.
    pub pieces: u64,
    pub proof: Proof,
}

/// Why kits were not pooled.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum PoolRefused<K, P> {
    #[error("There are no kits to pool.")]
    NoKits,
    #[error("The list needs no piece of any part, so every kit is complete.")]
    NoNeed,
    #[error("A kit is named twice.")]
    KitTwice(K),
    #[error("The need of a part is given twice.")]
    PartTwice(P),
    #[error("There are more pieces than can be counted.")]
    TooMany,
}

/// How many complete kits these make together, with the fewest giving kits and then the fewest
/// pieces moved.
///
/// `needs` says what one complete kit holds: each part once, with a number of pieces. At most `most_steps`
/// steps are made for each of the two questions; [`STEPS`] is a good number. Refused are a list without
/// kits or without need, a kit or part named twice, and more than 2^40 pieces.
pub fn pool<K, P>(
    needs: &[(P, u64)],
    kits: &[PooledKit<K, P>],
    most_steps: u64,
) -> Result<Pooled<K, P>, PoolRefused<K, P>>
where
    K: Copy + Ord,
    P: Copy + Ord,
{
    let hall = Hall::read(needs, kits)?;
    let fields = hall.fields();
    let short = hall.short_parts();
    let classes = hall.classes(&short);
    let table = Table {
        hall: &hall,
        short: &short,
        classes: &classes,
        left_over: kits.len() - fields,
    };
    let (settled, proof) = table.settle(most_steps)?;
    Ok(hall.pooled(kits, &settled, proof))
}

/// What there is, as tables: parts of the need by position, kits by position.
struct Hall<P> {
    parts: Vec<P>,
    needs: Vec<u64>,
    /// By kit, then by part.
    stock: Vec<Vec<u64>>,
    /// By part.
    totals: Vec<u64>,
}

/// The most pieces there may be, so that all can be compared exactly.
const MOST: u64 = 1 << 40;

impl<P: Copy + Ord> Hall<P> {
    fn read<K: Copy + Ord>(
        needs: &[(P, u64)],
        kits: &[PooledKit<K, P>],
    ) -> Result<Self, PoolRefused<K, P>> {
        if kits.is_empty() {
            return Err(PoolRefused::NoKits);
        }
        let mut seen = BTreeSet::new();
        if let Some(twice) = kits.iter().find(|kit| !seen.insert(kit.kit)) {
            return Err(PoolRefused::KitTwice(twice.kit));
        }
        let mut at = BTreeMap::new();
        for (position, (part, pieces)) in needs.iter().enumerate() {
            if at.insert(*part, position).is_some() {
                return Err(PoolRefused::PartTwice(*part));
            }
            // One kit more than there are, so that no product below is too large either.
            let all = pieces.checked_mul(kits.len() as u64 + 1);
            if all.is_none_or(|all| all > MOST) {
                return Err(PoolRefused::TooMany);
            }
        }
        if needs.iter().all(|(_, pieces)| *pieces == 0) {
            return Err(PoolRefused::NoNeed);
        }
        let mut totals = vec![0_u64; needs.len()];
        let mut stock = Vec::with_capacity(kits.len());
        let mut sum = 0_u64;
        for kit in kits {
            let mut own = vec![0; needs.len()];
            let mut expected = 0;
            for (part, pieces) in &kit.pieces {
                // Kits mostly name the parts in the order of the list, so the next one is tried first.
                let position = match needs.get(expected) {
                    Some((next, _)) if next == part => Some(expected),
                    _ => at.get(part).copied(),
                };
                let Some(position) = position else {
                    continue;
                };
                expected = position + 1;
                sum = sum
                    .checked_add(*pieces)
                    .filter(|sum| *sum <= MOST)
                    .ok_or(PoolRefused::TooMany)?;
                own[position] += pieces;
                totals[position] += pieces;
            }
            stock.push(own);
        }
        Ok(Self {
            parts: needs.iter().map(|(part, _)| *part).collect(),
            needs: needs.iter().map(|(_, pieces)| *pieces).collect(),
            stock,
            totals,
        })
    }

    /// How many kits can be complete.
    fn fields(&self) -> usize {
        let by_part = self.needs.iter().zip(&self.totals);
        by_part
            .filter(|(need, _)| **need > 0)
            .map(|(need, total)| usize::try_from(total / need).unwrap_or(usize::MAX))
            .fold(self.stock.len(), usize::min)
    }

    /// The parts of which some kit lacks a piece.
    fn short_parts(&self) -> Vec<usize> {
        let parts = 0..self.parts.len();
        parts
            .filter(|part| self.stock.iter().any(|own| own[*part] < self.needs[*part]))
            .collect()
    }

    /// Kits that hold the same of the short parts, by class; the classes in the order of their first kit.
    fn classes(&self, short: &[usize]) -> Vec<Vec<usize>> {
        let mut at = BTreeMap::new();
        let mut classes: Vec<Vec<usize>> = Vec::new();
        for (kit, own) in self.stock.iter().enumerate() {
            let key: Vec<u64> = short.iter().map(|part| own[*part]).collect();
            let class = *at.entry(key).or_insert_with(|| {
                classes.push(Vec::new());
                classes.len() - 1
            });
            classes[class].push(kit);
        }
        classes
    }

    fn lack(&self, kit: usize, part: usize) -> u64 {
        self.needs[part].saturating_sub(self.stock[kit][part])
    }

    /// The answer for kits settled like this: pieces go from giving kits to lacking ones, each in order.
    fn pooled<K: Copy>(
        &self,
        kits: &[PooledKit<K, P>],
        settled: &[Way],
        proof: Proof,
    ) -> Pooled<K, P> {
        let mut moves = Vec::new();
        let mut gives = vec![false; kits.len()];
        let mut pieces = 0;
        for part in 0..self.parts.len() {
            let mut to = 0;
            let mut wanted = 0;
            for (from, way) in settled.iter().enumerate() {
                let mut left = way.gives(self.stock[from][part], self.needs[part]);
                while left > 0 {
                    while wanted == 0 && to < kits.len() {
                        if settled[to].complete {
                            wanted = self.lack(to, part);
                        }
                        to += 1;
                    }
                    let moved = left.min(wanted);
                    if moved == 0 {
                        break;
                    }
                    moves.push(Move {
                        part: self.parts[part],
                        pieces: moved,
                        from: kits[from].kit,
                        to: kits[to - 1].kit,
                    });
                    gives[from] = true;
                    left -= moved;
                    wanted -= moved;
                    pieces += moved;
                }
            }
        }
        let chosen = |keep: &dyn Fn(usize) -> bool| {
            let chosen = kits.iter().enumerate().filter(|(at, _)| keep(*at));
            chosen.map(|(_, kit)| kit.kit).collect()
        };
        Pooled {
            complete: chosen(&|kit| settled[kit].complete),
            giving: chosen(&|kit| gives[kit]),
            moves,
            pieces,
            proof,
        }
    }
}

/// One way to settle a kit.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Way {
    complete: bool,
    giving: bool,
}

impl Way {
    const ALL: [Self; 4] = [
        Self {
            complete: true,
            giving: false,
        },
        Self {
            complete: true,
            giving: true,
        },
        Self {
            complete: false,
            giving: true,
        },
        Self {
            complete: false,
            giving: false,
        },
    ];

    /// How many pieces of a part a kit settled so can give.
    fn gives(self, own: u64, need: u64) -> u64 {
        match (self.giving, self.complete) {
            (false, _) => 0,
            (true, true) => own.saturating_sub(need),
            (true, false) => own,
        }
    }
}

/// The choice to be made.
struct Table<'a, P> {
    hall: &'a Hall<P>,
    /// The parts that play a role.
    short: &'a [usize],
    /// The kits that are alike.
    classes: &'a [Vec<usize>],
    /// How many kits do not become complete.
    left_over: usize,
}

impl<P: Copy + Ord> Table<'_, P> {
    /// How each kit is settled, and how sure that is.
    fn settle<K>(&self, most_steps: u64) -> Result<(Vec<Way>, Proof), PoolRefused<K, P>> {
        let ways: Vec<Vec<Way>> = self
            .classes
            .iter()
            .map(|class| self.ways(class[0]))
            .collect();
        let mut problem = Problem {
            classes: ways
                .iter()
                .zip(self.classes)
                .map(|(ways, class)| self.class(ways, class))
                .collect(),
            limits: vec![0; self.short.len()],
        };
        problem.limits.push(self.left_over as i64);

        let start = self.start(&ways);
        let fewest_kits = find(problem.clone(), start, most_steps)?;
        let start = fewest_kits.settled.ok_or(PoolRefused::TooMany)?;
        let giving = -problem.worth(&start);

        // With no more giving kits: the fewest pieces.
        let row = problem.limits.len();
        problem.limits.push(giving);
        for ((class, ways), kits) in problem.classes.iter_mut().zip(&ways).zip(self.classes) {
            let lacks = self.lacks(kits[0]) as i64;
            let giving = ways.iter().map(|way| i64::from(way.giving)).collect();
            class.uses.push((row, giving));
            class.worth = ways
                .iter()
                .map(|way| if way.complete { -lacks } else { 0 })
                .collect();
        }
        let fewest_pieces = find(problem, start, most_steps)?;
        let steps = fewest_kits.steps + fewest_pieces.steps;
        let proof = if fewest_kits.proven && fewest_pieces.proven {
            Proof::Proven
        } else {
            Proof::BestFound { steps }
        };
        let counts = fewest_pieces.settled.ok_or(PoolRefused::TooMany)?;
        let mut settled = vec![Way::ALL[0]; self.hall.stock.len()];
        for ((kits, ways), counts) in self.classes.iter().zip(&ways).zip(counts) {
            let each = ways.iter().zip(counts);
            let each = each.flat_map(|(way, count)| std::iter::repeat_n(*way, count as usize));
            for (kit, way) in kits.iter().zip(each) {
                settled[*kit] = way;
            }
        }
        Ok((settled, proof))
    }

    /// The ways that make sense for this kit.
    fn ways(&self, kit: usize) -> Vec<Way> {
        let lacks = self.lacks(kit) > 0;
        let makes_sense = |way: &Way| {
            if !way.complete && self.left_over == 0 {
                return false;
            }
            // A kit that lacks nothing may as well be complete as lie untouched.
            if !way.complete && !way.giving && !lacks {
                return false;
            }
            !way.giving
                || self
                    .short
                    .iter()
                    .any(|part| way.gives(self.hall.stock[kit][*part], self.hall.needs[*part]) > 0)
        };
        Way::ALL.into_iter().filter(makes_sense).collect()
    }

    /// What each way costs (a giving kit) and uses (pieces of each short part, a kit left over).
    fn class(&self, ways: &[Way], kits: &[usize]) -> Class {
        let kit = kits[0];
        let mut uses: Vec<(usize, Vec<i64>)> = Vec::with_capacity(self.short.len() + 1);
        for (row, part) in self.short.iter().enumerate() {
            let used = |way: &Way| {
                let lack = if way.complete {
                    self.hall.lack(kit, *part)
                } else {
                    0
                };
                let given = way.gives(self.hall.stock[kit][*part], self.hall.needs[*part]);
                lack as i64 - given as i64
            };
            uses.push((row, ways.iter().map(used).collect()));
        }
        let left_over = ways.iter().map(|way| i64::from(!way.complete)).collect();
        uses.push((self.short.len(), left_over));
        uses.retain(|(_, uses)| uses.iter().any(|use_| *use_ != 0));
        Class {
            times: kits.len() as u64,
            worth: ways.iter().map(|way| -i64::from(way.giving)).collect(),
            uses,
        }
    }

    /// A settlement that always suffices: the kits that lack least are complete, and all that can give do.
    fn start(&self, ways: &[Vec<Way>]) -> Settled {
        let mut classes: Vec<usize> = (0..self.classes.len()).collect();
        classes.sort_by_key(|class| std::cmp::Reverse(self.lacks(self.classes[*class][0])));
        let mut left_over = self.left_over as u64;
        let mut settled: Settled = ways.iter().map(|ways| vec![0; ways.len()]).collect();
        for class in classes {
            let kits = self.classes[class].len() as u64;
            let find = |complete| {
                let mut ways = ways[class].iter().enumerate().rev();
                let giving = ways
                    .clone()
                    .find(|(_, way)| way.complete == complete && way.giving);
                giving.or_else(|| ways.find(|(_, way)| way.complete == complete))
            };
            let opened = find(false).map_or(0, |(way, _)| {
                settled[class][way] = left_over.min(kits);
                left_over.min(kits)
            });
            left_over -= opened;
            if let Some((way, _)) = find(true) {
                settled[class][way] = kits - opened;
            }
        }
        settled
    }

    fn lacks(&self, kit: usize) -> u64 {
        self.short
            .iter()
            .map(|part| self.hall.lack(kit, *part))
            .sum()
    }
}

fn find<K, P>(
    problem: Problem,
    start: Settled,
    most_steps: u64,
) -> Result<Best, PoolRefused<K, P>> {
    Best::find(problem, &[], Some(start), most_steps, |_| None)
        .map_err(|ChooseRefused::TooLarge| PoolRefused::TooMany)
}
