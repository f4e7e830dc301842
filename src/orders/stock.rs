//! For what is always kept in store and bought again and again (ties, tape, gloves): how much to buy at
//! once, and when to buy again.
//!
//! The pieces of a season's kit are bought for that season: see `plan`. The sums here are for things that
//! are used up evenly all year. They are rough by nature, because yearly use and the cost of keeping are
//! estimates; the cost hardly changes if one buys somewhat more or less than they say.
//!
//! Pure. The published cases are in `tests/published/orders.rs`.

use statrs::distribution::{ContinuousCDF, Normal};

use crate::reckon::money::{Money, MoneyRefused};

/// The most pieces that are reckoned with.
pub const MOST_PIECES: u64 = 1_000_000_000;

/// How much is used, and what buying and keeping cost.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Use {
    /// Pieces used in a year.
    pub yearly: u64,
    /// What one order costs besides the pieces: postage, and somebody's evening if it is counted.
    pub per_order: Money,
    /// What keeping one piece for a year costs: room, waste, money tied up.
    pub keeping: Money,
}

/// How much to buy at once.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Quantity {
    /// Not rounded; buy the nearest number of packs.
    pub pieces: f64,
    pub orders_a_year: f64,
    /// Ordering and keeping together, in a year, without the pieces themselves.
    pub yearly_cost: Money,
}

/// A price for each piece, if at least so many are bought at once.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Band {
    pub from: u64,
    pub price: Money,
}

/// What a year costs if one always buys the best quantity of a price band.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BandCost {
    pub band: Band,
    /// The quantity that would be best at this price if it held for any quantity.
    pub unbound: f64,
    /// The best quantity that has this price.
    pub quantity: u64,
    pub pieces: Money,
    pub ordering: Money,
    pub keeping: Money,
    pub total: Money,
}

/// When to buy again.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BuyAgain {
    /// Pieces kept against bad luck.
    pub safety: f64,
    /// Buy again when no more than these are left. Not rounded.
    pub at: f64,
}

