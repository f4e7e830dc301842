//! Netting: what must still be got or built, after what is on hand is taken off at each level.
//!
//! An assembly on hand covers the parts in it, so stock is not taken off at the end: it is taken off the
//! assembly first, and only what remains asks for parts. Everything is looked at once, after all that
//! holds it: the order of the lowest-level codes.
//!
//! This is for plans. What a kit lacks is its statement, where pieces in assemblies are pieces of the kit.
//!
//! Pure. The published cases are in `tests/published/netting.rs`.

use std::collections::BTreeMap;

use super::need::{Basis, Child, Line, MOST, Need, NeedRefused, cycle_in_words, need};

/// The most periods one plan may have: twenty years of weeks.
pub const MOST_PERIODS: usize = 1040;

/// What is there of a part or an assembly, and what comes.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Stock {
    pub on_hand: u64,
    /// Pieces already ordered or begun: the period in which they arrive, and how many.
    pub receipts: Vec<(usize, u64)>,
    /// Periods from ordering (or beginning to build) until it is there.
    pub lead: usize,
}

/// Pieces (or assemblies) wanted in a period.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Wanted<P, A> {
    pub child: Child<P, A>,
    /// From 1.
    pub period: usize,
    pub pieces: u64,
}

/// The plan for one part or assembly. Each list has one number for each period; the first is period 1.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Record<P, A> {
    pub child: Child<P, A>,
    /// How many assemblies are above it, one in the other, on its longest way.
    pub level: usize,
    /// What is asked for in each period, by itself and by the assemblies that hold it.
    pub gross: Vec<u64>,
    /// What arrives that was ordered before.
    pub receipts: Vec<u64>,
    /// What would be there at the end of each period if nothing more were ordered. Below zero: that much
    /// is lacking until then.
    pub on_hand: Vec<i64>,
    /// What is lacking first in this period.
    pub net: Vec<u64>,
    /// What must be ordered, or begun to be built, in each period: as much as is lacking, no more.
    pub releases: Vec<u64>,
    /// What should have been ordered before period 1. It is among the releases of period 1 and comes
    /// too late.
    pub late: Vec<Late>,
}

/// Something that cannot be there in time.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Late {
    pub needed_in: usize,
    pub pieces: u64,
    /// How many periods too late it comes if it is ordered in period 1.
    pub periods_late: usize,
}

/// A part or an assembly, before and after what is on hand is taken off.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Netted<P, A> {
    pub child: Child<P, A>,
    pub level: usize,
    pub gross: u64,
    pub net: u64,
}

/// Why there is no plan.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum NettingRefused<P, A> {
    /// Each assembly here holds the next, and the last holds the first.
    Cycle(Vec<A>),
    /// The pieces of this one are more than can be counted.
    TooMany(Child<P, A>),
    /// A line counts *for all together* of an assembly that the kit does not hold, and that is wanted by
    /// itself: nobody can say how many "all" are.
    NotInTheKit(A),
    NoSuchPeriod {
        period: usize,
        periods: usize,
    },
    TooManyPeriods,
}

impl<P: Copy, A: Copy> NettingRefused<P, A> {
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
                    "There are more pieces of '{}' than can be counted.",
                    name(*child)
                )
            }
            Self::NotInTheKit(assembly) => format!(
                "'{}' is not in the kit, so what is listed for all of them together cannot be shared out.",
                name(Child::Assembly(*assembly))
            ),
            Self::NoSuchPeriod { period, periods } => {
                format!("The plan has periods 1 to {periods}; there is no period {period}.")
            }
            Self::TooManyPeriods => {
                format!("A plan has at least one period and at most {MOST_PERIODS}.")
            }
        }
    }
}

impl<P, A> From<NeedRefused<P, A>> for NettingRefused<P, A> {
    fn from(refused: NeedRefused<P, A>) -> Self {
        match refused {
            NeedRefused::Cycle(assemblies) => Self::Cycle(assemblies),
            NeedRefused::TooMany(child) => Self::TooMany(child),
        }
    }
}

/// What must still be got or built for one kit, with what is on hand.
///
/// Of each assembly and part, take what is on hand off what is asked for; only what then remains of an
/// assembly asks for the parts in it. Two axles on the shelf mean that many hubs fewer, although no hub
/// lies on the shelf by itself.
///
/// In pieces, in order of levels. `net = max(0, gross - on hand)`; the gross of a part is the sum over the
/// assemblies that hold it of `net of the assembly × quantity` (of a *for all* line its share, rounded
/// up). Refuses cycles, and more pieces than can be counted. Source: Orlicky, *Material Requirements
/// Planning*, which counts 30 forgings where taking off at the end would say 54.
pub fn net<P, A>(
    lines: &[Line<P, A>],
    on_hand: &BTreeMap<Child<P, A>, u64>,
) -> Result<Vec<Netted<P, A>>, NettingRefused<P, A>>
where
    P: Copy + Ord,
    A: Copy + Ord,
{
    let stock = on_hand
        .iter()
        .map(|(child, on_hand)| {
            let stock = Stock {
                on_hand: *on_hand,
                ..Stock::default()
            };
            (*child, stock)
        })
        .collect();
    let records = plan(lines, &stock, &kit_wanted_in(lines, 1), 1)?;
    Ok(records
        .into_iter()
        .map(|record| Netted {
            child: record.child,
            level: record.level,
            gross: record.gross.iter().sum(),
            net: record.net.iter().sum(),
        })
        .collect())
}

