//! Being asked to stop.

use std::io;

/// Waits for the first request to stop; a second one ends the process at once.
///
/// Listening begins when this is called, not when it is first awaited, so that a signal during
/// the start is not lost.
pub fn asked_to_stop() -> io::Result<impl Future<Output = ()>> {
    let mut requests = Requests::listen()?;
    Ok(async move {
        requests.next().await;
        tracing::info!("stopping; what is under way may finish, a second signal stops at once");
        tokio::spawn(async move {
            requests.next().await;
            tracing::error!("stopped at once");
            // Nothing is lost by this that was acknowledged: the database syncs every write.
            // Not `abort`, which would leave a picture of the memory, secrets included, on disk.
            std::process::exit(1);
        });
    })
}

#[cfg(unix)]
struct Requests {
    terminate: tokio::signal::unix::Signal,
    interrupt: tokio::signal::unix::Signal,
}

#[cfg(unix)]
impl Requests {
    fn listen() -> io::Result<Self> {
        use tokio::signal::unix::{SignalKind, signal};
        Ok(Requests {
            terminate: signal(SignalKind::terminate())?,
            interrupt: signal(SignalKind::interrupt())?,
        })
    }

    async fn next(&mut self) {
        tokio::select! {
            _ = self.terminate.recv() => {}
            _ = self.interrupt.recv() => {}
        }
    }
}

#[cfg(not(unix))]
struct Requests;

#[cfg(not(unix))]
impl Requests {
    fn listen() -> io::Result<Self> {
        Ok(Requests)
    }

    async fn next(&mut self) {
        let _ = tokio::signal::ctrl_c().await;
    }
}
