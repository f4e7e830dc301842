//! Errors that come from a layer rather than from a page, and how they become pages.

use axum::body::Body;
use axum::extract::{Request, State};
use axum::http::{HeaderMap, StatusCode, header};
use axum::middleware::Next;
use axum::response::Response;

use crate::web::problem::Problem;

/// The link at the end of an error page that nobody drew a frame around.
///
/// It rides in the answer's extensions beside the problem, where the usual way out will not do.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct WayOut {
    pub href: String,
    pub words: String,
}

impl Default for WayOut {
    fn default() -> Self {
        WayOut {
            href: "/".into(),
            words: "Go to Today".into(),
        }
    }
}

/// Draws a page around a problem.
pub type Draw = fn(&Problem, &WayOut) -> String;

fn title(status: StatusCode) -> &'static str {
    match status {
        StatusCode::BAD_REQUEST => "That request could not be read",
        StatusCode::NOT_FOUND => "No such page",
        StatusCode::METHOD_NOT_ALLOWED => "Not done that way",
        StatusCode::REQUEST_TIMEOUT => "It did not arrive in time",
        StatusCode::PAYLOAD_TOO_LARGE => "Too large",
        StatusCode::MISDIRECTED_REQUEST => "Wrong address",
        StatusCode::SERVICE_UNAVAILABLE => "Busy",
        status if status.is_server_error() => "Something broke here",
        _ => "Not done",
    }
}

/// The page drawn when nobody has a better one.
pub fn minimal_page(problem: &Problem, way_out: &WayOut) -> String {
    format!(
        "<!doctype html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n\
         <meta name=\"viewport\" content=\"width=device-width\">\n<title>{title} – Fieldstow</title>\n\
         </head>\n<body>\n<main>\n<h1>{title}</h1>\n<p>{sentence}</p>\n\
         <p><a href=\"{href}\">{words}</a></p>\n</main>\n</body>\n</html>\n",
        title = escaped(title(problem.status)),
        sentence = escaped(&problem.sentence),
        href = escaped(&way_out.href),
        words = escaped(&way_out.words),
    )
}

fn escaped(text: &str) -> String {
    let mut safe = String::with_capacity(text.len());
    for letter in text.chars() {
        match letter {
            '&' => safe.push_str("&amp;"),
            '<' => safe.push_str("&lt;"),
            '>' => safe.push_str("&gt;"),
            '"' => safe.push_str("&quot;"),
            '\'' => safe.push_str("&#39;"),
            _ => safe.push(letter),
        }
    }
    safe
}

/// Draws a page around every [`Problem`] that still has none, and around errors that came as bare text.
///
/// axum and its extractors answer 404, 405, 413 and others with a line of text or nothing at all;
/// a person meeting that has no way out.
pub async fn drawn(State(draw): State<Draw>, request: Request, next: Next) -> Response {
    let mut response = next.run(request).await;
    let found = response.extensions_mut().remove::<Problem>();
    let Some(problem) = found.or_else(|| stray_error(response.status(), response.headers())) else {
        return response;
    };
    let way_out = response.extensions_mut().remove().unwrap_or_default();
    let page = draw(&problem, &way_out);
    let headers = response.headers_mut();
    headers.remove(header::CONTENT_LENGTH);
    headers.insert(
        header::CONTENT_TYPE,
        header::HeaderValue::from_static("text/html; charset=utf-8"),
    );
    response.map(|_| Body::from(page))
}

/// The words for an error that came without a page, or nothing if this is no such error.
pub fn stray_error(status: StatusCode, headers: &HeaderMap) -> Option<Problem> {
    if !(status.is_client_error() || status.is_server_error()) {
        return None;
    }
    let is_bare = match headers.get(header::CONTENT_TYPE) {
        None => true,
        Some(kind) => kind.as_bytes().starts_with(b"text/plain"),
    };
    is_bare.then(|| Problem {
        status,
        sentence: usual_sentence(status).into(),
    })
}

fn usual_sentence(status: StatusCode) -> &'static str {
    match status {
        StatusCode::NOT_FOUND => {
            "There is nothing at this address. It may have been typed wrongly, or the page has moved."
        }
        StatusCode::METHOD_NOT_ALLOWED => {
            "This address cannot be used in that way. Please go to the page and use its own buttons."
        }
        StatusCode::PAYLOAD_TOO_LARGE => {
            "What was sent is larger than this page takes. Nothing was recorded."
        }
        StatusCode::SERVICE_UNAVAILABLE => {
            "Too much is going on at the moment. Please try again in a few seconds."
        }
        status if status.is_server_error() => {
            "Something went wrong on our side. Please try again; if it happens again, tell whoever looks after this server."
        }
        _ => {
            "What was sent could not be understood. Please go back, reload the page and try again."
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_errors_without_a_page_are_drawn_anew() {
        let bare = HeaderMap::new();
        let mut text = HeaderMap::new();
        text.insert("content-type", "text/plain; charset=utf-8".parse().unwrap());
        let mut html = HeaderMap::new();
        html.insert("content-type", "text/html; charset=utf-8".parse().unwrap());

        for (status, headers, drawn) in [
            (StatusCode::OK, &bare, false),
            (StatusCode::SEE_OTHER, &bare, false),
            (StatusCode::NOT_MODIFIED, &bare, false),
            (StatusCode::NOT_FOUND, &bare, true),
            (StatusCode::NOT_FOUND, &text, true),
            (StatusCode::NOT_FOUND, &html, false),
            (StatusCode::UNPROCESSABLE_ENTITY, &html, false),
            (StatusCode::INTERNAL_SERVER_ERROR, &text, true),
        ] {
            assert_eq!(
                stray_error(status, headers).is_some(),
                drawn,
                "{status} {headers:?}"
            );
        }
    }

    #[test]
    fn the_minimal_page_escapes_and_has_a_way_out() {
        let page = minimal_page(
            &Problem {
                status: StatusCode::MISDIRECTED_REQUEST,
                sentence: "<b>\"you\" & 'me'</b>".into(),
            },
            &WayOut::default(),
        );
        assert!(page.contains("&lt;b&gt;&quot;you&quot; &amp; &#39;me&#39;&lt;/b&gt;"));
        assert!(page.contains("<a href=\"/\">Go to Today</a>"));
        assert!(page.contains("<h1>Wrong address</h1>"));
    }
}
