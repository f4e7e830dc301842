//! Numbers and dates as people see them in a sheet.
//!
//! A workbook keeps 7 for what it shows as 007, and 46031 for a day. Number formats are those of
//! ECMA-376-1, 18.8.30 and 18.8.31. Nothing is rounded to what is shown: 2.5 pieces stay 2.5.

use jiff::ToSpan;
use jiff::civil::{Date, date};

use crate::guides::import::table::Mark;

/// The longest number format that is looked at.
const LONGEST_FORMAT: usize = 255;
/// From here on a sheet has lost digits of a whole number: it keeps 15.
const TOO_LONG: f64 = 1e15;

/// What a number format makes of a number.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Format {
    has_date: bool,
    has_time: bool,
    before: String,
    /// How many digits a whole number has at least.
    digits: usize,
    after: String,
    is_percent: bool,
}

impl Format {
    /// A format that a file only names by its number.
    pub fn built_in(id: u32) -> Self {
        let (has_date, has_time) = match id {
            14..=17 | 27..=31 | 34..=36 | 50..=58 => (true, false),
            18..=21 | 32 | 33 | 45..=47 => (false, true),
            22 => (true, true),
            _ => (false, false),
        };
        Self {
            has_date,
            has_time,
            is_percent: matches!(id, 9 | 10),
            ..Self::default()
        }
    }

    pub fn read(code: &str) -> Self {
        let mut format = Self::default();
        if code.len() > LONGEST_FORMAT || code.eq_ignore_ascii_case("general") {
            return format;
        }
        let mut other_digits = false;
        let mut number_seen = false;
        let mut months = false;
        let mut letters = code.chars();
        while let Some(letter) = letters.next() {
            let mut literal = String::new();
            match letter {
                // What follows is for negative numbers, zero and text.
                ';' => break,
                '"' => literal.extend(letters.by_ref().take_while(|next| *next != '"')),
                '\\' => literal.extend(letters.next()),
                '_' | '*' => {
                    letters.next();
                }
                '[' => {
                    let inside: String = letters.by_ref().take_while(|next| *next != ']').collect();
                    if let Some(sign) = inside.strip_prefix('$') {
                        literal.extend(sign.chars().take_while(|next| *next != '-'));
                    } else if inside.chars().all(|c| "hmsHMS".contains(c)) {
                        format.has_time = true;
                    }
                }
                'y' | 'Y' | 'd' | 'D' => format.has_date = true,
                'm' | 'M' => months = true,
                'h' | 'H' | 's' | 'S' => format.has_time = true,
                '%' => format.is_percent = true,
                '0' => {
                    number_seen = true;
                    format.digits += 1;
                }
                '#' | '?' | '.' | ',' | 'E' | 'e' | '/' => {
                    number_seen = true;
                    other_digits = true;
                }
                '$' | '€' | '£' | '¥' => literal.push(letter),
                _ => {}
            }
            if number_seen {
                format.after.push_str(&literal);
            } else {
                format.before.push_str(&literal);
            }
        }
        format.has_date |= months && !format.has_time;
        if other_digits {
            format.digits = 0;
        }
        format
    }

    fn is_moment(&self) -> bool {
        self.has_date || self.has_time
    }
}

/// A number as people see it.
pub fn shown(number: f64, format: &Format, from_1904: bool) -> (String, Option<Mark>) {
    if !number.is_finite() {
        return ("#NUM!".to_owned(), Some(Mark::Error));
    }
    if format.is_moment()
        && let Some(text) = moment(number, format, from_1904)
    {
        return (text, Some(Mark::Date));
    }
    let mark = (number.abs() >= TOO_LONG).then_some(Mark::LongNumber);
    let text = if format.is_percent {
        format!("{}%", plain(number * 100.0))
    } else if number.fract() == 0.0 && number >= 0.0 {
        format!("{:0>width$}", plain(number), width = format.digits)
    } else {
        plain(number)
    };
    (format!("{}{text}{}", format.before, format.after), mark)
}

/// A number without an exponent, with no more than the 15 digits that a sheet keeps.
pub fn plain(number: f64) -> String {
    if number == 0.0 {
        return "0".to_owned();
    }
    if number.fract() == 0.0 {
        return format!("{number:.0}");
    }
    let kept = format!("{number:.14e}").parse().unwrap_or(number);
    format!("{kept}")
}

/// A day, a time or both; none where the number is no day that a sheet can show.
fn moment(number: f64, format: &Format, from_1904: bool) -> Option<String> {
    const SECONDS: f64 = 86_400.0;
    if !(0.0..2_958_466.0).contains(&number) {
        return None;
    }
    let seconds = (number * SECONDS).round() as i64;
    let (days, seconds) = (seconds / 86_400, seconds % 86_400);
    let time = {
        let minutes = seconds / 60;
        let (hours, minutes, seconds) = (minutes / 60, minutes % 60, seconds % 60);
        if seconds == 0 {
            format!("{hours:02}:{minutes:02}")
        } else {
            format!("{hours:02}:{minutes:02}:{seconds:02}")
        }
    };
    if !format.has_date {
        return Some(if days == 0 { time } else { plain(number) });
    }
    let day = day(days, from_1904)?;
    Some(if format.has_time {
        format!("{day} {time}")
    } else {
        day.to_string()
    })
}

/// The day of a number. Sheets that count from 1900 believe in a 29 February of that year (ECMA-376-1,
/// 18.17.4.1), so the days before it are one off.
fn day(days: i64, from_1904: bool) -> Option<Date> {
    let zero = match (from_1904, days) {
        (true, _) => date(1904, 1, 1),
        (false, 60) => return None,
        (false, ..60) => date(1899, 12, 31),
        (false, _) => date(1899, 12, 30),
    };
    zero.checked_add(days.days()).ok()
}
