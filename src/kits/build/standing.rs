//! Which assemblies can stand: the exact choice.
//!
//! # Why the answer is exact
//!
//! A choice says for each assembly how many copies stand. It counts if every assembly inside a standing one
//! stands and the pieces can be shared out ([`Stock::share_out`] lacks none). By Hall's theorem the second
//! holds exactly if no set of parts wants more pieces than may serve any of its parts; these conditions are rows of
//! a problem for [`crate::reckon::choose`], which proves its answer. The rows for single parts are there
//! from the start, those for several parts are added when a choice would break them.
//!
//! Left out beforehand is only what cannot matter: groups of parts (connected by standing in) that suffice for the
//! whole field, and assemblies that use no other part, nor hold an assembly that does; these stand in full. What
//! remains falls into components that share neither a part nor an assembly. The best choice of the whole is made
//! of the best choice of each, because the assemblies that must stand, the assemblies in all, and the walk order
//! compare component by component: in each, the first two are sums, and the third is decided by the first
//! assembly in which two choices differ.

use std::collections::BTreeMap;

use super::BuildRefused;
use super::field::Field;
use super::stock::Stock;
use crate::reckon::choose::{Best, ChooseRefused, Class, Problem, Row, Settled};

/// How many copies of each kind stand.
pub(super) struct Standing {
    pub copies: Vec<u64>,
    pub proven: bool,
    pub steps: u64,
}

/// The best choice; `least` is what stands in any case (and can).
pub(super) fn best<P: Copy + Ord, A: Copy + Ord>(
    field: &Field<P, A>,
    stock: &Stock,
    least: &[u64],
    most_steps: u64,
) -> Result<Standing, BuildRefused<P, A>> {
    let scarce = scarce_parts(field, stock);
    let bound = bound_kinds(field, &scarce);
    let mut standing = Standing {
        copies: field.all(),
        proven: true,
        steps: 0,
    };
    for kinds in components(field, stock, &scarce, &bound) {
        let component = Component {
            field,
            stock,
            scarce: &scarce,
            kinds: &kinds,
            least,
        };
        let left = most_steps - standing.steps;
        let best = component.best(left)?;
        standing.steps += best.steps;
        standing.proven &= best.proven;
        for (at, kind) in kinds.iter().enumerate() {
            let more = best.settled.as_ref().map_or(0, |settled| way(settled, at));
            standing.copies[*kind] = least[*kind] + more;
        }
    }
    Ok(standing)
}

/// The parts in groups that do not suffice for the whole field.
fn scarce_parts<P: Copy + Ord, A: Copy + Ord>(field: &Field<P, A>, stock: &Stock) -> Vec<bool> {
    let group = stock.groups();
    let lacking = stock.share_out(&field.wanted(&field.all())).lacking;
    let mut scarce = vec![false; group.len()];
    for (part, lacking) in lacking.iter().enumerate() {
        if *lacking > 0 {
            scarce[group[part]] = true;
        }
    }
    group.iter().map(|group| scarce[*group]).collect()
}

/// The kinds that use a scarce part, or hold one that does.
fn bound_kinds<P: Copy + Ord, A: Copy + Ord>(field: &Field<P, A>, scarce: &[bool]) -> Vec<bool> {
    let mut bound = vec![false; field.kinds.len()];
    for at in field.inner_first() {
        let kind = &field.kinds[at];
        bound[at] = kind.standing < kind.held
            && (kind
                .parts
                .iter()
                .any(|use_| scarce[use_.of] && use_.by(kind.held) > use_.by(kind.standing))
                || kind.inside.iter().any(|use_| bound[use_.of]));
    }
    bound
}

/// The bound kinds, divided where they share neither scarce parts nor assemblies, each in walk order.
fn components<P: Copy + Ord, A: Copy + Ord>(
    field: &Field<P, A>,
    stock: &Stock,
    scarce: &[bool],
    bound: &[bool],
) -> Vec<Vec<usize>> {
    let group = stock.groups();
    let mut of: Vec<usize> = (0..bound.len()).collect();
    let mut join = |one: usize, two: usize| {
        let (one, two) = (of[one], of[two]);
        let (kept, gone) = (one.min(two), one.max(two));
        if kept != gone {
            of.iter_mut()
                .filter(|of| **of == gone)
                .for_each(|of| *of = kept);
        }
    };
    let mut users: BTreeMap<usize, usize> = BTreeMap::new();
    for (at, kind) in field.kinds.iter().enumerate().filter(|(at, _)| bound[*at]) {
        for use_ in kind.parts.iter().filter(|use_| scarce[use_.of]) {
            let first = *users.entry(group[use_.of]).or_insert(at);
            join(first, at);
        }
        for use_ in kind.inside.iter().filter(|use_| bound[use_.of]) {
            join(at, use_.of);
        }
    }
    let mut components: BTreeMap<usize, Vec<usize>> = BTreeMap::new();
    for kind in (0..bound.len()).filter(|kind| bound[*kind]) {
        components.entry(of[kind]).or_default().push(kind);
    }
    components.into_values().collect()
}

/// How many more copies than stand in any case this settlement gives to a thing.
fn way(settled: &Settled, thing: usize) -> u64 {
    settled[thing]
        .iter()
        .position(|count| *count == 1)
        .unwrap_or(0) as u64
}

struct Component<'a, P, A> {
    field: &'a Field<P, A>,
    stock: &'a Stock,
    scarce: &'a [bool],
    /// In walk order; a class of the problem is a position in here.
    kinds: &'a [usize],
    least: &'a [u64],
}

