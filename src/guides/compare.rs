//! Compare: what the newer of two parts lists asks for that the older did not.
//!
//! The two lists are two revisions of a guide, or two sizes of one revision. They are compared by what
//! they add up to (`need`), not line by line: a guide that merely orders its lines anew, or writes two
//! lines of 2 where it wrote one of 4, has changed nothing that a kit could lack.
//!
//! No source publishes a worked example of this; the definitions are this program's own. What is tested
//! is that comparing the other way round says the same with the sides swapped, and that the pieces that
//! came, went and moved explain every difference between the two lists.

use std::collections::{BTreeMap, BTreeSet};

use super::need::{Child, Line, Need, NeedRefused, need};

/// How something differs between the older and the newer list.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Change<T> {
    /// Only the newer list has it.
    Added(T),
    /// Only the older list has it.
    Removed(T),
    Changed {
        before: T,
        now: T,
    },
}

/// A measurement to check on an assembly once it is built. Both in millimetres.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Measurement {
    pub nominal_mm: i64,
    /// How far off it may be, either way; not below zero.
    pub tolerance_mm: i64,
}

/// What is measured: an assembly (`None` is the kit itself) and the measurement's name.
pub type Measured<A, M> = (Option<A>, M);

/// One of the two lists.
#[derive(Debug, Clone)]
pub struct List<'a, P, A, M> {
    /// The lines of one size.
    pub lines: &'a [Line<P, A>],
    pub measurements: &'a BTreeMap<Measured<A, M>, Measurement>,
}

/// Pieces that a kit still needs, in another assembly than before. `None` is the kit itself.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct Moved<P, A> {
    pub what: Child<P, A>,
    pub from: Option<A>,
    pub to: Option<A>,
    /// In a whole kit.
    pub pieces: u64,
}

/// Everything in which two lists differ. Each list is in the order of the ids.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Comparison<P, A, M> {
    /// Parts whose total in a whole kit differs.
    pub parts: Vec<(P, Change<u64>)>,
    /// Assemblies of which a whole kit holds more or fewer.
    pub assemblies: Vec<(A, Change<u64>)>,
    pub moved: Vec<Moved<P, A>>,
    pub measurements: Vec<(Measured<A, M>, Change<Measurement>)>,
}

/// A list that cannot be added up, and which of the two it is.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum CompareRefused<P, A> {
    Before(NeedRefused<P, A>),
    Now(NeedRefused<P, A>),
}

impl<P: Copy, A: Copy> CompareRefused<P, A> {
    /// The refusal as a sentence, given how to name a part or an assembly.
    pub fn in_words(&self, name: impl Fn(Child<P, A>) -> String) -> String {
        match self {
            Self::Before(refused) => format!("The older list: {}", refused.in_words(name)),
            Self::Now(refused) => format!("The newer list: {}", refused.in_words(name)),
        }
    }
}

impl<T: Copy + PartialEq> Change<T> {
    /// `None` where both have the same, or neither has it.
    fn between(before: Option<T>, now: Option<T>) -> Option<Self> {
        match (before, now) {
            (Some(before), Some(now)) if before != now => Some(Self::Changed { before, now }),
            (None, Some(now)) => Some(Self::Added(now)),
            (Some(before), None) => Some(Self::Removed(before)),
            _ => None,
        }
    }

    /// The same change seen from the newer list.
    pub fn reversed(self) -> Self {
        match self {
            Self::Added(now) => Self::Removed(now),
            Self::Removed(before) => Self::Added(before),
            Self::Changed { before, now } => Self::Changed {
                before: now,
                now: before,
            },
        }
    }

    pub fn before(self) -> Option<T> {
        match self {
            Self::Added(_) => None,
            Self::Removed(before) | Self::Changed { before, .. } => Some(before),
        }
    }

    pub fn now(self) -> Option<T> {
        match self {
            Self::Removed(_) => None,
            Self::Added(now) | Self::Changed { now, .. } => Some(now),
        }
    }
}

