//! What may be done with places, and what is told of them. Pure.

pub mod making;
pub mod mass;
pub mod moving;
pub mod packing;
pub mod seals;
pub mod tree;
pub mod words;

/// What has to be put right before something is done: the field's id ("" for the form as a whole) and a
/// sentence for the person.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Wrong {
    pub field: String,
    pub text: String,
}

impl Wrong {
    pub fn new(field: impl Into<String>, text: impl Into<String>) -> Self {
        Self {
            field: field.into(),
            text: text.into(),
        }
    }
}

/// The sentence for a field, if there is one.
pub fn wrong_at(wrongs: &[Wrong], field: &str) -> Option<String> {
    wrongs
        .iter()
        .find(|wrong| wrong.field == field)
        .map(|wrong| wrong.text.clone())
}