/// What one kit wants in a period: all that the list puts into the kit itself.
pub fn kit_wanted_in<P: Copy, A: Copy>(lines: &[Line<P, A>], period: usize) -> Vec<Wanted<P, A>> {
    lines
        .iter()
        .filter(|line| line.parent.is_none())
        .map(|line| Wanted {
            child: line.child,
            period,
            pieces: line.quantity,
        })
        .collect()
}

/// When what must be ordered or begun, so that everything is there in the periods in which it is wanted.
///
/// Go through the periods and see when the pieces on hand, with those that arrive, no longer suffice: so
/// many are lacking there, and they must be ordered as many periods before as they take. To build an
/// assembly its parts must be there when it is begun, so they are asked for in that period. What should
/// have been ordered before the first period is named as late.
///
/// Periods (days, weeks) count from 1 to `periods`. Ordered is what is lacking, in the period it is
/// lacking, no more (*lot for lot*). Lines of the kit itself ask for nothing here; give
/// [`kit_wanted_in`]. A *for all* line asks for its share of what was begun so far, rounded up.
/// Refuses cycles, periods out of range, and more pieces than can be counted.
/// Source: Orlicky, *Material Requirements Planning*, 3rd edition: a component is asked for in the period
/// in which its parent is released (p. 107), and netted after all its parents (p. 106).
pub fn plan<P, A>(
    lines: &[Line<P, A>],
    stock: &BTreeMap<Child<P, A>, Stock>,
    wanted: &[Wanted<P, A>],
    periods: usize,
) -> Result<Vec<Record<P, A>>, NettingRefused<P, A>>
where
    P: Copy + Ord,
    A: Copy + Ord,
{
    if periods == 0 || periods > MOST_PERIODS {
        return Err(NettingRefused::TooManyPeriods);
    }
    let need = need(lines)?;
    let mut held: BTreeMap<A, Vec<&Line<P, A>>> = BTreeMap::new();
    for line in lines {
        if let Some(parent) = line.parent {
            held.entry(parent).or_default().push(line);
        }
    }
    let levels = levels(lines, &held, stock, wanted);

    let mut asked: BTreeMap<Child<P, A>, Asked> = BTreeMap::new();
    for want in wanted {
        let mut pieces = vec![0; periods];
        pieces[index(want.period, periods)?] = want.pieces;
        add(&mut asked, want.child, &pieces)?;
    }
    let nothing = Stock::default();
    let mut records = Vec::with_capacity(levels.len());
    for (level, child) in levels {
        let gross = asked
            .remove(&child)
            .map_or_else(|| vec![0; periods], |asked| asked.pieces);
        let record = record(child, level, gross, stock.get(&child).unwrap_or(&nothing))?;
        if let Child::Assembly(assembly) = child {
            for line in held.get(&assembly).into_iter().flatten() {
                let pieces = asked_for(line, assembly, &record.releases, &need)?;
                add(&mut asked, line.child, &pieces)?;
            }
        }
        records.push(record);
    }
    Ok(records)
}

/// What is asked for of one part or assembly in each period, and together: at most [`MOST`].
struct Asked {
    pieces: Vec<u64>,
    total: u64,
}

/// Everything that is named anywhere, with its lowest level, in order of levels. There is no cycle.
fn levels<P: Copy + Ord, A: Copy + Ord>(
    lines: &[Line<P, A>],
    held: &BTreeMap<A, Vec<&Line<P, A>>>,
    stock: &BTreeMap<Child<P, A>, Stock>,
    wanted: &[Wanted<P, A>],
) -> Vec<(usize, Child<P, A>)> {
    let mut levels: BTreeMap<Child<P, A>, usize> = BTreeMap::new();
    let mut holders_left: BTreeMap<Child<P, A>, usize> = BTreeMap::new();
    for line in lines {
        levels.insert(line.child, 0);
        if let Some(parent) = line.parent {
            levels.insert(Child::Assembly(parent), 0);
            *holders_left.entry(line.child).or_default() += 1;
        }
    }
    levels.extend(stock.keys().map(|child| (*child, 0)));
    levels.extend(wanted.iter().map(|want| (want.child, 0)));

    let mut ready: Vec<Child<P, A>> = levels
        .keys()
        .filter(|child| !holders_left.contains_key(child))
        .copied()
        .collect();
    while let Some(child) = ready.pop() {
        let Child::Assembly(assembly) = child else {
            continue;
        };
        let below = levels[&child] + 1;
        for line in held.get(&assembly).into_iter().flatten() {
            let level = levels.entry(line.child).or_default();
            *level = below.max(*level);
            if let Some(left) = holders_left.get_mut(&line.child) {
                *left -= 1;
                if *left == 0 {
                    ready.push(line.child);
                }
            }
        }
    }
    let mut levels: Vec<(usize, Child<P, A>)> = levels
        .into_iter()
        .map(|(child, level)| (level, child))
        .collect();
    levels.sort_unstable();
    levels
}

