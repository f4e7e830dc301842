//! A number typed instead of tapped: reading it, and asking once where a digit may have slipped. Pure.

use super::tally::MOST;

/// Why a typed number was not taken, in words for the field.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum TypedRefused {
    #[error("type a whole number, such as 12")]
    NotANumber,
    #[error("a line holds at most {MOST} pieces")]
    TooMany,
}

/// The number in a field. `None`: left blank, which means not counted. A lone point, which is all a
/// number pad offers, is blank too.
pub fn read(text: &str) -> Result<Option<i64>, TypedRefused> {
    let text: String = text
        .chars()
        .filter(|c| !c.is_whitespace() && !matches!(c, '.' | ',' | '’' | '\''))
        .collect();
    if text.is_empty() {
        return Ok(None);
    }
    if !text.bytes().all(|byte| byte.is_ascii_digit()) {
        return Err(TypedRefused::NotANumber);
    }
    match text.parse() {
        Ok(number) if number <= MOST => Ok(Some(number)),
        _ => Err(TypedRefused::TooMany),
    }
}

/// Whether a typed number is far enough from the need to ask once: twice the need or more, or a tenth
/// of it or less. None typed, and no need, are not asked about.
pub fn is_doubtful(typed: i64, need: Option<i64>) -> bool {
    match need {
        Some(need) if need > 0 => typed >= 2 * need || (typed > 0 && typed * 10 <= need),
        _ => false,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_are_read_as_people_type_them() {
        let cases = [
            ("12", Ok(Some(12))),
            (" 12 ", Ok(Some(12))),
            ("1,200", Ok(Some(1200))),
            ("0", Ok(Some(0))),
            ("", Ok(None)),
            (".", Ok(None)),
            ("  ", Ok(None)),
            ("twelve", Err(TypedRefused::NotANumber)),
            ("-3", Err(TypedRefused::NotANumber)),
            ("12a", Err(TypedRefused::NotANumber)),
            ("1000001", Err(TypedRefused::TooMany)),
            ("99999999999999999999", Err(TypedRefused::TooMany)),
        ];
        for (text, number) in cases {
            assert_eq!(read(text), number, "“{text}”");
        }
    }

    #[test]
    fn a_slipped_digit_is_asked_about() {
        let cases = [
            (120, Some(12), true),
            (24, Some(12), true),
            (23, Some(12), false),
            (12, Some(12), false),
            (2, Some(12), false),
            (1, Some(12), true),
            (1, Some(10), true),
            (2, Some(20), true),
            (0, Some(20), false),
            (2, Some(1), true),
            (1, Some(1), false),
            (500, Some(0), false),
            (500, None, false),
        ];
        for (typed, need, asked) in cases {
            assert_eq!(is_doubtful(typed, need), asked, "{typed} of {need:?}");
        }
    }
}
