//! The keys under somebody's thumb: on which side they are, and how large.

use askama::Template;
use axum::http::header::SET_COOKIE;
use axum::response::Response;
use serde::Deserialize;

use crate::people::rules::own_path;
use crate::web::extract::{Form, Query};
use crate::web::flash;
use crate::web::form::Choice;
use crate::web::frame::Frame;
use crate::web::hand::Hand;
use crate::web::page::Page;

#[derive(Deserialize)]
pub struct Asked {
    /// Where to go back to.
    #[serde(default)]
    then: String,
}

#[derive(Template)]
#[template(path = "counts/hand.html")]
pub struct HandPage {
    frame: Frame,
    then: String,
}

impl HandPage {
    fn thumbs(&self) -> Vec<Choice> {
        let left = self.frame.hand.left;
        vec![
            Choice::new("right", "the right thumb", !left),
            Choice::new("left", "the left thumb", left),
        ]
    }

    fn nothing_wrong(&self) -> Option<&str> {
        None
    }
}

pub async fn ask(frame: Frame, Query(asked): Query<Asked>) -> Page<HandPage> {
    let then = own_path(&asked.then).unwrap_or("/counts").to_owned();
    Page(HandPage { frame, then })
}

#[derive(Deserialize)]
pub struct HandForm {
    #[serde(default)]
    thumb: String,
    #[serde(default)]
    gloves: String,
    #[serde(default)]
    then: String,
}

/// Changes nothing on the server: the phone keeps it.
pub async fn keep(form: Form<HandForm>) -> Response {
    let fields = form.fields;
    let hand = Hand {
        left: fields.thumb == "left",
        gloves: fields.gloves == "yes",
    };
    let then = own_path(&fields.then).unwrap_or("/counts");
    let mut answer = flash::see(then, "Kept on this phone.");
    answer.headers_mut().append(SET_COOKIE, hand.cookie());
    answer
}
