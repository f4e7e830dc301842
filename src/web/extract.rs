//! Extractors that fail with our own pages.

use axum::body::Bytes;
use axum::extract::{FromRequest, FromRequestParts, Request};
use axum_extra::extract::FormRejection;
use serde::de::DeserializeOwned;

use crate::error::AppError;
use crate::ids::FormId;
use crate::receipts::Sent;
use crate::secret;

/// `axum::extract::Path`, failing with a page.
#[derive(FromRequestParts)]
#[from_request(via(axum::extract::Path), rejection(AppError))]
pub struct Path<T>(pub T);

/// `axum::extract::Query`, failing with a page.
#[derive(FromRequestParts)]
#[from_request(via(axum::extract::Query), rejection(AppError))]
pub struct Query<T>(pub T);

/// The fields of a form that says nothing but "do it".
#[derive(serde::Deserialize)]
pub struct Nothing {}

/// A form and the id it carried. Repeated fields become a `Vec`.
pub struct Form<T> {
    pub sent: Sent,
    pub fields: T,
}

impl<S, T> FromRequest<S> for Form<T>
where
    S: Send + Sync,
    T: DeserializeOwned,
{
    type Rejection = AppError;

    async fn from_request(request: Request, state: &S) -> Result<Self, AppError> {
        let (parts, body) = request.into_parts();
        let mut signed = parts.uri.path().as_bytes().to_vec();
        let body = Bytes::from_request(Request::from_parts(parts.clone(), body), state)
            .await
            .map_err(|_| AppError::BadRequest("What was sent is too long, or broke off.".into()))?;
        signed.push(0);
        signed.extend_from_slice(&body);
        let sent = Sent {
            id: form_id(&parts, &body, state).await?,
            hash: secret::hash(&signed),
        };
        let fields = parse(parts, body, state).await?;
        Ok(Self { sent, fields })
    }
}

#[derive(serde::Deserialize)]
struct OnlyFormId {
    form_id: FormId,
}

async fn form_id<S: Send + Sync>(
    parts: &axum::http::request::Parts,
    body: &Bytes,
    state: &S,
) -> Result<FormId, AppError> {
    let request = Request::from_parts(parts.clone(), body.clone().into());
    axum_extra::extract::Form::<OnlyFormId>::from_request(request, state)
        .await
        .map(|form| form.0.form_id)
        .map_err(|_| {
            AppError::BadRequest(
                "The form came without its number. Open the page anew and send it again.".into(),
            )
        })
}

async fn parse<S: Send + Sync, T: DeserializeOwned>(
    parts: axum::http::request::Parts,
    body: Bytes,
    state: &S,
) -> Result<T, AppError> {
    let request = Request::from_parts(parts, body.into());
    axum_extra::extract::Form::<T>::from_request(request, state)
        .await
        .map(|form| form.0)
        .map_err(|rejection: FormRejection| {
            AppError::BadRequest(format!("The form could not be read: {rejection}."))
        })
}
