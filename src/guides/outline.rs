//! A parts list in the order in which it is read: assembly by assembly, each with its sub-total. Pure.

use std::collections::{HashMap, HashSet};

use super::need::{Basis, Child, Line, Need, NeedRefused, need};
use crate::ids::{AssemblyId, PartId, SizeId};

/// One line of a stored list, over all sizes.
#[derive(Debug, Clone)]
pub struct ListRow {
    pub assembly: Option<AssemblyId>,
    pub child: Child<PartId, AssemblyId>,
    pub basis: Basis,
    /// Sizes without the line are left out.
    pub quantities: HashMap<SizeId, u64>,
}

/// A list added up for each of its sizes.
pub struct Outline {
    pub groups: Vec<Group>,
    /// For each size, in the order given: all pieces of a kit.
    pub totals: Vec<u64>,
    needs: Vec<Need<PartId, AssemblyId>>,
}

/// One assembly with its own lines; `None` is the kit itself.
pub struct Group {
    pub assembly: Option<AssemblyId>,
    /// What holds it.
    pub held_by: Vec<AssemblyId>,
    pub depth: usize,
    /// For each size: how many of it a kit holds.
    pub copies: Vec<u64>,
    pub lines: Vec<GroupLine>,
    /// For each size: the pieces of its own lines in a whole kit.
    pub subtotal: Vec<u64>,
}

/// A part in an assembly.
pub struct GroupLine {
    pub part: PartId,
    pub basis: Basis,
    /// For each size: what the list says.
    pub quantity: Vec<u64>,
    /// For each size: what that makes in a whole kit.
    pub pieces: Vec<u64>,
}

impl Outline {
    /// Adds a list up for each size.
    pub fn new(
        rows: &[ListRow],
        sizes: &[SizeId],
    ) -> Result<Self, NeedRefused<PartId, AssemblyId>> {
        let mut needs = Vec::with_capacity(sizes.len());
        for size in sizes {
            let lines: Vec<Line<PartId, AssemblyId>> = rows
                .iter()
                .map(|row| Line {
                    parent: row.assembly,
                    child: row.child,
                    basis: row.basis,
                    quantity: row.quantities.get(size).copied().unwrap_or(0),
                })
                .collect();
            needs.push(need(&lines)?);
        }
        let mut outline = Self {
            groups: Vec::new(),
            totals: needs.iter().map(Need::total).collect(),
            needs,
        };
        let mut by_assembly: HashMap<Option<AssemblyId>, Vec<usize>> = HashMap::new();
        for (at, row) in rows.iter().enumerate() {
            by_assembly.entry(row.assembly).or_default().push(at);
        }
        let mut seen = HashSet::new();
        outline.walk(rows, sizes, &by_assembly, &mut seen, None, 0);
        // What nothing holds comes last: it counts nothing, but must be seen.
        for row in rows {
            if row.assembly.is_some() {
                outline.walk(rows, sizes, &by_assembly, &mut seen, row.assembly, 0);
            }
        }
        Ok(outline)
    }

    fn walk(
        &mut self,
        rows: &[ListRow],
        sizes: &[SizeId],
        by_assembly: &HashMap<Option<AssemblyId>, Vec<usize>>,
        seen: &mut HashSet<Option<AssemblyId>>,
        assembly: Option<AssemblyId>,
        depth: usize,
    ) {
        if !seen.insert(assembly) {
            return;
        }
        let own = by_assembly.get(&assembly).map_or(&[][..], Vec::as_slice);
        let mut lines = Vec::new();
        let mut subtotal = vec![0u64; sizes.len()];
        let mut children = Vec::new();
        for &at in own {
            let row = &rows[at];
            match row.child {
                Child::Assembly(child) => children.push(child),
                Child::Part(part) => {
                    let pieces: Vec<u64> = self.needs.iter().map(|need| need.pieces(at)).collect();
                    for (sum, pieces) in subtotal.iter_mut().zip(&pieces) {
                        *sum = sum.saturating_add(*pieces);
                    }
                    lines.push(GroupLine {
                        part,
                        basis: row.basis,
                        quantity: sizes
                            .iter()
                            .map(|size| row.quantities.get(size).copied().unwrap_or(0))
                            .collect(),
                        pieces,
                    });
                }
            }
        }
        let held_by = rows
            .iter()
            .filter(|row| assembly.is_some_and(|own| row.child == Child::Assembly(own)))
            .filter_map(|row| row.assembly)
            .collect();
        let copies = self
            .needs
            .iter()
            .map(|need| assembly.map_or(1, |assembly| need.assembly(assembly)))
            .collect();
        if assembly.is_some() || !lines.is_empty() {
            self.groups.push(Group {
                assembly,
                held_by,
                depth,
                copies,
                lines,
                subtotal,
            });
        }
        for child in children {
            self.walk(rows, sizes, by_assembly, seen, Some(child), depth + 1);
        }
    }

    /// For each size: how many of a part a kit must hold.
    pub fn part(&self, part: PartId) -> Vec<u64> {
        self.needs.iter().map(|need| need.part(part)).collect()
    }

    /// The roll-up of one size, by its position.
    pub fn need(&self, size: usize) -> Option<&Need<PartId, AssemblyId>> {
        self.needs.get(size)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn assemblies_come_once_under_what_holds_them_first() {
        let size = SizeId::new();
        let (peg, post) = (PartId::new(), PartId::new());
        let (gate, beacon, lamp) = (AssemblyId::new(), AssemblyId::new(), AssemblyId::new());
        let row = |assembly, child, quantity| ListRow {
            assembly,
            child,
            basis: Basis::Each,
            quantities: HashMap::from([(size, quantity)]),
        };
        let rows = [
            row(None, Child::Assembly(gate), 2),
            row(None, Child::Assembly(beacon), 1),
            row(Some(gate), Child::Part(peg), 3),
            row(Some(gate), Child::Assembly(lamp), 1),
            row(Some(beacon), Child::Part(peg), 4),
            row(Some(beacon), Child::Assembly(lamp), 1),
            row(Some(lamp), Child::Part(post), 5),
        ];
        let outline = Outline::new(&rows, &[size]).unwrap();
        let found: Vec<_> = outline
            .groups
            .iter()
            .map(|group| {
                (
                    group.assembly,
                    group.depth,
                    group.copies[0],
                    group.subtotal[0],
                )
            })
            .collect();
        let expected = [
            (Some(gate), 1, 2, 6),
            (Some(lamp), 2, 3, 15),
            (Some(beacon), 1, 1, 4),
        ];
        assert_eq!(found, expected);
        assert_eq!(outline.groups[1].held_by, [gate, beacon]);
        assert_eq!(outline.part(peg), [10]);
        assert_eq!(outline.totals, [25]);
    }
}
