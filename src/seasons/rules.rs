//! What a season may be called. Pure.

use crate::text::fold;

/// Why a season was not added, in words for the form.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum SeasonRefused {
    #[error("give the season a name")]
    NoName,
    #[error("a season's name has at most 120 characters")]
    LongName,
    #[error("there is a season called “{0}” already")]
    SameName(String),
}

/// The name as it will be kept, if no other season bears it, whatever its case and accents.
pub fn begin(name: &str, others: &[String]) -> Result<String, SeasonRefused> {
    let name = name.trim();
    if name.is_empty() {
        return Err(SeasonRefused::NoName);
    }
    if name.chars().count() > 120 {
        return Err(SeasonRefused::LongName);
    }
    if let Some(same) = others.iter().find(|other| fold(other) == fold(name)) {
        return Err(SeasonRefused::SameName(same.clone()));
    }
    Ok(name.to_owned())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn check(name: &str, expected: Result<&str, SeasonRefused>) {
        let others = ["Schneebrücke".to_owned()];
        assert_eq!(begin(name, &others), expected.map(str::to_owned));
    }

    #[test]
    fn names_are_given_once() {
        check(" Winter Post ", Ok("Winter Post"));
        check("  ", Err(SeasonRefused::NoName));
        check(&"x".repeat(121), Err(SeasonRefused::LongName));
        check(
            "SCHNEEBRUCKE",
            Err(SeasonRefused::SameName("Schneebrücke".into())),
        );
    }
}
