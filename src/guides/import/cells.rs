//! Reading single cells: quantities, masses, and what a quantity counts for.
//!
//! What is safe is read, the rest is named. Nothing is rounded and nothing is guessed silently.

use unicode_normalization::UnicodeNormalization;

use crate::guides::need::Basis;
use crate::text::fold;

/// The largest quantity one cell may hold.
pub const MOST_PIECES: u64 = 1_000_000;

/// What a quantity cell says.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Quantity {
    Blank,
    Dash,
    Whole(u64),
    /// Read in spite of a thousands separator or a word such as "pcs".
    ReadAs(u64),
    Fraction,
    Negative,
    TooLarge,
    NotANumber,
}

impl Quantity {
    /// Whether the cell is meant as a number, even one that cannot be taken.
    pub fn is_number(self) -> bool {
        !matches!(self, Self::Blank | Self::Dash | Self::NotANumber)
    }
}

/// Words behind a number of pieces that change nothing about it.
const PIECE_WORDS: [&str; 12] = [
    "pcs", "pc", "pieces", "piece", "pce", "ea", "each", "x", "×", "nos", "off", "units",
];

/// Reads a quantity cell.
pub fn quantity(cell: &str) -> Quantity {
    let cell: String = cell.nfkc().filter(|c| *c != '\u{200b}').collect();
    let cell = cell.trim();
    if cell.is_empty() {
        return Quantity::Blank;
    }
    if is_dash(cell) {
        return Quantity::Dash;
    }
    let (number, bare) = strip_words(cell);
    if let Some(rest) = number.strip_prefix(['-', '\u{2212}']) {
        let negative = !matches!(whole(rest.trim()), Read::Nothing);
        return if negative {
            Quantity::Negative
        } else {
            Quantity::NotANumber
        };
    }
    match whole(number) {
        Read::Plain(value) if value > MOST_PIECES => Quantity::TooLarge,
        Read::Grouped(value) if value > MOST_PIECES => Quantity::TooLarge,
        Read::Plain(value) if bare => Quantity::Whole(value),
        Read::Plain(value) | Read::Grouped(value) => Quantity::ReadAs(value),
        Read::Overflow => Quantity::TooLarge,
        Read::Fraction => Quantity::Fraction,
        Read::Nothing => Quantity::NotANumber,
    }
}

fn is_dash(cell: &str) -> bool {
    cell.chars()
        .all(|c| matches!(c, '-' | '\u{2010}'..='\u{2015}' | '\u{2212}'))
        || matches!(fold(cell).as_str(), "n/a" | "na" | "none" | "nil")
}

/// Takes "12 pcs", "12x", "x12" and "12 ×" apart; whether there was nothing but the number.
fn strip_words(cell: &str) -> (&str, bool) {
    let times = |c: char| matches!(c, 'x' | 'X' | '×');
    if let Some(rest) = cell.strip_prefix(times) {
        return (rest.trim_start(), false);
    }
    let is_number = |c: char| c.is_ascii_digit();
    let end = cell.rfind(is_number).map_or(0, |at| at + 1);
    let (number, word) = cell.split_at(end);
    let word = fold(word.trim_end_matches('.'));
    if PIECE_WORDS.contains(&word.as_str()) || (word.is_empty() && end < cell.len()) {
        return (number, false);
    }
    (cell, true)
}

enum Read {
    Plain(u64),
    /// With separators between groups of three digits.
    Grouped(u64),
    Fraction,
    Overflow,
    Nothing,
}

