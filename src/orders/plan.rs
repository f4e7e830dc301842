//! The order plan: of all that is needed by some day, what to order from whom, by when, and who pays.
//!
//! Pure. The published cases are in `tests/published/orders.rs`.

use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Display;

use super::cover::{Cover, CoverRefused, Offer, cover};
use crate::clock::Day;
use crate::reckon::days::{BusinessDays, DaysRefused, Roll};
use crate::reckon::money::{Money, MoneyRefused};

/// Pieces that somebody needs by a day and pays for.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Needed<P, W> {
    pub part: P,
    pub pieces: u64,
    /// The day on which they must lie ready, unpacked and checked.
    pub by: Day,
    pub payer: W,
}

/// What a supplier asks for a part, and how long it takes.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Source<P, S> {
    pub part: P,
    pub supplier: S,
    /// Business days from sending the order until it is delivered: the supplier's and the carrier's.
    pub lead_days: u32,
    pub offers: Vec<Offer>,
}

/// When work is done, and how long receiving takes.
#[derive(Debug, Clone, Copy)]
pub struct When<'a> {
    pub today: Day,
    pub days: &'a BusinessDays,
    /// Business days to receive: unpack, count, put away.
    pub receive_days: u32,
}

/// By when something must be ordered.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Due {
    /// The last business day on which an order is in time.
    pub order_by: Day,
    /// How many business days ago that was; 0 if it is not past.
    pub days_late: u64,
    /// When it would lie ready if it were ordered today.
    pub ready_if_today: Day,
}

/// One part of an order, for everybody who needs it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct OrderLine<P, W> {
    pub part: P,
    pub pieces: u64,
    /// The first day on which some of them must lie ready.
    pub needed_by: Day,
    pub due: Due,
    pub cover: Cover,
    /// Those who need it, the earliest first, each with when it must be ordered for them.
    pub needs: Vec<(Needed<P, W>, Due)>,
    /// What each payer pays of it; together the cost.
    pub shares: Vec<(W, Money)>,
}

/// All that is ordered from one supplier.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Order<P, S, W> {
    pub supplier: S,
    /// That of its most urgent line.
    pub due: Due,
    /// The most urgent first.
    pub lines: Vec<OrderLine<P, W>>,
    pub total: Money,
    pub shares: Vec<(W, Money)>,
}

/// What to order.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Plan<P, S, W> {
    /// One for each supplier, the most urgent first: what should have been ordered already leads.
    pub orders: Vec<Order<P, S, W>>,
    /// Parts that are needed and that nobody offers.
    pub nobody_offers: Vec<P>,
}

/// Why there is no plan, in words for the keeper.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum PlanRefused<P, S> {
    #[error("{part}: {refused}")]
    Cover { part: P, refused: CoverRefused },
    #[error("{0}: there are more pieces than can be counted")]
    TooMany(P),
    #[error("{part}: {supplier} is listed twice; put all its packs into one list")]
    Twice { part: P, supplier: S },
    #[error("{part}: the suppliers' prices cannot be compared: {refused}")]
    Incomparable { part: P, refused: MoneyRefused },
    #[error("the order from {supplier}: {refused}")]
    Money { supplier: S, refused: MoneyRefused },
    #[error(transparent)]
    Days(#[from] DaysRefused),
}

impl Due {
    /// By when to order what must lie ready on a day.
    ///
    /// From the day on which it is needed, go back the days for receiving it and the days until it is
    /// delivered; on that day at the latest it must be ordered. Weekends and holidays do not count. If
    /// it is needed on a day off, it must lie ready on the business day before.
    ///
    /// In business days: `order by = needed by - days to receive - lead time`, rolled backward. Refuses
    /// only what leads out of the calendar; a day that is past is answered, as late. That a lead time is
    /// made of ordering, the supplier's work, transport, and receiving and putting away, is said in
    /// Orlicky, *Material Requirements Planning*, p. 66, after the APICS Dictionary.
    pub fn for_day(needed_by: Day, lead_days: u32, when: When) -> Result<Self, DaysRefused> {
        let takes = i64::from(lead_days) + i64::from(when.receive_days);
        let order_by = when.days.offset(needed_by, -takes, Roll::Backward)?;
        let days_late = if order_by < when.today {
            when.days.count(order_by, when.today).unsigned_abs()
        } else {
            0
        };
        Ok(Self {
            order_by,
            days_late,
            ready_if_today: when.days.offset(when.today, takes, Roll::Forward)?,
        })
    }

    pub fn is_late(self) -> bool {
        self.days_late > 0
    }

