//! What a season and each of its events cost, and what a kit is worth.
//!
//! Pure. Prices come from what was last paid for a part; a part nobody has a price for is counted and
//! said, never taken as free.

use std::collections::BTreeMap;

use crate::reckon::money::{Currency, Money, MoneyRefused, Price};

/// Amounts added up, each currency by itself, and what could not be priced.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Sum {
    pub amounts: BTreeMap<Currency, i64>,
    /// Pieces without a price.
    pub unpriced: u64,
}

impl Sum {
    /// Adds what a number of pieces is worth.
    pub fn add(&mut self, pieces: u64, price: Option<Price>) -> Result<(), MoneyRefused> {
        match price {
            Some(price) => self.pay(price.of(pieces)?),
            None => {
                self.unpriced = self
                    .unpriced
                    .checked_add(pieces)
                    .ok_or(MoneyRefused::TooMuch)?;
                Ok(())
            }
        }
    }

    /// Adds an amount that was paid.
    pub fn pay(&mut self, money: Money) -> Result<(), MoneyRefused> {
        let sum = Money {
            minor: self.amounts.get(&money.currency).copied().unwrap_or(0),
            ..money
        }
        .plus(money)?;
        self.amounts.insert(money.currency, sum.minor);
        Ok(())
    }

    /// Adds another sum.
    pub fn join(&mut self, other: &Self) -> Result<(), MoneyRefused> {
        for (&currency, &minor) in &other.amounts {
            self.pay(Money { minor, currency })?;
        }
        self.add(other.unpriced, None)
    }

    /// "12.50 EUR and 3.00 CHF, and 4 pieces without a price".
    pub fn in_words(&self) -> String {
        let mut words: Vec<String> = self
            .amounts
            .iter()
            .map(|(&currency, &minor)| Money { minor, currency }.to_string())
            .collect();
        match self.unpriced {
            0 if words.is_empty() => words.push("nothing".to_owned()),
            0 => {}
            1 => words.push("1 piece without a price".to_owned()),
            pieces => words.push(format!("{pieces} pieces without a price")),
        }
        words.join(" and ")
    }
}

/// Pieces that are no more: broken and written off, or missing.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Loss<E> {
    /// The event at which it happened; `None` outside of events (practice, storage).
    pub event: Option<E>,
    pub pieces: u64,
    /// What the part costs to buy again, where anybody knows.
    pub price: Option<Price>,
}

/// What a season cost.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct SeasonCost<E: Ord> {
    /// What the losses of each event cost to buy again; `None` is what happened outside of events.
    pub events: BTreeMap<Option<E>, Sum>,
    /// All of them together.
    pub losses: Sum,
    /// What was paid to suppliers. It may replace losses or add to the kit, so the two are told side by
    /// side and never added.
    pub paid: Sum,
}

/// What a season cost, event by event.
///
/// Each piece that broke for good or stayed missing is counted at what it costs to buy again, under the
/// event at which it happened. Beside it stands what was actually paid. The two differ: a loss may be
/// covered by a spare that was paid for years ago, and an order may still lie in its box.
///
/// Each line is rounded to the minor unit once (see [`Price::of`]), so the events add up exactly to the
/// total. Currencies are kept apart. Refuses sums beyond what can be held. The rule is this program's own.
pub fn season_cost<E: Copy + Ord>(
    losses: &[Loss<E>],
    paid: &[Money],
) -> Result<SeasonCost<E>, MoneyRefused> {
    let mut cost = SeasonCost {
        events: BTreeMap::new(),
        losses: Sum::default(),
        paid: Sum::default(),
    };
    for loss in losses {
        cost.events
            .entry(loss.event)
            .or_default()
            .add(loss.pieces, loss.price)?;
    }
    for sum in cost.events.values() {
        cost.losses.join(sum)?;
    }
    for &money in paid {
        cost.paid.pay(money)?;
    }
    Ok(cost)
}

/// The pieces of one part in a kit, by what they are still good for.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Worth {
    pub need: u64,
    /// Good and doubtful.
    pub here: u64,
    pub practice_only: u64,
    pub price: Option<Price>,
}

/// What a kit is worth.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Value {
    /// What the whole parts list costs to buy anew.
    pub to_replace: Sum,
    /// What the good and doubtful pieces that are here would cost to buy anew.
    pub here: Sum,
    /// The same for practice only pieces; broken ones are worth nothing.
    pub practice_only: Sum,
}

