//! How somebody holds the phone: which thumb taps, and whether gloves are on. Kept on the phone itself, in a
//! cookie, because it belongs to the hand and not to the account.

use axum::http::header::COOKIE;
use axum::http::{HeaderMap, HeaderValue};

const NAME: &str = "hand";
/// A year and a bit, in seconds: a season later it still fits.
const KEPT_SECONDS: i64 = 400 * 24 * 60 * 60;

#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Hand {
    /// The left thumb taps.
    pub left: bool,
    /// Work gloves are on: larger keys.
    pub gloves: bool,
}

impl Hand {
    /// What the phone keeps; the right thumb without gloves where it keeps nothing.
    pub fn read(headers: &HeaderMap) -> Self {
        let kept = headers
            .get_all(COOKIE)
            .iter()
            .filter_map(|value| value.to_str().ok())
            .flat_map(|value| value.split(';'))
            .filter_map(|pair| pair.trim().split_once('='))
            .find(|(name, _)| *name == NAME)
            .map_or("", |(_, value)| value);
        Self {
            left: kept.split('.').any(|word| word == "left"),
            gloves: kept.split('.').any(|word| word == "gloves"),
        }
    }

    /// The same as two letters, for the tag of a page that was drawn for this hand.
    pub fn mark(self) -> &'static str {
        match (self.left, self.gloves) {
            (false, false) => "rb",
            (false, true) => "rg",
            (true, false) => "lb",
            (true, true) => "lg",
        }
    }

    /// The classes of a page with keys.
    pub fn classes(self) -> &'static str {
        match (self.left, self.gloves) {
            (false, false) => "",
            (false, true) => "gloves",
            (true, false) => "thumb-left",
            (true, true) => "thumb-left gloves",
        }
    }

    /// The cookie that keeps it.
    pub fn cookie(self) -> HeaderValue {
        let word = match (self.left, self.gloves) {
            (false, false) => "right",
            (false, true) => "right.gloves",
            (true, false) => "left",
            (true, true) => "left.gloves",
        };
        let cookie =
            format!("{NAME}={word}; Path=/; Max-Age={KEPT_SECONDS}; HttpOnly; SameSite=Lax");
        HeaderValue::try_from(cookie).unwrap_or_else(|_| HeaderValue::from_static(""))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_the_phone_keeps_is_read_back() {
        for left in [false, true] {
            for gloves in [false, true] {
                let hand = Hand { left, gloves };
                let cookie = hand.cookie();
                let kept = cookie.to_str().unwrap().split(';').next().unwrap();
                let mut headers = HeaderMap::new();
                let sent = format!("session=abc; {kept}; told=x");
                headers.insert(COOKIE, sent.parse().unwrap());
                assert_eq!(Hand::read(&headers), hand);
            }
        }
        assert_eq!(Hand::read(&HeaderMap::new()), Hand::default());
        let mut headers = HeaderMap::new();
        headers.insert(COOKIE, "hand=nonsense<>".parse().unwrap());
        assert_eq!(Hand::read(&headers), Hand::default());
    }
}
