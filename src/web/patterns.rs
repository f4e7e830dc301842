//! The page that shows every part of the look once, for whoever writes or checks a template.
//! It knows no slice and reads no data: what it shows is made up here.

use askama::Template;

use super::form::{Choice, Wrong};
use super::frame::Frame;
use super::page::Page;

/// Anybody may look: there is nothing of anybody's on it.
pub async fn show(frame: Frame) -> Page<Patterns> {
    Page(Patterns::new(frame))
}

/// The page at `/patterns`.
#[derive(Template)]
#[template(path = "patterns.html")]
pub struct Patterns {
    pub frame: Frame,
    wrongs: Vec<Wrong>,
    sizes: Vec<Choice>,
    too_many: Option<String>,
    fine: Option<String>,
}

impl Patterns {
    /// One form on the page is shown refused, so that the error marks can be seen too.
    pub fn new(frame: Frame) -> Patterns {
        let sentence = "You typed 120. The list needs 12. Type it again, or keep 120.";
        Patterns {
            frame,
            wrongs: vec![Wrong::at("pieces", sentence)],
            sizes: vec![
                Choice::new("half", "Half", false),
                Choice::new("full", "Full", true),
            ],
            too_many: Some(sentence.to_owned()),
            fine: None,
        }
    }
}
