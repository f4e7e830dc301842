//! A failure on its way to becoming a page: status and sentence now, the frame around it later.

use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};

/// Rides in the answer's extensions until `app` draws the page around it.
#[derive(Debug, Clone)]
pub struct Problem {
    pub status: StatusCode,
    pub sentence: String,
}

/// An answer that says what is wrong. Plain text until a page is drawn around it.
pub fn answer(status: StatusCode, sentence: impl Into<String>) -> Response {
    let sentence = sentence.into();
    let mut response = (
        status,
        [(header::CONTENT_TYPE, "text/plain; charset=utf-8")],
        sentence.clone(),
    )
        .into_response();
    response
        .extensions_mut()
        .insert(Problem { status, sentence });
    response
}