/// The value of a kit, part by part: what it costs to buy anew, and what of it is here.
///
/// For an insurance or a loan sheet the first number answers "what if all of it is lost?"; the second
/// "what have we got?". Pieces are never written down by age: a plastic beam is as good as new until it
/// breaks, and then it is worth nothing. Parts without a price are counted and said.
pub fn value(parts: &[Worth]) -> Result<Value, MoneyRefused> {
    let mut value = Value::default();
    for part in parts {
        value.to_replace.add(part.need, part.price)?;
        value.here.add(part.here, part.price)?;
        value.practice_only.add(part.practice_only, part.price)?;
    }
    Ok(value)
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn money(minor: i64, currency: &str) -> Money {
        Money {
            minor,
            currency: currency.parse().expect("three letters"),
        }
    }

    fn price(minor: i64, currency: &str, for_pieces: u64) -> Option<Price> {
        Some(Price::new(money(minor, currency), for_pieces).expect("a price"))
    }

    fn loss(event: Option<u8>, pieces: u64, price: Option<Price>) -> Loss<u8> {
        Loss {
            event,
            pieces,
            price,
        }
    }

    #[test]
    fn each_event_has_its_own_sum_and_what_has_no_price_is_said() {
        let losses = [
            loss(Some(1), 2, price(345, "EUR", 100)),
            loss(Some(1), 1, price(1_200, "EUR", 1)),
            loss(Some(2), 3, price(200, "CHF", 1)),
            loss(None, 4, None),
            loss(None, 1, price(50, "EUR", 1)),
        ];
        let cost =
            season_cost(&losses, &[money(1035, "EUR"), money(500, "EUR")]).expect("small amounts");
        let words: Vec<_> = cost
            .events
            .iter()
            .map(|(event, sum)| (*event, sum.in_words()))
            .collect();
        // 2 of a pack of 100 at 3.45: 0.069, so 0.07.
        assert_eq!(
            words,
            [
                (None, "0.50 EUR and 4 pieces without a price".to_owned()),
                (Some(1), "12.07 EUR".to_owned()),
                (Some(2), "6.00 CHF".to_owned()),
            ]
        );
        assert_eq!(
            cost.losses.in_words(),
            "6.00 CHF and 12.57 EUR and 4 pieces without a price"
        );
        assert_eq!(cost.paid.in_words(), "15.35 EUR");
        let nothing = season_cost::<u8>(&[], &[]).expect("nothing");
        assert_eq!(nothing.losses.in_words(), "nothing");
    }

    #[test]
    fn a_kits_value_is_told_whole_and_as_it_is() {
        let parts = [
            Worth {
                need: 10,
                here: 8,
                practice_only: 1,
                price: price(250, "EUR", 1),
            },
            Worth {
                need: 4,
                here: 5,
                practice_only: 0,
                price: None,
            },
        ];
        let value = value(&parts).expect("small amounts");
        assert_eq!(
            value.to_replace.in_words(),
            "25.00 EUR and 4 pieces without a price"
        );
        assert_eq!(
            value.here.in_words(),
            "20.00 EUR and 5 pieces without a price"
        );
        assert_eq!(value.practice_only.in_words(), "2.50 EUR");
    }

    #[test]
    fn sums_beyond_what_can_be_held_are_refused() {
        let losses = [
            loss(None, 1, price(i64::MAX, "EUR", 1)),
            loss(None, 1, price(1, "EUR", 1)),
        ];
        assert_eq!(season_cost(&losses, &[]), Err(MoneyRefused::TooMuch));
        let losses = [loss(Some(1), u64::MAX, None), loss(Some(2), 1, None)];
        assert_eq!(season_cost(&losses, &[]), Err(MoneyRefused::TooMuch));
    }

    proptest! {
        #[test]
        fn the_events_add_up_to_the_total(
            all in prop::collection::vec(
                (prop::option::of(0..3_u8), 0..1_000_u64, prop::option::of((0..10_000_i64, 1..200_u64))),
                0..20,
            ),
        ) {
            let losses: Vec<_> = all
                .iter()
                .map(|(event, pieces, cost)| {
                    loss(*event, *pieces, cost.and_then(|(minor, per)| price(minor, "EUR", per)))
                })
                .collect();
            let cost = season_cost(&losses, &[]).expect("small amounts");
            let events: i64 = cost.events.values().flat_map(|sum| sum.amounts.values()).sum();
            prop_assert_eq!(events, cost.losses.amounts.values().sum::<i64>());
            let exact: f64 = all
                .iter()
                .filter_map(|(_, pieces, cost)| {
                    cost.map(|(minor, per)| *pieces as f64 * minor as f64 / per as f64)
                })
                .sum();
            // Each of at most 20 lines is rounded by at most half a minor unit.
            prop_assert!((events as f64 - exact).abs() <= 10.0 + 1e-6);
        }
    }
}
