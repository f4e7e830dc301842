//! A browser without script: keeps cookies, follows redirects, fills in forms that are on the page.

use std::cell::RefCell;
use std::collections::BTreeMap;

use axum::Router;
use axum::body::Body;
use axum::http::{Method, Request, StatusCode, header};
use http_body_util::BodyExt;
use scraper::{ElementRef, Selector};
use tower::ServiceExt;

use super::Seen;

pub struct Browser<'w> {
    router: &'w Router,
    cookies: RefCell<BTreeMap<String, String>>,
}

impl<'w> Browser<'w> {
    pub fn new(router: &'w Router) -> Self {
        Self {
            router,
            cookies: RefCell::default(),
        }
    }

    pub fn set_cookie(&self, name: &str, value: &str) {
        self.cookies.borrow_mut().insert(name.into(), value.into());
    }

    pub fn cookie(&self, name: &str) -> Option<String> {
        self.cookies.borrow().get(name).cloned()
    }

    /// Opens a page and follows redirects.
    pub async fn open(&self, path: &str) -> Seen {
        let seen = self.send(Method::GET, path, None, &[]).await;
        self.follow(seen).await
    }

    /// Opens a page without following redirects, with more headers.
    pub async fn open_with(&self, path: &str, headers: &[(&str, &str)]) -> Seen {
        self.send(Method::GET, path, None, headers).await
    }

    /// Fills in the form that has the button and presses it. Fields that the form does not have are a
    /// mistake of the test. What the form holds already stays.
    pub async fn press(&self, seen: &Seen, button: &str, fields: &[(&str, &str)]) -> Seen {
        let (action, body, brings_files) = fill(seen, button, fields);
        if brings_files {
            return self.upload_all(seen, button, &[], fields).await;
        }
        let answer = self.post_body(&action, body).await;
        self.follow(answer).await
    }

    /// Chooses a file, or pastes text, and presses the button of an upload form.
    pub async fn upload(
        &self,
        seen: &Seen,
        button: &str,
        file: Option<(&str, &[u8])>,
        fields: &[(&str, &str)],
    ) -> Seen {
        let (name, content) = file.unwrap_or_default();
        let files = [("file", name, content)];
        self.upload_all(seen, button, &files, fields).await
    }

    /// The same for a form with several files: field, name and content of each.
    pub async fn upload_all(
        &self,
        seen: &Seen,
        button: &str,
        files: &[(&str, &str, &[u8])],
        fields: &[(&str, &str)],
    ) -> Seen {
        let (action, bytes) = self.filled_upload(seen, button, files, fields);
        let answer = self.post_upload(&action, bytes).await;
        self.follow(answer).await
    }

    /// What `upload_all` would send: the address and the encoded form.
    pub fn filled_upload(
        &self,
        seen: &Seen,
        button: &str,
        files: &[(&str, &str, &[u8])],
        fields: &[(&str, &str)],
    ) -> (String, Vec<u8>) {
        let (action, body, _) = fill(seen, button, fields);
        let mut bytes = Vec::new();
        for pair in body.split('&') {
            let (name, value) = pair.split_once('=').expect("a field");
            let head = format!("--edge\r\ncontent-disposition: form-data; name=\"{name}\"\r\n\r\n");
            bytes.extend(head.as_bytes());
            bytes.extend(unescape(value));
            bytes.extend(b"\r\n");
        }
        for (field, name, content) in files {
            let head = format!(
                "--edge\r\ncontent-disposition: form-data; name=\"{field}\"; filename=\"{name}\"\r\n\
                 content-type: application/octet-stream\r\n\r\n"
            );
            bytes.extend(head.as_bytes());
            bytes.extend(*content);
            bytes.extend(b"\r\n");
        }
        bytes.extend(b"--edge--\r\n");
        (action, bytes)
    }

    /// Sends an encoded form with files, without following redirects.
    pub async fn post_upload(&self, path: &str, body: Vec<u8>) -> Seen {
        let headers = [
            ("content-type", "multipart/form-data; boundary=edge"),
            ("sec-fetch-site", "same-origin"),
        ];
        self.send(Method::POST, path, Some(body), &headers).await
    }

    /// What `press` would send: the address and the encoded form. For sending it more than once.
    pub fn filled(&self, seen: &Seen, button: &str, fields: &[(&str, &str)]) -> (String, String) {
        let (action, body, _) = fill(seen, button, fields);
        (action, body)
    }

