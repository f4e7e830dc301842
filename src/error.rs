//! What can go wrong besides a rule saying no, and how it is told.
//!
//! A refusal is not an error: it is typed in the slice's rules and shown on the form. What is here gets
//! a page of its own, with a way out, made around it by `app`. What broke inside is logged once and never
//! shown.

use axum::extract::rejection::{PathRejection, QueryRejection};
use axum::http::{HeaderValue, StatusCode, header};
use axum::response::{IntoResponse, Response};

use crate::web::problem;

/// Why a request has no answer of its own.
#[derive(Debug, thiserror::Error)]
pub enum AppError {
    #[error("there is no such {0}")]
    NotFound(&'static str),
    #[error("{0}")]
    BadRequest(String),
    #[error("{0}")]
    Forbidden(String),
    #[error("{0}")]
    Conflict(String),
    #[error("{0}")]
    TooMany(String),
    /// It was here and is used up.
    #[error("{0}")]
    Gone(String),
    /// Too much of one kind of work at once.
    #[error("{0}")]
    Busy(String),
    #[error(transparent)]
    Sqlx(#[from] sqlx::Error),
    #[error(transparent)]
    Broken(#[from] anyhow::Error),
}

/// Why a verb did nothing: a rule said no, or something broke.
#[derive(Debug)]
pub enum NotDone<R> {
    Refused(R),
    Failed(AppError),
}

impl<R> From<AppError> for NotDone<R> {
    fn from(error: AppError) -> Self {
        Self::Failed(error)
    }
}

impl<R> From<sqlx::Error> for NotDone<R> {
    fn from(error: sqlx::Error) -> Self {
        Self::Failed(error.into())
    }
}

impl AppError {
    fn status(&self) -> StatusCode {
        match self {
            AppError::NotFound(_) => StatusCode::NOT_FOUND,
            AppError::BadRequest(_) => StatusCode::BAD_REQUEST,
            AppError::Forbidden(_) => StatusCode::FORBIDDEN,
            AppError::Conflict(_) => StatusCode::CONFLICT,
            AppError::TooMany(_) => StatusCode::TOO_MANY_REQUESTS,
            AppError::Gone(_) => StatusCode::GONE,
            AppError::Busy(_) => StatusCode::SERVICE_UNAVAILABLE,
            AppError::Sqlx(error) => status_of_database(error),
            AppError::Broken(_) => StatusCode::INTERNAL_SERVER_ERROR,
        }
    }
}

/// Disk full (13) is 507; a writer that never came free (5, or the pool's own time-out) is 503; all else is
/// our own fault. Extended codes hold the plain one in their lowest byte.
fn status_of_database(error: &sqlx::Error) -> StatusCode {
    match (error, sqlite_code(error)) {
        (sqlx::Error::PoolTimedOut, _) | (_, Some(5)) => StatusCode::SERVICE_UNAVAILABLE,
        (_, Some(13)) => StatusCode::INSUFFICIENT_STORAGE,
        _ => StatusCode::INTERNAL_SERVER_ERROR,
    }
}

fn sqlite_code(error: &sqlx::Error) -> Option<u32> {
    let code = error.as_database_error()?.code()?;
    code.parse::<u32>().ok().map(|code| code & 0xff)
}

/// Reading or writing failed (10), a file could not be opened (14), or what was read makes no sense (11, 26):
/// nothing that sending the form again will mend by itself.
fn is_of_the_disk(error: &AppError) -> bool {
    match error {
        AppError::Sqlx(error) => matches!(sqlite_code(error), Some(10 | 11 | 14 | 26)),
        _ => false,
    }
}

impl IntoResponse for AppError {
    fn into_response(self) -> Response {
        let status = self.status();
        let sentence = match &self {
            AppError::NotFound(what) => format!("There is no such {what} here."),
            AppError::BadRequest(text)
            | AppError::Forbidden(text)
            | AppError::Conflict(text)
            | AppError::TooMany(text)
            | AppError::Gone(text)
            | AppError::Busy(text) => text.clone(),
            AppError::Sqlx(_) | AppError::Broken(_) => {
                if status == StatusCode::INTERNAL_SERVER_ERROR {
                    tracing::error!(error = ?self, "a request failed");
                } else {
                    tracing::warn!(error = ?self, "the database could not take a request");
                }
                match status {
                    StatusCode::INSUFFICIENT_STORAGE => {
                        "The disk is full. Nothing was lost; reading still works. Make room, then \
                         send the form again."
                    }
                    StatusCode::SERVICE_UNAVAILABLE => {
                        "Too much is going on at once. Wait a moment, then send the form again: it \
                         is recorded once, however often it is sent."
                    }
                    _ if is_of_the_disk(&self) => {
                        "This server could not read or write its disk. What is the matter is in its log: \
                         please tell whoever looks after it. If you sent a form, send it again when the \
                         disk is well: it is recorded once, however often it is sent."
                    }
                    _ => {
                        "Something broke on our side and was written to the log. If you sent a form, \
                         go back and send it again: it is recorded once, however often it is sent."
                    }
                }
                .to_owned()
            }
        };
        let mut response = problem::answer(status, sentence);
        if matches!(self, AppError::Busy(_)) {
            response
                .headers_mut()
                .insert(header::RETRY_AFTER, HeaderValue::from_static("5"));
        }
        response
    }
}

impl From<PathRejection> for AppError {
    fn from(_: PathRejection) -> Self {
        AppError::NotFound("page")
    }
}

impl From<QueryRejection> for AppError {
    fn from(rejection: QueryRejection) -> Self {
        AppError::BadRequest(format!(
            "The address of this page is not complete: {rejection}."
        ))
    }
}
