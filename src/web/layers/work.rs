//! How a request is worked on: how long, how many at once, and never cut in the middle of a write.

use std::any::Any;
use std::pin::Pin;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::task::{Context, Poll};
use std::time::{Duration, Instant};

use axum::body::{Body, Bytes, HttpBody};
use axum::extract::{MatchedPath, Request, State};
use axum::http::{HeaderValue, Method, StatusCode, header};
use axum::middleware::Next;
use axum::response::Response;
use hyper::body::{Frame, SizeHint};
use tokio::sync::{OwnedSemaphorePermit, Semaphore, watch};
use tokio::time::{Sleep, sleep, timeout};
use tracing::Instrument;

use crate::web::problem::answer;

/// GET and HEAD only read, whatever they are sent to; everything else may write.
fn only_reads(method: &Method) -> bool {
    matches!(*method, Method::GET | Method::HEAD)
}

/// Counts the writes that run in tasks of their own.
///
/// Such a task outlives its connection, so whoever stops the server asks here before closing the
/// database.
#[derive(Clone)]
pub struct Writes(Arc<watch::Sender<usize>>);

impl Default for Writes {
    fn default() -> Self {
        Writes(Arc::new(watch::Sender::new(0)))
    }
}

impl Writes {
    /// Waits until no write is under way; `false` if some still were after `patience`.
    pub async fn finished(&self, patience: Duration) -> bool {
        let mut under_way = self.0.subscribe();
        timeout(patience, under_way.wait_for(|count| *count == 0))
            .await
            .is_ok()
    }

    fn begin(&self) -> WriteUnderWay {
        self.0.send_modify(|count| *count += 1);
        WriteUnderWay(self.clone())
    }
}

struct WriteUnderWay(Writes);

impl Drop for WriteUnderWay {
    fn drop(&mut self) {
        self.0.0.send_modify(|count| *count -= 1);
    }
}

/// What [`unsafe_in_own_task`] needs.
#[derive(Clone)]
pub struct OwnTask {
    writes: Writes,
    patience: Duration,
    file_time: Duration,
}

impl OwnTask {
    /// A form with a file may take `file_time` to arrive besides.
    pub fn new(writes: Writes, patience: Duration, file_time: Duration) -> Self {
        OwnTask {
            writes,
            patience,
            file_time,
        }
    }

    fn patience(&self, request: &Request) -> Duration {
        if brings_a_file(request) {
            self.patience + self.file_time
        } else {
            self.patience
        }
    }
}

fn brings_a_file(request: &Request) -> bool {
    request
        .headers()
        .get(header::CONTENT_TYPE)
        .is_some_and(|kind| kind.as_bytes().starts_with(b"multipart/form-data"))
}

/// Runs everything that may write in a task of its own and waits for it.
///
/// When a client hangs up, hyper drops the future of its request wherever it stands; a commit
/// may then have happened or not. The task goes on to its end, so a write is whole or refused.
pub async fn unsafe_in_own_task(
    State(own): State<OwnTask>,
    request: Request,
    next: Next,
) -> Response {
    if only_reads(request.method()) {
        return next.run(request).await;
    }
    let patience = own.patience(&request);
    let under_way = own.writes.begin();
    let place = request.extensions().get::<Place>().cloned();
    let work = async move {
        let response = next.run(request).await;
        drop((under_way, place));
        response
    };
    match timeout(patience, tokio::spawn(work.in_current_span())).await {
        Ok(Ok(response)) => response,
        Ok(Err(broken)) => {
            tracing::error!(%broken, "a write did not come to its end");
            answer(StatusCode::INTERNAL_SERVER_ERROR, BROKE)
        }
        Err(_) => busy(
            "This takes longer than it should and is still being worked on. Look whether it was \
             recorded; sending the same form again never records it twice.",
        ),
    }
}

const BROKE: &str = "Something went wrong on our side. Please try again; if it happens again, \
    tell whoever looks after this server.";

/// What a panic in a handler becomes. The panic itself is already in the log.
pub fn after_a_panic(_: Box<dyn Any + Send + 'static>) -> Response {
    tracing::error!("a handler panicked");
    answer(StatusCode::INTERNAL_SERVER_ERROR, BROKE)
}

/// Gives up on a page that takes too long.
///
/// Only reads: giving up drops the work, which must not happen to a write.
pub async fn read_deadline(
    State(patience): State<Duration>,
    request: Request,
    next: Next,
) -> Response {
    if !only_reads(request.method()) {
        return next.run(request).await;
    }
    match timeout(patience, next.run(request)).await {
        Ok(response) => response,
        Err(_) => {
            tracing::warn!("a page took too long and was given up");
            busy("This page takes too long at the moment. Please try again in a few seconds.")
        }
    }
}