impl<P: Copy + Ord, A: Copy + Ord> Component<'_, P, A> {
    fn best(&self, most_steps: u64) -> Result<Best, BuildRefused<P, A>> {
        let mut problem = Problem {
            classes: self.kinds.iter().map(|kind| self.class(*kind)).collect(),
            limits: Vec::new(),
        };
        let mut add = |row: Row| {
            let at = problem.limits.len();
            problem.limits.push(row.limit);
            for (class, uses) in row.uses {
                problem.classes[class].uses.push((at, uses));
            }
        };
        for part in (0..self.scarce.len()).filter(|part| self.scarce[*part]) {
            let serving = &self.stock.served_by[part];
            let pieces = serving.iter().map(|by| self.stock.pieces[*by]).sum();
            let row = self.row(&[part], pieces);
            if row
                .uses
                .iter()
                .filter_map(|(_, uses)| uses.last())
                .sum::<i64>()
                > row.limit
            {
                add(row);
            }
        }
        for inner in 0..self.kinds.len() {
            if let Some(row) = self.inside(inner) {
                add(row);
            }
        }
        let order: Vec<usize> = (0..self.kinds.len()).collect();
        let start = problem.classes.iter().map(|class| {
            let ways = 0..class.worth.len();
            ways.map(|way| u64::from(way == 0)).collect()
        });
        let start = start.collect();
        let mut copies = self.least.to_vec();
        let broken = |settled: &Settled| {
            for (at, kind) in self.kinds.iter().enumerate() {
                copies[*kind] = self.least[*kind] + way(settled, at);
            }
            let too_few = self.stock.too_few(&self.wanted(&copies))?;
            Some(self.row(&too_few.parts, too_few.pieces))
        };
        Best::find(problem, &order, Some(start), most_steps, broken)
            .map_err(|ChooseRefused::TooLarge| BuildRefused::TooLarge)
    }

    /// The ways of a kind: as many copies as stand in any case, one more, and so on. The copies that
    /// must stand come before any number of others.
    fn class(&self, kind: usize) -> Class {
        let copies: u64 = self.field.kinds.iter().map(|kind| kind.held).sum();
        let must_worth = i64::try_from(copies).unwrap_or(i64::MAX) + 1;
        let least = self.least[kind];
        let kind = &self.field.kinds[kind];
        let worth = |copies: u64| {
            let must = copies.min(kind.must_stand).saturating_sub(least);
            (copies - least) as i64 + must as i64 * must_worth
        };
        Class {
            times: 1,
            worth: (least..=kind.held).map(worth).collect(),
            uses: Vec::new(),
        }
    }

    /// What the kinds of this component want of the scarce parts.
    fn wanted(&self, copies: &[u64]) -> Vec<u64> {
        let mut wanted = vec![0; self.scarce.len()];
        for at in self.kinds {
            let kind = &self.field.kinds[*at];
            for use_ in kind.parts.iter().filter(|use_| self.scarce[use_.of]) {
                wanted[use_.of] += use_.by(copies[*at]) - use_.by(kind.standing);
            }
        }
        wanted
    }

    /// That these parts together want no more than so many pieces.
    fn row(&self, parts: &[usize], pieces: u64) -> Row {
        let mut uses = Vec::new();
        for (thing, at) in self.kinds.iter().enumerate() {
            let kind = &self.field.kinds[*at];
            let used = |copies: u64| {
                let lines = kind.parts.iter().filter(|use_| parts.contains(&use_.of));
                lines
                    .map(|use_| use_.by(copies) - use_.by(kind.standing))
                    .sum::<u64>() as i64
            };
            let used: Vec<i64> = (self.least[*at]..=kind.held).map(used).collect();
            if used.iter().any(|used| *used > 0) {
                uses.push((thing, used));
            }
        }
        Row {
            uses,
            limit: i64::try_from(pieces).unwrap_or(i64::MAX).min(1 << 59),
        }
    }

    /// That no more copies of this thing are inside standing ones than stand; none if nothing holds it.
    fn inside(&self, inner: usize) -> Option<Row> {
        let inner_kind = self.kinds[inner];
        let mut uses = Vec::new();
        for (thing, at) in self.kinds.iter().enumerate() {
            let kind = &self.field.kinds[*at];
            let ways = self.least[*at]..=kind.held;
            if thing == inner {
                uses.push((thing, ways.map(|copies| -(copies as i64)).collect()));
                continue;
            }
            let lines: Vec<_> = kind
                .inside
                .iter()
                .filter(|use_| use_.of == inner_kind)
                .collect();
            if !lines.is_empty() {
                let held = |copies| lines.iter().map(|use_| use_.by(copies)).sum::<u64>() as i64;
                uses.push((thing, ways.map(held).collect()));
            }
        }
        // A kind outside the component that holds this one stands in full already.
        let outside = self.field.kinds.iter().enumerate();
        let outside = outside.filter(|(at, _)| !self.kinds.contains(at));
        let held = outside
            .flat_map(|(_, kind)| kind.inside.iter().map(move |use_| (kind.held, use_)))
            .filter(|(_, use_)| use_.of == inner_kind)
            .map(|(held, use_)| use_.by(held))
            .sum::<u64>();
        (uses.len() > 1).then(|| Row {
            uses,
            limit: -(held as i64),
        })
    }
}