/// Compares two parts lists, for one size each.
///
/// Says which parts a kit now needs more or fewer of, which are new or gone, which pieces have only
/// changed their assembly, and which measurements differ. A part that leaves one assembly and appears in
/// another has *moved* as far as the two numbers agree; only the rest was added or removed. Where several
/// assemblies lose and several gain the same part, they are paired in the order of their ids, since
/// nobody can say which piece went where.
///
/// Quantities are pieces in a whole kit. With `p(a)` the pieces of a part that the lines of assembly `a`
/// bring, `min(Σ max(0, p_before − p_now), Σ max(0, p_now − p_before))` pieces moved.
pub fn compare<P, A, M>(
    before: &List<'_, P, A, M>,
    now: &List<'_, P, A, M>,
) -> Result<Comparison<P, A, M>, CompareRefused<P, A>>
where
    P: Copy + Ord,
    A: Copy + Ord,
    M: Clone + Ord,
{
    let need_before = need(before.lines).map_err(CompareRefused::Before)?;
    let need_now = need(now.lines).map_err(CompareRefused::Now)?;
    let measurements = changes(before.measurements, now.measurements);
    Ok(Comparison {
        parts: changes(&counted(need_before.parts()), &counted(need_now.parts())),
        assemblies: changes(
            &counted(need_before.assemblies()),
            &counted(need_now.assemblies()),
        ),
        moved: moved(
            &by_holder(before.lines, &need_before),
            &by_holder(now.lines, &need_now),
        ),
        measurements,
    })
}

/// What a kit holds at all: a total of zero is the same as not being listed.
fn counted<I: Ord>(totals: impl Iterator<Item = (I, u64)>) -> BTreeMap<I, u64> {
    totals.filter(|(_, total)| *total > 0).collect()
}

fn changes<K: Clone + Ord, T: Copy + PartialEq>(
    before: &BTreeMap<K, T>,
    now: &BTreeMap<K, T>,
) -> Vec<(K, Change<T>)> {
    let keys: BTreeSet<&K> = before.keys().chain(now.keys()).collect();
    keys.into_iter()
        .filter_map(|key| {
            let change = Change::between(before.get(key).copied(), now.get(key).copied())?;
            Some((key.clone(), change))
        })
        .collect()
}

/// For each part or assembly, how many pieces each holder's own lines bring into a whole kit.
type ByHolder<P, A> = BTreeMap<Child<P, A>, BTreeMap<Option<A>, u64>>;

fn by_holder<P: Copy + Ord, A: Copy + Ord>(
    lines: &[Line<P, A>],
    need: &Need<P, A>,
) -> ByHolder<P, A> {
    let mut all: ByHolder<P, A> = BTreeMap::new();
    for (at, line) in lines.iter().enumerate() {
        // No overflow: the lines of one part add up to its total, which was counted.
        *all.entry(line.child)
            .or_default()
            .entry(line.parent)
            .or_default() += need.pieces(at);
    }
    all
}

fn moved<P: Copy + Ord, A: Copy + Ord>(
    before: &ByHolder<P, A>,
    now: &ByHolder<P, A>,
) -> Vec<Moved<P, A>> {
    let none = BTreeMap::new();
    let mut all = Vec::new();
    for (what, holders_before) in before {
        let holders_now = now.get(what).unwrap_or(&none);
        let fewer = |from: &BTreeMap<Option<A>, u64>, than: &BTreeMap<Option<A>, u64>| {
            let mut fewer: Vec<(Option<A>, u64)> = from
                .iter()
                .map(|(holder, pieces)| {
                    let there = than.get(holder).copied().unwrap_or(0);
                    (*holder, pieces.saturating_sub(there))
                })
                .filter(|(_, pieces)| *pieces > 0)
                .collect();
            fewer.reverse();
            fewer
        };
        let mut losing = fewer(holders_before, holders_now);
        let mut gaining = fewer(holders_now, holders_before);
        while let (Some((from, lost)), Some((to, gained))) = (losing.pop(), gaining.pop()) {
            let pieces = lost.min(gained);
            all.push(Moved {
                what: *what,
                from,
                to,
                pieces,
            });
            if lost > pieces {
                losing.push((from, lost - pieces));
            }
            if gained > pieces {
                gaining.push((to, gained - pieces));
            }
        }
    }
    all
}

