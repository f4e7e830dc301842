//! A page as it arrived, and what a person sees on it.

use axum::http::{HeaderMap, StatusCode};
use scraper::{ElementRef, Html, Selector};

pub struct Seen {
    pub path: String,
    pub status: StatusCode,
    pub headers: HeaderMap,
    pub bytes: Vec<u8>,
}

impl Seen {
    pub fn new(path: String, status: StatusCode, headers: HeaderMap, bytes: Vec<u8>) -> Self {
        Self {
            path,
            status,
            headers,
            bytes,
        }
    }

    pub fn header(&self, name: &str) -> Option<&str> {
        self.headers.get(name).and_then(|value| value.to_str().ok())
    }

    pub fn html(&self) -> String {
        String::from_utf8_lossy(&self.bytes).into_owned()
    }

    pub fn json(&self) -> serde_json::Value {
        serde_json::from_slice(&self.bytes).expect("JSON")
    }

    pub fn document(&self) -> Html {
        Html::parse_document(&self.html())
    }

    /// All words of the main part, in order, with single spaces.
    pub fn words(&self) -> String {
        self.text_of("main")
    }

    /// The words of the first element that a selector finds; empty if there is none.
    pub fn text_of(&self, selector: &str) -> String {
        self.texts_of(selector)
            .into_iter()
            .next()
            .unwrap_or_default()
    }

    /// The words of every element that a selector finds.
    pub fn texts_of(&self, selector: &str) -> Vec<String> {
        let selector = Selector::parse(selector).expect("a selector");
        self.document()
            .select(&selector)
            .map(|found| words(&found))
            .collect()
    }

    /// The value of an attribute of the first element that a selector finds.
    pub fn attribute(&self, selector: &str, attribute: &str) -> Option<String> {
        let selector = Selector::parse(selector).expect("a selector");
        let document = self.document();
        document
            .select(&selector)
            .next()?
            .value()
            .attr(attribute)
            .map(str::to_owned)
    }

    /// Whether the page holds these digits anywhere, attributes included. Ids do not count, with or without
    /// a word before them ("reason-0192…"): they hold any digits by chance.
    pub fn tells(&self, digits: &str) -> bool {
        const ID: usize = 36;
        self.html()
            .split(|c: char| !(c.is_ascii_hexdigit() || c == '-'))
            .map(|word| match word.len().checked_sub(ID) {
                Some(before) if word[before..].parse::<uuid::Uuid>().is_ok() => &word[..before],
                _ => word,
            })
            .any(|word| word.contains(digits))
    }

    pub fn has(&self, text: &str) -> bool {
        self.words().contains(text) || self.text_of("body").contains(text)
    }

    /// Where the first link with this text leads.
    pub fn link(&self, text: &str) -> Option<String> {
        let selector = Selector::parse("a[href]").expect("a selector");
        let document = self.document();
        document
            .select(&selector)
            .find(|found| words(found) == text)
            .and_then(|found| found.value().attr("href"))
            .map(str::to_owned)
    }

    /// The words of each cell of the table row whose header cell, or any cell, begins with `start`.
    pub fn row(&self, start: &str) -> Option<Vec<String>> {
        let rows = Selector::parse("tr").expect("a selector");
        let cells = Selector::parse("th, td").expect("a selector");
        self.document().select(&rows).find_map(|row| {
            let cells: Vec<String> = row.select(&cells).map(|cell| words(&cell)).collect();
            cells
                .iter()
                .any(|cell| cell.starts_with(start))
                .then_some(cells)
        })
    }

    /// The message of the last form.
    pub fn told(&self) -> String {
        self.text_of("[role=status]")
    }

    /// Fails the test unless the page has this status and this text.
    #[track_caller]
    pub fn expect(&self, status: u16, text: &str) -> &Self {
        assert_eq!(
            self.status.as_u16(),
            status,
            "{}:\n{}",
            self.path,
            self.text_of("body")
        );
        assert!(
            self.has(text),
            "“{text}” is not on {}:\n{}",
            self.path,
            self.text_of("body")
        );
        self
    }
}

/// The words of an element with single spaces, and none before a full stop or comma that follows a link.
fn words(element: &ElementRef<'_>) -> String {
    let text = element.text().collect::<Vec<_>>().join(" ");
    let words = text.split_whitespace().collect::<Vec<_>>().join(" ");
    words.replace(" .", ".").replace(" ,", ",")
}
