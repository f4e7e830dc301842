//! What guides, revisions and sizes may be called. Pure.

use crate::text::{fold, tidy};

/// Why a guide, a revision or a size was not added, in words for the form.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum GuideRefused {
    #[error("give it a name")]
    NoName,
    #[error("a name has at most {0} characters")]
    LongName(usize),
    #[error("there is one called “{0}” already")]
    SameName(String),
    #[error("name at least one size, such as half, full")]
    NoSize,
    #[error("“{0}” is named twice")]
    SizeTwice(String),
}

/// A name as it will be kept, if it is not too long and no other bears it, whatever its case.
pub fn name(text: &str, longest: usize, others: &[String]) -> Result<String, GuideRefused> {
    let name = tidy(text);
    if name.is_empty() {
        return Err(GuideRefused::NoName);
    }
    if name.chars().count() > longest {
        return Err(GuideRefused::LongName(longest));
    }
    match others.iter().find(|other| fold(other) == fold(&name)) {
        Some(same) => Err(GuideRefused::SameName(same.clone())),
        None => Ok(name),
    }
}

/// The sizes in a text such as "half, full".
pub fn sizes(text: &str) -> Result<Vec<String>, GuideRefused> {
    let mut sizes: Vec<String> = Vec::new();
    for size in text
        .split([',', ';', '\n'])
        .map(tidy)
        .filter(|size| !size.is_empty())
    {
        match name(&size, 60, &sizes) {
            Ok(size) => sizes.push(size),
            Err(GuideRefused::SameName(same)) => return Err(GuideRefused::SizeTwice(same)),
            Err(other) => return Err(other),
        }
    }
    if sizes.is_empty() {
        Err(GuideRefused::NoSize)
    } else {
        Ok(sizes)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sizes_are_read_from_what_people_type() {
        for (typed, expected) in [
            ("half, full", Ok(vec!["half".to_owned(), "full".to_owned()])),
            (" Full ;", Ok(vec!["Full".to_owned()])),
            ("", Err(GuideRefused::NoSize)),
            (",,", Err(GuideRefused::NoSize)),
            ("half, Half", Err(GuideRefused::SizeTwice("half".into()))),
        ] {
            assert_eq!(sizes(typed), expected, "{typed}");
        }
    }

    #[test]
    fn names_are_given_once() {
        let others = ["Grat-Lauf".to_owned()];
        assert_eq!(name("  Pass   Run ", 60, &others), Ok("Pass Run".into()));
        assert_eq!(
            name("GRAT-LAUF", 60, &others),
            Err(GuideRefused::SameName("Grat-Lauf".into()))
        );
        assert_eq!(name(" ", 60, &others), Err(GuideRefused::NoName));
        assert_eq!(
            name(&"x".repeat(61), 60, &others),
            Err(GuideRefused::LongName(60))
        );
    }
}