    /// Follows the link with this text.
    pub async fn click(&self, seen: &Seen, link: &str) -> Seen {
        let href = seen
            .link(link)
            .unwrap_or_else(|| panic!("no link “{link}” on {}", seen.path));
        self.open(&href).await
    }

    /// Sends an encoded form as a browser on our own page would, without following redirects.
    pub async fn post_body(&self, path: &str, body: String) -> Seen {
        let headers = [
            ("content-type", "application/x-www-form-urlencoded"),
            ("sec-fetch-site", "same-origin"),
        ];
        self.send(Method::POST, path, Some(body.into()), &headers)
            .await
    }

    /// Sends fields that need not be on any page, without following redirects.
    pub async fn post(&self, path: &str, fields: &[(&str, &str)]) -> Seen {
        self.post_body(path, encode(fields)).await
    }

    /// Sends JSON as our script does.
    pub async fn post_json(&self, path: &str, json: serde_json::Value) -> Seen {
        let headers = [
            ("content-type", "application/json"),
            ("sec-fetch-site", "same-origin"),
        ];
        self.send(Method::POST, path, Some(json.to_string().into()), &headers)
            .await
    }

    /// Sends anything, without following redirects.
    pub async fn send(
        &self,
        method: Method,
        path: &str,
        body: Option<Vec<u8>>,
        headers: &[(&str, &str)],
    ) -> Seen {
        let path = path.split('#').next().unwrap_or(path);
        let mut request = Request::builder()
            .method(method)
            .uri(path)
            .header(header::HOST, "localhost:8765");
        for (name, value) in headers {
            request = request.header(*name, *value);
        }
        let cookies: Vec<String> = self
            .cookies
            .borrow()
            .iter()
            .map(|(name, value)| format!("{name}={value}"))
            .collect();
        if !cookies.is_empty() {
            request = request.header(header::COOKIE, cookies.join("; "));
        }
        let request = request
            .body(body.map_or_else(Body::empty, Body::from))
            .expect("a request");
        let response = self
            .router
            .clone()
            .oneshot(request)
            .await
            .expect("never fails");
        let (parts, body) = response.into_parts();
        for cookie in parts.headers.get_all(header::SET_COOKIE) {
            let text = cookie.to_str().expect("cookies are ASCII");
            let (name, value) = text
                .split(';')
                .next()
                .and_then(|pair| pair.split_once('='))
                .expect("a cookie");
            if text.contains("Max-Age=0") {
                self.cookies.borrow_mut().remove(name);
            } else {
                self.set_cookie(name, value);
            }
        }
        let bytes = body
            .collect()
            .await
            .expect("a whole body")
            .to_bytes()
            .to_vec();
        Seen::new(path.to_owned(), parts.status, parts.headers, bytes)
    }

    async fn follow(&self, mut seen: Seen) -> Seen {
        for _ in 0..5 {
            if seen.status != StatusCode::SEE_OTHER {
                return seen;
            }
            let location = seen
                .header("location")
                .expect("a redirect says where")
                .to_owned();
            seen = self.send(Method::GET, &location, None, &[]).await;
        }
        panic!("redirects go in circles at {}", seen.path);
    }
}

/// Fields as a form sends them.
pub fn encode(fields: &[(&str, &str)]) -> String {
    fields
        .iter()
        .map(|(name, value)| format!("{}={}", escape(name), escape(value)))
        .collect::<Vec<_>>()
        .join("&")
}

fn unescape(text: &str) -> Vec<u8> {
    let mut bytes = Vec::new();
    let mut rest = text.bytes();
    while let Some(byte) = rest.next() {
        if byte == b'%' {
            let digits = [rest.next().expect("a digit"), rest.next().expect("a digit")];
            let digits = std::str::from_utf8(&digits).expect("ASCII");
            bytes.push(u8::from_str_radix(digits, 16).expect("hexadecimal"));
        } else {
            bytes.push(byte);
        }
    }
    bytes
}

fn escape(text: &str) -> String {
    text.bytes()
        .map(|byte| match byte {
            b'a'..=b'z' | b'A'..=b'Z' | b'0'..=b'9' | b'-' | b'_' | b'.' | b'~' => {
                char::from(byte).to_string()
            }
            _ => format!("%{byte:02X}"),
        })
        .collect()
}

