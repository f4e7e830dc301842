//! Cookies that hold a secret of ours.

use axum::http::HeaderValue;
use axum_extra::extract::cookie::{Cookie, SameSite};

use crate::error::AppError;

/// The header that has a browser keep a secret out of reach of scripts: for `age` seconds, or until it is closed.
/// An age of 0 takes it away.
pub fn secret(
    name: &'static str,
    token: String,
    is_https: bool,
    age: Option<i64>,
) -> Result<HeaderValue, AppError> {
    let mut cookie = Cookie::build((name, token))
        .path("/")
        .http_only(true)
        .same_site(SameSite::Lax)
        .secure(is_https)
        .to_string();
    if let Some(age) = age {
        cookie.push_str(&format!("; Max-Age={age}"));
    }
    HeaderValue::try_from(cookie).map_err(|error| anyhow::Error::new(error).into())
}