    /// "should have been ordered by 3 Mar 2027, 4 business days ago".
    pub fn in_words(self) -> String {
        let day = self.order_by.words();
        let ready = self.ready_if_today.words();
        match self.days_late {
            0 => format!("order by {day}"),
            1 => format!(
                "should have been ordered by {day}, 1 business day ago; ordered today it is ready on {ready}"
            ),
            late => format!(
                "should have been ordered by {day}, {late} business days ago; ordered today it is ready \
                 on {ready}"
            ),
        }
    }
}

impl Cover {
    /// "3 packs of 100, 1 pack of 25; 7 left over".
    pub fn in_words(&self) -> String {
        let mut packs: Vec<String> = self
            .bought
            .iter()
            .map(|bought| match (bought.packs, bought.pack) {
                (1, 1) => "1 piece".to_owned(),
                (pieces, 1) => format!("{pieces} pieces"),
                (1, pack) => format!("1 pack of {pack}"),
                (packs, pack) => format!("{packs} packs of {pack}"),
            })
            .collect();
        if packs.is_empty() {
            packs.push("nothing".to_owned());
        }
        let packs = packs.join(", ");
        match self.leftover {
            0 => packs,
            left => format!("{packs}; {left} left over"),
        }
    }
}

/// Makes orders of all that is needed.
///
/// What several people need of a part is bought together, early enough for the first of them, because
/// together the packs come out cheaper. Of the suppliers who offer it and can still be in time, the
/// cheapest is taken; if none can, the one that delivers first. Everything from one supplier is one
/// order. Each payer pays for a part in proportion to the pieces they need, what is left over included.
/// What is late is said first.
///
/// In pieces, minor units and business days. Each part comes from one supplier, in the packs that cover
/// it most cheaply (see [`cover`]). Needs of 0 pieces are left out. Refuses needs too large to plan,
/// a supplier listed twice for a part, and prices in different currencies for one part or in one order.
/// A day that is already past is not refused; it is late.
pub fn plan<P, S, W>(
    needs: &[Needed<P, W>],
    sources: &[Source<P, S>],
    when: When,
) -> Result<Plan<P, S, W>, PlanRefused<P, S>>
where
    P: Clone + Ord + Display,
    S: Clone + Ord + Display,
    W: Clone + Ord,
{
    let mut offered: BTreeMap<&P, Vec<&Source<P, S>>> = BTreeMap::new();
    let mut listed = BTreeSet::new();
    for source in sources.iter().filter(|source| !source.offers.is_empty()) {
        if !listed.insert((&source.part, &source.supplier)) {
            return Err(PlanRefused::Twice {
                part: source.part.clone(),
                supplier: source.supplier.clone(),
            });
        }
        offered.entry(&source.part).or_default().push(source);
    }
    let mut wanted: BTreeMap<&P, Vec<&Needed<P, W>>> = BTreeMap::new();
    for need in needs.iter().filter(|need| need.pieces > 0) {
        wanted.entry(&need.part).or_default().push(need);
    }

    let mut nobody_offers = Vec::new();
    let mut lines: BTreeMap<&S, Vec<OrderLine<P, W>>> = BTreeMap::new();
    for (part, mut needs) in wanted {
        needs.sort_by_key(|need| (need.by, &need.payer));
        let Some(sources) = offered.get(part) else {
            nobody_offers.push(part.clone());
            continue;
        };
        let pieces = needs
            .iter()
            .try_fold(0_u64, |sum, need| sum.checked_add(need.pieces))
            .ok_or_else(|| PlanRefused::TooMany(part.clone()))?;
        let choice = choose(pieces, needs[0].by, sources, when)?;
        let supplier = &choice.source.supplier;
        lines
            .entry(supplier)
            .or_default()
            .push(line(pieces, &needs, choice, when)?);
    }
    let mut orders = Vec::with_capacity(lines.len());
    for (supplier, lines) in lines {
        let order = order(supplier, lines).map_err(|refused| PlanRefused::Money {
            supplier: supplier.clone(),
            refused,
        })?;
        orders.push(order);
    }
    // The suppliers are in order already, and stay so where the days are the same.
    orders.sort_by_key(|order| order.due.order_by);
    Ok(Plan {
        orders,
        nobody_offers,
    })
}

/// A supplier for a part, with what is bought there and when it must be ordered.
struct Choice<'a, P, S> {
    source: &'a Source<P, S>,
    due: Due,
    cover: Cover,
}

impl<P, S: Ord> Choice<'_, P, S> {
    /// The smaller, the better: in time before late, then (if late) the earlier, then the cheaper.
    fn rank(&self) -> impl Ord {
        let late = self.due.is_late();
        let ready = self.due.ready_if_today;
        let cost = self.cover.cost.minor;
        (
            late,
            late.then_some(ready),
            cost,
            ready,
            &self.source.supplier,
        )
    }
}

