//! A server with a small router on a free port, and a socket that speaks to it byte by byte.

use std::net::SocketAddr;
use std::time::{Duration, Instant};

use axum::Router;
use fieldstow::serve::{Limits, Stopped, serve};
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::oneshot;
use tokio::task::JoinHandle;
use tokio::time::timeout;

/// How much later than its limit something may happen on a busy machine.
pub const SLACK: Duration = Duration::from_secs(1);

pub struct Server {
    pub address: SocketAddr,
    stop: Option<oneshot::Sender<()>>,
    running: JoinHandle<Stopped>,
}

impl Server {
    pub async fn start(router: Router, limits: Limits) -> Server {
        let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
        let address = listener.local_addr().unwrap();
        let (stop, stopped) = oneshot::channel();
        let running = tokio::spawn(serve(listener, router, limits, async {
            let _ = stopped.await;
        }));
        Server {
            address,
            stop: Some(stop),
            running,
        }
    }

    /// Asks the server to stop, without waiting for it.
    pub fn ask_to_stop(&mut self) {
        self.stop.take().expect("asked once").send(()).unwrap();
    }

    pub async fn stopped(mut self) -> Stopped {
        if self.stop.is_some() {
            self.ask_to_stop();
        }
        self.running.await.unwrap()
    }

    pub async fn connect(&self) -> Socket {
        Socket(TcpStream::connect(self.address).await.unwrap())
    }

    /// Sends `request` on a connection of its own and reads the answer to its end.
    pub async fn send(&self, request: &str) -> String {
        let mut socket = self.connect().await;
        socket.write(request).await;
        socket.read_to_close().await
    }
}

pub struct Socket(pub TcpStream);

impl Socket {
    pub async fn write(&mut self, text: &str) {
        self.0.write_all(text.as_bytes()).await.unwrap();
    }

    /// One answer with an empty or known body, on a connection that stays open.
    pub async fn read_some(&mut self) -> String {
        let mut bytes = vec![0; 64 * 1024];
        let count = self.0.read(&mut bytes).await.unwrap();
        String::from_utf8(bytes[..count].to_vec()).unwrap()
    }

    /// All that comes until the server closes. A reset counts as closed.
    pub async fn read_to_close(&mut self) -> String {
        let mut bytes = Vec::new();
        let _ = self.0.read_to_end(&mut bytes).await;
        String::from_utf8(bytes).unwrap()
    }

    /// How long the server keeps this connection open, with what it said until then.
    pub async fn closed_after(&mut self) -> (Duration, String) {
        let started = Instant::now();
        let said = timeout(Duration::from_secs(20), self.read_to_close())
            .await
            .expect("the server never closed the connection");
        (started.elapsed(), said)
    }
}
