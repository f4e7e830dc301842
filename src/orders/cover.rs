//! The cheapest way to buy at least so many pieces: packs of different sizes, and prices that fall with
//! the number of packs.
//!
//! Pure. The published cases are in `tests/published/orders.rs`.

use std::cmp::Reverse;

use crate::reckon::money::{Currency, Money, MoneyRefused};

/// The largest pack, and the most packs a price or a condition may speak of.
pub const MOST_PACKS: u64 = 1_000_000_000;
/// The most kinds of packs that are compared for one part.
pub const MOST_OFFERS: usize = 40;
/// The most pieces that are planned at once, counted in the largest step that all packs are made of.
pub const MOST_STEPS: u64 = 200_000;

/// From this number of packs on, each pack (the first included) costs so much.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Break {
    pub from_packs: u64,
    pub price: Money,
}

/// What somebody asks for packs of one size.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Offer {
    pack: u64,
    /// Rising in packs, never rising in price; at least one.
    breaks: Vec<Break>,
    least: u64,
    multiple: u64,
}

/// Packs of one offer, bought.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Bought {
    /// The position of the offer in the list given.
    pub offer: usize,
    pub packs: u64,
    /// Pieces in a pack.
    pub pack: u64,
    /// Of each pack.
    pub price: Money,
    pub cost: Money,
}

/// What to buy.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Cover {
    pub bought: Vec<Bought>,
    pub pieces: u64,
    /// Pieces beyond the need.
    pub leftover: u64,
    pub cost: Money,
}

/// Why an offer makes no sense, in words for the person who typed it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum OfferRefused {
    #[error("a pack holds at least one piece")]
    EmptyPack,
    #[error("give at least one price")]
    NoPrice,
    #[error(transparent)]
    Money(#[from] MoneyRefused),
    #[error("there are two prices from {0} packs on")]
    TwoPrices(u64),
    #[error(
        "from {from} packs on a pack costs {price}, which is more than for fewer; check the prices"
    )]
    Dearer { from: u64, price: Money },
    #[error("a smallest order, a multiple and the start of a price are at least one pack")]
    NoPacks,
    #[error("{0} is more than can be reckoned with; the most is {MOST_PACKS}")]
    TooMany(u64),
}

/// Why nothing can be bought, in words for the keeper.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum CoverRefused {
    #[error("nobody offers it")]
    NoOffer,
    #[error("more than {MOST_OFFERS} kinds of packs cannot be compared at once")]
    TooManyOffers,
    #[error("{0} pieces are more than can be planned at once; divide the order")]
    TooMany(u64),
    #[error(transparent)]
    Money(#[from] MoneyRefused),
}

impl Offer {
    /// Packs of so many pieces, at a price that may fall with the number of packs.
    ///
    /// `breaks` in any order; the smallest `from_packs` is also the smallest order. `least` is the
    /// supplier's smallest order and `multiple` what the number of packs must be a multiple of, both in
    /// packs and 1 if there is no such condition. Refuses empty packs, prices below zero, of different
    /// currencies, or rising with the number of packs, and numbers above [`MOST_PACKS`].
    pub fn new(
        pack: u64,
        mut breaks: Vec<Break>,
        least: u64,
        multiple: u64,
    ) -> Result<Self, OfferRefused> {
        if pack == 0 {
            return Err(OfferRefused::EmptyPack);
        }
        let numbers = breaks.iter().map(|found| found.from_packs);
        for number in numbers.chain([least, multiple]) {
            if number == 0 {
                return Err(OfferRefused::NoPacks);
            }
            if number > MOST_PACKS {
                return Err(OfferRefused::TooMany(number));
            }
        }
        if pack > MOST_PACKS {
            return Err(OfferRefused::TooMany(pack));
        }
        breaks.sort_by_key(|found| found.from_packs);
        let first = breaks.first().ok_or(OfferRefused::NoPrice)?;
        if breaks.iter().any(|found| found.price.minor < 0) {
            return Err(MoneyRefused::BelowZero.into());
        }
        for pair in breaks.windows(2) {
            let (fewer, more) = (pair[0], pair[1]);
            fewer.price.plus(Money::zero(more.price.currency))?;
            if fewer.from_packs == more.from_packs {
                return Err(OfferRefused::TwoPrices(more.from_packs));
            }
            if fewer.price.minor < more.price.minor {
                return Err(OfferRefused::Dearer {
                    from: more.from_packs,
                    price: more.price,
                });
            }
        }
        Ok(Self {
            pack,
            least: least.max(first.from_packs),
            multiple,
            breaks,
        })
    }

    /// Packs of so many pieces at one price, without conditions.
    pub fn plain(pack: u64, price: Money) -> Result<Self, OfferRefused> {
        let from_packs = 1;
        Self::new(pack, vec![Break { from_packs, price }], 1, 1)
    }

    /// Pieces in a pack.
    pub fn pack(&self) -> u64 {
        self.pack
    }

    pub fn currency(&self) -> Currency {
        self.breaks[0].price.currency
    }

    /// The fewest packs that can be bought and hold at least so many pieces.
    ///
    /// `⌈pieces / pack⌉`, raised to the smallest order and up to the multiple.
    pub fn packs_for(&self, pieces: u64) -> u64 {
        if pieces == 0 {
            return 0;
        }
        self.buyable(pieces.div_ceil(self.pack))
    }

    /// The price of a pack if so many are bought; none if so few cannot be.
    pub fn price_at(&self, packs: u64) -> Option<Money> {
        self.breaks
            .iter()
            .rev()
            .find(|found| found.from_packs <= packs)
            .map(|found| found.price)
    }

