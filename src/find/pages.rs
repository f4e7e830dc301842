//! The search page, and what a printed code opens.

use std::net::SocketAddr;

use askama::Template;
use axum::Extension;
use axum::extract::{ConnectInfo, FromRequestParts, Request, State};
use axum::http::StatusCode;
use axum::http::request::Parts;
use axum::response::{IntoResponse, Redirect, Response};
use serde::Deserialize;
use uuid::Uuid;

use super::rules::{SHOWN, counted};
use super::tried::{Tried, tried};
use super::{Answer, Group, Question};
use crate::app::App;
use crate::code::{Code, NotACode};
use crate::codes::{self, CodeKind};
use crate::error::AppError;
use crate::people::Viewer;
use crate::people::access::{Routes, Rule};
use crate::people::viewer::{form_encode, sign_in_first};
use crate::web::extract::{Path, Query};
use crate::web::frame::Frame;
use crate::web::page::Page;
use crate::web::problem;

pub fn routes() -> Routes {
    Routes::new()
        .get("/where", Rule::SignedIn, search)
        .get("/c/{code}", Rule::Anyone, open)
        // A QR symbol holds the address in upper case.
        .get("/C/{code}", Rule::Anyone, open)
}

#[derive(Template)]
#[template(path = "find/where.html")]
pub struct WherePage {
    frame: Frame,
    q: String,
    skip: i64,
    answer: Answer,
}

impl WherePage {
    fn is_asked(&self) -> bool {
        !self.q.trim().is_empty()
    }

    fn parts(&self) -> String {
        counted(
            self.answer.parts.len(),
            self.answer.more_parts,
            "part",
            "parts",
        )
    }

    fn places(&self) -> String {
        let (n, more) = (self.answer.places.len(), self.answer.more_places);
        counted(n, more, "crate, bag or place", "crates, bags and places")
    }

    fn kits(&self) -> String {
        counted(self.answer.kits.len(), self.answer.more_kits, "kit", "kits")
    }

    /// The address of the next answers of a group.
    fn more(&self, only: &str) -> String {
        format!(
            "/where?q={}&only={only}&skip={}",
            form_encode(&self.q),
            self.skip + SHOWN
        )
    }

    fn with_spares(&self) -> String {
        format!("/where?q={}&spares=yes", form_encode(&self.q))
    }
}

#[derive(Deserialize, Default)]
#[serde(default)]
struct WhereQuery {
    q: String,
    only: String,
    skip: String,
    spares: String,
}

async fn search(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Query(query): Query<WhereQuery>,
) -> Result<Page<WherePage>, AppError> {
    let only = match query.only.as_str() {
        "parts" => Some(Group::Parts),
        "places" => Some(Group::Places),
        "kits" => Some(Group::Kits),
        _ => None,
    };
    let question = Question {
        typed: query.q.clone(),
        only,
        skip: query.skip.parse().unwrap_or(0).clamp(0, 100_000),
        spares: query.spares == "yes",
    };
    let mut db = app.db.read().await?;
    let answer = super::search(&mut db, &viewer, &question).await?;
    Ok(Page(WherePage {
        frame,
        q: query.q,
        skip: question.skip,
        answer,
    }))
}

/// What a printed code opens: for those who may see the thing, its page; for everybody else, what a crate
/// or bag tells people without an account, or the sign-in page, which leads on to the thing.
async fn open(
    State(app): State<App>,
    viewer: Option<Extension<Viewer>>,
    asker: Asker,
    Path(typed): Path<String>,
    request: Request,
) -> Result<Response, AppError> {
    let (code, kind, subject) = match look_up(&app, &asker, &typed).await? {
        Ok(found) => found,
        Err(miss) => return Ok(miss),
    };
    let inside = || Redirect::to(&format!("/c/{}/inside", code.plain())).into_response();
    let Some(Extension(viewer)) = viewer else {
        return Ok(match kind {
            CodeKind::Place => inside(),
            CodeKind::Kit | CodeKind::Count | CodeKind::Piece => sign_in_first(request).await,
        });
    };
    let mut db = app.db.read().await?;
    if super::may_see(&mut db, &viewer, kind, subject).await? {
        Ok(Redirect::to(&super::address(kind, subject)).into_response())
    } else if kind == CodeKind::Place {
        Ok(inside())
    } else {
        Err(AppError::Forbidden(format!(
            "{code} belongs to another team. Ask its keeper."
        )))
    }
}

/// What bears a code that somebody typed or scanned, or the answer that nothing does. Misses are counted,
/// and too many of them are refused.
pub async fn look_up(
    app: &App,
    asker: &Asker,
    typed: &str,
) -> Result<Result<(Code, CodeKind, Uuid), Response>, AppError> {
    let miss = |code: String| {
        Tried::Missed(problem::answer(
            StatusCode::NOT_FOUND,
            format!("Check the characters of {code}: nothing bears this code."),
        ))
    };
    tried(app, asker, "code", async {
        let code = match Code::parse(typed) {
            Ok(code) => code,
            Err(NotACode::Check(code)) => return Ok(miss(code)),
            Err(NotACode::Length | NotACode::Character(_)) => {
                return Ok(miss(typed.chars().take(20).collect()));
            }
        };
        let mut db = app.db.read().await?;
        Ok(match codes::find(&mut db, &code).await? {
            Some((kind, subject)) => Tried::Opens((code, kind, subject)),
            None => miss(code.to_string()),
        })
    })
    .await
}

/// Whose misses are counted together: a session's, else an address's.
pub struct Asker(pub String);

impl<S: Send + Sync> FromRequestParts<S> for Asker {
    type Rejection = AppError;

    async fn from_request_parts(parts: &mut Parts, _: &S) -> Result<Self, AppError> {
        let session = parts.extensions.get::<Viewer>().map(|v| v.session);
        let address = parts.extensions.get::<ConnectInfo<SocketAddr>>();
        Ok(Self(match (session, address) {
            (Some(session), _) => session.to_string(),
            (None, Some(peer)) => peer.0.ip().to_string(),
            (None, None) => "unknown".into(),
        }))
    }
}
