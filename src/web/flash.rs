//! The message that a page shows once after a form was sent: kept in a cookie for the one redirect.

use axum::http::header::SET_COOKIE;
use axum::http::{HeaderMap, HeaderValue};
use axum::response::{IntoResponse, Redirect, Response};
use axum_extra::extract::cookie::{Cookie, CookieJar, SameSite};

use crate::clock::Instant;
use crate::receipts::Outcome;

/// The cookie's name.
pub const NAME: &str = "told";

/// A message and what kind it is: "done", or "look" when something wants a second look.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Flash {
    pub kind: &'static str,
    pub text: String,
}

/// 303 to the page that shows the result, with a message for it.
pub fn see(location: &str, text: impl Into<String>) -> Response {
    redirect(
        location,
        &Flash {
            kind: "done",
            text: text.into(),
        },
    )
}

/// 303 with a message that wants a second look.
pub fn look(location: &str, text: impl Into<String>) -> Response {
    redirect(
        location,
        &Flash {
            kind: "look",
            text: text.into(),
        },
    )
}

/// 303 to the result of a form: with `text` the first time, with "already recorded" after that.
pub fn told(outcome: &Outcome, text: impl Into<String>, zone: &str) -> Response {
    match outcome {
        Outcome::Done { location } => see(location, text),
        Outcome::Again {
            location,
            recorded_at,
        } => already(location, *recorded_at, zone),
    }
}

/// 303 to what was recorded before, and when that was.
pub fn already(location: &str, recorded_at: Instant, zone: &str) -> Response {
    let time = recorded_at.time_of_day(zone);
    look(
        location,
        format!("Already recorded at {time}. Nothing was recorded twice."),
    )
}

/// The message a request brought along, if any.
pub fn read(headers: &HeaderMap) -> Option<Flash> {
    let jar = CookieJar::from_headers(headers);
    let value = jar.get(NAME)?.value().to_owned();
    let (kind, hex) = value.split_once('.')?;
    let bytes: Option<Vec<u8>> = hex
        .as_bytes()
        .chunks(2)
        .map(|pair| u8::from_str_radix(std::str::from_utf8(pair).ok()?, 16).ok())
        .collect();
    Some(Flash {
        kind: if kind == "look" { "look" } else { "done" },
        text: String::from_utf8(bytes?).ok()?,
    })
}

/// The header that takes the message away again.
pub fn forget() -> HeaderValue {
    HeaderValue::from_static("told=; Path=/; Max-Age=0; HttpOnly; SameSite=Lax")
}

fn redirect(location: &str, flash: &Flash) -> Response {
    let hex: String = flash
        .text
        .bytes()
        .take(1500)
        .map(|byte| format!("{byte:02x}"))
        .collect();
    let mut cookie = Cookie::new(NAME, format!("{}.{hex}", flash.kind));
    cookie.set_path("/");
    cookie.set_http_only(true);
    cookie.set_same_site(SameSite::Lax);
    let mut response = Redirect::to(location).into_response();
    if let Ok(value) = HeaderValue::from_str(&cookie.to_string()) {
        response.headers_mut().append(SET_COOKIE, value);
    }
    response
}

#[cfg(test)]
mod tests {
    use super::*;
    use axum::http::header::COOKIE;

    #[test]
    fn what_is_told_arrives_whole() {
        let text = "3 short; “Zahnrad, groß” is in crate 7K3-F28, bag 4.";
        let sent = look("/kits", text);
        let cookie = sent.headers()[SET_COOKIE].to_str().unwrap();
        let mut headers = HeaderMap::new();
        headers.insert(COOKIE, cookie.split(';').next().unwrap().parse().unwrap());
        assert_eq!(
            read(&headers),
            Some(Flash {
                kind: "look",
                text: text.into()
            })
        );
    }

    #[test]
    fn a_tampered_message_is_dropped() {
        for value in ["told=done.zz", "told=done", "told=done.ff", "told=look.é"] {
            let mut headers = HeaderMap::new();
            headers.insert(COOKIE, HeaderValue::from_bytes(value.as_bytes()).unwrap());
            assert_eq!(read(&headers), None, "{value}");
        }
    }
}
