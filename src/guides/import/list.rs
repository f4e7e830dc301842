//! A parts list as plain data: what import makes of a file, and what export writes.

use crate::guides::need::{self, Basis, Child, Need, NeedRefused};

/// A parts list with quantities for one or more sizes of kit.
///
/// Parts and assemblies are named by their positions here.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct PartsList {
    /// The sizes of kit; the only one may have an empty name.
    pub sizes: Vec<String>,
    pub parts: Vec<Part>,
    pub assemblies: Vec<Assembly>,
    /// In the order of the file.
    pub lines: Vec<ListLine>,
}

/// A kind of piece. Number, colour and name together tell it from others.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Part {
    /// Empty if it has none.
    pub number: String,
    pub name: String,
    /// Empty if none is given.
    pub colour: String,
    /// How to know it.
    pub note: String,
    /// The mass of one piece in thousandths of a gram.
    pub mass_mg: Option<u64>,
    /// Tells parts apart that share a number but not a name: 0 for the first of them, then 1, 2…
    pub issue: u32,
    /// The position of the same part among the known ones given.
    pub known: Option<usize>,
    /// The line of the file that names it first.
    pub line: u32,
}

impl Part {
    /// How to name it in a sentence: "'Peg' (A1, red)".
    pub fn in_words(&self) -> String {
        let mut more = [self.number.as_str(), self.colour.as_str()].join(", ");
        more = more.trim_matches([',', ' ']).to_owned();
        if more.is_empty() {
            format!("'{}'", self.name)
        } else {
            format!("'{}' ({more})", self.name)
        }
    }
}

/// A thing built of parts and assemblies.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Assembly {
    pub name: String,
    /// The position of the same assembly among the known ones given.
    pub known: Option<usize>,
    /// The line of the file that names it first.
    pub line: u32,
}

/// One line of the list: so many of a part or an assembly in an assembly or in the kit itself.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ListLine {
    /// The line of the file that says so.
    pub line: u32,
    /// A position in `assemblies`; none is the kit itself.
    pub parent: Option<usize>,
    pub child: Child<usize, usize>,
    pub basis: Basis,
    /// One for each size, in their order. Zero: not in a kit of that size.
    pub quantities: Vec<u64>,
}

/// What a list comes to for one size; positions are those of the list.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Totals {
    /// All pieces of the kit together.
    pub pieces: u64,
    /// How many of each part.
    pub parts: Vec<u64>,
    /// How many of each assembly the kit holds.
    pub assemblies: Vec<u64>,
    /// The pieces that stand directly in each assembly, in all its copies together.
    pub in_assembly: Vec<u64>,
    /// The pieces that stand in the kit itself, in no assembly.
    pub in_no_assembly: u64,
}

impl PartsList {
    /// What the list comes to for one size.
    pub fn totals(&self, size: usize) -> Result<Totals, NeedRefused<usize, usize>> {
        let need = self.need(size)?;
        let mut totals = Totals {
            pieces: need.total(),
            parts: (0..self.parts.len()).map(|part| need.part(part)).collect(),
            assemblies: (0..self.assemblies.len())
                .map(|at| need.assembly(at))
                .collect(),
            in_assembly: vec![0; self.assemblies.len()],
            in_no_assembly: 0,
        };
        for (at, line) in self.lines.iter().enumerate() {
            if let Child::Part(_) = line.child {
                match line.parent {
                    Some(parent) => totals.in_assembly[parent] += need.pieces(at),
                    None => totals.in_no_assembly += need.pieces(at),
                }
            }
        }
        Ok(totals)
    }

    /// The list added up for one size; positions of lines are those in `lines`.
    pub fn need(&self, size: usize) -> Result<Need<usize, usize>, NeedRefused<usize, usize>> {
        let lines: Vec<_> = self
            .lines
            .iter()
            .map(|line| need::Line {
                parent: line.parent,
                child: line.child,
                basis: line.basis,
                quantity: line.quantities.get(size).copied().unwrap_or(0),
            })
            .collect();
        need::need(&lines)
    }

    /// How to name a part or an assembly in a sentence.
    pub fn name(&self, child: Child<usize, usize>) -> &str {
        let name = match child {
            Child::Part(part) => self.parts.get(part).map(|part| &part.name),
            Child::Assembly(assembly) => self.assemblies.get(assembly).map(|a| &a.name),
        };
        name.map_or("?", String::as_str)
    }

    /// A question that shows by an example what *for each* and *for all* make of a quantity;
    /// none if every assembly is in the kit once, so that both mean the same.
    pub fn basis_example(&self) -> Option<String> {
        for size in (0..self.sizes.len()).rev() {
            let Ok(need) = self.need(size) else {
                continue;
            };
            for line in &self.lines {
                let quantity = line.quantities.get(size).copied().unwrap_or(0);
                let (Some(parent), Child::Part(_)) = (line.parent, line.child) else {
                    continue;
                };
                let copies = need.assembly(parent);
                if copies < 2 || quantity == 0 {
                    continue;
                }
                let all = quantity.saturating_mul(copies);
                return Some(format!(
                    "Line {}: {quantity} of '{}' in '{}', of which there are {copies}: {all} in all, or {quantity} in all?",
                    line.line,
                    self.name(line.child),
                    self.name(Child::Assembly(parent)),
                ));
            }
        }
        None
    }
}