/// Why there is no answer, in words for the person who asked.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum StockRefused {
    #[error("{0} must be a number above zero")]
    NotAboveZero(&'static str),
    #[error("{0} must be zero or a number above it")]
    BelowZero(&'static str),
    #[error("{0} is more than can be reckoned with")]
    TooMany(&'static str),
    #[error("pieces must be made faster than they are used; otherwise there is never one in store")]
    UsedFasterThanMade,
    #[error(
        "choose to be sure in at least 50 and less than 100 cases of a hundred; nobody can be sure always"
    )]
    Confidence,
    #[error("give at least one price")]
    NoPrice,
    #[error("the prices must begin at different numbers of pieces, in rising order")]
    BandsOutOfOrder,
    #[error(transparent)]
    Money(#[from] MoneyRefused),
}

/// How much to buy at once, so that ordering and keeping together cost least.
///
/// Who orders often pays for many orders; who orders much at once must keep it. In between there is a
/// quantity at which both cost the same, and that is the cheapest. Only for things used evenly all year.
///
/// Pieces in a year, minor units. `Q = √(2 · D · S / H)` with the yearly use `D`, the cost of one order
/// `S` and of keeping one piece for a year `H`; the yearly cost is `D / Q · S + Q / 2 · H`. Refuses a use
/// or costs of zero and below, and different currencies. Source: the economic order quantity, in any
/// textbook of operations management.
pub fn quantity(usage: Use) -> Result<Quantity, StockRefused> {
    kept(usage, 1.0)
}

/// The same if the pieces are not bought but made, so many a day, while others are already used.
///
/// Because pieces are taken away while the rest is still being made, fewer of them must be kept, and one
/// may make more at a time.
///
/// `Q = √(2 · D · S / (H · (1 − d / p)))` with `d` pieces used and `p` made in a day; `per_order` is then
/// what setting up costs. Refuses what [`quantity`] refuses, and making no faster than using.
pub fn quantity_while_made(
    usage: Use,
    made_a_day: f64,
    used_a_day: f64,
) -> Result<Quantity, StockRefused> {
    let made = above_zero(made_a_day, "the number made in a day")?;
    let used = above_zero(used_a_day, "the number used in a day")?;
    if used >= made {
        return Err(StockRefused::UsedFasterThanMade);
    }
    kept(usage, 1.0 - used / made)
}

/// `share` is how much of what is bought at once has to be kept.
fn kept(usage: Use, share: f64) -> Result<Quantity, StockRefused> {
    usage.per_order.plus(Money::zero(usage.keeping.currency))?;
    let yearly = pieces(usage.yearly, "the yearly use")?;
    let per_order = above_zero(minor(usage.per_order), "the cost of an order")?;
    let keeping = above_zero(minor(usage.keeping), "the cost of keeping a piece")? * share;
    let pieces = (2.0 * yearly * per_order / keeping).sqrt();
    Ok(Quantity {
        pieces,
        orders_a_year: yearly / pieces,
        yearly_cost: rounded(
            yearly / pieces * per_order + pieces / 2.0 * keeping,
            usage.per_order,
        )?,
    })
}

impl Quantity {
    /// How many days from one order to the next, in a year with so many days on which pieces are used.
    pub fn days_between(&self, days_a_year: u32) -> f64 {
        f64::from(days_a_year) / self.orders_a_year
    }
}

/// The cheapest quantity to buy at once, where the price of all pieces falls with the quantity.
///
/// For each price the best quantity that has it is found: the one that would be best anyway, or where that
/// is too little for the price, the fewest that have it. The one with the cheapest year, pieces
/// included, is the answer. A low price for a large quantity is not always cheaper: what is bought must
/// be kept.
///
/// Answers the position of the cheapest and all of them. `keeping_percent` is what keeping a piece for
/// a year costs, in percent of its price. The year costs `D · p + D / Q · S + Q / 2 · i · p`. Quantities
/// are whole pieces: of the two next to the best, the cheaper. Refuses prices of zero and below, bands
/// that do not rise, different currencies, and a use or cost that is not above zero.
pub fn cheapest_quantity(
    yearly: u64,
    per_order: Money,
    keeping_percent: f64,
    bands: &[Band],
) -> Result<(usize, Vec<BandCost>), StockRefused> {
    let used = pieces(yearly, "the yearly use")?;
    let order_cost = above_zero(minor(per_order), "the cost of an order")?;
    let share = above_zero(keeping_percent, "the cost of keeping a piece")? / 100.0;
    if bands.windows(2).any(|pair| pair[0].from >= pair[1].from) {
        return Err(StockRefused::BandsOutOfOrder);
    }
    let mut best: Option<(f64, usize)> = None;
    let mut costs = Vec::with_capacity(bands.len());
    for (at, band) in bands.iter().enumerate() {
        per_order.plus(Money::zero(band.price.currency))?;
        if band.from > MOST_PIECES {
            return Err(StockRefused::TooMany(
                "the quantity from which a price holds",
            ));
        }
        let price = above_zero(minor(band.price), "a price")?;
        let unbound = (2.0 * used * order_cost / (share * price)).sqrt();
        let last = bands.get(at + 1).map_or(MOST_PIECES, |next| next.from - 1);
        let ordering = |quantity: f64| used / quantity * order_cost;
        let keeping = |quantity: f64| quantity / 2.0 * share * price;
        // Ordering and keeping together fall until `unbound` and rise from there on.
        let quantity = [unbound.floor(), unbound.ceil()]
            .map(|near| near.clamp(exactly(band.from.max(1)), exactly(last.max(1))))
            .into_iter()
            .min_by(|a, b| (ordering(*a) + keeping(*a)).total_cmp(&(ordering(*b) + keeping(*b))))
            .unwrap_or(unbound);
        let total = used * price + ordering(quantity) + keeping(quantity);
        if best.is_none_or(|(least, _)| total < least) {
            best = Some((total, at));
        }
        costs.push(BandCost {
            band: *band,
            unbound,
            // Whole, and at most `MOST_PIECES`.
            quantity: quantity as u64,
            pieces: rounded(used * price, per_order)?,
            ordering: rounded(ordering(quantity), per_order)?,
            keeping: rounded(keeping(quantity), per_order)?,
            total: rounded(total, per_order)?,
        });
    }
    let (_, best) = best.ok_or(StockRefused::NoPrice)?;
    Ok((best, costs))
}

/// When to buy again, if use and delivery are as regular as a clock: when what is left just lasts until the
/// delivery, and what is kept against bad luck on top of it.
///
/// In whole pieces, rounded up: `⌈yearly · lead / days in the year⌉ + safety`. `days_a_year` are the days on
/// which pieces are used, and `lead_days` are counted in the same days. Refuses no days, and more pieces
/// than can be reckoned with.
pub fn buy_again_at(
    yearly: u64,
    days_a_year: u32,
    lead_days: u32,
    safety: u64,
) -> Result<u64, StockRefused> {
    if days_a_year == 0 {
        return Err(StockRefused::NotAboveZero("the number of days in a year"));
    }
    for (number, name) in [
        (yearly, "the yearly use"),
        (safety, "what is kept against bad luck"),
    ] {
        if number > MOST_PIECES {
            return Err(StockRefused::TooMany(name));
        }
    }
    let used = u128::from(yearly) * u128::from(lead_days);
    let used = used.div_ceil(u128::from(days_a_year));
    u64::try_from(used)
        .ok()
        .and_then(|used| used.checked_add(safety))
        .ok_or(StockRefused::TooMany(
            "the number of pieces used until the delivery",
        ))
}

/// When to buy again, if the use until the delivery is sometimes more and sometimes less.
///
/// What is used on average until the delivery, and some pieces against bad luck: so many that in the
/// chosen share of cases the store does not run out before the delivery.
///
/// `mean` and `deviation` (the standard deviation) are pieces used from ordering until the delivery;
/// `sure_percent` is the share of cases, from 50 to below 100. `safety = z · deviation` with the normal
/// quantile `z`; `at = mean + safety`. Supposes that use is spread evenly around its mean; for a handful
/// of pieces it is not, so reckon spares instead. Refuses numbers below zero and other shares.
pub fn buy_again(mean: f64, deviation: f64, sure_percent: f64) -> Result<BuyAgain, StockRefused> {
    let mean = not_below_zero(mean, "the use until the delivery")?;
    let deviation = not_below_zero(deviation, "its deviation")?;
    let safety = quantile(sure_percent)? * deviation;
    let at = mean + safety;
    Ok(BuyAgain { safety, at })
}

/// When to buy again, if the same is used every day but the delivery takes longer at times.
///
/// `used` pieces in a day (or week), and `lead` days (or weeks) until the delivery with its standard
/// deviation. `at = used · lead + z · used · deviation`; the rest as in [`buy_again`].
pub fn buy_again_if_late(
    used: f64,
    lead: f64,
    deviation: f64,
    sure_percent: f64,
) -> Result<BuyAgain, StockRefused> {
    let used = not_below_zero(used, "the number used in a day")?;
    let lead = not_below_zero(lead, "the time until the delivery")?;
    let deviation = not_below_zero(deviation, "its deviation")?;
    buy_again(used * lead, used * deviation, sure_percent)
}

impl BuyAgain {
    /// In whole pieces, rounded up.
    pub fn pieces(&self) -> Result<u64, StockRefused> {
        let whole = self.at.ceil();
        if whole <= exactly(MOST_PIECES) {
            // Whole, not below zero, and small enough to be exact.
            Ok(whole as u64)
        } else {
            Err(StockRefused::TooMany("the number of pieces"))
        }
    }
}

fn quantile(sure_percent: f64) -> Result<f64, StockRefused> {
    if (50.0..100.0).contains(&sure_percent) {
        Ok(Normal::standard().inverse_cdf(sure_percent / 100.0))
    } else {
        Err(StockRefused::Confidence)
    }
}

fn above_zero(number: f64, name: &'static str) -> Result<f64, StockRefused> {
    if number.is_finite() && number > 0.0 {
        Ok(number)
    } else {
        Err(StockRefused::NotAboveZero(name))
    }
}

fn not_below_zero(number: f64, name: &'static str) -> Result<f64, StockRefused> {
    if number.is_finite() && number >= 0.0 {
        Ok(number)
    } else {
        Err(StockRefused::BelowZero(name))
    }
}

fn pieces(number: u64, name: &'static str) -> Result<f64, StockRefused> {
    match number {
        0 => Err(StockRefused::NotAboveZero(name)),
        1..=MOST_PIECES => Ok(exactly(number)),
        _ => Err(StockRefused::TooMany(name)),
    }
}

/// Numbers up to [`MOST_PIECES`] are exact.
fn exactly(number: u64) -> f64 {
    number as f64
}

fn minor(money: Money) -> f64 {
    money.minor as f64
}

/// To the nearest minor unit.
fn rounded(minor: f64, like: Money) -> Result<Money, StockRefused> {
    // 2^53: up to there every whole number is exact.
    if minor.abs() < 9_007_199_254_740_992.0 {
        Ok(Money {
            minor: minor.round() as i64,
            ..like
        })
    } else {
        Err(MoneyRefused::TooMuch.into())
    }
}

#[cfg(test)]
#[path = "stock_tests.rs"]
mod tests;
