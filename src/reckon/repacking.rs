//! Which bags to move so that no crate is too heavy, moving as few as possible.

/// A crate in use. Grams.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Packed {
    /// The empty crate and all in it that is not in a bag and stays.
    pub fixed_g: u64,
    /// Each bag that may be moved; all masses known.
    pub bags_g: Vec<u64>,
}

/// Where a bag goes: by its place in the list that was given.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum To {
    Crate(usize),
    /// An empty crate that is opened.
    Spare(usize),
}

/// One bag carried over.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Move {
    pub from: usize,
    pub bag: usize,
    pub to: To,
}

/// A way to repack.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Repacked {
    pub moves: Vec<Move>,
    /// How many empty crates are opened.
    pub opened: usize,
    /// Whether it is certain that no way moves fewer bags, or as few and opens fewer crates.
    pub proven: bool,
}

/// Why there is no proposal, in words for the person who asked.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum NotRepacked {
    #[error("choose a greatest mass above zero")]
    NoMaximum,
    #[error("a bag of {mass_g} g is too heavy for any of these crates: divide it first")]
    BagTooHeavy {
        from: usize,
        bag: usize,
        mass_g: u64,
    },
    #[error("a crate is too heavy without its bags: take out what lies loose in it first")]
    CrateTooHeavy { at: usize },
    #[error("there is no room for all the bags: add an empty crate, or divide a bag")]
    NoRoom,
    #[error("that is more than {MOST_BAGS} bags or {MOST_CRATES} crates: repack a part of them")]
    TooMany,
    #[error("no way was found in reasonable time, and perhaps there is none: add an empty crate")]
    Unsettled,
    #[error("the masses are larger than can be reckoned with")]
    TooMuch,
}

pub const MOST_BAGS: usize = 200;
pub const MOST_CRATES: usize = 60;
/// How many steps of the search are enough for [`repack`].
pub const STEPS: u64 = 2_000_000;

/// Which bags to carry over so that no crate is heavier than a chosen mass.
///
/// Every crate that is too heavy gives up bags, others take them, and if there is no room, empty crates are
/// opened. As few bags as possible are moved; of the ways that move as few, one is taken that opens the
/// fewest empty crates. Lifting the crates to repack them needs the usual care: the maker's guide, local
/// rules and trained people come first.
///
/// Masses in grams, at most 200 bags and 60 crates with the empty ones. Exact, up to a number of steps of
/// the search; beyond it the best way found so far comes back as not proven, or, where none was found, a
/// refusal. Refuses a bag too heavy for every crate, a crate too heavy without its bags, and bags that do
/// not fit at all.
///
/// **Why it is exact.** With `k` from a lower bound upwards and, for each, `e` from none upwards, every way
/// is tried that moves at most `k` bags and opens at most `e` crates; the first found is the answer, since
/// all lesser pairs were exhausted. Nothing better is cut off:
/// - a crate that is too heavy must lose bags not yet decided on, and its heaviest ones first is the
///   quickest way, so fewer moves than that cannot do;
/// - what was put into a crate for good is never taken out, so a crate that it overfills stays overfilled;
/// - of ways that differ only in which of several equal bags or equal empty crates is which, the first in
///   the order of the search is kept: in it equal bags choose in rising order, and of equal empty crates
///   the first is opened first, for otherwise changing two of them would give an earlier one.
///
/// The quick way tried before takes the heaviest bags out of each crate, as few as the lower bound.
pub fn repack(crates: &[Packed], spares_g: &[u64], most_g: u64) -> Result<Repacked, NotRepacked> {
    repack_within(crates, spares_g, most_g, STEPS)
}

/// [`repack`] with a number of steps of one's own.
pub fn repack_within(
    crates: &[Packed],
    spares_g: &[u64],
    most_g: u64,
    steps: u64,
) -> Result<Repacked, NotRepacked> {
    let mut search = Search::new(crates, spares_g, most_g, steps)?;
    let Some(fewest) = search.still_to_move(0) else {
        return Err(NotRepacked::NoRoom);
    };
    let quick = search.quick();
    for moves in fewest..=search.bags.len() {
        for opened in 0..=spares_g.len().min(moves) {
            if let Some(quick) = &quick
                && (quick.moves.len(), quick.opened) <= (moves, opened)
            {
                return Ok(Repacked {
                    proven: true,
                    ..quick.clone()
                });
            }
            match search.within(0, moves, opened) {
                Found::Yes => return Ok(search.answer(true)),
                Found::No => {}
                Found::OutOfSteps => {
                    return quick.ok_or(NotRepacked::Unsettled);
                }
            }
        }
    }
    Err(NotRepacked::NoRoom)
}

