//! Signing in and out, and the form that was sent after its session had ended.
//!
//! Such a form is not kept on the server: its fields ride in the sign-in page, and after signing in a page
//! shows them with a button that sends them to where they were going, under the same form id.

use std::time::Duration;

use askama::Template;
use axum::body::{self, Body};
use axum::extract::{DefaultBodyLimit, Extension, FromRequest, State};
use axum::http::{HeaderValue, Method, Request, StatusCode, header};
use axum::response::{IntoResponse, Redirect, Response};
use serde::Deserialize;

use super::form::{Plain, TOO_OFTEN, Visitor, Wrongs, unstored, with_session, without_session};
use crate::app::App;
use crate::error::{AppError, NotDone};
use crate::people::sign_in::{self as verbs, SignInRefused};
use crate::people::viewer::HeldRequest;
use crate::people::{Viewer, rules};
use crate::web::extract::Query;
use crate::web::frame::Frame;
use crate::web::page::Page;

/// The largest form that is held.
const MOST_HELD: usize = 256 * 1024;
/// Encoding an encoded form once more makes its percent signs three characters each.
const MOST_HELD_ENCODED: usize = 3 * MOST_HELD + 16 * 1024;
const HELD_FORM_TIME: Duration = Duration::from_secs(30);

/// A form on its way: where it goes, and what it says as it was sent.
#[derive(Clone, Default)]
struct Held {
    path: String,
    body: String,
}

#[derive(Template)]
#[template(path = "people/sign_in.html")]
struct SignInPage {
    frame: Frame,
    wrongs: Wrongs,
    email: String,
    then: String,
    held: Option<Held>,
    /// A sentence about what was sent.
    sentence: Option<&'static str>,
}

#[derive(Deserialize)]
pub struct Then {
    #[serde(default)]
    then: String,
}

pub async fn show(
    viewer: Option<Extension<Viewer>>,
    frame: Frame,
    Query(query): Query<Then>,
) -> Response {
    let then = rules::own_path(&query.then).unwrap_or("/").to_owned();
    if viewer.is_some() {
        return Redirect::to(&then).into_response();
    }
    unstored(Page(SignInPage {
        frame,
        wrongs: Wrongs::default(),
        email: String::new(),
        then,
        held: None,
        sentence: None,
    }))
}

#[derive(Deserialize)]
pub struct SignInForm {
    #[serde(default)]
    email: String,
    #[serde(default)]
    password: String,
    #[serde(default)]
    then: String,
    #[serde(default)]
    held_path: String,
    #[serde(default)]
    held: String,
}

/// The form of signing in may carry a held form, which is encoded once more.
pub fn room_for_held_form() -> DefaultBodyLimit {
    DefaultBodyLimit::max(MOST_HELD_ENCODED)
}

/// Needs no receipt: signing in twice gives two sessions, of which the browser keeps the later one.
pub async fn sign_in(
    State(app): State<App>,
    viewer: Option<Extension<Viewer>>,
    visitor: Visitor,
    mut frame: Frame,
    Plain(form): Plain<SignInForm>,
) -> Result<Response, AppError> {
    let then = rules::own_path(&form.then).unwrap_or("/").to_owned();
    let held = rules::own_path(&form.held_path).map(|path| Held {
        path: path.to_owned(),
        body: form.held.clone(),
    });
    let before = viewer.as_ref().map(|viewer| &viewer.0);
    let result = if visitor.may_try(&app) {
        verbs::sign_in(&app, &form.email, &form.password, &visitor.device, before).await
    } else {
        return Ok(again(
            frame,
            form.email,
            then,
            held,
            StatusCode::TOO_MANY_REQUESTS,
            TOO_OFTEN,
        ));
    };
    match result {
        Ok(signed_in) => {
            let answer = match held {
                None => unstored(Redirect::to(&then)),
                Some(held) => {
                    frame.person = Some(signed_in.name);
                    held_page(frame, held).await?
                }
            };
            Ok(with_session(&app, &signed_in.token, answer))
        }
        Err(NotDone::Refused(refused)) => {
            let status = match refused {
                SignInRefused::Wrong => StatusCode::UNPROCESSABLE_ENTITY,
                SignInRefused::Throttled(_) => StatusCode::TOO_MANY_REQUESTS,
            };
            let sentence = refused.to_string();
            Ok(again(frame, form.email, then, held, status, &sentence))
        }
        Err(NotDone::Failed(error)) => Err(error),
    }
}

