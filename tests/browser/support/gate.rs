//! The line between browser and server, which a test can cut.

use std::net::SocketAddr;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::{Arc, Mutex};

use tokio::io::copy_bidirectional;
use tokio::net::{TcpListener, TcpStream};
use tokio::task::{JoinHandle, JoinSet};

/// Forwards what comes in on its port to the server. Cut, it drops every connection and listens no more;
/// mended, it listens on the same port again.
pub struct Gate {
    port: u16,
    server: SocketAddr,
    open: Mutex<Option<JoinHandle<()>>>,
    connections: Arc<AtomicUsize>,
}

impl Gate {
    pub async fn before(listener: TcpListener, server: SocketAddr) -> Self {
        let port = listener.local_addr().expect("an address").port();
        let gate = Gate {
            port,
            server,
            open: Mutex::default(),
            connections: Arc::default(),
        };
        gate.forward(listener);
        gate
    }

    /// Ends every connection and refuses new ones.
    pub async fn cut(&self) {
        let open = self.open.lock().expect("no test panics in here").take();
        let forwarding = open.expect("the line is cut already");
        forwarding.abort();
        // Once it is gone, so are its connections and its port.
        let _ = forwarding.await;
    }

    /// Lets connections through again, on the same port.
    pub async fn mend(&self) {
        let listener = TcpListener::bind(("127.0.0.1", self.port))
            .await
            .expect("the port is still ours");
        self.forward(listener);
    }

    /// How many connections came through so far.
    pub fn connections(&self) -> usize {
        self.connections.load(Ordering::Relaxed)
    }

    fn forward(&self, listener: TcpListener) {
        let server = self.server;
        let connections = Arc::clone(&self.connections);
        let forwarding = tokio::spawn(async move {
            // Aborted together with the task that owns them.
            let mut pairs = JoinSet::new();
            loop {
                let Ok((mut near, _)) = listener.accept().await else {
                    continue;
                };
                connections.fetch_add(1, Ordering::Relaxed);
                while pairs.try_join_next().is_some() {}
                pairs.spawn(async move {
                    let mut far = TcpStream::connect(server).await?;
                    copy_bidirectional(&mut near, &mut far).await
                });
            }
        });
        let before = self
            .open
            .lock()
            .expect("no test panics in here")
            .replace(forwarding);
        assert!(before.is_none(), "the line is not cut");
    }
}

impl Drop for Gate {
    fn drop(&mut self) {
        if let Ok(mut open) = self.open.lock()
            && let Some(forwarding) = open.take()
        {
            forwarding.abort();
        }
    }
}