fn whole(number: &str) -> Read {
    let digits = |text: &str| !text.is_empty() && text.bytes().all(|b| b.is_ascii_digit());
    let parsed = |text: &str| text.parse::<u64>();
    if digits(number) {
        return parsed(number).map_or(Read::Overflow, Read::Plain);
    }
    if let Some((above, below)) = number.split_once(['/', '\u{2044}']) {
        let fraction = above.split_whitespace().count() > 0
            && above.split_whitespace().all(digits)
            && digits(below.trim());
        return if fraction {
            Read::Fraction
        } else {
            Read::Nothing
        };
    }
    if !number
        .chars()
        .all(|c| c.is_ascii_digit() || matches!(c, '.' | ',' | ' ' | '\'' | '’'))
    {
        return Read::Nothing;
    }
    let groups: Vec<&str> = number.split([',', ' ', '\'', '’']).collect();
    let grouped = groups.len() > 1
        && digits(groups[0])
        && groups[0].len() <= 3
        && !groups[0].starts_with('0')
        && groups[1..]
            .iter()
            .all(|group| group.len() == 3 && digits(group));
    if grouped {
        return parsed(&groups.concat()).map_or(Read::Overflow, Read::Grouped);
    }
    // One mark and digits around it: a fraction, unless only zeros follow. "1.000" may mean a
    // thousand, so it is left to the person like any other fraction.
    if let Some((above, below)) = number.split_once(['.', ','])
        && digits(below)
        && (digits(above) || above.is_empty())
    {
        let zeros = below.bytes().all(|b| b == b'0');
        return match parsed(above) {
            Ok(value) if zeros && below.len() < 3 => Read::Plain(value),
            _ => Read::Fraction,
        };
    }
    Read::Nothing
}

/// What a mass cell says.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Mass {
    Blank,
    /// In thousandths of a gram, so that a washer keeps its weight.
    Milligrams(u64),
    Wrong,
}

/// Reads a mass in grams ("12", "2.5 g", "0,4"), or one that says another unit of the same kind.
pub fn mass(cell: &str) -> Mass {
    let cell = fold(cell);
    if cell.is_empty() || is_dash(&cell) {
        return Mass::Blank;
    }
    let end = cell
        .rfind(|c: char| c.is_ascii_digit())
        .map_or(0, |at| at + 1);
    let (number, unit) = cell.split_at(end);
    let places = match unit.trim() {
        "" | "g" | "gram" | "grams" => 3,
        "kg" => 6,
        "mg" => 0,
        _ => return Mass::Wrong,
    };
    let (above, below) = number.split_once(['.', ',']).unwrap_or((number, ""));
    let below = below.trim_end_matches('0');
    let digits = |text: &str| text.bytes().all(|b| b.is_ascii_digit());
    if !digits(above) || !digits(below) || (above.is_empty() && below.is_empty()) {
        return Mass::Wrong;
    }
    if below.len() > places || above.len() > 9 {
        return Mass::Wrong;
    }
    let written = format!("{above}{below:0<places$}");
    written.parse().map_or(Mass::Wrong, Mass::Milligrams)
}

/// What a cell about the basis says; none if it says nothing.
pub fn basis(cell: &str) -> Result<Option<Basis>, ()> {
    match fold(cell).as_str() {
        "" | "-" => Ok(None),
        "each" | "for each" | "per assembly" | "per each" => Ok(Some(Basis::Each)),
        "all" | "for all" | "together" | "in all" | "for all together" => Ok(Some(Basis::All)),
        _ => Err(()),
    }
}

/// Whether a cell stands for "there is none": a dash or a word such as "n/a".
pub fn is_placeholder(cell: &str) -> bool {
    let folded = fold(cell);
    folded.chars().all(|c| !c.is_alphanumeric())
        || matches!(
            folded.as_str(),
            "n/a" | "na" | "none" | "tbd" | "unknown" | "no number"
        )
}

/// Whether a number looks like what a spreadsheet makes of a long one: "1.2E+11".
pub fn is_mangled(number: &str) -> bool {
    let Some((digits, power)) = number.split_once("E+") else {
        return false;
    };
    let plain = |text: &str| !text.is_empty() && text.bytes().all(|b| b.is_ascii_digit());
    let (above, below) = digits.split_once(['.', ',']).unwrap_or((digits, "0"));
    plain(power) && plain(above) && plain(below)
}

/// Whether a row that begins with this text adds up the rows above it.
pub fn is_sum(text: &str) -> bool {
    let folded = fold(text);
    let text = folded.trim_end_matches([':', '.']).trim_end();
    matches!(
        text,
        "total"
            | "totals"
            | "sum"
            | "grand total"
            | "overall total"
            | "total pieces"
            | "total parts"
            | "total quantity"
            | "in all"
            | "subtotal"
            | "sub total"
            | "sub-total"
    ) || ["subtotal ", "sub-total ", "sub total "]
        .iter()
        .any(|start| text.starts_with(start))
}

