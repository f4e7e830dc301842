//! Listens and answers, with a limit on everything a stranger can hold on to.
//!
//! `axum::serve` waits for ever for a request that never comes, so this is our own accept loop
//! over hyper's HTTP/1 connection. HTTP/2 and TLS are left to the proxy in front.
//! What a *request* may take (time, size, how many at once) is the business of `web::layers`.

mod addresses;
mod patient;

use std::convert::Infallible;
use std::future::Future;
use std::io;
use std::net::SocketAddr;
use std::pin::pin;
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::Duration;

use axum::Router;
use axum::body::Body;
use axum::extract::ConnectInfo;
use hyper::body::Incoming;
use hyper::server::conn::http1;
use hyper_util::rt::{TokioIo, TokioTimer};
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::{OwnedSemaphorePermit, Semaphore, watch};
use tokio::task::JoinSet;
use tokio::time::{sleep, timeout};
use tower::ServiceExt;

use addresses::Addresses;
use patient::Patient;

/// What one connection may take, and how many there may be.
#[derive(Debug, Clone)]
pub struct Limits {
    /// From the first byte awaited to the end of the header. A connection kept open between two
    /// requests waits this long as well; much shorter would race with a person's taps.
    pub header_read: Duration,
    /// Bytes of request line and headers together; above it hyper answers 431. hyper wants at
    /// least 8 KiB.
    pub header_bytes: usize,
    /// Header lines; above it hyper answers 431.
    pub header_lines: usize,
    /// How long an answer may stand still because the other side takes no bytes.
    pub answer_stall: Duration,
    /// Open connections. At the limit nobody else is accepted until one closes.
    pub connections: usize,
    /// Open connections from one address; the next one is answered 503. Loopback is not counted,
    /// because a proxy on this machine carries everybody.
    pub connections_per_address: usize,
    /// How long to rest when the system will not hand out a connection, say for want of file
    /// descriptors.
    pub accept_pause: Duration,
    /// How long requests under way may take once we were asked to stop.
    pub stop: Duration,
}

impl Default for Limits {
    fn default() -> Self {
        Limits {
            header_read: Duration::from_secs(15),
            header_bytes: 16 * 1024,
            header_lines: 64,
            answer_stall: Duration::from_secs(30),
            connections: 256,
            connections_per_address: 16,
            accept_pause: Duration::from_millis(500),
            stop: Duration::from_secs(8),
        }
    }
}

/// What happened between the start and the stop.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Stopped {
    /// Connections accepted, those turned away included.
    pub connections: u64,
    /// Requests handed to the router.
    pub requests: u64,
    /// Connections turned away because their address had too many.
    pub turned_away: u64,
    /// Connections that were still busy when the time to stop was up.
    pub cut: usize,
}

/// Serves `router` on `listener` until `shutdown` is done, then lets what is under way finish.
pub async fn serve(
    listener: TcpListener,
    router: Router,
    limits: Limits,
    shutdown: impl Future<Output = ()>,
) -> Stopped {
    let mut http = http1::Builder::new();
    http.timer(TokioTimer::new())
        .header_read_timeout(limits.header_read)
        .max_buf_size(limits.header_bytes)
        .max_headers(limits.header_lines);

    let door = Door {
        listener,
        places: Arc::new(Semaphore::new(limits.connections)),
        pause: limits.accept_pause,
    };
    let addresses = Addresses::new(limits.connections_per_address);
    let house = House {
        http,
        // Giving the router its state once spares doing it for every request.
        router: router.with_state(()),
        requests: Arc::new(AtomicU64::new(0)),
        answer_stall: limits.answer_stall,
    };
    let (stop, stopping) = watch::channel(false);
    let mut open = JoinSet::new();
    let mut connections = 0;
    let mut turned_away = 0;
    let mut shutdown = pin!(shutdown);

    loop {
        let (stream, peer, place) = tokio::select! {
            biased;
            () = &mut shutdown => break,
            // Finished tasks are taken out as they come, or they would pile up for months.
            Some(_) = open.join_next(), if !open.is_empty() => continue,
            visitor = door.next() => visitor,
        };
        connections += 1;
        match addresses.enter(peer.ip()) {
            Some(counted) => {
                let connection = house.clone().answer(stream, peer, stopping.clone());
                open.spawn(async move {
                    connection.await;
                    drop((place, counted));
                });
            }
            None => {
                turned_away += 1;
                tracing::warn!(
                    address = %peer.ip(),
                    limit = limits.connections_per_address,
                    "too many connections from one address; if this is a proxy, raise the limit"
                );
                open.spawn(async move {
                    turn_away(stream).await;
                    drop(place);
                });
            }
        }
    }

    // The port is free from here on, so that a successor can already bind it.
    drop(door);
    stop.send_replace(true);
    let all_done = async { while open.join_next().await.is_some() {} };
    let cut = match timeout(limits.stop, all_done).await {
        Ok(()) => 0,
        Err(_) => open.len(),
    };
    open.shutdown().await;
    Stopped {
        connections,
        requests: house.requests.load(Ordering::Relaxed),
        turned_away,
        cut,
    }
}

