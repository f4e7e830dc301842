//! What can be said about a part. Pure.

use crate::text::tidy;

/// How a part is counted.
#[derive(Debug, Clone, Copy, PartialEq, Eq, sqlx::Type)]
#[sqlx(rename_all = "lowercase")]
pub enum CountedBy {
    Piece,
    /// Full groups (a tray of 12) and the rest.
    Group,
    Weight,
    /// Enough, low or none: tape, ties. Has no balance.
    Look,
}

impl CountedBy {
    pub const ALL: [CountedBy; 4] = [
        CountedBy::Piece,
        CountedBy::Group,
        CountedBy::Weight,
        CountedBy::Look,
    ];

    pub fn word(self) -> &'static str {
        match self {
            CountedBy::Piece => "piece",
            CountedBy::Group => "group",
            CountedBy::Weight => "weight",
            CountedBy::Look => "look",
        }
    }

    /// As a choice on a form.
    pub fn sentence(self) -> &'static str {
        match self {
            CountedBy::Piece => "piece by piece",
            CountedBy::Group => "in full groups, and the rest",
            CountedBy::Weight => "by weight",
            CountedBy::Look => "by look: enough, low or none",
        }
    }

    pub fn from_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|way| way.word() == word)
    }
}

/// A description as it was typed.
#[derive(Debug, Clone, Default)]
pub struct Described {
    pub name: String,
    pub mass: String,
    pub how_to_know: String,
    pub hazard: String,
    pub counted_by: String,
    pub group_of: String,
    /// "yes": nothing can be built without it.
    pub essential: String,
}

/// A description as it is kept.
#[derive(Debug, Clone, PartialEq)]
pub struct Values {
    pub name: String,
    pub mass_g: Option<f64>,
    pub how_to_know: String,
    pub hazard: String,
    pub counted_by: CountedBy,
    pub group_of: Option<i64>,
    /// Only of what is looked at: nothing can be built without it.
    pub essential: bool,
}

/// What is wrong with one field of a description.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum DescriptionRefused {
    #[error("give the part a name of at most 200 characters")]
    Name,
    #[error("give the mass of one piece in grams, like 12.5, or leave it empty")]
    Mass,
    #[error("at most 500 characters")]
    Long,
    #[error("choose how it is counted")]
    CountedBy,
    #[error("say how many pieces are in a full group, from 2 to 10,000")]
    GroupOf,
    #[error(
        "{0} of it are in the books; a part that is only looked at has none. Write them off or count them to \
         none first"
    )]
    InTheBooks(i64),
    #[error("a count that is open expects pieces of it; close that count first")]
    BeingCounted,
}

/// Reads a description. Names every field that is wrong.
pub fn describe(described: &Described) -> Result<Values, Vec<(&'static str, DescriptionRefused)>> {
    let mut wrongs = Vec::new();
    let name = tidy(&described.name);
    if name.is_empty() || name.chars().count() > 200 {
        wrongs.push(("name", DescriptionRefused::Name));
    }
    let mass_g = mass(&described.mass).unwrap_or_else(|| {
        wrongs.push(("mass", DescriptionRefused::Mass));
        None
    });
    let how_to_know = tidy(&described.how_to_know);
    let hazard = tidy(&described.hazard);
    for (field, text) in [("how_to_know", &how_to_know), ("hazard", &hazard)] {
        if text.chars().count() > 500 {
            wrongs.push((field, DescriptionRefused::Long));
        }
    }
    let counted_by = CountedBy::from_word(&described.counted_by);
    if counted_by.is_none() {
        wrongs.push(("counted_by", DescriptionRefused::CountedBy));
    }
    let group_of = match counted_by {
        Some(CountedBy::Group) => {
            let size = described
                .group_of
                .trim()
                .parse()
                .ok()
                .filter(|size| (2..=10_000).contains(size));
            if size.is_none() {
                wrongs.push(("group_of", DescriptionRefused::GroupOf));
            }
            size
        }
        _ => None,
    };
    match counted_by {
        Some(counted_by) if wrongs.is_empty() => Ok(Values {
            name,
            mass_g,
            how_to_know,
            hazard,
            counted_by,
            group_of,
            essential: counted_by == CountedBy::Look && described.essential == "yes",
        }),
        _ => Err(wrongs),
    }
}

/// A mass in grams: `Some(None)` for an empty text, `None` for one that is no mass.
fn mass(text: &str) -> Option<Option<f64>> {
    let text = text.trim().trim_end_matches('g').trim().replace(',', ".");
    if text.is_empty() {
        return Some(None);
    }
    let mass: f64 = text.parse().ok()?;
    (mass > 0.0 && mass <= 1_000_000.0).then_some(Some(mass))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn typed(mass: &str, counted_by: &str, group_of: &str) -> Described {
        Described {
            name: "Peg".into(),
            mass: mass.into(),
            counted_by: counted_by.into(),
            group_of: group_of.into(),
            ..Described::default()
        }
    }

    #[test]
    fn masses_are_read_as_people_write_them() {
        for (text, expected) in [
            ("", Some(None)),
            ("12", Some(Some(12.0))),
            ("12,5 g", Some(Some(12.5))),
            ("0", None),
            ("-3", None),
            ("a lot", None),
            ("inf", None),
            ("NaN", None),
            ("2000000", None),
        ] {
            assert_eq!(mass(text), expected, "{text}");
        }
    }

    #[test]
    fn a_group_needs_its_size_and_other_ways_drop_it() {
        assert_eq!(
            describe(&typed("", "group", "12")).unwrap().group_of,
            Some(12)
        );
        assert_eq!(describe(&typed("", "piece", "12")).unwrap().group_of, None);
        for size in ["", "1", "10001", "many"] {
            assert_eq!(
                describe(&typed("", "group", size)),
                Err(vec![("group_of", DescriptionRefused::GroupOf)]),
                "{size}"
            );
        }
        assert_eq!(
            describe(&Described {
                name: " ".into(),
                ..typed("x", "", "")
            }),
            Err(vec![
                ("name", DescriptionRefused::Name),
                ("mass", DescriptionRefused::Mass),
                ("counted_by", DescriptionRefused::CountedBy),
            ])
        );
    }
}