fn again(
    frame: Frame,
    email: String,
    then: String,
    held: Option<Held>,
    status: StatusCode,
    wrong: &str,
) -> Response {
    let page = unstored(Page(SignInPage {
        frame,
        wrongs: Wrongs::whole(wrong),
        email,
        then,
        held,
        sentence: None,
    }));
    (status, page).into_response()
}

/// The sign-in page in answer to a form that came without a session.
pub async fn sign_in_again(frame: Frame, request: HeldRequest) -> Response {
    let request = request
        .0
        .lock()
        .unwrap_or_else(std::sync::PoisonError::into_inner)
        .take();
    let held = match request {
        Some(request) => hold(request).await,
        None => Err("What you sent could not be kept."),
    };
    let (held, sentence) = match held {
        Ok(held) => (Some(held), None),
        Err(sentence) => (None, Some(sentence)),
    };
    let page = SignInPage {
        frame,
        wrongs: Wrongs::default(),
        email: String::new(),
        then: "/".into(),
        held,
        sentence,
    };
    (StatusCode::UNAUTHORIZED, unstored(Page(page))).into_response()
}

/// Takes a form over, or says why not.
async fn hold(request: axum::extract::Request) -> Result<Held, &'static str> {
    let encoded = request
        .headers()
        .get(header::CONTENT_TYPE)
        .is_some_and(|kind| {
            kind.as_bytes()
                .starts_with(b"application/x-www-form-urlencoded")
        });
    if !encoded {
        return Err(
            "Your session had ended. A file cannot be kept over signing in: choose it again.",
        );
    }
    let path = request
        .uri()
        .path_and_query()
        .map_or("", |path| path.as_str());
    let path = rules::own_path(path)
        .ok_or("What you sent could not be kept.")?
        .to_owned();
    let reading = body::to_bytes(request.into_body(), MOST_HELD);
    let body = tokio::time::timeout(HELD_FORM_TIME, reading)
        .await
        .ok()
        .and_then(Result::ok)
        .and_then(|bytes| String::from_utf8(bytes.to_vec()).ok())
        .ok_or("Your session had ended, and what you sent was too long to keep.")?;
    let held = Held { path, body };
    let fields = held
        .fields()
        .await
        .map_err(|_| "What you sent could not be kept.")?;
    // Nobody's password is written into a page.
    if fields.iter().any(|(name, _)| name.contains("password")) {
        return Err("Your session had ended. Nothing was changed; passwords are not kept.");
    }
    Ok(held)
}

impl Held {
    /// The fields, read as any form is read.
    async fn fields(&self) -> Result<Vec<(String, String)>, AppError> {
        let request = Request::builder()
            .method(Method::POST)
            .header(header::CONTENT_TYPE, "application/x-www-form-urlencoded")
            .body(Body::from(self.body.clone()))
            .map_err(|error| AppError::Broken(error.into()))?;
        let form = axum_extra::extract::Form::<Vec<(String, String)>>::from_request(request, &());
        Ok(form.await?.0)
    }
}

#[derive(Template)]
#[template(path = "people/held.html")]
struct HeldPage {
    frame: Frame,
    path: String,
    fields: Vec<(String, String)>,
    /// What a person wrote or chose, without the ids that forms carry.
    wrote: Vec<(String, String)>,
}

async fn held_page(frame: Frame, held: Held) -> Result<Response, AppError> {
    let fields = held.fields().await?;
    let wrote = fields
        .iter()
        .filter(|(_, value)| !value.trim().is_empty() && value.parse::<uuid::Uuid>().is_err())
        .map(|(name, value)| (name.replace('_', " "), value.clone()))
        .collect();
    Ok(unstored(Page(HeldPage {
        frame,
        path: held.path,
        fields,
        wrote,
    })))
}

/// Needs no receipt: who is signed out stays signed out. The browser forgets the pages it stored.
pub async fn sign_out(
    State(app): State<App>,
    viewer: Option<Extension<Viewer>>,
) -> Result<Response, AppError> {
    if let Some(Extension(viewer)) = viewer {
        verbs::sign_out(&app, &viewer).await?;
    }
    let mut response = without_session(&app, unstored(Redirect::to("/sign-in")));
    response.headers_mut().insert(
        "clear-site-data",
        HeaderValue::from_static("\"cache\", \"storage\""),
    );
    Ok(response)
}
