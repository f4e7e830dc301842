//! The codes printed on crates, bags, kits and sheets: six characters, the last a check, written in
//! two threes (`7K3-F28`).
//!
//! The alphabet leaves out B, I, L, O and U, which are misread; what people write instead is understood.
//! The check is the pure-system recursion of ISO/IEC 7064 with modulus 31 and radix 3: it finds every
//! single wrong character and every swap of neighbours. The code itself says nothing about the thing.

use std::fmt;

use sqlx::Type;

/// The 31 characters a code may hold.
const ALPHABET: &[u8; 31] = b"0123456789ACDEFGHJKMNPQRSTVWXYZ";
const MODULUS: u32 = 31;
const RADIX: u32 = 3;

/// A valid code, stored without its hyphen.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash, Type)]
#[sqlx(transparent)]
pub struct Code(String);

/// Why a text is not a code, in words for the person who typed it.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum NotACode {
    #[error("a code has six characters, like 7K3-F28")]
    Length,
    #[error("“{0}” does not occur in codes")]
    Character(char),
    #[error("check the characters of {0}: one is wrong, or two changed places")]
    Check(String),
}

impl Code {
    /// Makes a code from any number; only its low bits are used. Two numbers may give the same code.
    pub fn from_random(mut random: u64) -> Self {
        let mut values = Vec::with_capacity(6);
        for _ in 0..5 {
            values.push((random % u64::from(MODULUS)) as u32);
            random /= u64::from(MODULUS);
        }
        values.push(check(&values, MODULUS, RADIX));
        Self(
            values
                .iter()
                .map(|&value| char::from(ALPHABET[value as usize]))
                .collect(),
        )
    }

    /// Reads what a person typed or scanned: either case, with or without hyphen and spaces.
    pub fn parse(text: &str) -> Result<Self, NotACode> {
        let mut code = String::with_capacity(6);
        for character in text.chars() {
            match character.to_ascii_uppercase() {
                ' ' | '-' => {}
                'O' => code.push('0'),
                'I' | 'L' => code.push('1'),
                'B' => code.push('8'),
                'U' => code.push('V'),
                upper if upper.is_ascii() && ALPHABET.contains(&(upper as u8)) => code.push(upper),
                _ => return Err(NotACode::Character(character)),
            }
        }
        if code.len() != 6 {
            return Err(NotACode::Length);
        }
        let values: Vec<u32> = code
            .bytes()
            .filter_map(|byte| ALPHABET.iter().position(|&known| known == byte))
            .map(|position| position as u32)
            .collect();
        let code = Self(code);
        if check(&values[..5], MODULUS, RADIX) == values[5] {
            Ok(code)
        } else {
            Err(NotACode::Check(code.to_string()))
        }
    }

    /// The six characters without hyphen, as stored and as in `/c/7K3F28`.
    pub fn plain(&self) -> &str {
        &self.0
    }
}

impl fmt::Display for Code {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match (self.0.get(..3), self.0.get(3..)) {
            (Some(first), Some(last)) => write!(f, "{first}-{last}"),
            _ => f.write_str(&self.0),
        }
    }
}

/// The check value of ISO/IEC 7064 in its pure system: starting from 0, for each character
/// `p = (p + value) · radix mod modulus`; the check is `(1 − p) mod modulus`.
pub fn check(values: &[u32], modulus: u32, radix: u32) -> u32 {
    let p = values
        .iter()
        .fold(0, |p, value| (p + value) * radix % modulus);
    (modulus + 1 - p) % modulus
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_people_write_is_understood() {
        let code = Code::from_random(29_000_001);
        let typed = format!(" {} ", code.to_string().to_lowercase());
        assert_eq!(Code::parse(&typed), Ok(code));
        assert_eq!(Code::parse("7K3"), Err(NotACode::Length));
        assert_eq!(Code::parse("7K3-F2!"), Err(NotACode::Character('!')));
        assert_eq!(Code::parse("7é3-F28"), Err(NotACode::Character('é')));
    }

    #[test]
    fn look_alikes_are_read_as_meant() {
        let zeros = Code::from_random(0);
        assert_eq!(zeros.plain(), "000001");
        assert_eq!(Code::parse("ooo-ool"), Ok(zeros));
    }

    #[test]
    fn every_single_error_and_every_swap_is_found() {
        for start in [0u64, 1, 777, 12_345_678, 28_629_150] {
            let good = Code::from_random(start);
            let characters: Vec<char> = good.plain().chars().collect();
            for at in 0..6 {
                for &other in ALPHABET {
                    let mut wrong = characters.clone();
                    wrong[at] = char::from(other);
                    let text: String = wrong.iter().collect();
                    assert_eq!(Code::parse(&text).is_ok(), text == good.plain(), "{text}");
                }
                for with in at + 1..6 {
                    let mut swapped = characters.clone();
                    swapped.swap(at, with);
                    let text: String = swapped.iter().collect();
                    assert_eq!(Code::parse(&text).is_ok(), text == good.plain(), "{text}");
                }
            }
        }
    }
}
