//! Where a request comes from, and which name it was sent to.

use std::sync::Arc;

use axum::extract::{Request, State};
use axum::http::{HeaderMap, Method, StatusCode, header};
use axum::middleware::Next;
use axum::response::Response;

use super::WayOut;
use crate::web::problem::answer;

/// The names this server answers to.
#[derive(Clone)]
pub struct Hosts {
    names: Arc<[String]>,
    public_url: Arc<str>,
}

impl Hosts {
    pub fn new(names: &[String], public_url: &str) -> Self {
        Hosts {
            names: names.iter().map(|name| name.to_ascii_lowercase()).collect(),
            public_url: public_url.into(),
        }
    }

    fn include(&self, name: &str) -> bool {
        self.names
            .iter()
            .any(|ours| ours.eq_ignore_ascii_case(name))
    }
}

/// Lets a request in only if it names exactly one host, and that host is us.
///
/// hyper accepts no Host and two of them, where RFC 9112 section 3.2 wants 400. Another name than
/// ours may be a stranger's name that was made to point here (DNS rebinding): the cross-origin
/// rule compares Origin with Host and would be content with it.
pub async fn one_host(State(hosts): State<Hosts>, request: Request, next: Next) -> Response {
    let mut named = request.headers().get_all(header::HOST).iter();
    let (Some(host), None) = (named.next(), named.next()) else {
        return answer(
            StatusCode::BAD_REQUEST,
            "The request must name exactly one host.",
        );
    };
    let host_is_ours = host.to_str().is_ok_and(|host| hosts.include(host));
    // A target in absolute form counts instead of the Host header, so it must be ours as well.
    let target_is_ours = request
        .uri()
        .authority()
        .is_none_or(|authority| hosts.include(authority.as_str()));
    if host_is_ours && target_is_ours {
        return next.run(request).await;
    }
    let mut response = answer(
        StatusCode::MISDIRECTED_REQUEST,
        format!(
            "This server does not go by the name you used. Its address is {}.",
            hosts.public_url
        ),
    );
    response.extensions_mut().insert(WayOut {
        href: hosts.public_url.to_string(),
        words: "Go there".into(),
    });
    response
}

/// What somebody sees when the cross-origin layer turned their request down.
pub fn refused_as_cross_origin() -> Response {
    answer(
        StatusCode::FORBIDDEN,
        "This was sent from a page that is not ours, so nothing was done. \
         Please open the page here and send it from there.",
    )
}

/// The names of the cookies that mean somebody is signed in.
#[derive(Clone)]
pub struct SessionCookies(Arc<[String]>);

impl SessionCookies {
    pub fn new(names: &[String]) -> Self {
        SessionCookies(names.into())
    }

    fn are_in(&self, headers: &HeaderMap) -> bool {
        headers
            .get_all(header::COOKIE)
            .iter()
            .flat_map(|line| line.as_bytes().split(|byte| *byte == b';'))
            .filter_map(|pair| pair.split(|byte| *byte == b'=').next())
            .any(|name| {
                let name = name.trim_ascii();
                self.0.iter().any(|ours| ours.as_bytes() == name)
            })
    }
}

/// Refuses a change with a session cookie whose origin nobody states.
///
/// The layer below this lets such a request pass, because programs send neither header. A program
/// has no session cookie of ours; a browser that has one and says nothing about the origin is too
/// old to be protected.
pub async fn session_needs_an_origin(
    State(cookies): State<SessionCookies>,
    request: Request,
    next: Next,
) -> Response {
    if !is_unexplained(&request, &cookies) {
        return next.run(request).await;
    }
    answer(
        StatusCode::FORBIDDEN,
        "Your browser did not say which page this came from, so nothing was done. \
         Please update the browser or use another one.",
    )
}

fn is_unexplained(request: &Request, cookies: &SessionCookies) -> bool {
    let headers = request.headers();
    let states = |name: &str| headers.get(name).is_some_and(|value| !value.is_empty());
    let is_safe = matches!(
        *request.method(),
        Method::GET | Method::HEAD | Method::OPTIONS
    );
    !is_safe && !states("sec-fetch-site") && !states("origin") && cookies.are_in(headers)
}