/// The address, the encoded form, and whether the form brings files.
fn fill(seen: &Seen, button: &str, fields: &[(&str, &str)]) -> (String, String, bool) {
    let document = seen.document();
    let all = |css: &str| Selector::parse(css).expect("a selector");
    let buttons = all("button");
    let pressed = document
        .select(&buttons)
        .find(|found| {
            seen_text(found) == button || found.value().attr("aria-label") == Some(button)
        })
        .unwrap_or_else(|| panic!("no button “{button}” on {}:\n{}", seen.path, seen.words()));
    let form = match pressed.value().attr("form") {
        Some(id) => document.select(&all(&format!("form#{id}"))).next(),
        None => pressed
            .ancestors()
            .filter_map(ElementRef::wrap)
            .find(|e| e.value().name() == "form"),
    }
    .unwrap_or_else(|| panic!("button “{button}” is in no form"));

    let mut sent: Vec<(String, String)> = Vec::new();
    let inside = all("input, select, textarea");
    let form_id = form.value().attr("id");
    let members = document
        .select(&inside)
        .filter(|field| match field.value().attr("form") {
            Some(id) => Some(id) == form_id,
            None => field.ancestors().any(|above| above.id() == form.id()),
        });
    for field in members {
        let element = field.value();
        let Some(name) = element.attr("name") else {
            continue;
        };
        if element.attr("disabled").is_some() {
            continue;
        }
        let kind = element.attr("type").unwrap_or("text");
        match element.name() {
            "textarea" => sent.push((
                name.into(),
                field
                    .text()
                    .collect::<String>()
                    .trim_start_matches('\n')
                    .into(),
            )),
            "select" => {
                let options = all("option");
                let chosen = field
                    .select(&options)
                    .find(|option| option.value().attr("selected").is_some())
                    .or_else(|| field.select(&options).next());
                if let Some(option) = chosen {
                    let value = option
                        .value()
                        .attr("value")
                        .map_or_else(|| seen_text(&option), str::to_owned);
                    sent.push((name.into(), value));
                }
            }
            _ if kind == "submit" || kind == "button" || kind == "file" => {}
            _ if kind == "checkbox" || kind == "radio" => {
                if element.attr("checked").is_some() {
                    sent.push((name.into(), element.attr("value").unwrap_or("on").into()));
                }
            }
            _ => sent.push((name.into(), element.attr("value").unwrap_or("").into())),
        }
    }
    for (name, value) in fields {
        let exists = form_has(&document, &form, form_id, name);
        assert!(
            exists,
            "the form with “{button}” on {} has no field “{name}”",
            seen.path
        );
        sent.retain(|(known, _)| known != name);
        // An empty answer to a box means: not ticked.
        sent.push(((*name).into(), (*value).into()));
    }
    if let Some(name) = pressed.value().attr("name") {
        sent.push((
            name.into(),
            pressed.value().attr("value").unwrap_or("").into(),
        ));
    }
    let pairs: Vec<(&str, &str)> = sent.iter().map(|(n, v)| (n.as_str(), v.as_str())).collect();
    let body = encode(&pairs);
    let action = pressed
        .value()
        .attr("formaction")
        .or_else(|| form.value().attr("action"))
        .unwrap_or(&seen.path)
        .to_owned();
    let method = form.value().attr("method").unwrap_or("get");
    assert!(
        method.eq_ignore_ascii_case("post"),
        "the form with “{button}” is a search, open its URL"
    );
    let brings_files = form.value().attr("enctype") == Some("multipart/form-data");
    (action, body, brings_files)
}

fn form_has(
    document: &scraper::Html,
    form: &ElementRef<'_>,
    form_id: Option<&str>,
    name: &str,
) -> bool {
    let selector = Selector::parse(&format!(
        "input[name=\"{name}\"], select[name=\"{name}\"], textarea[name=\"{name}\"]"
    ))
    .expect("a selector");
    document
        .select(&selector)
        .any(|field| match field.value().attr("form") {
            Some(id) => Some(id) == form_id,
            None => field.ancestors().any(|above| above.id() == form.id()),
        })
}

fn seen_text(element: &ElementRef<'_>) -> String {
    element
        .text()
        .collect::<String>()
        .split_whitespace()
        .collect::<Vec<_>>()
        .join(" ")
}