#[derive(Clone, Copy)]
struct Bag {
    mass: u64,
    home: usize,
    bag: usize,
}

enum Found {
    Yes,
    No,
    OutOfSteps,
}

struct Search<'a> {
    crates: usize,
    spares: &'a [u64],
    most: u64,
    steps: u64,
    /// Heaviest first; equal ones of one crate next to each other.
    bags: Vec<Bag>,
    /// Crates, then spares: what is in for good.
    fill: Vec<u64>,
    /// Crates: their own bags not decided on.
    rest: Vec<u64>,
    used: Vec<usize>,
    /// For each bag decided on, where it goes; its home if it stays.
    chosen: Vec<usize>,
}

impl<'a> Search<'a> {
    fn new(
        crates: &[Packed],
        spares: &'a [u64],
        most: u64,
        steps: u64,
    ) -> Result<Self, NotRepacked> {
        let count: usize = crates.iter().map(|packed| packed.bags_g.len()).sum();
        if most == 0 {
            return Err(NotRepacked::NoMaximum);
        }
        if count > MOST_BAGS || crates.len() + spares.len() > MOST_CRATES {
            return Err(NotRepacked::TooMany);
        }
        if let Some(at) = crates.iter().position(|packed| packed.fixed_g > most) {
            return Err(NotRepacked::CrateTooHeavy { at });
        }
        // No sum below can be larger than this one.
        crates
            .iter()
            .flat_map(|packed| packed.bags_g.iter().chain([&packed.fixed_g]))
            .chain(spares)
            .try_fold(0u64, |sum, mass| sum.checked_add(*mass))
            .ok_or(NotRepacked::TooMuch)?;
        let fill: Vec<u64> = crates
            .iter()
            .map(|packed| packed.fixed_g)
            .chain(spares.iter().copied())
            .collect();
        let roomiest = fill
            .iter()
            .map(|fill| most.saturating_sub(*fill))
            .max()
            .unwrap_or(0);
        let mut bags: Vec<Bag> = crates
            .iter()
            .enumerate()
            .flat_map(|(home, packed)| {
                let masses = packed.bags_g.iter().enumerate();
                masses.map(move |(bag, &mass)| Bag { mass, home, bag })
            })
            .collect();
        bags.sort_by_key(|bag| (std::cmp::Reverse(bag.mass), bag.home, bag.bag));
        if let Some(heavy) = bags.first().filter(|bag| bag.mass > roomiest) {
            return Err(NotRepacked::BagTooHeavy {
                from: heavy.home,
                bag: heavy.bag,
                mass_g: heavy.mass,
            });
        }
        let room: u128 = fill
            .iter()
            .map(|fill| u128::from(most.saturating_sub(*fill)))
            .sum();
        if bags.iter().map(|bag| u128::from(bag.mass)).sum::<u128>() > room {
            return Err(NotRepacked::NoRoom);
        }
        Ok(Self {
            crates: crates.len(),
            spares,
            most,
            steps,
            used: vec![0; fill.len()],
            chosen: Vec::with_capacity(bags.len()),
            rest: crates
                .iter()
                .map(|packed| packed.bags_g.iter().sum())
                .collect(),
            bags,
            fill,
        })
    }

    /// The fewest of the bags from `at` on that must leave; `None` if all leaving would not do.
    fn still_to_move(&self, at: usize) -> Option<usize> {
        let mut excess: Vec<u64> = (0..self.crates)
            .map(|home| (self.fill[home] + self.rest[home]).saturating_sub(self.most))
            .collect();
        let mut leaving = 0;
        for bag in &self.bags[at..] {
            if excess[bag.home] > 0 {
                excess[bag.home] = excess[bag.home].saturating_sub(bag.mass);
                leaving += 1;
            }
        }
        excess.iter().all(|excess| *excess == 0).then_some(leaving)
    }

