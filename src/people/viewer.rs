//! The person behind a request, found by the session cookie.
//!
//! Looking a session up costs a query, so found ones are kept in memory for as long as nothing is
//! written. When a person was last seen is noted now and then, not at every request.

use std::collections::HashMap;
use std::sync::{Arc, Mutex, PoisonError};

use axum::extract::{FromRequestParts, Request};
use axum::http::request::Parts;
use axum::http::{HeaderMap, StatusCode};
use axum::response::{IntoResponse, Redirect, Response};
use axum_extra::extract::cookie::CookieJar;

use super::access::Standing;
use super::{Role, store};
use crate::app::App;
use crate::clock::{Day, Instant};
use crate::error::AppError;
use crate::ids::{PersonId, SessionId, TeamId};
use crate::secret;
use crate::web::problem;

/// Signed out after this long without a request.
pub const IDLE_MINUTES: i64 = 12 * 60;
/// Signed out after this long in any case.
pub const LONGEST_DAYS: i64 = 30;
const NOTE_SEEN_MINUTES: i64 = 10;

/// A person's place in a team.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Membership {
    pub team: TeamId,
    pub team_name: String,
    pub zone: String,
    pub role: Role,
}

/// Who is looking. Cheap to clone.
#[derive(Debug, Clone)]
pub struct Viewer {
    pub person: PersonId,
    pub session: SessionId,
    inner: Arc<Inner>,
}

#[derive(Debug)]
struct Inner {
    name: String,
    coordinator: bool,
    memberships: Vec<Membership>,
}

impl Viewer {
    /// Somebody who acts under a name without an account: they belong to no team.
    pub fn without_account(person: PersonId, name: &str) -> Self {
        Self {
            person,
            session: SessionId::new(),
            inner: Arc::new(Inner {
                name: name.to_owned(),
                coordinator: false,
                memberships: Vec::new(),
            }),
        }
    }

    pub fn name(&self) -> &str {
        &self.inner.name
    }

    pub fn is_coordinator(&self) -> bool {
        self.inner.coordinator
    }

    /// Their teams, those they keep first.
    pub fn memberships(&self) -> &[Membership] {
        &self.inner.memberships
    }

    /// The team they are here for: the first they keep, else the first they belong to.
    pub fn main_team(&self) -> Option<&Membership> {
        self.inner.memberships.first()
    }

    pub fn role_in(&self, team: TeamId) -> Option<Role> {
        self.memberships()
            .iter()
            .find(|membership| membership.team == team)
            .map(|found| found.role)
    }

    pub fn keeps(&self, team: TeamId) -> bool {
        self.role_in(team).is_some_and(Role::keeps)
    }

    /// The time zone in which dates and times are shown to them.
    pub fn zone(&self) -> &str {
        self.main_team()
            .map_or("UTC", |membership| &membership.zone)
    }

    pub fn today(&self, app: &App) -> Day {
        app.clock.now().day(self.zone())
    }

    /// What they are, as far as access rules ask about a thing of `team`.
    pub fn standing(&self, team: Option<TeamId>) -> Standing {
        Standing {
            coordinator: self.is_coordinator(),
            keeps_some_team: self
                .memberships()
                .iter()
                .any(|membership| membership.role.keeps()),
            works_somewhere: !self.memberships().is_empty(),
            role_there: team.and_then(|team| self.role_in(team)),
            role_beside: None,
            role_holding: None,
        }
    }
}

impl<S: Send + Sync> FromRequestParts<S> for Viewer {
    type Rejection = AppError;

    async fn from_request_parts(parts: &mut Parts, _: &S) -> Result<Self, AppError> {
        parts
            .extensions
            .get::<Viewer>()
            .cloned()
            .ok_or_else(|| AppError::Forbidden("Sign in first.".into()))
    }
}

/// A session as it was read, and when.
#[derive(Clone)]
struct Known {
    viewer: Viewer,
    ends_at: Instant,
    seen_at: Instant,
    noted_at: Instant,
    version: u64,
}

/// The sessions in memory.
#[derive(Default)]
pub struct Sessions(Mutex<HashMap<[u8; 32], Known>>);

