//! The need: how many of each part a kit must hold, added up through its assemblies.
//!
//! A parts list is a set of lines, each saying that one assembly (or the kit itself) holds some
//! number of a part or of another assembly. A line counts either *for each* copy of its assembly
//! or *for all of them together*. The totals are found by visiting the assemblies in an order in
//! which every assembly comes after all that hold it, so the work grows with the number of
//! lines, even where assemblies share assemblies and the number of ways to a part explodes.
//! The ways themselves are listed only on request, one at a time.
//!
//! The published cases are in `tests/published/need.rs`.

use std::fmt;

use serde::{Deserialize, Serialize};

/// The most pieces a total may reach: the largest whole number the database holds.
pub const MOST: u64 = i64::MAX as u64;

/// What the quantity of a line counts for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Basis {
    /// For each copy of the assembly.
    Each,
    /// For all copies of the assembly in the kit together.
    All,
}

/// What a line puts into its assembly.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Child<P, A> {
    Part(P),
    Assembly(A),
}

/// One line of a parts list, for one size of kit.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Line<P, A> {
    /// The assembly it belongs to; none is the kit itself.
    pub parent: Option<A>,
    pub child: Child<P, A>,
    pub basis: Basis,
    pub quantity: u64,
}

/// Why a parts list could not be added up.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum NeedRefused<P, A> {
    /// Each assembly here holds the next, and the last holds the first.
    Cycle(Vec<A>),
    /// The total of this one is beyond what can be counted.
    TooMany(Child<P, A>),
}

impl<P: Copy, A: Copy> NeedRefused<P, A> {
    /// The refusal as a sentence, given how to name a part or an assembly.
    pub fn in_words(&self, name: impl Fn(Child<P, A>) -> String) -> String {
        match self {
            Self::Cycle(assemblies) => {
                let names: Vec<String> = assemblies
                    .iter()
                    .map(|a| name(Child::Assembly(*a)))
                    .collect();
                cycle_in_words(&names, names.len())
            }
            Self::TooMany(child) => {
                format!(
                    "The quantities of '{}' multiply to more than can be counted.",
                    name(*child)
                )
            }
        }
    }
}

/// How many names a sentence about a cycle lists.
pub const NAMES_SHOWN: usize = 8;

/// A cycle of `length` assemblies as a sentence: "'Axle' holds 'Hub', which holds 'Axle' again."
/// Of a long one the first [`NAMES_SHOWN`] names are enough.
pub fn cycle_in_words<S: fmt::Display>(names: &[S], length: usize) -> String {
    let Some(first) = names.first() else {
        return "An assembly holds itself.".to_owned();
    };
    if length == 1 {
        return format!("'{first}' holds itself.");
    }
    let shown = &names[..names.len().min(NAMES_SHOWN)];
    let mut sentence = format!("'{first}' holds ");
    for name in &shown[1..] {
        sentence.push_str(&format!("'{name}', which holds "));
    }
    if length > shown.len() {
        sentence.push_str(&format!(
            "{} more, the last of which holds ",
            length - shown.len()
        ));
    }
    sentence.push_str(&format!("'{first}' again."));
    sentence
}

/// How much of a *for all* line `wanted` of the kit's `held` copies need: their share, rounded up.
pub fn share(quantity: u64, wanted: u64, held: u64) -> u64 {
    if held == 0 {
        return 0;
    }
    let wanted = u128::from(wanted.min(held));
    let share = (u128::from(quantity) * wanted).div_ceil(u128::from(held));
    u64::try_from(share).expect("a share is at most the whole, which fits")
}

/// One way from the kit down to a part.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Path<A> {
    pub start: Start<A>,
    /// The assemblies on the way, outermost first.
    pub steps: Vec<Step<A>>,
    /// The line that names the part, as a position in the list given.
    pub line: usize,
    /// How many pieces come by this way. Over all ways they add up to the part's total.
    pub pieces: u64,
}

/// Where a way begins.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Start<A> {
    Kit,
    /// A *for all* line counts once, wherever the copies of its assembly are: its way begins there.
    AllOf {
        assembly: A,
        copies: u64,
    },
}

/// One assembly on a way, and how many of it the step before holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Step<A> {
    pub assembly: A,
    pub times: u64,
}

/// A parts list added up.
#[derive(Debug, Clone)]
pub struct Need<P, A> {
    lines: Vec<Line<P, A>>,
    /// The pieces (or copies of an assembly) each line brings into the whole kit.
    pieces: Vec<u64>,
    parts: Totals<P>,
    assemblies: Totals<A>,
    total: u64,
}

/// Ids in order, each with its total and the lines that bring it.
#[derive(Debug, Clone)]
struct Totals<I> {
    ids: Vec<I>,
    totals: Vec<u64>,
    lines: Vec<Vec<usize>>,
}