    fn within(&mut self, at: usize, moves: usize, opened: usize) -> Found {
        if self.steps == 0 {
            return Found::OutOfSteps;
        }
        self.steps -= 1;
        match self.still_to_move(at) {
            Some(0) => return Found::Yes,
            Some(leaving) if leaving <= moves => {}
            _ => return Found::No,
        }
        let Bag { mass, home, .. } = self.bags[at];
        // Staying is the last choice.
        let order = |to: usize| if to == home { usize::MAX } else { to };
        let from = match at.checked_sub(1).map(|last| self.bags[last]) {
            Some(last) if last.mass == mass && last.home == home => order(self.chosen[at - 1]),
            _ => 0,
        };
        let places = self.fill.len();
        for to in (0..places).filter(|to| *to != home).chain([home]) {
            if order(to) < from || self.fill[to] + mass > self.most {
                continue;
            }
            let (mut moves_left, mut opened_left) = (moves, opened);
            if to != home {
                moves_left -= 1;
                if to >= self.crates && self.used[to] == 0 {
                    let earlier = (self.crates..to).any(|other| {
                        self.used[other] == 0
                            && self.spares[other - self.crates] == self.spares[to - self.crates]
                    });
                    if opened == 0 || earlier {
                        continue;
                    }
                    opened_left -= 1;
                }
            }
            self.rest[home] -= mass;
            self.fill[to] += mass;
            self.used[to] += 1;
            self.chosen.push(to);
            match self.within(at + 1, moves_left, opened_left) {
                Found::No => {}
                // The choices stand: they are the answer, or nothing is asked any more.
                done => return done,
            }
            self.chosen.pop();
            self.used[to] -= 1;
            self.fill[to] -= mass;
            self.rest[home] += mass;
        }
        Found::No
    }

    /// The heaviest bags of each crate that is too heavy, each put where it fits most tightly.
    fn quick(&self) -> Option<Repacked> {
        let mut mass: Vec<u64> = self.fill.clone();
        for (mass, rest) in mass.iter_mut().zip(&self.rest) {
            *mass += rest;
        }
        let mut leaving = Vec::new();
        for bag in &self.bags {
            if mass[bag.home] > self.most {
                mass[bag.home] -= bag.mass;
                leaving.push(bag);
            }
        }
        let (mut moves, mut open) = (Vec::new(), vec![false; self.fill.len()]);
        open[..self.crates].fill(true);
        for bag in leaving {
            let to = (0..mass.len())
                .filter(|to| *to != bag.home && mass[*to] + bag.mass <= self.most)
                .max_by_key(|to| (open[*to], mass[*to]))?;
            mass[to] += bag.mass;
            open[to] = true;
            moves.push(self.carried(bag, to));
        }
        let opened = open[self.crates..].iter().filter(|open| **open).count();
        Some(Repacked {
            moves,
            opened,
            proven: false,
        })
    }

    fn answer(&self, proven: bool) -> Repacked {
        let decided = self.bags.iter().zip(&self.chosen);
        Repacked {
            moves: decided
                .filter(|(bag, to)| bag.home != **to)
                .map(|(bag, to)| self.carried(bag, *to))
                .collect(),
            opened: self.used[self.crates..]
                .iter()
                .filter(|used| **used > 0)
                .count(),
            proven,
        }
    }

