//! When a second person has to agree before pieces are written off. Pure.
//!
//! The second name is typed, and need not belong to an account: pieces are written off at the bench where they
//! lie broken, in front of whoever stands there, and a small team has one account. Choosing another member from
//! a list would prove no more. The name stays in the timeline, where that person can be asked.

use crate::reckon::money::{Money, MoneyRefused, Price};
use crate::text::{fold, tidy};

/// Longest name, in characters.
const LONGEST: usize = 80;

/// What a write-off was worth, and who else agreed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Worth {
    pub money: Money,
    /// The value above which a second name was needed; `None` where none was.
    pub above: Option<Money>,
    /// Empty where none was needed.
    pub second: String,
}

/// Why a write-off waits for a second name.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum SecondRefused {
    #[error(
        "{pieces} of it {} worth {worth}. Above {above} your team wants a second name: write who is \
         there and agrees",
        if *.pieces == 1 { "is" } else { "are" }
    )]
    Needed {
        pieces: i64,
        worth: Money,
        above: Money,
    },
    #[error("that is your own name; somebody else has to agree")]
    Own,
    #[error("a name has at most {LONGEST} characters")]
    Long,
    #[error("what it is worth cannot be reckoned: {0}")]
    Money(#[from] MoneyRefused),
}

/// Whether so many pieces need a second name. Amounts in two currencies cannot be compared; then it is needed.
pub fn is_needed(worth: Money, above: Option<Money>) -> bool {
    above.is_some_and(|above| worth.currency != above.currency || worth.minor > above.minor)
}

/// What a write-off is worth, once whoever has to agree did. `None` where nobody has said what a piece costs:
/// then nobody is asked.
pub fn agree(
    pieces: i64,
    price: Option<Price>,
    above: Option<Money>,
    own: &str,
    second: &str,
) -> Result<Option<Worth>, SecondRefused> {
    let Some(price) = price else {
        return Ok(None);
    };
    let money = price.of(pieces.unsigned_abs())?;
    let Some(above) = above.filter(|_| is_needed(money, above)) else {
        return Ok(Some(Worth {
            money,
            above: None,
            second: String::new(),
        }));
    };
    let second = tidy(second);
    if second.is_empty() {
        return Err(SecondRefused::Needed {
            pieces,
            worth: money,
            above,
        });
    }
    if fold(&second) == fold(own) {
        return Err(SecondRefused::Own);
    }
    if second.chars().count() > LONGEST {
        return Err(SecondRefused::Long);
    }
    Ok(Some(Worth {
        money,
        above: Some(above),
        second,
    }))
}

/// "Worth 64.00 EUR. Fenna agreed.", for the timeline.
pub fn words(worth: &Worth) -> String {
    let mut text = format!("Worth {}.", worth.money);
    if let Some(above) = worth.above {
        let who = match worth.second.as_str() {
            "" => "Somebody whose name was erased",
            name => name,
        };
        text.push_str(&format!(" {who} agreed, as is needed above {above}."));
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    fn euro(minor: i64) -> Money {
        Money {
            minor,
            currency: "EUR".parse().expect("three letters"),
        }
    }

    fn price(minor: i64) -> Option<Price> {
        Some(Price::new(euro(minor), 1).expect("a price"))
    }

    #[test]
    fn a_second_name_is_needed_above_the_value_and_not_at_it() {
        for (pieces, price, above, expected) in [
            // No price, no value: nobody is asked.
            (1, None, Some(euro(100)), Ok(None)),
            (1, price(900), None, Ok(Some((900, false)))),
            (2, price(2500), Some(euro(5000)), Ok(Some((5000, false)))),
            (0, price(2500), Some(euro(0)), Ok(Some((0, false)))),
            (
                3,
                price(2500),
                Some(euro(5000)),
                Err(
                    "3 of it are worth 75.00 EUR. Above 50.00 EUR your team wants a second name: \
                     write who is there and agrees",
                ),
            ),
            (
                1,
                price(1),
                Some(euro(0)),
                Err(
                    "1 of it is worth 0.01 EUR. Above 0.00 EUR your team wants a second name: \
                     write who is there and agrees",
                ),
            ),
        ] {
            let found = agree(pieces, price, above, "Ama", " ")
                .map(|worth| worth.map(|worth| (worth.money.minor, worth.above.is_some())))
                .map_err(|why| why.to_string());
            assert_eq!(found, expected.map_err(str::to_owned), "{pieces}");
        }
    }

    #[test]
    fn the_second_name_is_somebody_elses() {
        let ask = |second: &str| agree(1, price(900), Some(euro(100)), "Ama Ridge", second);
        assert_eq!(ask("  AMA  ridge"), Err(SecondRefused::Own));
        assert_eq!(ask(&"x".repeat(81)), Err(SecondRefused::Long));
        let worth = ask(" Fenna ").expect("she agrees").expect("a price");
        assert_eq!(
            words(&worth),
            "Worth 9.00 EUR. Fenna agreed, as is needed above 1.00 EUR."
        );
    }

    #[test]
    fn two_currencies_are_not_compared() {
        let yen = Money {
            minor: 1,
            currency: "JPY".parse().expect("three letters"),
        };
        assert!(is_needed(yen, Some(euro(100))));
        assert!(!is_needed(yen, None));
    }
}
