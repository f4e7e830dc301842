//! The key of a loan link, and why something was not done about one. Pure but for the key that is drawn.

use std::fmt;

use crate::code::{Code, NotACode};
use crate::people::bare_name::{Asked, NotAName};
use crate::secret;

/// What whoever opens a link is asked for.
pub const NAME: Asked = Asked {
    what: "name",
    most: 80,
};

/// Why something was not done about a link.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum Refused {
    #[error("this borrower belongs to the league and sees the loan with an account")]
    HasAccounts,
    #[error("a link is for a loan that is agreed or out; this one is not")]
    NotOpen,
    #[error("this link holds no more; ask the lender for a new one")]
    Ended,
    #[error("this link is on as many phones as one may be; ask the lender for a new one")]
    TooMany,
    #[error(transparent)]
    Name(#[from] NotAName),
}

/// What opens a link: three codes as they stand on crates, each with its check character. Fifteen characters out
/// of 31 are 74 bits, which nobody finds by trying.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Key([Code; 3]);

/// Why a text is not a key, in words for the person who typed it.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum NotAKey {
    #[error("a loan link has eighteen characters, in six groups of three")]
    Length,
    #[error("{0}")]
    Code(NotACode),
}

impl Key {
    pub fn draw() -> Self {
        Self(std::array::from_fn(|_| {
            Code::from_random(u64::from_le_bytes(secret::random()))
        }))
    }

    /// Reads what a person typed or scanned, like a code on a crate.
    pub fn parse(text: &str) -> Result<Self, NotAKey> {
        let letters: Vec<char> = text
            .chars()
            .filter(|letter| !letter.is_whitespace() && *letter != '-')
            .collect();
        if letters.len() != 18 {
            return Err(NotAKey::Length);
        }
        let code = |at: usize| {
            let text: String = letters[at..at + 6].iter().collect();
            Code::parse(&text).map_err(NotAKey::Code)
        };
        Ok(Self([code(0)?, code(6)?, code(12)?]))
    }

    /// The eighteen characters without spaces and hyphens.
    pub fn plain(&self) -> String {
        self.0.iter().map(Code::plain).collect()
    }
}

impl fmt::Display for Key {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let [first, second, third] = &self.0;
        write!(f, "{first} {second} {third}")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_key_is_read_as_it_is_shown_or_scanned() {
        let key = Key::draw();
        for typed in [
            key.to_string(),
            key.plain(),
            key.plain().to_lowercase(),
            format!(" {} ", key.to_string().replace(' ', "  ")),
        ] {
            assert_eq!(Key::parse(&typed), Ok(key.clone()), "{typed}");
        }
        assert_ne!(Key::draw(), key);
    }

    #[test]
    fn what_is_no_key_is_said() {
        assert_eq!(Key::parse("7K3-F28"), Err(NotAKey::Length));
        let zeros = Code::from_random(0);
        let good = zeros.plain().repeat(3);
        assert!(Key::parse(&good).is_ok());
        // One wrong character anywhere is found by its group's check.
        for at in 0..18 {
            let mut wrong: Vec<char> = good.chars().collect();
            wrong[at] = if wrong[at] == '7' { '8' } else { '7' };
            let wrong: String = wrong.into_iter().collect();
            let refused = matches!(Key::parse(&wrong), Err(NotAKey::Code(NotACode::Check(_))));
            assert!(refused, "{wrong}");
        }
    }
}
