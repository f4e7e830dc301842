//! How long a request may take, how many there may be, and that a write is never cut.

use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::{Duration, Instant};

use axum::Router;
use axum::http::{Method, StatusCode};
use axum::routing::get;
use fieldstow::serve::Limits;
use fieldstow::web::layers::{Settings, stack};
use tokio::time::sleep;
use tower::ServiceExt;

use crate::small_app::{HOST, is_a_page, request, router, send, settings};
use crate::support::{SLACK, Server};

#[tokio::test]
async fn a_page_that_takes_too_long_is_given_up() {
    let quick = Settings {
        read_time: Duration::from_millis(100),
        ..settings()
    };
    let started = Instant::now();
    let answered = send(&quick, request(Method::GET, "/hung")).await;
    assert!(started.elapsed() < Duration::from_millis(100) + SLACK);
    assert_eq!(answered.headers()["retry-after"], "1");
    is_a_page(answered, StatusCode::SERVICE_UNAVAILABLE, "takes too long").await;
}

#[tokio::test]
async fn a_write_that_takes_too_long_goes_on_and_says_so() {
    let quick = Settings {
        write_time: Duration::from_millis(100),
        ..settings()
    };
    let answered = send(&quick, request(Method::POST, "/hung-write")).await;
    is_a_page(
        answered,
        StatusCode::SERVICE_UNAVAILABLE,
        "still being worked on",
    )
    .await;
    assert!(!quick.writes.finished(Duration::from_millis(50)).await);
}

#[tokio::test]
async fn one_request_too_many_is_sent_away_at_once() {
    let two = Settings {
        in_flight: 2,
        ..settings()
    };
    let app = stack(router(), &two);
    let waiting: Vec<_> = (0..2)
        .map(|_| tokio::spawn(app.clone().oneshot(request(Method::GET, "/hung"))))
        .collect();
    sleep(Duration::from_millis(50)).await;
    let started = Instant::now();
    let answered = app
        .clone()
        .oneshot(request(Method::GET, "/"))
        .await
        .unwrap();
    assert!(started.elapsed() < Duration::from_millis(50) + SLACK);
    assert_eq!(answered.headers()["retry-after"], "1");
    is_a_page(
        answered,
        StatusCode::SERVICE_UNAVAILABLE,
        "Too much is going on",
    )
    .await;

    waiting[0].abort();
    sleep(Duration::from_millis(50)).await;
    let answered = app.oneshot(request(Method::GET, "/")).await.unwrap();
    assert_eq!(answered.status(), StatusCode::OK);
}

/// A router whose handlers say how far they came.
#[derive(Clone, Default)]
struct Progress {
    begun: Arc<AtomicUsize>,
    done: Arc<AtomicUsize>,
}

impl Progress {
    fn router(&self) -> Router {
        let progress = self.clone();
        let work = move || {
            let progress = progress.clone();
            async move {
                progress.begun.fetch_add(1, Ordering::SeqCst);
                sleep(Duration::from_millis(300)).await;
                progress.done.fetch_add(1, Ordering::SeqCst);
                "done"
            }
        };
        Router::new().route("/slow", get(work.clone()).post(work))
    }

    fn begun_and_done(&self) -> (usize, usize) {
        (
            self.begun.load(Ordering::SeqCst),
            self.done.load(Ordering::SeqCst),
        )
    }
}

#[tokio::test]
async fn a_cut_connection_cuts_a_read_but_never_a_write() {
    for (method, done) in [("GET", 0), ("POST", 1)] {
        let progress = Progress::default();
        let settings = settings();
        let server = Server::start(stack(progress.router(), &settings), Limits::default()).await;
        let mut client = server.connect().await;
        client
            .write(&format!(
                "{method} /slow HTTP/1.1\r\nHost: {HOST}\r\nContent-Length: 0\r\n\r\n"
            ))
            .await;
        sleep(Duration::from_millis(100)).await;
        assert_eq!(progress.begun_and_done(), (1, 0), "{method}");
        drop(client);
        sleep(Duration::from_millis(400)).await;
        assert_eq!(progress.begun_and_done(), (1, done), "{method}");
    }
}

#[tokio::test]
async fn a_write_whose_client_hung_up_still_takes_its_place() {
    let progress = Progress::default();
    let one = Settings {
        in_flight: 1,
        ..settings()
    };
    let server = Server::start(stack(progress.router(), &one), Limits::default()).await;
    let get = format!("GET /nowhere HTTP/1.1\r\nHost: {HOST}\r\nConnection: close\r\n\r\n");
    let mut client = server.connect().await;
    client
        .write(&format!(
            "POST /slow HTTP/1.1\r\nHost: {HOST}\r\nContent-Length: 0\r\n\r\n"
        ))
        .await;
    sleep(Duration::from_millis(50)).await;
    drop(client);
    sleep(Duration::from_millis(50)).await;
    assert!(server.send(&get).await.starts_with("HTTP/1.1 503 "));
    assert!(one.writes.finished(Duration::from_secs(2)).await);
    assert!(server.send(&get).await.starts_with("HTTP/1.1 404 "));
}

#[tokio::test]
async fn a_write_cut_by_the_stop_can_be_waited_for() {
    let progress = Progress::default();
    let settings = settings();
    let at_once = Limits {
        stop: Duration::from_millis(10),
        ..Limits::default()
    };
    let server = Server::start(stack(progress.router(), &settings), at_once).await;
    let mut client = server.connect().await;
    client
        .write(&format!(
            "POST /slow HTTP/1.1\r\nHost: {HOST}\r\nContent-Length: 0\r\n\r\n"
        ))
        .await;
    sleep(Duration::from_millis(100)).await;
    assert_eq!(server.stopped().await.cut, 1);
    assert_eq!(progress.begun_and_done(), (1, 0));
    assert!(settings.writes.finished(Duration::from_secs(2)).await);
    assert_eq!(progress.begun_and_done(), (1, 1));
}

#[tokio::test]
async fn a_form_that_dribbles_is_given_up_with_the_reason() {
    let quick = Settings {
        body_time: Duration::from_millis(500),
        ..settings()
    };
    let server = Server::start(stack(router(), &quick), Limits::default()).await;
    let mut client = server.connect().await;
    client
        .write(&format!(
            "POST /form HTTP/1.1\r\nHost: {HOST}\r\nContent-Length: 100\r\n\
             Content-Type: application/x-www-form-urlencoded\r\n\r\n"
        ))
        .await;
    let started = Instant::now();
    let dribble = async {
        loop {
            client.write("x").await;
            sleep(Duration::from_millis(100)).await;
        }
    };
    let _ = tokio::time::timeout(Duration::from_millis(450), dribble).await;
    let (_, said) = client.closed_after().await;
    assert!(started.elapsed() < Duration::from_millis(500) + SLACK);
    assert!(said.starts_with("HTTP/1.1 408 "), "{said}");
    assert!(said.contains("did not arrive in time"), "{said}");
}
