//! The tree of assemblies that the rows of a file make together.

use std::collections::HashMap;

use super::doubts::{Doubt, Reason};
use super::list::{Assembly, ListLine};
use super::rows::Entry;
use crate::guides::need::{Basis, Child, NAMES_SHOWN};
use crate::text::fold;

/// The assemblies and which holds how many of which.
#[derive(Debug, Default)]
pub(super) struct Tree {
    pub assemblies: Vec<Assembly>,
    positions: HashMap<String, usize>,
    edges: Vec<Edge>,
    by_ends: HashMap<(Option<usize>, usize), usize>,
    /// What rows say that name an assembly without saying where it belongs.
    alone: Vec<Option<Alone>>,
}

#[derive(Debug)]
struct Edge {
    parent: Option<usize>,
    child: usize,
    times: Option<Vec<u64>>,
    basis: Basis,
    line: u32,
}

#[derive(Debug)]
struct Alone {
    /// Whether the row says nothing else, so that it needs a doubt if this comes to nothing.
    bare: bool,
    times: Option<Vec<u64>>,
    basis: Basis,
    line: u32,
}

/// Where a row's part goes.
#[derive(Debug)]
pub(super) struct Placed {
    /// None is the kit itself.
    pub holder: Option<usize>,
    /// What stands around the holder, if the row says it: the same holder may be listed in full
    /// for each place it stands in.
    pub around: Option<String>,
}

impl Tree {
    /// Takes in what a row says about assemblies.
    pub fn place(
        &mut self,
        entry: &Entry,
        known: &HashMap<String, usize>,
        doubts: &mut Vec<Doubt>,
    ) -> Placed {
        let line = entry.line;
        let mut around = String::new();
        let mut parent = None;
        let mut news = entry.part.is_some();
        for (at, name) in entry.way.iter().enumerate() {
            let child = self.assembly(name, line, known, doubts);
            let is_last = at + 1 == entry.way.len();
            let times = entry.times.as_ref().filter(|_| is_last);
            let basis = match entry.part {
                None if is_last => entry.basis.unwrap_or(Basis::Each),
                _ => Basis::Each,
            };
            let said = if at > 0 || entry.rooted {
                self.join(Edge {
                    parent,
                    child,
                    times: times.cloned(),
                    basis,
                    line,
                })
            } else if is_last {
                let bare = entry.part.is_none();
                self.stand_alone(
                    child,
                    Alone {
                        bare,
                        times: times.cloned(),
                        basis,
                        line,
                    },
                )
            } else {
                // Only named as what holds the next: nothing is said about its own place.
                Said::Before(line)
            };
            match said {
                Said::New => news = true,
                Said::Before(_) => {}
                Said::Otherwise(before) => {
                    news = true;
                    let parent = self.holder_in_words(parent);
                    let child = self.assemblies[child].name.clone();
                    let reason = Reason::HowManyDiffers {
                        child,
                        parent,
                        line: before,
                    };
                    doubts.push(Doubt { line, reason });
                }
            }
            if let Said::Before(before) = said
                && is_last
                && !news
            {
                let child = self.assemblies[child].name.clone();
                doubts.push(Doubt {
                    line,
                    reason: Reason::SaidBefore {
                        child,
                        line: before,
                    },
                });
            }
            if !is_last {
                around.push_str(&fold(name));
                around.push('\n');
            }
            parent = Some(child);
        }
        let said = entry.rooted || entry.way.len() > 1;
        Placed {
            holder: parent,
            around: said.then_some(around),
        }
    }

    fn assembly(
        &mut self,
        name: &str,
        line: u32,
        known: &HashMap<String, usize>,
        doubts: &mut Vec<Doubt>,
    ) -> usize {
        let folded = fold(name);
        if let Some(position) = self.positions.get(&folded) {
            let first = &self.assemblies[*position];
            if first.name != name {
                let (here, there) = (name.to_owned(), first.name.clone());
                let reason = Reason::Spelling {
                    here,
                    there,
                    line: first.line,
                };
                doubts.push(Doubt { line, reason });
            }
            return *position;
        }
        let position = self.assemblies.len();
        let known = known.get(&folded).copied();
        self.assemblies.push(Assembly {
            name: name.to_owned(),
            known,
            line,
        });
        self.alone.push(None);
        self.positions.insert(folded, position);
        position
    }

    fn join(&mut self, edge: Edge) -> Said {
        let ends = (edge.parent, edge.child);
        let Some(before) = self.by_ends.get(&ends).map(|at| &mut self.edges[*at]) else {
            self.by_ends.insert(ends, self.edges.len());
            self.edges.push(edge);
            return Said::New;
        };
        compare(&mut before.times, edge.times, before.line)
    }

    fn stand_alone(&mut self, child: usize, alone: Alone) -> Said {
        match &mut self.alone[child] {
            Some(before) => compare(&mut before.times, alone.times, before.line),
            first => {
                *first = Some(alone);
                Said::New
            }
        }
    }

    /// How to name a holder in a sentence.
    pub fn holder_in_words(&self, holder: Option<usize>) -> String {
        holder.map_or_else(
            || THE_KIT.to_owned(),
            |at| format!("'{}'", self.assemblies[at].name),
        )
    }