impl<I: Copy + Ord> Totals<I> {
    fn new(ids: impl Iterator<Item = I>) -> Self {
        let mut ids: Vec<I> = ids.collect();
        ids.sort_unstable();
        ids.dedup();
        Self {
            totals: vec![0; ids.len()],
            lines: vec![Vec::new(); ids.len()],
            ids,
        }
    }

    fn position(&self, id: I) -> Option<usize> {
        self.ids.binary_search(&id).ok()
    }

    /// Adds what a line brings; false if the total cannot be counted any more.
    fn add(&mut self, position: usize, line: usize, pieces: u64) -> bool {
        let total = self.totals[position]
            .checked_add(pieces)
            .filter(|total| *total <= MOST);
        if let Some(total) = total {
            self.totals[position] = total;
            if pieces > 0 {
                self.lines[position].push(line);
            }
        }
        total.is_some()
    }

    fn total(&self, id: I) -> u64 {
        self.position(id)
            .map_or(0, |position| self.totals[position])
    }
}

/// Adds up a parts list for one size of kit.
///
/// An assembly that nothing holds is not in the kit: it counts zero, and so does what is in it.
pub fn need<P, A>(lines: &[Line<P, A>]) -> Result<Need<P, A>, NeedRefused<P, A>>
where
    P: Copy + Ord,
    A: Copy + Ord,
{
    let parts = Totals::new(lines.iter().filter_map(|line| match line.child {
        Child::Part(part) => Some(part),
        Child::Assembly(_) => None,
    }));
    let assemblies = Totals::new(lines.iter().flat_map(|line| {
        let child = match line.child {
            Child::Part(_) => None,
            Child::Assembly(assembly) => Some(assembly),
        };
        line.parent.into_iter().chain(child)
    }));
    let mut held = vec![Vec::new(); assemblies.ids.len()];
    let mut holders_left = vec![0_usize; assemblies.ids.len()];
    let mut of_the_kit = Vec::new();
    for (at, line) in lines.iter().enumerate() {
        match line.parent.and_then(|parent| assemblies.position(parent)) {
            Some(parent) => {
                held[parent].push(at);
                if let Child::Assembly(child) = line.child
                    && let Some(child) = assemblies.position(child)
                {
                    holders_left[child] += 1;
                }
            }
            None => of_the_kit.push(at),
        }
    }

    let mut need = Need {
        lines: lines.to_vec(),
        pieces: vec![0; lines.len()],
        parts,
        assemblies,
        total: 0,
    };
    for line in of_the_kit {
        need.count(line, 1)?;
    }
    let mut ready: Vec<usize> = (0..held.len())
        .filter(|assembly| holders_left[*assembly] == 0)
        .collect();
    let mut visited = 0;
    while let Some(assembly) = ready.pop() {
        visited += 1;
        let copies = need.assemblies.totals[assembly];
        for line in &held[assembly] {
            if let Some(child) = need.count(*line, copies)? {
                holders_left[child] -= 1;
                if holders_left[child] == 0 {
                    ready.push(child);
                }
            }
        }
    }
    if visited < held.len() {
        return Err(NeedRefused::Cycle(need.find_cycle(&holders_left)));
    }
    for list in need
        .parts
        .lines
        .iter_mut()
        .chain(&mut need.assemblies.lines)
    {
        list.sort_unstable();
    }
    Ok(need)
}

impl<P: Copy + Ord, A: Copy + Ord> Need<P, A> {
    /// Counts one line whose parent is in the kit `copies` times; answers the assembly it holds.
    fn count(&mut self, at: usize, copies: u64) -> Result<Option<usize>, NeedRefused<P, A>> {
        let line = self.lines[at];
        let too_many = NeedRefused::TooMany(line.child);
        let pieces = match line.basis {
            Basis::Each => line.quantity.checked_mul(copies),
            Basis::All if copies == 0 => Some(0),
            Basis::All => Some(line.quantity),
        };
        let Some(pieces) = pieces else {
            return Err(too_many);
        };
        self.pieces[at] = pieces;
        match line.child {
            Child::Part(part) => {
                let position = self
                    .parts
                    .position(part)
                    .expect("every part was listed above");
                let total = self
                    .total
                    .checked_add(pieces)
                    .filter(|total| *total <= MOST);
                match total {
                    Some(total) if self.parts.add(position, at, pieces) => self.total = total,
                    _ => return Err(too_many),
                }
                Ok(None)
            }
            Child::Assembly(child) => {
                let position = self
                    .assemblies
                    .position(child)
                    .expect("every assembly was listed above");
                if !self.assemblies.add(position, at, pieces) {
                    return Err(too_many);
                }
                Ok(Some(position))
            }
        }
    }