fn busy(sentence: &str) -> Response {
    let mut response = answer(StatusCode::SERVICE_UNAVAILABLE, sentence);
    response
        .headers_mut()
        .insert(header::RETRY_AFTER, HeaderValue::from_static("1"));
    response
}

/// The places for requests that are worked on at once.
#[derive(Clone)]
pub struct Places(Arc<Semaphore>);

impl Places {
    pub fn new(count: usize) -> Self {
        Places(Arc::new(Semaphore::new(count)))
    }
}

/// One of them, taken. It travels with the request so that a write whose client hung up keeps it.
#[derive(Clone)]
struct Place(#[expect(dead_code, reason = "held, never read")] Arc<OwnedSemaphorePermit>);

/// Sends a request away at once when all places are taken.
pub async fn few_enough(
    State(places): State<Places>,
    mut request: Request,
    next: Next,
) -> Response {
    let Ok(permit) = places.0.try_acquire_owned() else {
        return busy("Too much is going on at the moment. Please try again in a few seconds.");
    };
    let place = Place(Arc::new(permit));
    request.extensions_mut().insert(place.clone());
    let response = next.run(request).await;
    drop(place);
    response
}

/// How long a form may take to arrive, without and with a file.
#[derive(Clone, Copy)]
pub struct BodyTimes {
    pub form: Duration,
    pub file: Duration,
}

/// Gives what is sent to us a time by which it must be here.
///
/// The clock runs from the header on and is not set back by a trickle. Whatever the handler made
/// of a body that broke off, the person is told what really happened.
pub async fn body_deadline(
    State(times): State<BodyTimes>,
    request: Request,
    next: Next,
) -> Response {
    if only_reads(request.method()) || request.body().is_end_stream() {
        return next.run(request).await;
    }
    let patience = if brings_a_file(&request) {
        times.file
    } else {
        times.form
    };
    let late = Arc::new(AtomicBool::new(false));
    let request = request.map(|body| {
        Body::new(DueBody {
            body,
            due: Box::pin(sleep(patience)),
            late: Arc::clone(&late),
        })
    });
    let response = next.run(request).await;
    let is_error = response.status().is_client_error() || response.status().is_server_error();
    if !(is_error && late.load(Ordering::Relaxed)) {
        return response;
    }
    answer(
        StatusCode::REQUEST_TIMEOUT,
        "What you sent did not arrive in time, so nothing was recorded. \
         Please go back and send it again when the connection is better.",
    )
}

/// A body that fails when it is not complete by its time.
struct DueBody {
    body: Body,
    due: Pin<Box<Sleep>>,
    late: Arc<AtomicBool>,
}

impl HttpBody for DueBody {
    type Data = Bytes;
    type Error = axum::Error;

    fn poll_frame(
        mut self: Pin<&mut Self>,
        context: &mut Context<'_>,
    ) -> Poll<Option<Result<Frame<Bytes>, axum::Error>>> {
        if let Poll::Ready(frame) = Pin::new(&mut self.body).poll_frame(context) {
            return Poll::Ready(frame);
        }
        self.due.as_mut().poll(context).map(|()| {
            self.late.store(true, Ordering::Relaxed);
            Some(Err(axum::Error::new(TooLate)))
        })
    }

    fn is_end_stream(&self) -> bool {
        self.body.is_end_stream()
    }

    fn size_hint(&self) -> SizeHint {
        self.body.size_hint()
    }
}

#[derive(Debug, thiserror::Error)]
#[error("the body did not arrive in time")]
struct TooLate;

/// Writes one line for each request to the log.
///
/// It names the route, never the address: an address may hold a code or an invitation's token.
pub async fn logged(request: Request, next: Next) -> Response {
    if !tracing::enabled!(tracing::Level::DEBUG) {
        return next.run(request).await;
    }
    let route = request
        .extensions()
        .get::<MatchedPath>()
        .map_or_else(|| "no route".to_owned(), |path| path.as_str().to_owned());
    let span = tracing::debug_span!("request", method = %request.method(), route);
    let started = Instant::now();
    let response = next.run(request).instrument(span.clone()).await;
    span.in_scope(|| {
        tracing::debug!(
            status = response.status().as_u16(),
            milliseconds = started.elapsed().as_millis() as u64,
            "answered"
        );
    });
    response
}
