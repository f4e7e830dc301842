//! The headers on every answer, errors and static files included.

use std::sync::Arc;

use axum::extract::{Request, State};
use axum::http::{HeaderName, HeaderValue, StatusCode, header};
use axum::middleware::Next;
use axum::response::Response;

const POLICY: &str = "default-src 'none'; script-src 'self'; style-src 'self'; \
    img-src 'self' blob:; connect-src 'self'; font-src 'self'; manifest-src 'self'; \
    worker-src 'self'; form-action 'self'; frame-ancestors 'none'; base-uri 'none'; \
    object-src 'none'; require-trusted-types-for 'script'; trusted-types app";

/// The content security policy of every answer.
pub fn content_security_policy(https: bool) -> String {
    if https {
        format!("{POLICY}; upgrade-insecure-requests")
    } else {
        POLICY.into()
    }
}

/// The fixed headers, made once.
#[derive(Clone)]
pub struct Headers(Arc<[(HeaderName, HeaderValue)]>);

impl Headers {
    pub fn new(https: bool) -> Self {
        let policy = HeaderValue::from_str(&content_security_policy(https))
            .expect("the policy is plain ASCII");
        let mut fixed = vec![
            (header::CONTENT_SECURITY_POLICY, policy),
            (
                header::X_CONTENT_TYPE_OPTIONS,
                HeaderValue::from_static("nosniff"),
            ),
            (
                header::REFERRER_POLICY,
                HeaderValue::from_static("same-origin"),
            ),
            (
                HeaderName::from_static("cross-origin-opener-policy"),
                HeaderValue::from_static("same-origin"),
            ),
            (
                HeaderName::from_static("cross-origin-resource-policy"),
                HeaderValue::from_static("same-origin"),
            ),
            (
                HeaderName::from_static("permissions-policy"),
                HeaderValue::from_static("geolocation=(), microphone=(), camera=(self)"),
            ),
        ];
        if https {
            fixed.push((
                header::STRICT_TRANSPORT_SECURITY,
                HeaderValue::from_static("max-age=31536000; includeSubDomains"),
            ));
        }
        Headers(fixed.into())
    }
}

/// Sets them, and forbids keeping the answer unless the handler decided otherwise.
///
/// A handler may tighten two of them: a second security policy (a sandbox around somebody's file)
/// stays beside ours, since browsers apply both, and a page with a token in its address may send
/// `Referrer-Policy: no-referrer`.
pub async fn headers(State(fixed): State<Headers>, request: Request, next: Next) -> Response {
    let mut response = next.run(request).await;
    let is_unchanged = response.status() == StatusCode::NOT_MODIFIED;
    let headers = response.headers_mut();
    for (name, value) in fixed.0.iter() {
        if name == header::CONTENT_SECURITY_POLICY {
            headers.append(name, value.clone());
        } else if name != header::REFERRER_POLICY
            || headers
                .get(name)
                .is_none_or(|chosen| chosen != "no-referrer")
        {
            headers.insert(name, value.clone());
        }
    }
    // "Unchanged" replaces the headers of the answer the browser kept (RFC 9111, 4.3.4): forbidding it
    // to be kept here would throw that answer away.
    if !is_unchanged {
        headers
            .entry(header::CACHE_CONTROL)
            .or_insert(HeaderValue::from_static("no-store"));
    }
    response
}