/// The source that suits best. There is at least one.
fn choose<'a, P: Clone, S: Ord>(
    pieces: u64,
    needed_by: Day,
    sources: &[&'a Source<P, S>],
    when: When,
) -> Result<Choice<'a, P, S>, PlanRefused<P, S>> {
    let mut choices: Vec<Choice<P, S>> = Vec::with_capacity(sources.len());
    for source in sources.iter().copied() {
        let due = Due::for_day(needed_by, source.lead_days, when)?;
        let cover = cover(pieces, &source.offers).map_err(|refused| PlanRefused::Cover {
            part: source.part.clone(),
            refused,
        })?;
        let currency = cover.cost.currency;
        choices.push(Choice { source, due, cover });
        let first = choices[0].cover.cost.currency;
        if currency != first {
            return Err(PlanRefused::Incomparable {
                part: source.part.clone(),
                refused: MoneyRefused::Mixed(first, currency),
            });
        }
    }
    Ok(choices
        .into_iter()
        .min_by(|a, b| a.rank().cmp(&b.rank()))
        .expect("a part that is offered has a source"))
}

/// One part of an order. There is a need, and they are in order of their days.
fn line<P: Clone, S, W: Clone + Ord>(
    pieces: u64,
    needs: &[&Needed<P, W>],
    choice: Choice<P, S>,
    when: When,
) -> Result<OrderLine<P, W>, DaysRefused> {
    let Choice { source, due, cover } = choice;
    let weights: Vec<(&W, u64)> = needs
        .iter()
        .map(|need| (&need.payer, need.pieces))
        .collect();
    let shares = shared_out(cover.cost, &weights);
    let dated = needs
        .iter()
        .map(|need| {
            let due = Due::for_day(need.by, source.lead_days, when)?;
            Ok(((*need).clone(), due))
        })
        .collect::<Result<_, DaysRefused>>()?;
    Ok(OrderLine {
        part: source.part.clone(),
        pieces,
        needed_by: needs[0].by,
        due,
        cover,
        needs: dated,
        shares,
    })
}

/// All lines of one supplier; there is at least one.
fn order<P, S, W>(
    supplier: &S,
    mut lines: Vec<OrderLine<P, W>>,
) -> Result<Order<P, S, W>, MoneyRefused>
where
    P: Ord,
    S: Clone,
    W: Clone + Ord,
{
    lines.sort_by(|a, b| (a.due.order_by, &a.part).cmp(&(b.due.order_by, &b.part)));
    let nothing = Money::zero(lines[0].cover.cost.currency);
    let mut total = nothing;
    let mut shares: BTreeMap<W, Money> = BTreeMap::new();
    for line in &lines {
        total = total.plus(line.cover.cost)?;
        for (payer, share) in &line.shares {
            let sum = shares.entry(payer.clone()).or_insert(nothing);
            *sum = sum.plus(*share)?;
        }
    }
    Ok(Order {
        supplier: supplier.clone(),
        due: lines[0].due,
        lines,
        total,
        shares: shares.into_iter().collect(),
    })
}

/// Divides a cost among payers by the pieces they need, so that the shares are whole minor units and add
/// up to it.
///
/// Everybody first pays their part rounded down; the units that remain go one by one to those whose part
/// was cut most (the largest remainders), in order of the payers where that is equal. A payer who is named
/// more than once gets one share. The cost is not below zero; somebody needs pieces, and all of them
/// together were counted as a `u64`, so no product overflows.
fn shared_out<W: Clone + Ord>(cost: Money, pieces: &[(&W, u64)]) -> Vec<(W, Money)> {
    let mut needed: BTreeMap<&W, u128> = BTreeMap::new();
    for (payer, pieces) in pieces {
        *needed.entry(payer).or_default() += u128::from(*pieces);
    }
    let all: u128 = needed.values().sum();
    let whole = u128::from(cost.minor.max(0).unsigned_abs());
    let mut shares: Vec<(&W, u128, u128)> = needed
        .into_iter()
        .map(|(payer, pieces)| {
            let share = whole * pieces;
            (payer, share / all, share % all)
        })
        .collect();
    let given: u128 = shares.iter().map(|(_, share, _)| share).sum();
    let remaining = usize::try_from(whole - given).unwrap_or_default();
    let mut by_remainder: Vec<usize> = (0..shares.len()).collect();
    by_remainder.sort_by_key(|at| std::cmp::Reverse(shares[*at].2));
    for at in by_remainder.into_iter().take(remaining) {
        shares[at].1 += 1;
    }
    shares
        .into_iter()
        .map(|(payer, share, _)| {
            let minor = i64::try_from(share).expect("a share is at most the cost");
            (payer.clone(), Money { minor, ..cost })
        })
        .collect()
}

#[cfg(test)]
#[path = "plan_tests.rs"]
mod tests;