fn record<P: Copy, A: Copy>(
    child: Child<P, A>,
    level: usize,
    gross: Vec<u64>,
    stock: &Stock,
) -> Result<Record<P, A>, NettingRefused<P, A>> {
    let periods = gross.len();
    let mut receipts = vec![0; periods];
    let mut coming = stock.on_hand;
    for (period, pieces) in &stock.receipts {
        let at = index(*period, periods)?;
        coming = coming
            .checked_add(*pieces)
            .ok_or(NettingRefused::TooMany(child))?;
        receipts[at] += pieces;
    }
    if coming > MOST {
        return Err(NettingRefused::TooMany(child));
    }

    let mut record = Record {
        child,
        level,
        receipts,
        on_hand: Vec::with_capacity(periods),
        net: vec![0; periods],
        releases: vec![0; periods],
        late: Vec::new(),
        gross,
    };
    // Both stay between -MOST and MOST: all that is asked for together is at most MOST, and so is all
    // that is there and comes.
    let mut there = signed(stock.on_hand);
    let mut ordered: u64 = 0;
    for at in 0..periods {
        there += signed(record.receipts[at]) - signed(record.gross[at]);
        record.on_hand.push(there);
        let lacking = if there < 0 { there.unsigned_abs() } else { 0 };
        let pieces = lacking.saturating_sub(ordered);
        if pieces == 0 {
            continue;
        }
        ordered += pieces;
        record.net[at] = pieces;
        let release_at = at.checked_sub(stock.lead);
        record.releases[release_at.unwrap_or(0)] += pieces;
        if release_at.is_none() {
            record.late.push(Late {
                needed_in: at + 1,
                pieces,
                periods_late: stock.lead - at,
            });
        }
    }
    Ok(record)
}

/// What a line asks for in each period, given in which its assembly is begun.
fn asked_for<P: Copy + Ord, A: Copy + Ord>(
    line: &Line<P, A>,
    parent: A,
    releases: &[u64],
    need: &Need<P, A>,
) -> Result<Vec<u64>, NettingRefused<P, A>> {
    let too_many = || NettingRefused::TooMany(line.child);
    let mut begun: u128 = 0;
    let mut asked: u64 = 0;
    let mut all = Vec::with_capacity(releases.len());
    for release in releases {
        begun += u128::from(*release);
        let wanted = u128::from(line.quantity)
            .checked_mul(begun)
            .ok_or_else(too_many)?;
        let wanted = match (line.basis, need.assembly(parent)) {
            (Basis::Each, _) => wanted,
            (Basis::All, 0) if begun == 0 => 0,
            (Basis::All, 0) => return Err(NettingRefused::NotInTheKit(parent)),
            (Basis::All, copies) => wanted.div_ceil(u128::from(copies)),
        };
        let wanted = u64::try_from(wanted).map_err(|_| too_many())?;
        all.push(wanted - asked);
        asked = wanted;
    }
    Ok(all)
}

/// Adds pieces to what is asked for, as long as all of it together can be counted.
fn add<P: Copy + Ord, A: Copy + Ord>(
    asked: &mut BTreeMap<Child<P, A>, Asked>,
    child: Child<P, A>,
    pieces: &[u64],
) -> Result<(), NettingRefused<P, A>> {
    let asked = asked.entry(child).or_insert_with(|| Asked {
        pieces: vec![0; pieces.len()],
        total: 0,
    });
    asked.total = pieces
        .iter()
        .try_fold(asked.total, |total, one| total.checked_add(*one))
        .filter(|total| *total <= MOST)
        .ok_or(NettingRefused::TooMany(child))?;
    for (sum, one) in asked.pieces.iter_mut().zip(pieces) {
        *sum += one;
    }
    Ok(())
}

fn index<P, A>(period: usize, periods: usize) -> Result<usize, NettingRefused<P, A>> {
    period
        .checked_sub(1)
        .filter(|at| *at < periods)
        .ok_or(NettingRefused::NoSuchPeriod { period, periods })
}

/// Never more than [`MOST`].
fn signed(pieces: u64) -> i64 {
    i64::try_from(pieces).unwrap_or(i64::MAX)
}

#[cfg(test)]
#[path = "netting_tests.rs"]
mod tests;
