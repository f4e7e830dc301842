//! A name that somebody without an account gives: the name and nothing else, so that a page which shows it tells
//! nobody how to reach them. Pure.

use crate::text::tidy;

/// What is asked for: in words ("name", "first name"), and how many characters it may have.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Asked {
    pub what: &'static str,
    pub most: usize,
}

/// Why what was typed is not kept, in words for the form.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum NotAName {
    #[error("write your {}", .0.what)]
    Missing(Asked),
    #[error("a {} has at most {} characters", .0.what, .0.most)]
    Long(Asked),
    #[error("write your {} alone, without address or number", .0.what)]
    MoreThanAName(Asked),
}

impl Asked {
    /// A name as it is kept.
    pub fn read(self, typed: &str) -> Result<String, NotAName> {
        let name = tidy(typed);
        if name.is_empty() {
            Err(NotAName::Missing(self))
        } else if name.chars().count() > self.most {
            Err(NotAName::Long(self))
        } else if name.contains('@') || name.chars().any(|c| c.is_ascii_digit()) {
            Err(NotAName::MoreThanAName(self))
        } else {
            Ok(name)
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_name_and_nothing_else_is_asked_for() {
        let asked = Asked {
            what: "first name",
            most: 40,
        };
        let long = "x".repeat(41);
        let alone = "write your first name alone, without address or number";
        for (typed, expected) in [
            ("  Sam ", Ok("Sam")),
            ("Åsa-Lin", Ok("Åsa-Lin")),
            ("  Ivo  Quern ", Ok("Ivo Quern")),
            (&long[1..], Ok(&long[1..])),
            ("", Err("write your first name")),
            (" \u{200b} ", Err("write your first name")),
            (&long, Err("a first name has at most 40 characters")),
            ("sam@quern.example", Err(alone)),
            ("Sam 0171", Err(alone)),
        ] {
            let read = asked.read(typed).map_err(|why| why.to_string());
            let read = read.as_ref().map(String::as_str).map_err(String::as_str);
            assert_eq!(read, expected, "{typed}");
        }
    }
}