    fn carried(&self, bag: &Bag, to: usize) -> Move {
        Move {
            from: bag.home,
            bag: bag.bag,
            to: match to.checked_sub(self.crates) {
                Some(spare) => To::Spare(spare),
                None => To::Crate(to),
            },
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn packed(fixed_g: u64, bags_g: &[u64]) -> Packed {
        Packed {
            fixed_g,
            bags_g: bags_g.to_vec(),
        }
    }

    /// What each crate and spare weighs afterwards; every bag is moved at most once, and is there.
    fn masses(crates: &[Packed], spares: &[u64], moves: &[Move]) -> Vec<u64> {
        let mut masses: Vec<u64> = crates
            .iter()
            .map(|packed| packed.fixed_g + packed.bags_g.iter().sum::<u64>())
            .chain(spares.iter().copied())
            .collect();
        let mut seen = std::collections::HashSet::new();
        for carried in moves {
            assert!(
                seen.insert((carried.from, carried.bag)),
                "a bag is moved twice"
            );
            let mass = crates[carried.from].bags_g[carried.bag];
            masses[carried.from] -= mass;
            masses[match carried.to {
                To::Crate(to) => to,
                To::Spare(to) => crates.len() + to,
            }] += mass;
        }
        masses
    }

    /// Every way there is: the least number of moves, then of spares opened.
    fn by_trying_all(crates: &[Packed], spares: &[u64], most: u64) -> Option<(usize, usize)> {
        let bags: Vec<(usize, u64)> = (0..)
            .zip(crates)
            .flat_map(|(home, packed)| packed.bags_g.iter().map(move |mass| (home, *mass)))
            .collect();
        let places = crates.len() + spares.len();
        (0..places.pow(bags.len() as u32))
            .filter_map(|mut way| {
                let mut mass: Vec<u64> = crates
                    .iter()
                    .map(|packed| packed.fixed_g)
                    .chain(spares.iter().copied())
                    .collect();
                let (mut moves, mut used) = (0, vec![false; places]);
                for (home, bag) in &bags {
                    let to = way % places;
                    way /= places;
                    mass[to] += bag;
                    used[to] = true;
                    moves += usize::from(to != *home);
                }
                let fits =
                    (0..places).all(|at| mass[at] <= most || (at >= crates.len() && !used[at]));
                fits.then(|| {
                    (
                        moves,
                        used[crates.len()..].iter().filter(|used| **used).count(),
                    )
                })
            })
            .min()
    }

    #[test]
    fn what_cannot_be_is_refused() {
        let refused =
            |crates: &[Packed], spares: &[u64], most| repack(crates, spares, most).unwrap_err();
        assert_eq!(refused(&[], &[], 0), NotRepacked::NoMaximum);
        assert_eq!(
            refused(&[packed(6, &[])], &[], 5),
            NotRepacked::CrateTooHeavy { at: 0 }
        );
        assert_eq!(
            refused(&[packed(1, &[2, 5])], &[1], 5),
            NotRepacked::BagTooHeavy {
                from: 0,
                bag: 1,
                mass_g: 5
            }
        );
        assert_eq!(refused(&[packed(1, &[3, 3])], &[], 5), NotRepacked::NoRoom);
        // Room enough in all, but three bags of 3 do not fit two crates of 5.
        assert_eq!(
            refused(&[packed(0, &[3, 3, 3])], &[0], 5),
            NotRepacked::NoRoom
        );
        assert_eq!(
            refused(&[packed(0, &[1; 201])], &[], 5),
            NotRepacked::TooMany
        );
        assert_eq!(
            refused(&[packed(1, &[u64::MAX])], &[], u64::MAX),
            NotRepacked::TooMuch
        );
    }

    #[test]
    fn a_swap_is_found_where_no_simple_move_helps() {
        let crates = [packed(0, &[4, 3]), packed(0, &[3, 2])];
        let found = repack(&crates, &[], 6).unwrap();
        assert_eq!(found.moves.len(), 2);
        assert!(found.proven);
        assert_eq!(masses(&crates, &[], &found.moves), [6, 6]);
    }

    #[test]
    fn out_of_steps_nothing_is_called_proven() {
        // The quick way takes out the 6 and opens a crate; the 5 would fit in the other one.
        let crates = [packed(0, &[6, 5]), packed(0, &[3])];
        let unproven = repack_within(&crates, &[0], 8, 0).unwrap();
        assert_eq!((unproven.opened, unproven.proven), (1, false));
        let proven = repack(&crates, &[0], 8).unwrap();
        assert_eq!(
            (proven.moves.len(), proven.opened, proven.proven),
            (1, 0, true)
        );
        let swap = [packed(0, &[4, 3]), packed(0, &[3, 2])];
        assert_eq!(repack_within(&swap, &[], 6, 1), Err(NotRepacked::Unsettled));
    }

    proptest! {
        #[test]
        fn it_is_what_trying_all_ways_finds(
            crates in prop::collection::vec((0..3u64, prop::collection::vec(0..7u64, 0..4)), 1..4),
            spares in prop::collection::vec(0..3u64, 0..3),
            most in 4..14u64,
        ) {
            let crates: Vec<Packed> = crates.iter().map(|(fixed, bags)| packed(*fixed, bags)).collect();
            prop_assume!(crates.iter().map(|packed| packed.bags_g.len()).sum::<usize>() <= 6);
            let all = by_trying_all(&crates, &spares, most);
            match repack(&crates, &spares, most) {
                Ok(found) => {
                    prop_assert!(found.proven);
                    prop_assert_eq!(Some((found.moves.len(), found.opened)), all);
                    prop_assert!(masses(&crates, &spares, &found.moves).iter().zip(0..)
                        .all(|(mass, at): (&u64, usize)| *mass <= most || (at >= crates.len() && spares[at - crates.len()] == *mass)));
                }
                Err(_) => prop_assert_eq!(all, None),
            }
        }

        #[test]
        fn no_mass_is_exceeded_and_no_bag_is_lost(
            crates in prop::collection::vec((0..3000u64, prop::collection::vec(100..6000u64, 0..8)), 1..8),
            most in 9_000..16_000u64,
        ) {
            let crates: Vec<Packed> = crates.iter().map(|(fixed, bags)| packed(*fixed, bags)).collect();
            let spares = [1500; 4];
            if let Ok(found) = repack_within(&crates, &spares, most, 20_000) {
                let after = masses(&crates, &spares, &found.moves);
                prop_assert!(after.iter().all(|mass| *mass <= most));
                let before = masses(&crates, &spares, &[]);
                prop_assert_eq!(after.iter().sum::<u64>(), before.iter().sum::<u64>());
            }
        }
    }
}