    /// Follows holders upwards among the assemblies never reached until one comes up again.
    fn find_cycle(&self, holders_left: &[usize]) -> Vec<A> {
        let mut holder = vec![None; holders_left.len()];
        for line in &self.lines {
            let parent = line
                .parent
                .and_then(|parent| self.assemblies.position(parent));
            if let (Some(parent), Child::Assembly(child)) = (parent, line.child)
                && holders_left[parent] > 0
                && let Some(child) = self.assemblies.position(child)
            {
                holder[child].get_or_insert(parent);
            }
        }
        let Some(start) = holders_left.iter().position(|left| *left > 0) else {
            return Vec::new();
        };
        let mut seen_at = vec![usize::MAX; holder.len()];
        let mut walk = Vec::new();
        let mut here = start;
        while seen_at[here] == usize::MAX {
            seen_at[here] = walk.len();
            walk.push(here);
            match holder[here] {
                Some(next) => here = next,
                None => return Vec::new(),
            }
        }
        let cycle = &walk[seen_at[here]..];
        cycle
            .iter()
            .rev()
            .map(|position| self.assemblies.ids[*position])
            .collect()
    }

    /// How many of this part the kit must hold.
    pub fn part(&self, part: P) -> u64 {
        self.parts.total(part)
    }

    /// How many of this assembly the kit holds.
    pub fn assembly(&self, assembly: A) -> u64 {
        self.assemblies.total(assembly)
    }

    /// All parts of the list in order, with their totals.
    pub fn parts(&self) -> impl Iterator<Item = (P, u64)> + '_ {
        self.parts
            .ids
            .iter()
            .copied()
            .zip(self.parts.totals.iter().copied())
    }

    /// All assemblies of the list in order, with how many the kit holds.
    pub fn assemblies(&self) -> impl Iterator<Item = (A, u64)> + '_ {
        self.assemblies
            .ids
            .iter()
            .copied()
            .zip(self.assemblies.totals.iter().copied())
    }

    /// All pieces of the kit together.
    pub fn total(&self) -> u64 {
        self.total
    }

    /// How many pieces (or copies of an assembly) the line at this position brings into the kit.
    pub fn pieces(&self, line: usize) -> u64 {
        self.pieces.get(line).copied().unwrap_or(0)
    }

    /// The positions of the lines that bring this part. Their pieces add up to its total.
    pub fn lines_of(&self, part: P) -> &[usize] {
        self.parts
            .position(part)
            .map_or(&[], |position| &self.parts.lines[position])
    }

    /// Every way this part comes into the kit, one at a time.
    ///
    /// Where assemblies share assemblies there can be very many: take only as many as are shown.
    pub fn paths(&self, part: P) -> Paths<'_, P, A> {
        Paths {
            need: self,
            open: vec![Open {
                lines: self.lines_of(part),
                next: 0,
            }],
        }
    }

    /// The first `limit` ways this part comes into the kit, and whether there are more.
    pub fn first_paths(&self, part: P, limit: usize) -> (Vec<Path<A>>, bool) {
        let mut paths = self.paths(part);
        let first = paths.by_ref().take(limit).collect();
        (first, paths.next().is_some())
    }
}

/// The ways to one part; see [`Need::paths`].
#[derive(Debug)]
pub struct Paths<'a, P, A> {
    need: &'a Need<P, A>,
    /// From the part upwards: at each level the lines to try, the one before `next` being tried.
    open: Vec<Open<'a>>,
}

#[derive(Debug)]
struct Open<'a> {
    lines: &'a [usize],
    next: usize,
}

impl<P: Copy + Ord, A: Copy + Ord> Iterator for Paths<'_, P, A> {
    type Item = Path<A>;

    fn next(&mut self) -> Option<Path<A>> {
        loop {
            let level = self.open.last_mut()?;
            let Some(&at) = level.lines.get(level.next) else {
                self.open.pop();
                continue;
            };
            level.next += 1;
            let line = self.need.lines[at];
            match (line.parent, line.basis) {
                (None, _) => return Some(self.path(Start::Kit)),
                (Some(assembly), Basis::All) => {
                    let copies = self.need.assembly(assembly);
                    return Some(self.path(Start::AllOf { assembly, copies }));
                }
                (Some(assembly), Basis::Each) => {
                    let position = self.need.assemblies.position(assembly);
                    let lines = position.map_or(&[][..], |p| &self.need.assemblies.lines[p]);
                    self.open.push(Open { lines, next: 0 });
                }
            }
        }
    }
}

impl<P: Copy + Ord, A: Copy + Ord> Paths<'_, P, A> {
    fn path(&self, start: Start<A>) -> Path<A> {
        let mut pieces: u64 = 1;
        let mut steps = Vec::with_capacity(self.open.len().saturating_sub(1));
        let mut bottom = 0;
        for level in self.open.iter().rev() {
            bottom = level.lines[level.next - 1];
            let line = self.need.lines[bottom];
            // A way brings at most the total, which was counted without overflow.
            pieces = pieces.saturating_mul(line.quantity);
            if let Child::Assembly(assembly) = line.child {
                steps.push(Step {
                    assembly,
                    times: line.quantity,
                });
            }
        }
        Path {
            start,
            steps,
            line: bottom,
            pieces,
        }
    }
}

#[cfg(test)]
#[path = "need_tests.rs"]
mod tests;
