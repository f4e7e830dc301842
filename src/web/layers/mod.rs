//! What every request passes on its way in, and every answer on its way out.
//!
//! [`stack`] puts them around the router in the one order that works; each is a function of its
//! own and tested as such. Nothing here knows a page, a person or the database.

mod answer;
mod headers;
mod origin;
mod work;

pub use answer::{Draw, WayOut, minimal_page, stray_error};
pub use headers::content_security_policy;
pub use work::Writes;

use std::time::Duration;

use axum::Router;
use axum::extract::DefaultBodyLimit;
use axum::middleware::{from_fn, from_fn_with_state};
use tower_http::catch_panic::CatchPanicLayer;
use tower_http::csrf::{CsrfLayer, ProtectionError};

/// What the layers are told from outside. All times are parameters, so that tests need not wait.
#[derive(Clone)]
pub struct Settings {
    /// The only names this server answers to, each with its port where it has one, in lower case.
    pub hosts: Vec<String>,
    /// Where people should go instead when they used another name.
    pub public_url: String,
    /// The public address is https: say so to browsers for a year.
    pub https: bool,
    /// Names of the cookies that mean somebody is signed in.
    pub session_cookies: Vec<String>,
    /// How long a page may take (GET and HEAD).
    pub read_time: Duration,
    /// How long somebody waits for a write before being told that it goes on without them.
    pub write_time: Duration,
    /// How long a form may take to arrive.
    pub body_time: Duration,
    /// The same for a form that brings a file.
    pub file_time: Duration,
    /// The largest body of a form. A route that takes more says so with its own `DefaultBodyLimit`.
    pub body_bytes: usize,
    /// Requests worked on at once; one more is told to come back in a second.
    pub in_flight: usize,
    /// Writes that run in tasks of their own, to be waited for when stopping.
    pub writes: Writes,
    /// Draws the page around a problem that has none yet, because it came from one of the layers.
    pub draw: Draw,
}

impl Settings {
    /// The usual limits for a server that answers to `hosts`.
    pub fn new(public_url: impl Into<String>, hosts: Vec<String>) -> Self {
        let public_url = public_url.into();
        Settings {
            hosts,
            https: public_url.starts_with("https://"),
            public_url,
            session_cookies: vec!["__Host-sid".into(), "sid-lan".into()],
            read_time: Duration::from_secs(10),
            write_time: Duration::from_secs(45),
            body_time: Duration::from_secs(30),
            file_time: Duration::from_secs(120),
            body_bytes: 256 * 1024,
            in_flight: 128,
            writes: Writes::default(),
            draw: minimal_page,
        }
    }
}

/// Puts all layers around `router`, fallbacks included. From the outside in:
///
/// 1. `headers`: nothing leaves without the security headers, whoever answered;
/// 2. `drawn`: an error without a page gets one;
/// 3. `few_enough`: too many at once are sent away before they cost anything;
/// 4. `one_host`: before cross-origin, which trusts the Host header;
/// 5. `cross_origin` in its two halves;
/// 6. `body_deadline`: outside the task, so that the task ends when the body does not come;
/// 7. `unsafe_in_own_task` for writes, `read_deadline` for the rest;
/// 8. a panic becomes a 500, inside the task and inside the deadline;
/// 9. the size of a body, which extractors enforce.
pub fn stack(router: Router, settings: &Settings) -> Router {
    let refuse_cross_origin = CsrfLayer::new()
        .with_rejection_response(|_: ProtectionError| origin::refused_as_cross_origin());
    // `Router::layer` wraps what is there, so the list reads from the inside out.
    router
        .layer(DefaultBodyLimit::max(settings.body_bytes))
        .layer(CatchPanicLayer::custom(work::after_a_panic))
        .layer(from_fn_with_state(settings.read_time, work::read_deadline))
        .layer(from_fn_with_state(
            work::OwnTask::new(
                settings.writes.clone(),
                settings.write_time,
                settings.file_time,
            ),
            work::unsafe_in_own_task,
        ))
        .layer(from_fn_with_state(
            work::BodyTimes {
                form: settings.body_time,
                file: settings.file_time,
            },
            work::body_deadline,
        ))
        .layer(from_fn_with_state(
            origin::SessionCookies::new(&settings.session_cookies),
            origin::session_needs_an_origin,
        ))
        .layer(refuse_cross_origin)
        .layer(from_fn_with_state(
            origin::Hosts::new(&settings.hosts, &settings.public_url),
            origin::one_host,
        ))
        .layer(from_fn_with_state(
            work::Places::new(settings.in_flight),
            work::few_enough,
        ))
        .layer(from_fn_with_state(settings.draw, answer::drawn))
        .layer(from_fn_with_state(
            headers::Headers::new(settings.https),
            headers::headers,
        ))
        .layer(from_fn(work::logged))
}
