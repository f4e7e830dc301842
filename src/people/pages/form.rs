//! What the forms of this slice share.

use std::net::{IpAddr, SocketAddr};

use axum::extract::{ConnectInfo, FromRequest, FromRequestParts};
use axum::http::request::Parts;
use axum::http::{HeaderValue, StatusCode, header};
use axum::response::{IntoResponse, Response};
use axum_extra::extract::FormRejection;

use crate::app::App;
use crate::error::AppError;
use crate::people::Role;
use crate::people::rules::PeopleRefused;
use crate::people::viewer::{LONGEST_DAYS, cookie_name};
use crate::web::cookie;
use crate::web::form::{self, Choice, Wrong};

/// What has to be put right, and in which field.
#[derive(Default)]
pub struct Wrongs(pub Vec<Wrong>);

impl Wrongs {
    /// The sentence for one field.
    pub fn at(&self, field: &str) -> Option<&str> {
        form::at(&self.0, field)
    }

    pub fn is_empty(&self) -> bool {
        self.0.is_empty()
    }

    /// A sentence about the form as a whole.
    pub fn whole(text: impl Into<String>) -> Self {
        Self(vec![Wrong::at("", text.into())])
    }
}

impl From<Vec<PeopleRefused>> for Wrongs {
    fn from(refused: Vec<PeopleRefused>) -> Self {
        let wrong = |refused: PeopleRefused| Wrong::at(refused.field(), refused);
        Self(refused.into_iter().map(wrong).collect())
    }
}

impl From<PeopleRefused> for Wrongs {
    fn from(refused: PeopleRefused) -> Self {
        vec![refused].into()
    }
}

/// What somebody can be to a team.
pub fn role_choices(chosen: Option<Role>) -> Vec<Choice> {
    [
        (Role::Crew, "crew: counts, moves and reports"),
        (Role::Deputy, "deputy: stands in for the keeper"),
        (Role::Keeper, "keeper: answers for the kits"),
    ]
    .map(|(role, text)| Choice::new(role.word(), text, chosen == Some(role)))
    .into()
}

/// A role as a form sends it.
pub fn role(typed: &str) -> Result<Role, PeopleRefused> {
    Role::ALL
        .into_iter()
        .find(|role| role.word() == typed)
        .ok_or(PeopleRefused::NoRole)
}

/// Zones to choose from; any other of the time zone database can be typed.
pub const ZONES: [&str; 24] = [
    "Africa/Cairo",
    "Africa/Johannesburg",
    "Africa/Lagos",
    "America/Bogota",
    "America/Chicago",
    "America/Denver",
    "America/Halifax",
    "America/Los_Angeles",
    "America/Mexico_City",
    "America/New_York",
    "America/Sao_Paulo",
    "Asia/Dubai",
    "Asia/Kolkata",
    "Asia/Seoul",
    "Asia/Shanghai",
    "Asia/Tokyo",
    "Australia/Sydney",
    "Europe/Athens",
    "Europe/Istanbul",
    "Europe/Lisbon",
    "Europe/London",
    "Europe/Vienna",
    "Pacific/Auckland",
    "UTC",
];

/// A form without an id, for what may be sent again without harm.
#[derive(FromRequest)]
#[from_request(via(axum_extra::extract::Form), rejection(AppError))]
pub struct Plain<T>(pub T);

impl From<FormRejection> for AppError {
    fn from(rejection: FormRejection) -> Self {
        AppError::BadRequest(format!("The form could not be read: {rejection}."))
    }
}

/// Where a request came from.
pub struct Visitor {
    address: Option<IpAddr>,
    /// What the browser says about itself.
    pub device: String,
}

impl Visitor {
    /// Counts a try of something that takes a secret. Answers whether it may go on.
    pub fn may_try(&self, app: &App) -> bool {
        let allowed = self
            .address
            .is_none_or(|address| app.people.addresses.allow(address, app.clock.now()));
        if !allowed {
            tracing::warn!("an address was throttled");
        }
        allowed
    }

    /// The same, as an answer.
    pub fn try_or_wait(&self, app: &App) -> Result<(), AppError> {
        if self.may_try(app) {
            return Ok(());
        }
        Err(AppError::TooMany(TOO_OFTEN.into()))
    }
}

pub const TOO_OFTEN: &str =
    "This was tried very often from your network within a minute. Wait a minute, then try again.";

impl<S: Send + Sync> FromRequestParts<S> for Visitor {
    type Rejection = std::convert::Infallible;

    async fn from_request_parts(parts: &mut Parts, _: &S) -> Result<Self, Self::Rejection> {
        let address = parts.extensions.get::<ConnectInfo<SocketAddr>>();
        let device = parts.headers.get(header::USER_AGENT);
        Ok(Self {
            address: address.map(|from| from.0.ip()),
            device: device
                .and_then(|value| value.to_str().ok())
                .unwrap_or("")
                .to_owned(),
        })
    }
}

/// An answer that no browser stores.
pub fn unstored(answer: impl IntoResponse) -> Response {
    let mut response = answer.into_response();
    response
        .headers_mut()
        .insert(header::CACHE_CONTROL, HeaderValue::from_static("no-store"));
    response
}

/// A page with a link that works once in its address: not stored, and the address told to nobody.
pub fn secret(answer: impl IntoResponse) -> Response {
    let mut response = unstored(answer);
    response.headers_mut().insert(
        header::REFERRER_POLICY,
        HeaderValue::from_static("no-referrer"),
    );
    response
}

/// The form again with what has to be put right.
pub fn refused(page: impl IntoResponse) -> Response {
    (StatusCode::UNPROCESSABLE_ENTITY, unstored(page)).into_response()
}

/// Gives the browser its session.
pub fn with_session(app: &App, token: &str, answer: impl IntoResponse) -> Response {
    set_session(app, token.to_owned(), LONGEST_DAYS * 24 * 60 * 60, answer)
}

/// Takes the session's cookie away.
pub fn without_session(app: &App, answer: impl IntoResponse) -> Response {
    set_session(app, String::new(), 0, answer)
}

fn set_session(app: &App, token: String, age: i64, answer: impl IntoResponse) -> Response {
    let mut response = answer.into_response();
    if let Ok(value) = cookie::secret(cookie_name(app), token, app.is_https(), Some(age)) {
        response.headers_mut().append(header::SET_COOKIE, value);
    }
    response
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::people::rules;

    #[test]
    fn every_zone_on_offer_is_one() {
        for zone in ZONES {
            assert_eq!(rules::zone(zone).as_deref(), Ok(zone));
        }
    }
}