#[cfg(test)]
mod tests {
    use super::*;
    use Quantity::*;

    #[test]
    fn quantities_are_read_where_that_is_safe() {
        for (cell, expected) in [
            ("12", Whole(12)),
            (" 12 ", Whole(12)),
            ("0", Whole(0)),
            ("007", Whole(7)),
            ("12.0", Whole(12)),
            ("12,00", Whole(12)),
            ("１２", Whole(12)),
            ("1,000", ReadAs(1000)),
            ("1 000", ReadAs(1000)),
            ("1\u{a0}000", ReadAs(1000)),
            ("1'000", ReadAs(1000)),
            ("12,345,678", TooLarge),
            ("12 pcs", ReadAs(12)),
            ("12 pcs.", ReadAs(12)),
            ("12x", ReadAs(12)),
            ("x12", ReadAs(12)),
            ("12 ×", ReadAs(12)),
            ("1,000 pieces", ReadAs(1000)),
            ("", Blank),
            ("  ", Blank),
            ("-", Dash),
            ("–", Dash),
            ("n/a", Dash),
            ("2.5", Fraction),
            ("2,5", Fraction),
            ("1/2", Fraction),
            ("1 1/2", Fraction),
            ("½", Fraction),
            (".5", Fraction),
            // A thousand to some, one to others.
            ("1.000", Fraction),
            ("0,500", Fraction),
            ("-3", Negative),
            ("−3", Negative),
            ("-2.5", Negative),
            ("1000001", TooLarge),
            ("99999999999999999999999", TooLarge),
            ("12 m", NotANumber),
            ("2 bags", NotANumber),
            ("about 12", NotANumber),
            ("12?", NotANumber),
            ("4 + 4", NotANumber),
            ("12-14", NotANumber),
            ("1,00,0", NotANumber),
            ("1.2.3", NotANumber),
            ("$4", NotANumber),
            ("x", NotANumber),
            ("Pin 3/8", NotANumber),
            (",", NotANumber),
        ] {
            assert_eq!(quantity(cell), expected, "{cell:?}");
        }
    }

    #[test]
    fn masses_are_grams() {
        for (cell, expected) in [
            ("", Mass::Blank),
            ("-", Mass::Blank),
            ("12", Mass::Milligrams(12_000)),
            ("2.5 g", Mass::Milligrams(2_500)),
            ("0,4", Mass::Milligrams(400)),
            ("120g", Mass::Milligrams(120_000)),
            ("1.25 kg", Mass::Milligrams(1_250_000)),
            ("1.2000", Mass::Milligrams(1_200)),
            ("0.0004", Mass::Wrong),
            ("heavy", Mass::Wrong),
            ("-2", Mass::Wrong),
            ("2 lb", Mass::Wrong),
            (".", Mass::Wrong),
        ] {
            assert_eq!(mass(cell), expected, "{cell:?}");
        }
    }

    #[test]
    fn words_about_numbers_are_known() {
        assert_eq!(basis("For all"), Ok(Some(Basis::All)));
        assert_eq!(basis("each"), Ok(Some(Basis::Each)));
        assert_eq!(basis(""), Ok(None));
        assert_eq!(basis("some"), Err(()));
        for sum in [
            "Total",
            "TOTAL:",
            "Sub-total",
            "Subtotal Wheel",
            "Grand total",
        ] {
            assert!(is_sum(sum), "{sum}");
        }
        for part in ["Total station", "Summit flag", "Peg", ""] {
            assert!(!is_sum(part), "{part}");
        }
        for (number, mangled) in [
            ("1.2E+11", true),
            ("4E+08", true),
            ("E46", false),
            ("12E", false),
            ("AE+1", false),
        ] {
            assert_eq!(is_mangled(number), mangled, "{number}");
        }
        assert!(is_placeholder("?") && is_placeholder("TBD") && !is_placeholder("B1"));
    }
}