/// The name of the cookie. With https the browser itself keeps it to this host and to TLS.
pub fn cookie_name(app: &App) -> &'static str {
    if app.is_https() { "__Host-sid" } else { "sid" }
}

/// The person whose session cookie came with a request, if it still holds.
pub async fn find(app: &App, headers: &HeaderMap) -> Result<Option<Viewer>, AppError> {
    let jar = CookieJar::from_headers(headers);
    let Some(token) = jar.get(cookie_name(app)) else {
        return Ok(None);
    };
    let hash = secret::hash(token.value().as_bytes());
    let now = app.clock.now();
    // Read before the query: if somebody writes meanwhile, the next request looks again.
    let version = app.db.version();

    let known = app
        .sessions
        .0
        .lock()
        .unwrap_or_else(PoisonError::into_inner)
        .get(&hash)
        .cloned();
    let mut known = match known {
        Some(known) if known.version == version => known,
        earlier => {
            let mut db = app.db.read().await?;
            let Some(row) = store::session(&mut db, &hash).await? else {
                app.sessions
                    .0
                    .lock()
                    .unwrap_or_else(PoisonError::into_inner)
                    .remove(&hash);
                return Ok(None);
            };
            let seen_at = earlier.map_or(row.seen_at, |earlier| earlier.seen_at.max(row.seen_at));
            Known {
                viewer: Viewer {
                    person: row.person,
                    session: row.id,
                    inner: Arc::new(Inner {
                        name: row.name,
                        coordinator: row.coordinator,
                        memberships: store::memberships(&mut db, row.person).await?,
                    }),
                },
                ends_at: row.ends_at,
                seen_at,
                noted_at: row.seen_at,
                version,
            }
        }
    };
    if now >= known.ends_at || now >= known.seen_at.plus_minutes(IDLE_MINUTES) {
        return Ok(None);
    }
    known.seen_at = now;
    if now >= known.noted_at.plus_minutes(NOTE_SEEN_MINUTES) {
        known.noted_at = now;
        let db = app.db.clone();
        // Not part of the request: it may wait for the writer.
        tokio::spawn(async move {
            if let Err(error) = store::note_seen(&db, &hash, now).await {
                tracing::warn!(%error, "could not note when a session was last used");
            }
        });
    }
    let viewer = known.viewer.clone();
    app.sessions
        .0
        .lock()
        .unwrap_or_else(PoisonError::into_inner)
        .insert(hash, known);
    Ok(Some(viewer))
}

/// The answer to somebody without a session: the sign-in page, which leads back here. What a form said
/// is kept on that page and can be sent after signing in.
pub async fn sign_in_first(request: Request) -> Response {
    if request.method().is_safe() {
        let then = request
            .uri()
            .path_and_query()
            .map_or("/", |path| path.as_str());
        let query: String = form_encode(then);
        return Redirect::to(&format!("/sign-in?then={query}")).into_response();
    }
    let wants_json = request
        .headers()
        .get(axum::http::header::CONTENT_TYPE)
        .and_then(|value| value.to_str().ok())
        .is_some_and(|value| value.starts_with("application/json"));
    if wants_json {
        return problem::answer(StatusCode::UNAUTHORIZED, "Sign in again; nothing was lost.");
    }
    let mut response = problem::answer(StatusCode::UNAUTHORIZED, "Sign in again to send this.");
    response
        .extensions_mut()
        .insert(HeldRequest(Arc::new(Mutex::new(Some(request)))));
    response
}

/// A form that arrived without a session, on its way to the sign-in page.
#[derive(Clone)]
pub struct HeldRequest(pub Arc<Mutex<Option<Request>>>);

/// A text as a value in a query string.
pub fn form_encode(text: &str) -> String {
    text.bytes()
        .map(|byte| match byte {
            b'a'..=b'z' | b'A'..=b'Z' | b'0'..=b'9' | b'-' | b'_' | b'.' | b'~' | b'/' => {
                char::from(byte).to_string()
            }
            _ => format!("%{byte:02X}"),
        })
        .collect()
}
