//! Listens and answers, with a limit on everything a stranger can hold on to.
//!
//! `axum::serve` waits for ever for a request that never comes, so this is our own accept loop
//! over hyper's HTTP/1 connection. HTTP/2 and TLS are left to the proxy in front.
//! What a *request* may take (time, size, how many at once) is the business of `web::layers`.

use std::collections::HashMap;
use std::convert::Infallible;
use std::future::Future;
use std::io;
use std::net::{IpAddr, SocketAddr};
use std::pin::{Pin, pin};
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Arc, Mutex, PoisonError};
use std::task::{Context, Poll};
use std::time::Duration;

use axum::Router;
use axum::body::Body;
use axum::extract::ConnectInfo;
use hyper::body::Incoming;
use hyper::server::conn::http1;
use hyper_util::rt::{TokioIo, TokioTimer};
use tokio::io::{AsyncRead, AsyncReadExt, AsyncWrite, AsyncWriteExt, ReadBuf};
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::{OwnedSemaphorePermit, Semaphore, watch};
use tokio::task::JoinSet;
use tokio::time::{Sleep, sleep, timeout};
use tower::ServiceExt;

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

/// How many connections each address has open.
struct Addresses {
    limit: usize,
    open: Arc<Mutex<HashMap<IpAddr, usize>>>,
}

impl Addresses {
    fn new(limit: usize) -> Self {
        Addresses {
            limit,
            open: Arc::default(),
        }
    }

    /// Counts one more connection from `address`, unless it has too many.
    fn enter(&self, address: IpAddr) -> Option<Counted> {
        // An IPv4 visitor of an IPv6 socket is the same visitor.
        let address = address.to_canonical();
        if address.is_loopback() {
            return Some(Counted(None));
        }
        let mut open = self.open.lock().unwrap_or_else(PoisonError::into_inner);
        let count = open.entry(address).or_insert(0);
        if *count >= self.limit {
            return None;
        }
        *count += 1;
        Some(Counted(Some((Arc::clone(&self.open), address))))
    }
}

/// One counted connection; dropping it counts it out again.
struct Counted(Option<(Arc<Mutex<HashMap<IpAddr, usize>>>, IpAddr)>);

impl Drop for Counted {
    fn drop(&mut self) {
        let Some((open, address)) = self.0.take() else {
            return;
        };
        let mut open = open.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(count) = open.get_mut(&address) {
            *count -= 1;
            if *count == 0 {
                open.remove(&address);
            }
        }
    }
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

/// A socket that gives up when the other side stops taking bytes.
struct Patient {
    stream: TcpStream,
    patience: Duration,
    waiting: Option<Pin<Box<Sleep>>>,
}

impl Patient {
    fn new(stream: TcpStream, patience: Duration) -> Self {
        Patient {
            stream,
            patience,
            waiting: None,
        }
    }

    /// Passes on what a write said, or fails when it has said "not yet" for too long.
    fn within_patience<T>(
        &mut self,
        context: &mut Context<'_>,
        written: Poll<io::Result<T>>,
    ) -> Poll<io::Result<T>> {
        if written.is_ready() {
            self.waiting = None;
            return written;
        }
        let patience = self.patience;
        let waiting = self
            .waiting
            .get_or_insert_with(|| Box::pin(sleep(patience)));
        waiting
            .as_mut()
            .poll(context)
            .map(|()| Err(io::ErrorKind::TimedOut.into()))
    }
}

impl AsyncRead for Patient {
    fn poll_read(
        mut self: Pin<&mut Self>,
        context: &mut Context<'_>,
        buffer: &mut ReadBuf<'_>,
    ) -> Poll<io::Result<()>> {
        Pin::new(&mut self.stream).poll_read(context, buffer)
    }
}

impl AsyncWrite for Patient {
    fn poll_write(
        mut self: Pin<&mut Self>,
        context: &mut Context<'_>,
        bytes: &[u8],
    ) -> Poll<io::Result<usize>> {
        let written = Pin::new(&mut self.stream).poll_write(context, bytes);
        self.within_patience(context, written)
    }

    fn poll_write_vectored(
        mut self: Pin<&mut Self>,
        context: &mut Context<'_>,
        slices: &[io::IoSlice<'_>],
    ) -> Poll<io::Result<usize>> {
        let written = Pin::new(&mut self.stream).poll_write_vectored(context, slices);
        self.within_patience(context, written)
    }

    fn is_write_vectored(&self) -> bool {
        self.stream.is_write_vectored()
    }

    fn poll_flush(mut self: Pin<&mut Self>, context: &mut Context<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.stream).poll_flush(context)
    }

    fn poll_shutdown(mut self: Pin<&mut Self>, context: &mut Context<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.stream).poll_shutdown(context)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_address_is_counted_in_and_out_and_loopback_never() {
        let addresses = Addresses::new(2);
        let phone: IpAddr = "192.0.2.7".parse().unwrap();
        let first = addresses.enter(phone);
        let second = addresses.enter("::ffff:192.0.2.7".parse().unwrap());
        assert!(first.is_some() && second.is_some());
        assert!(addresses.enter(phone).is_none());
        assert!(addresses.enter("192.0.2.8".parse().unwrap()).is_some());
        drop(first);
        let third = addresses.enter(phone);
        assert!(third.is_some());
        drop((second, third));
        assert!(addresses.open.lock().unwrap().is_empty());

        let proxy: IpAddr = "127.0.0.1".parse().unwrap();
        let many: Vec<_> = (0..10).map(|_| addresses.enter(proxy)).collect();
        assert!(many.iter().all(Option::is_some));
    }
}
