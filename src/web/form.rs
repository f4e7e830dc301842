//! What forms show besides what was typed: choices, and what has to be put right.

use std::fmt::Display;

use crate::error::NotDone;

/// One choice of a select or a group of radio buttons.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Choice {
    pub value: String,
    pub text: String,
    pub chosen: bool,
}

impl Choice {
    /// The same where the choices are told apart by their values.
    pub fn one_of(value: impl Display, text: impl Display, chosen: &str) -> Self {
        let value = value.to_string();
        let is_chosen = value == chosen;
        Self::new(value, text, is_chosen)
    }

    pub fn new(value: impl Display, text: impl Display, chosen: bool) -> Self {
        Self {
            value: value.to_string(),
            text: text.to_string(),
            chosen,
        }
    }
}

/// One thing to put right: the id of its field ("" for the form as a whole), and the sentence.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Wrong {
    pub field: String,
    pub text: String,
}

impl Wrong {
    pub fn at(field: impl Into<String>, text: impl Display) -> Self {
        Self {
            field: field.into(),
            text: text.to_string(),
        }
    }
}

/// A form refused for one thing to put right.
pub fn refused(field: &str, text: impl Display) -> NotDone<Vec<Wrong>> {
    NotDone::Refused(vec![Wrong::at(field, text)])
}

/// The sentence for one field, as the field macros take it.
pub fn at<'a>(wrongs: &'a [Wrong], field: &str) -> Option<&'a str> {
    wrongs
        .iter()
        .find(|wrong| wrong.field == field)
        .map(|wrong| wrong.text.as_str())
}

/// The beginning of a page's title when something has to be put right.
pub fn title_prefix(wrongs: &[Wrong]) -> &'static str {
    if wrongs.is_empty() { "" } else { "Error: " }
}