impl<P: Copy + Ord, A: Copy + Ord, M: Clone> Comparison<P, A, M> {
    /// Whether a kit of the older list is a kit of the newer one without touching a piece or a rule.
    pub fn is_empty(&self) -> bool {
        self.parts.is_empty()
            && self.assemblies.is_empty()
            && self.moved.is_empty()
            && self.measurements.is_empty()
    }

    /// The same comparison with the two lists swapped.
    pub fn reversed(&self) -> Self {
        fn swap<K: Clone, T: Copy + PartialEq>(all: &[(K, Change<T>)]) -> Vec<(K, Change<T>)> {
            all.iter()
                .map(|(key, change)| (key.clone(), change.reversed()))
                .collect()
        }
        Self {
            parts: swap(&self.parts),
            assemblies: swap(&self.assemblies),
            moved: self
                .moved
                .iter()
                .map(|moved| Moved {
                    from: moved.to,
                    to: moved.from,
                    ..*moved
                })
                .collect(),
            measurements: swap(&self.measurements),
        }
    }

    /// What the newer list means for a kit that was counted against the older one.
    ///
    /// For each part whose total differs: whether the kit has enough for the newer list, how many it
    /// lacks, how many it no longer needs. `here` answers how many pieces of a part can be played with
    /// (good and doubtful), or `None` where nobody has counted them: those are to be counted, never
    /// taken for zero. Pieces over of one part never make up for another's.
    pub fn for_kit(&self, here: impl Fn(P) -> Option<u64>) -> Vec<(P, Meaning)> {
        self.parts
            .iter()
            .map(|(part, change)| {
                let before = change.before().unwrap_or(0);
                let now = change.now().unwrap_or(0);
                let meaning = match here(*part) {
                    None => Meaning::NotCounted { needs: now },
                    Some(here) if here < now => Meaning::Short {
                        by: now - here,
                        // What was short already is no news.
                        newly: now.saturating_sub(here.max(before)),
                    },
                    Some(here) if here > now => Meaning::Spare(here - now),
                    Some(_) => Meaning::JustRight,
                };
                (*part, meaning)
            })
            .collect()
    }
}

/// What a changed total means for one kit.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Meaning {
    /// Nobody has counted this part in the kit; the newer list needs so many.
    NotCounted {
        needs: u64,
    },
    /// The newer list needs so many more than are here, `newly` of them because of what changed.
    Short {
        by: u64,
        newly: u64,
    },
    /// More are here than the newer list needs.
    Spare(u64),
    JustRight,
}

impl Meaning {
    /// As a sentence for the keeper.
    pub fn in_words(self) -> String {
        match self {
            Self::NotCounted { needs: 0 } => {
                "No longer needed; nobody has counted whether any are here.".to_owned()
            }
            Self::NotCounted { needs } => format!("{needs} needed; nobody has counted them yet."),
            Self::Short { by, newly: 0 } => format!("{by} short, as before."),
            Self::Short { by, newly } if by == newly => {
                format!("{by} short because of what changed.")
            }
            Self::Short { by, newly } => {
                format!("{by} short, {newly} of them because of what changed.")
            }
            Self::Spare(pieces) => format!("Enough are here, and {pieces} more than needed."),
            Self::JustRight => "As many are here as needed.".to_owned(),
        }
    }
}

#[cfg(test)]
#[path = "compare_tests.rs"]
mod tests;