    /// Puts what nobody placed into the kit itself, and takes out what would close a cycle.
    /// Answers the lines for assemblies.
    pub fn finish(
        mut self,
        sizes: usize,
        doubts: &mut Vec<Doubt>,
    ) -> (Vec<Assembly>, Vec<ListLine>) {
        let mut placed = vec![Vec::new(); self.assemblies.len()];
        for (at, edge) in self.edges.iter().enumerate() {
            placed[edge.child].push(at);
        }
        let alone: Vec<Option<Alone>> = self.alone.drain(..).collect();
        for (child, alone) in alone.into_iter().enumerate() {
            match alone {
                Some(alone) if !placed[child].is_empty() => {
                    self.join_to_placed(alone, &placed[child], doubts);
                }
                Some(Alone {
                    times, basis, line, ..
                }) => {
                    self.edges.push(Edge {
                        parent: None,
                        child,
                        times,
                        basis,
                        line,
                    });
                }
                None if placed[child].is_empty() => {
                    let Assembly { name, line, .. } = &self.assemblies[child];
                    let (assembly, line) = (name.clone(), *line);
                    doubts.push(Doubt {
                        line,
                        reason: Reason::NeverPlaced { assembly },
                    });
                    let basis = Basis::Each;
                    self.edges.push(Edge {
                        parent: None,
                        child,
                        times: None,
                        basis,
                        line,
                    });
                }
                None => {}
            }
        }
        let closing = self.closing_edges(doubts);
        let edges = self
            .edges
            .into_iter()
            .zip(closing)
            .filter(|(_, closes)| !closes);
        let lines = edges.map(|(edge, _)| ListLine {
            line: edge.line,
            parent: edge.parent,
            child: Child::Assembly(edge.child),
            basis: edge.basis,
            quantities: edge.times.unwrap_or_else(|| vec![1; sizes]),
        });
        (self.assemblies, lines.collect())
    }

    /// A row that names an assembly without its place agrees with the rows that place it, unless
    /// it says another number.
    fn join_to_placed(&mut self, alone: Alone, placed: &[usize], doubts: &mut Vec<Doubt>) {
        let line = alone.line;
        let first = &mut self.edges[placed[0]];
        if placed.len() == 1 && first.times.is_none() {
            first.times.clone_from(&alone.times);
        }
        let (before, child, parent) = (first.line, first.child, first.parent);
        let child = self.assemblies[child].name.clone();
        let one = alone.times.as_ref().map(|times| vec![1; times.len()]);
        let agrees = placed.iter().any(|at| {
            let times = self.edges[*at].times.as_ref().or(one.as_ref());
            alone.times.is_none() || times == alone.times.as_ref()
        });
        if !agrees {
            let parent = self.holder_in_words(parent);
            let reason = Reason::HowManyDiffers {
                child,
                parent,
                line: before,
            };
            doubts.push(Doubt { line, reason });
        } else if alone.bare {
            doubts.push(Doubt {
                line,
                reason: Reason::SaidBefore {
                    child,
                    line: before,
                },
            });
        }
    }

    /// Which edges lead back to an assembly they came from. Without them there is no cycle.
    fn closing_edges(&self, doubts: &mut Vec<Doubt>) -> Vec<bool> {
        let mut down = vec![Vec::new(); self.assemblies.len()];
        for (at, edge) in self.edges.iter().enumerate() {
            if let Some(parent) = edge.parent {
                down[parent].push(at);
            }
        }
        let mut closes = vec![false; self.edges.len()];
        // Where an assembly stands on the way being walked; and whether it was walked through.
        let mut depth = vec![None; self.assemblies.len()];
        let mut done = vec![false; self.assemblies.len()];
        for start in 0..self.assemblies.len() {
            if done[start] {
                continue;
            }
            depth[start] = Some(0);
            let mut walk = vec![(start, 0)];
            while let Some((here, next)) = walk.last_mut() {
                let Some(&at) = down[*here].get(*next) else {
                    depth[*here] = None;
                    done[*here] = true;
                    walk.pop();
                    continue;
                };
                *next += 1;
                let child = self.edges[at].child;
                if let Some(from) = depth[child] {
                    closes[at] = true;
                    let cycle = &walk[from..];
                    let names = cycle.iter().take(NAMES_SHOWN);
                    let names = names
                        .map(|(a, _)| self.assemblies[*a].name.clone())
                        .collect();
                    let reason = Reason::Cycle {
                        names,
                        length: cycle.len(),
                    };
                    doubts.push(Doubt {
                        line: self.edges[at].line,
                        reason,
                    });
                } else if !done[child] {
                    depth[child] = Some(walk.len());
                    walk.push((child, 0));
                }
            }
        }
        closes
    }
}

/// The kit itself in a sentence.
const THE_KIT: &str = "the kit";

/// What a row says about an assembly's place, compared with the rows above.
#[derive(Debug, Clone, Copy)]
enum Said {
    New,
    Before(u32),
    Otherwise(u32),
}

/// The first row that says how many counts; one that says nothing agrees with all.
fn compare(before: &mut Option<Vec<u64>>, now: Option<Vec<u64>>, line: u32) -> Said {
    match (&before, now) {
        (Some(told), Some(times)) if *told != times => Said::Otherwise(line),
        (None, Some(times)) => {
            *before = Some(times);
            Said::Before(line)
        }
        _ => Said::Before(line),
    }
}