    /// This number of packs, or the next larger one that can be bought.
    fn buyable(&self, packs: u64) -> u64 {
        packs
            .max(self.least)
            .div_ceil(self.multiple)
            .saturating_mul(self.multiple)
    }

    /// Pieces in the smallest number of packs by which an order can grow: at most 10^18.
    fn unit(&self) -> u64 {
        self.pack * self.multiple
    }
}

/// What a way to buy is compared by: cost first, then pieces, then packs.
type Key = (i128, u128, u128);

/// The cheapest way to get at least so many pieces.
///
/// Packs cannot be divided, so there may be pieces left over. It may be cheaper to take a larger pack, to
/// mix packs, or to buy up to the next price break and keep what is left; all of that is tried. Of two
/// ways that cost the same, the one with less left over is taken, then the one with fewer packs.
///
/// In pieces and minor units. Exact: no combination of the offers costs less. With price breaks every
/// pack is charged at the price that belongs to the number bought of that size. Refuses offers in
/// different currencies, no offer at all, and needs above [`MOST_STEPS`] steps.
///
/// Why it is exact: prices never rise with the number of packs, so what `n` packs cost is the least of
/// `n · price` over all breaks with `from <= n`. So a way to buy is, for each offer, either nothing or one
/// break, its smallest number of packs, and then any further packs at its price: charging a break's price
/// beyond where the next begins only makes a way dearer that is tried at the next price too. The table
/// holds, for each number of steps, the best way to cover at least that with the offers looked at so
/// far; adding an offer looks at each of its breaks once for each number of steps.
pub fn cover(need: u64, offers: &[Offer]) -> Result<Cover, CoverRefused> {
    let first = offers.first().ok_or(CoverRefused::NoOffer)?;
    if offers.len() > MOST_OFFERS {
        return Err(CoverRefused::TooManyOffers);
    }
    let nothing = Money::zero(first.currency());
    for offer in offers {
        nothing.plus(Money::zero(offer.currency()))?;
    }
    let step = offers.iter().map(Offer::unit).fold(0, greatest_common);
    let steps = need.div_ceil(step);
    if steps > MOST_STEPS {
        return Err(CoverRefused::TooMany(need));
    }
    let packs = cheapest(steps, step, offers);

    let mut cover = Cover {
        bought: Vec::new(),
        pieces: 0,
        leftover: 0,
        cost: nothing,
    };
    for (at, (offer, packs)) in offers.iter().zip(packs).enumerate() {
        let Some(price) = offer.price_at(packs).filter(|_| packs > 0) else {
            continue;
        };
        let cost = price.times(packs)?;
        cover.cost = cover.cost.plus(cost)?;
        cover.pieces = offer
            .pack
            .checked_mul(packs)
            .and_then(|pieces| pieces.checked_add(cover.pieces))
            .ok_or(CoverRefused::TooMany(need))?;
        cover.bought.push(Bought {
            offer: at,
            packs,
            pack: offer.pack,
            price,
            cost,
        });
    }
    cover.leftover = cover.pieces - need;
    // The larger packs first.
    cover.bought.sort_by_key(|bought| Reverse(bought.pack));
    Ok(cover)
}

/// The packs of each offer that cover so many steps most cheaply.
fn cheapest(steps: u64, step: u64, offers: &[Offer]) -> Vec<u64> {
    let size = usize::try_from(steps).unwrap_or_default() + 1;
    let back = |at: usize, by: u64| at.saturating_sub(usize::try_from(by).unwrap_or(usize::MAX));
    // With no offer looked at, only nothing can be covered.
    let mut best: Vec<Option<Key>> = vec![None; size];
    best[0] = Some((0, 0, 0));
    let mut chosen: Vec<Vec<u64>> = Vec::with_capacity(offers.len());
    for offer in offers {
        let mut packs_at = vec![0; size];
        let mut next = best.clone();
        for found in &offer.breaks {
            let add = |key: Key, packs: u64| {
                (
                    key.0 + i128::from(packs) * i128::from(found.price.minor),
                    key.1 + u128::from(packs) * u128::from(offer.pack),
                    key.2 + u128::from(packs),
                )
            };
            let start = offer.buyable(found.from_packs);
            let start_steps = start.saturating_mul(offer.pack) / step;
            let unit_steps = offer.unit() / step;
            let mut with: Vec<Option<(Key, u64)>> = Vec::with_capacity(size);
            for at in 0..size {
                let begun = best[back(at, start_steps)].map(|key| (add(key, start), start));
                let grown = match at {
                    0 => None,
                    _ => with[back(at, unit_steps)]
                        .map(|(key, packs)| (add(key, offer.multiple), packs + offer.multiple)),
                };
                let way = match (begun, grown) {
                    (Some(begun), Some(grown)) => Some(begun.min(grown)),
                    (begun, grown) => begun.or(grown),
                };
                if let Some((key, packs)) = way
                    && next[at].is_none_or(|known| key < known)
                {
                    next[at] = Some(key);
                    packs_at[at] = packs;
                }
                with.push(way);
            }
        }
        best = next;
        chosen.push(packs_at);
    }

    let mut at = size - 1;
    let mut packs: Vec<u64> = offers
        .iter()
        .zip(&chosen)
        .rev()
        .map(|(offer, chosen)| {
            let packs = chosen[at];
            at = back(at, packs.saturating_mul(offer.pack) / step);
            packs
        })
        .collect();
    packs.reverse();
    packs
}

fn greatest_common(a: u64, b: u64) -> u64 {
    if b == 0 { a } else { greatest_common(b, a % b) }
}

#[cfg(test)]
#[path = "cover_tests.rs"]
mod tests;
