//! The bytes of files, as browsers get them: guarded, kept for long, and in a sandbox.

use std::pin::Pin;
use std::task::{Context, Poll};

use axum::body::{Body, Bytes, HttpBody};
use axum::extract::State;
use axum::http::header::{
    CACHE_CONTROL, CONTENT_DISPOSITION, CONTENT_SECURITY_POLICY, CONTENT_TYPE, ETAG, IF_NONE_MATCH,
};
use axum::http::{HeaderMap, HeaderValue, StatusCode};
use axum::response::{IntoResponse, Response};
use hyper::body::{Frame, SizeHint};
use tokio::sync::mpsc;

use crate::app::App;
use crate::error::AppError;
use crate::ids::{FileId, PictureId};
use crate::pictures::{self, files};
use crate::web::extract::Path;

/// A picture never changes under its address. Kept for as long as a session lasts at most; signing out
/// empties the browser's store.
const KEEP: HeaderValue = HeaderValue::from_static("private, max-age=2592000, immutable");
const SANDBOX: HeaderValue = HeaderValue::from_static("sandbox; default-src 'none'");

pub async fn large(
    State(app): State<App>,
    headers: HeaderMap,
    Path(picture): Path<PictureId>,
) -> Result<Response, AppError> {
    serve(&app, &headers, picture, false).await
}

pub async fn thumb(
    State(app): State<App>,
    headers: HeaderMap,
    Path(picture): Path<PictureId>,
) -> Result<Response, AppError> {
    serve(&app, &headers, picture, true).await
}

async fn serve(
    app: &App,
    asked: &HeaderMap,
    picture: PictureId,
    small: bool,
) -> Result<Response, AppError> {
    let mut db = app.db.read().await?;
    let (file, sha256) = pictures::file_of(&mut db, picture, small)
        .await?
        .ok_or_else(|| AppError::Gone("This picture was erased for good.".into()))?;
    let headers = file_headers(
        "image/jpeg",
        "inline; filename=\"picture.jpg\"",
        &sha256,
        KEEP,
    )?;
    if asked.get(IF_NONE_MATCH) == headers.get(ETAG) {
        return Ok((StatusCode::NOT_MODIFIED, headers).into_response());
    }
    let bytes = files::read(&mut db, file).await?;
    Ok((headers, bytes).into_response())
}

/// The headers of somebody's file: what it is, how long it is kept, its mark, and a sandbox around it.
pub fn file_headers(
    kind: &'static str,
    disposition: &str,
    sha256: &[u8],
    keep: HeaderValue,
) -> Result<HeaderMap, AppError> {
    let mark: String = sha256.iter().map(|byte| format!("{byte:02x}")).collect();
    let value = |text: &str| HeaderValue::from_str(text).map_err(anyhow::Error::new);
    Ok(HeaderMap::from_iter([
        (CONTENT_TYPE, HeaderValue::from_static(kind)),
        (CONTENT_DISPOSITION, value(disposition)?),
        (CACHE_CONTROL, keep),
        (ETAG, value(&format!("\"{mark}\""))?),
        (CONTENT_SECURITY_POLICY, SANDBOX),
    ]))
}

/// A large file as a body, read piece by piece as fast as the other side takes it. No connection to the
/// database is held while a slow line is waited for.
pub fn streamed(app: &App, file: FileId, size: i64) -> Body {
    let (send, pieces) = mpsc::channel(1);
    let db = app.db.clone();
    tokio::spawn(async move {
        for n in 0.. {
            let piece = async { files::chunk(&mut *db.read().await?, file, n).await }.await;
            let is_last = !matches!(&piece, Ok(Some(_)));
            let piece = piece.transpose();
            // An error goes to the other side as a body that breaks off.
            let Some(piece) = piece else { return };
            if send.send(piece.map(Bytes::from)).await.is_err() || is_last {
                return;
            }
        }
    });
    Body::new(Pieces {
        pieces,
        left: u64::try_from(size).unwrap_or(0),
    })
}

struct Pieces {
    pieces: mpsc::Receiver<sqlx::Result<Bytes>>,
    left: u64,
}

impl HttpBody for Pieces {
    type Data = Bytes;
    type Error = sqlx::Error;

    fn poll_frame(
        mut self: Pin<&mut Self>,
        context: &mut Context<'_>,
    ) -> Poll<Option<sqlx::Result<Frame<Bytes>>>> {
        self.pieces.poll_recv(context).map(|piece| {
            let piece = piece?;
            if let Ok(bytes) = &piece {
                self.left = self.left.saturating_sub(bytes.len() as u64);
            }
            Some(piece.map(Frame::data))
        })
    }

    fn is_end_stream(&self) -> bool {
        self.left == 0
    }

    fn size_hint(&self) -> SizeHint {
        SizeHint::with_exact(self.left)
    }
}