/// Where connections come in.
struct Door {
    listener: TcpListener,
    places: Arc<Semaphore>,
    pause: Duration,
}

impl Door {
    /// The next connection, once there is a place for it.
    ///
    /// Dropped half way it loses nothing: an accepted connection is returned without another await.
    async fn next(&self) -> (TcpStream, SocketAddr, OwnedSemaphorePermit) {
        let place = Arc::clone(&self.places)
            .acquire_owned()
            .await
            .expect("the semaphore is never closed");
        loop {
            match self.listener.accept().await {
                Ok((stream, peer)) => {
                    // Pages are small and each is waited for by somebody.
                    let _ = stream.set_nodelay(true);
                    return (stream, peer, place);
                }
                Err(error) if is_the_visitors(&error) => {}
                Err(error) => {
                    tracing::error!(%error, "cannot accept connections at the moment");
                    sleep(self.pause).await;
                }
            }
        }
    }
}

/// Whether an accept failed because that one visitor was gone already.
fn is_the_visitors(error: &io::Error) -> bool {
    matches!(
        error.kind(),
        io::ErrorKind::ConnectionAborted
            | io::ErrorKind::ConnectionReset
            | io::ErrorKind::ConnectionRefused
            | io::ErrorKind::Interrupted
    )
}

/// What every connection shares.
#[derive(Clone)]
struct House {
    http: http1::Builder,
    router: Router,
    requests: Arc<AtomicU64>,
    answer_stall: Duration,
}

impl House {
    /// Answers one connection until it closes.
    async fn answer(
        self,
        stream: TcpStream,
        peer: SocketAddr,
        mut stopping: watch::Receiver<bool>,
    ) {
        let House {
            http,
            router,
            requests,
            answer_stall,
        } = self;
        let service = hyper::service::service_fn(move |request: hyper::Request<Incoming>| {
            requests.fetch_add(1, Ordering::Relaxed);
            let mut request = request.map(Body::new);
            request.extensions_mut().insert(ConnectInfo(peer));
            let answer = router.clone().oneshot(request);
            async move { Ok::<_, Infallible>(answer.await.unwrap_or_else(|never| match never {})) }
        });
        let socket = TokioIo::new(Patient::new(stream, answer_stall));
        let mut connection = pin!(http.serve_connection(socket, service));
        let ended = tokio::select! {
            ended = connection.as_mut() => ended,
            () = told_to_stop(&mut stopping) => {
                connection.as_mut().graceful_shutdown();
                connection.await
            }
        };
        if let Err(error) = ended {
            // Strangers cut connections all day; only somebody looking for it wants to know.
            tracing::debug!(%peer, %error, "connection ended early");
        }
    }
}

/// Waits until the server is to stop.
async fn told_to_stop(stopping: &mut watch::Receiver<bool>) {
    // A sender that is gone means the same.
    let _ = stopping.wait_for(|stopping| *stopping).await;
}

/// Tells a connection over its address's limit so, and closes it within two seconds.
async fn turn_away(mut stream: TcpStream) {
    const ANSWER: &[u8] = b"HTTP/1.1 503 Service Unavailable\r\n\
        Content-Type: text/plain; charset=utf-8\r\n\
        X-Content-Type-Options: nosniff\r\n\
        Cache-Control: no-store\r\n\
        Retry-After: 1\r\n\
        Connection: close\r\n\
        \r\n\
        Too many connections from your address are open. Please try again in a moment.\n";
    let farewell = async {
        stream.write_all(ANSWER).await?;
        stream.shutdown().await?;
        // Closing while the request is still unread would make the system throw our answer away.
        let mut unread = [0; 1024];
        while stream.read(&mut unread).await? > 0 {}
        io::Result::Ok(())
    };
    let _ = timeout(Duration::from_secs(2), farewell).await;
}
