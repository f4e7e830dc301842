//! A field as positions: its assemblies in walk order, what each wants of parts and of other assemblies.

use std::collections::BTreeMap;

use super::{BuildRefused, Wanted};
use crate::guides::need::{Basis, Child, Line, Need, share};

/// One line of an assembly: for each number of standing copies it wants so many.
#[derive(Debug, Clone, Copy)]
pub(super) struct Use {
    /// The part or the assembly inside, as a position.
    pub of: usize,
    basis: Basis,
    quantity: u64,
    held: u64,
}

impl Use {
    /// How many this many copies want.
    pub fn by(&self, copies: u64) -> u64 {
        match self.basis {
            Basis::Each => self.quantity * copies,
            Basis::All => share(self.quantity, copies, self.held),
        }
    }
}

/// One assembly of the field.
#[derive(Debug, Clone)]
pub(super) struct Kind<A> {
    pub assembly: A,
    /// How many copies the field has.
    pub held: u64,
    pub must_stand: u64,
    /// Copies that stand already, alone or inside others.
    pub standing: u64,
    pub parts: Vec<Use>,
    pub inside: Vec<Use>,
}

/// The whole field.
#[derive(Debug, Clone)]
pub(super) struct Field<P, A> {
    pub parts: Vec<P>,
    pub kinds: Vec<Kind<A>>,
    /// Kinds, each before all that are inside it.
    outer_first: Vec<usize>,
    /// Pieces that the field wants beside its assemblies, by part.
    pub loose: Vec<u64>,
}

impl<P: Copy + Ord, A: Copy + Ord> Field<P, A> {
    pub fn read(
        lines: &[Line<P, A>],
        need: &Need<P, A>,
        parts: &[P],
        walk: &[Wanted<A>],
    ) -> Result<Self, BuildRefused<P, A>> {
        let mut kinds: Vec<Kind<A>> = Vec::new();
        let mut at: BTreeMap<A, usize> = BTreeMap::new();
        let rest = need.assemblies().map(|(assembly, _)| Wanted {
            assembly,
            must_stand: 0,
        });
        for (position, wanted) in walk.iter().copied().chain(rest).enumerate() {
            let held = need.assembly(wanted.assembly);
            let named = position < walk.len();
            if at.contains_key(&wanted.assembly) {
                if named {
                    return Err(BuildRefused::TwiceInWalk(wanted.assembly));
                }
                continue;
            }
            if held == 0 && named {
                return Err(BuildRefused::NotInField(wanted.assembly));
            }
            if wanted.must_stand > held {
                return Err(BuildRefused::MoreThanHeld(wanted.assembly));
            }
            if held > 0 {
                at.insert(wanted.assembly, kinds.len());
                kinds.push(Kind {
                    assembly: wanted.assembly,
                    held,
                    must_stand: wanted.must_stand,
                    standing: 0,
                    parts: Vec::new(),
                    inside: Vec::new(),
                });
            }
        }
        let mut loose = vec![0; parts.len()];
        for (position, line) in lines.iter().enumerate() {
            let parent = line.parent.map(|parent| at.get(&parent).copied());
            let of = match line.child {
                Child::Part(part) => parts.partition_point(|other| *other < part),
                Child::Assembly(inside) => match at.get(&inside) {
                    Some(inside) => *inside,
                    None => continue,
                },
            };
            match (parent, line.child) {
                (None, Child::Part(_)) => loose[of] += need.pieces(position),
                (Some(Some(parent)), child) => {
                    let kind = &mut kinds[parent];
                    let use_ = Use {
                        of,
                        basis: line.basis,
                        quantity: line.quantity,
                        held: kind.held,
                    };
                    match child {
                        Child::Part(_) => kind.parts.push(use_),
                        Child::Assembly(_) => kind.inside.push(use_),
                    }
                }
                // An assembly of the field itself is only wanted; one that is not in the field wants nothing.
                _ => {}
            }
        }
        Ok(Self {
            outer_first: outer_first(&kinds),
            parts: parts.to_vec(),
            kinds,
            loose,
        })
    }

    /// Notes which assemblies stand already. What is inside a standing one stands too.
    pub fn set_standing(&mut self, on_hand: &[(A, u64)]) -> Result<(), BuildRefused<P, A>> {
        for (assembly, copies) in on_hand {
            let kind = self
                .kinds
                .iter_mut()
                .find(|kind| kind.assembly == *assembly);
            let kind = kind.ok_or(BuildRefused::NotInField(*assembly))?;
            kind.standing = kind.standing.saturating_add(*copies).min(kind.held);
        }
        for at in self.outer_first.clone() {
            let inside = self.kinds[at].inside.clone();
            let copies = self.kinds[at].standing;
            for use_ in inside {
                let kind = &mut self.kinds[use_.of];
                kind.standing = kind.standing.saturating_add(use_.by(copies)).min(kind.held);
            }
        }
        Ok(())
    }

    /// The fewest copies of each kind with which at least these stand: what is inside must stand as well.
    pub fn closed(&self, mut copies: Vec<u64>) -> Vec<u64> {
        let mut inside = vec![0_u64; copies.len()];
        for at in &self.outer_first {
            let kind = &self.kinds[*at];
            copies[*at] = copies[*at].max(inside[*at]).max(kind.standing);
            for use_ in &kind.inside {
                inside[use_.of] += use_.by(copies[*at]);
            }
        }
        copies
    }

    /// The pieces of each part that so many standing copies want beyond what stands already.
    pub fn wanted(&self, copies: &[u64]) -> Vec<u64> {
        let mut wanted = vec![0; self.parts.len()];
        for (kind, copies) in self.kinds.iter().zip(copies) {
            for use_ in &kind.parts {
                wanted[use_.of] += use_.by(*copies) - use_.by(kind.standing);
            }
        }
        wanted
    }

    /// All copies of everything.
    pub fn all(&self) -> Vec<u64> {
        self.kinds.iter().map(|kind| kind.held).collect()
    }

    /// All kinds, each after all that are inside it.
    pub fn inner_first(&self) -> impl Iterator<Item = usize> + '_ {
        self.outer_first.iter().rev().copied()
    }
}

fn outer_first<A>(kinds: &[Kind<A>]) -> Vec<usize> {
    let mut holders_left = vec![0_usize; kinds.len()];
    for use_ in kinds.iter().flat_map(|kind| &kind.inside) {
        holders_left[use_.of] += 1;
    }
    let mut order: Vec<usize> = (0..kinds.len())
        .filter(|kind| holders_left[*kind] == 0)
        .collect();
    let mut next = 0;
    while let Some(&kind) = order.get(next) {
        next += 1;
        for use_ in &kinds[kind].inside {
            holders_left[use_.of] -= 1;
            if holders_left[use_.of] == 0 {
                order.push(use_.of);
            }
        }
    }
    order
}
