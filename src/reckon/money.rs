//! Money: whole minor units (cents) of one currency.

use std::fmt;
use std::str::FromStr;

/// A currency by its three letters, as ISO 4217 writes them: "EUR". Whether such a currency exists is not
/// checked.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Currency([u8; 3]);

/// An amount. May be below zero (a refund).
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Money {
    /// Minor units: cents of a euro, yen of a yen.
    pub minor: i64,
    pub currency: Currency,
}

/// What so many pieces cost together: the price of a pack. A piece by itself is `for_pieces: 1`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Price {
    pub money: Money,
    pub for_pieces: u64,
}

/// Why amounts cannot be reckoned with, in words for the person who gave them.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum MoneyRefused {
    #[error("a currency is three letters, like EUR")]
    NotACurrency,
    #[error("{0} and {1} cannot be added up")]
    Mixed(Currency, Currency),
    #[error("the amount is larger than can be reckoned with")]
    TooMuch,
    #[error("a price is for at least one piece")]
    ForNothing,
    #[error("a price is not below zero")]
    BelowZero,
    #[error("write an amount like 12.50")]
    NotAnAmount,
    #[error("{0} has {1} decimal places; write an amount with no more than that")]
    Decimals(Currency, usize),
}

impl FromStr for Currency {
    type Err = MoneyRefused;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        let letters: [u8; 3] = text
            .trim()
            .to_ascii_uppercase()
            .as_bytes()
            .try_into()
            .map_err(|_| MoneyRefused::NotACurrency)?;
        if letters.iter().all(u8::is_ascii_uppercase) {
            Ok(Self(letters))
        } else {
            Err(MoneyRefused::NotACurrency)
        }
    }
}

impl Currency {
    /// How many decimal places people write. ISO 4217 gives most currencies two; these few have none or
    /// three. From memory.
    pub fn decimals(self) -> usize {
        match &self.0 {
            b"BIF" | b"CLP" | b"DJF" | b"GNF" | b"ISK" | b"JPY" | b"KMF" | b"KRW" | b"PYG"
            | b"RWF" | b"UGX" | b"VND" | b"VUV" | b"XAF" | b"XOF" | b"XPF" => 0,
            b"BHD" | b"IQD" | b"JOD" | b"KWD" | b"LYD" | b"OMR" | b"TND" => 3,
            _ => 2,
        }
    }
}

impl fmt::Display for Currency {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0
            .iter()
            .try_for_each(|&b| write!(f, "{}", char::from(b)))
    }
}

impl fmt::Display for Money {
    /// "12.50 EUR".
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} {}", self.amount(), self.currency)
    }
}

impl Money {
    pub fn zero(currency: Currency) -> Self {
        Self { minor: 0, currency }
    }

    /// Reads an amount of zero or more as people write it, "12.50", "12,5" or "12", without any rounding.
    pub fn read(text: &str, currency: Currency) -> Result<Self, MoneyRefused> {
        let text = text.trim();
        let (whole, part) = text.split_once(['.', ',']).unwrap_or((text, ""));
        let is_number = |digits: &str| digits.bytes().all(|byte| byte.is_ascii_digit());
        if whole.is_empty() || !is_number(whole) || !is_number(part) || text.ends_with(['.', ',']) {
            return Err(MoneyRefused::NotAnAmount);
        }
        let decimals = currency.decimals();
        if part.len() > decimals {
            return Err(MoneyRefused::Decimals(currency, decimals));
        }
        let digits = format!("{whole}{part:0<decimals$}");
        let minor = digits.parse().map_err(|_| MoneyRefused::TooMuch)?;
        Ok(Self { minor, currency })
    }

    /// "12.50", as a form takes it.
    pub fn amount(self) -> String {
        let decimals = self.currency.decimals();
        let sign = if self.minor < 0 { "-" } else { "" };
        let digits = format!(
            "{:0>width$}",
            self.minor.unsigned_abs(),
            width = decimals + 1
        );
        let (whole, part) = digits.split_at(digits.len() - decimals);
        let point = if decimals == 0 { "" } else { "." };
        format!("{sign}{whole}{point}{part}")
    }

    /// The sum; refused where the currencies differ or the sum cannot be held.
    pub fn plus(self, other: Self) -> Result<Self, MoneyRefused> {
        if self.currency != other.currency {
            return Err(MoneyRefused::Mixed(self.currency, other.currency));
        }
        let minor = self
            .minor
            .checked_add(other.minor)
            .ok_or(MoneyRefused::TooMuch)?;
        Ok(Self { minor, ..self })
    }

    /// This amount so many times.
    pub fn times(self, times: u64) -> Result<Self, MoneyRefused> {
        let minor = i64::try_from(i128::from(self.minor) * i128::from(times))
            .map_err(|_| MoneyRefused::TooMuch)?;
        Ok(Self { minor, ..self })
    }
}

impl Price {
    /// A price as somebody gives it.
    pub fn new(money: Money, for_pieces: u64) -> Result<Self, MoneyRefused> {
        if for_pieces == 0 {
            Err(MoneyRefused::ForNothing)
        } else if money.minor < 0 {
            Err(MoneyRefused::BelowZero)
        } else {
            Ok(Self { money, for_pieces })
        }
    }

