//! A template as an answer.

use askama::Template;
use axum::http::StatusCode;
use axum::response::{Html, IntoResponse, Response};

use crate::error::AppError;

/// A page that says what was asked for.
pub struct Page<T>(pub T);

impl<T: Template> IntoResponse for Page<T> {
    fn into_response(self) -> Response {
        match self.0.render() {
            Ok(html) => Html(html).into_response(),
            Err(error) => AppError::Broken(anyhow::Error::new(error)).into_response(),
        }
    }
}

/// The same form again, with what was typed and a sentence why: status 422.
pub fn again<T: Template>(form: T) -> Response {
    (StatusCode::UNPROCESSABLE_ENTITY, Page(form)).into_response()
}
