//! What one connection may take, and how the server stops.

use std::time::{Duration, Instant};

use axum::Router;
use axum::routing::get;
use fieldstow::serve::Limits;
use tokio::io::AsyncWriteExt;
use tokio::net::TcpStream;
use tokio::time::{sleep, timeout};

use crate::support::{SLACK, Server};

const LIMIT: Duration = Duration::from_millis(1000);
const GET: &str = "GET / HTTP/1.1\r\nHost: here\r\n\r\n";
const GET_SLOW: &str = "GET /slow HTTP/1.1\r\nHost: here\r\n\r\n";
const GET_HUNG: &str = "GET /hung HTTP/1.1\r\nHost: here\r\n\r\n";

fn limits() -> Limits {
    Limits {
        header_read: LIMIT,
        answer_stall: LIMIT,
        stop: LIMIT,
        ..Limits::default()
    }
}

fn router() -> Router {
    Router::new()
        .route("/", get(async || "here"))
        .route(
            "/slow",
            get(async || {
                sleep(Duration::from_millis(400)).await;
                "done"
            }),
        )
        .route("/hung", get(std::future::pending::<&'static str>))
        .route("/large", get(async || vec![b'x'; 32 * 1024 * 1024]))
}

#[track_caller]
fn closed_in_time(after: Duration) {
    assert!(after >= LIMIT / 2, "closed already after {after:?}");
    assert!(after <= LIMIT + SLACK, "closed only after {after:?}");
}

#[tokio::test]
async fn a_connection_that_says_nothing_is_closed() {
    let server = Server::start(router(), limits()).await;
    let (after, _) = server.connect().await.closed_after().await;
    closed_in_time(after);
}

#[tokio::test]
async fn half_a_header_is_closed() {
    let server = Server::start(router(), limits()).await;
    let mut socket = server.connect().await;
    socket.write("GET / HTTP/1.1\r\nHost: he").await;
    let (after, _) = socket.closed_after().await;
    closed_in_time(after);
}

#[tokio::test]
async fn a_header_that_dribbles_is_closed() {
    let server = Server::start(router(), limits()).await;
    let socket = server.connect().await;
    let started = Instant::now();
    let (mut read, mut write) = socket.0.into_split();
    let dribble = tokio::spawn(async move {
        write.write_all(b"GET / HTTP/1.1\r\nX: ").await.unwrap();
        while write.write_all(b"x").await.is_ok() {
            sleep(Duration::from_millis(50)).await;
        }
    });
    let mut said = Vec::new();
    let _ = timeout(
        Duration::from_secs(10),
        tokio::io::AsyncReadExt::read_to_end(&mut read, &mut said),
    )
    .await
    .expect("the server never closed the connection");
    closed_in_time(started.elapsed());
    dribble.abort();
}

#[tokio::test]
async fn a_connection_kept_open_after_an_answer_is_closed() {
    let server = Server::start(router(), limits()).await;
    let mut socket = server.connect().await;
    socket.write(GET).await;
    assert!(socket.read_some().await.ends_with("here"));
    // It can be used again before that.
    sleep(LIMIT / 4).await;
    socket.write(GET).await;
    assert!(socket.read_some().await.ends_with("here"));
    let (after, _) = socket.closed_after().await;
    closed_in_time(after);
}

#[tokio::test]
async fn an_answer_nobody_takes_is_given_up() {
    let one_at_a_time = Limits {
        connections: 1,
        ..limits()
    };
    let server = Server::start(router(), one_at_a_time).await;
    let mut lazy = server.connect().await;
    lazy.write("GET /large HTTP/1.1\r\nHost: here\r\n\r\n")
        .await;
    sleep(Duration::from_millis(100)).await;
    // The next visitor has a place only once the lazy one was cut.
    let started = Instant::now();
    let mut next = server.connect().await;
    next.write(GET).await;
    let said = timeout(Duration::from_secs(10), next.read_some())
        .await
        .expect("the lazy connection was never cut");
    assert!(said.ends_with("here"));
    closed_in_time(started.elapsed());
}

#[tokio::test]
async fn headers_that_are_too_large_or_too_many_are_answered_431() {
    let server = Server::start(router(), limits()).await;
    let large = format!(
        "GET / HTTP/1.1\r\nHost: here\r\nX: {}\r\n\r\n",
        "x".repeat(20 * 1024)
    );
    assert!(server.send(&large).await.starts_with("HTTP/1.1 431 "));
    let many = format!(
        "GET / HTTP/1.1\r\nHost: here\r\n{}\r\n",
        "X: x\r\n".repeat(64)
    );
    assert!(server.send(&many).await.starts_with("HTTP/1.1 431 "));
    let just_enough = format!(
        "GET / HTTP/1.1\r\nHost: here\r\nConnection: close\r\n{}\r\n",
        "X: x\r\n".repeat(62)
    );
    assert!(server.send(&just_enough).await.starts_with("HTTP/1.1 200 "));
}

#[tokio::test]
async fn the_door_waits_when_all_places_are_taken() {
    let two = Limits {
        connections: 2,
        ..limits()
    };
    let server = Server::start(router(), two).await;
    let _first = server.connect().await;
    let second = server.connect().await;
    sleep(Duration::from_millis(50)).await;
    let mut third = server.connect().await;
    third.write(GET).await;
    let waited = timeout(Duration::from_millis(300), third.read_some()).await;
    assert!(waited.is_err(), "a third connection was served");
    drop(second);
    let said = timeout(SLACK, third.read_some())
        .await
        .expect("no place was freed");
    assert!(said.ends_with("here"));
}

#[tokio::test]
async fn an_address_with_too_many_connections_is_told_so() {
    // Loopback is not counted, so this needs another address of this machine.
    let Some(address) = other_address_of_this_machine() else {
        eprintln!("NOT RUN: this machine has no address but loopback");
        return;
    };
    let listener = tokio::net::TcpListener::bind((address, 0)).await.unwrap();
    let here = listener.local_addr().unwrap();
    let one = Limits {
        connections_per_address: 1,
        ..limits()
    };
    let (stop, stopped) = tokio::sync::oneshot::channel::<()>();
    let running = tokio::spawn(fieldstow::serve::serve(listener, router(), one, async {
        let _ = stopped.await;
    }));
    let first = TcpStream::connect(here).await.unwrap();
    sleep(Duration::from_millis(50)).await;
    let mut second = crate::support::Socket(TcpStream::connect(here).await.unwrap());
    second.write(GET).await;
    let said = second.read_to_close().await;
    assert!(said.starts_with("HTTP/1.1 503 "), "{said}");
    assert!(said.contains("Retry-After: 1"));
    drop(first);
    sleep(Duration::from_millis(100)).await;
    let mut third = crate::support::Socket(TcpStream::connect(here).await.unwrap());
    third.write(GET).await;
    assert!(third.read_some().await.ends_with("here"));
    stop.send(()).unwrap();
    assert_eq!(running.await.unwrap().turned_away, 1);
}

/// The address this machine would send from; asking sends nothing.
fn other_address_of_this_machine() -> Option<std::net::IpAddr> {
    let socket = std::net::UdpSocket::bind("0.0.0.0:0").ok()?;
    socket.connect("192.0.2.1:9").ok()?;
    let address = socket.local_addr().ok()?.ip();
    (!address.is_loopback() && !address.is_unspecified()).then_some(address)
}

#[tokio::test]
async fn a_request_under_way_finishes_when_the_server_stops() {
    let mut server = Server::start(router(), limits()).await;
    let mut idle = server.connect().await;
    idle.write(GET).await;
    idle.read_some().await;
    let mut silent = server.connect().await;
    let mut busy = server.connect().await;
    busy.write(GET_SLOW).await;
    sleep(Duration::from_millis(100)).await;
    let started = Instant::now();
    server.ask_to_stop();
    let said = busy.read_to_close().await;
    assert!(
        said.starts_with("HTTP/1.1 200 ") && said.ends_with("done"),
        "{said}"
    );
    // Those that wait for nothing are closed at once.
    assert_eq!(idle.read_to_close().await, "");
    assert_eq!(silent.read_to_close().await, "");
    let address = server.address;
    let stopped = server.stopped().await;
    assert!(started.elapsed() < LIMIT);
    assert_eq!(
        (stopped.connections, stopped.requests, stopped.cut),
        (3, 2, 0)
    );
    assert!(
        TcpStream::connect(address).await.is_err(),
        "the port is still open"
    );
}

#[tokio::test]
async fn a_hung_request_is_cut_when_the_time_to_stop_is_up() {
    let mut server = Server::start(router(), limits()).await;
    let mut hung = server.connect().await;
    hung.write(GET_HUNG).await;
    sleep(Duration::from_millis(100)).await;
    let started = Instant::now();
    server.ask_to_stop();
    let stopped = server.stopped().await;
    closed_in_time(started.elapsed());
    assert_eq!(stopped.cut, 1);
    assert_eq!(hung.read_to_close().await, "");
}