    /// What a number of pieces is worth at this price, whether or not they fill packs.
    ///
    /// The pack's price is shared out over its pieces and taken as often as there are pieces; only the
    /// result is rounded, to the nearest minor unit and a half up:
    /// `⌊(2 · pieces · price + for_pieces) / (2 · for_pieces)⌋`.
    pub fn of(self, pieces: u64) -> Result<Money, MoneyRefused> {
        let whole = i128::from(pieces) * i128::from(self.money.minor);
        let per = i128::from(self.for_pieces.max(1));
        let minor = (2 * whole + per).div_euclid(2 * per);
        Ok(Money {
            minor: i64::try_from(minor).map_err(|_| MoneyRefused::TooMuch)?,
            ..self.money
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn money(minor: i64, currency: &str) -> Money {
        Money {
            minor,
            currency: currency.parse().expect("three letters"),
        }
    }

    #[test]
    fn amounts_are_written_with_the_currencys_own_decimals() {
        for (minor, currency, expected) in [
            (1250, "EUR", "12.50 EUR"),
            (5, "eur", "0.05 EUR"),
            (0, "EUR", "0.00 EUR"),
            (-250, "EUR", "-2.50 EUR"),
            (1250, "JPY", "1250 JPY"),
            (0, "JPY", "0 JPY"),
            (1250, "KWD", "1.250 KWD"),
            (i64::MIN, "EUR", "-92233720368547758.08 EUR"),
        ] {
            assert_eq!(money(minor, currency).to_string(), expected);
        }
    }

    #[test]
    fn amounts_are_read_as_people_write_them() {
        for (text, currency, expected) in [
            ("12.50", "EUR", Ok(1250)),
            (" 12,5 ", "EUR", Ok(1250)),
            ("12", "EUR", Ok(1200)),
            ("0", "EUR", Ok(0)),
            ("1250", "JPY", Ok(1250)),
            ("1.25", "KWD", Ok(1250)),
            ("92233720368547758.07", "EUR", Ok(i64::MAX)),
            ("92233720368547758.08", "EUR", Err(MoneyRefused::TooMuch)),
            ("", "EUR", Err(MoneyRefused::NotAnAmount)),
            ("-1", "EUR", Err(MoneyRefused::NotAnAmount)),
            ("+1", "EUR", Err(MoneyRefused::NotAnAmount)),
            (".5", "EUR", Err(MoneyRefused::NotAnAmount)),
            ("5.", "EUR", Err(MoneyRefused::NotAnAmount)),
            ("1,234.50", "EUR", Err(MoneyRefused::NotAnAmount)),
            ("twelve", "EUR", Err(MoneyRefused::NotAnAmount)),
        ] {
            let read = Money::read(text, money(0, currency).currency);
            assert_eq!(read.map(|read| read.minor), expected, "{text}");
        }
        let euro = money(0, "EUR").currency;
        assert_eq!(
            Money::read("1.234", euro).unwrap_err().to_string(),
            "EUR has 2 decimal places; write an amount with no more than that"
        );
    }

    #[test]
    fn a_currency_is_three_letters() {
        for text in ["", "EU", "EURO", "E1R", "€", "äöü"] {
            assert_eq!(text.parse::<Currency>(), Err(MoneyRefused::NotACurrency));
        }
    }

    #[test]
    fn sums_stay_in_one_currency_and_within_bounds() {
        let euro = money(100, "EUR");
        assert_eq!(euro.plus(money(23, "EUR")), Ok(money(123, "EUR")));
        assert_eq!(
            euro.plus(money(1, "CHF")).unwrap_err().to_string(),
            "EUR and CHF cannot be added up"
        );
        assert_eq!(
            money(i64::MAX, "EUR").plus(euro),
            Err(MoneyRefused::TooMuch)
        );
        assert_eq!(euro.times(3), Ok(money(300, "EUR")));
        assert_eq!(euro.times(u64::MAX), Err(MoneyRefused::TooMuch));
    }

    #[test]
    fn pieces_out_of_a_pack_are_rounded_once() {
        let pack = Price::new(money(1000, "EUR"), 3).expect("a price");
        for (pieces, expected) in [(0, 0), (1, 333), (2, 667), (3, 1000), (300, 100_000)] {
            assert_eq!(pack.of(pieces), Ok(money(expected, "EUR")), "{pieces}");
        }
        let halves = Price::new(money(1, "EUR"), 2).expect("a price");
        assert_eq!(halves.of(1), Ok(money(1, "EUR")), "a half goes up");
        assert_eq!(pack.of(u64::MAX), Err(MoneyRefused::TooMuch));
        assert_eq!(
            Price::new(money(1, "EUR"), 0),
            Err(MoneyRefused::ForNothing)
        );
        assert_eq!(
            Price::new(money(-1, "EUR"), 1),
            Err(MoneyRefused::BelowZero)
        );
    }
}
