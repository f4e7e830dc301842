//! `fieldstow serve`: takes the data folder and the port, answers, and stops in good order.

use std::net::SocketAddr;
use std::path::Path;
use std::process::ExitCode;
use std::time::Duration;

use anyhow::Context;
use axum::Router;
use axum::routing::get;
use tokio::net::TcpListener;

use super::{in_runtime, signals};
use crate::config::{ListenOptions, PublicUrl, ServeOptions};
use crate::lock::DataFolder;
use crate::serve::{Limits, serve};
use crate::web::layers::{self, Settings};

/// How long writes may go on once every connection is closed.
const LAST_WRITES: Duration = Duration::from_secs(2);

pub fn run(options: &ServeOptions) -> anyhow::Result<ExitCode> {
    let folder = DataFolder::take(&options.data.data)?;
    in_runtime(serve_folder(folder.path(), &options.listen))?;
    // The lock is held until nothing can write any more.
    drop(folder);
    Ok(ExitCode::SUCCESS)
}

/// Serves what is in `folder` until somebody asks to stop. The caller holds its lock.
pub async fn serve_folder(folder: &Path, options: &ListenOptions) -> anyhow::Result<()> {
    let asked_to_stop = signals::asked_to_stop().context("signals cannot be listened to")?;
    // The port first: a taken one is said before the data is touched.
    let listener = listen(options.address.address).await?;
    let bound = listener
        .local_addr()
        .context("the listening address is not known")?;
    let public_url = options.url.or_local(bound.port());

    let settings = Settings::new(public_url.to_string(), public_url.hosts(bound));
    let router = layers::stack(app(folder, &public_url).await?, &settings);
    let limits = Limits {
        connections_per_address: options.connections_per_address,
        ..Limits::default()
    };

    greet(folder, bound, &public_url);
    let stopped = serve(listener, router, limits, asked_to_stop).await;
    if !settings.writes.finished(LAST_WRITES).await {
        tracing::error!("a write was still under way at the end and may not be recorded");
    }
    tracing::info!(
        requests = stopped.requests,
        connections = stopped.connections,
        cut = stopped.cut,
        "stopped"
    );
    Ok(())
}

/// Opens the database in `folder` and builds the pages over it.
async fn app(_folder: &Path, _public_url: &PublicUrl) -> anyhow::Result<Router> {
    Ok(Router::new().route("/healthz", get(async || "well\n")))
}

async fn listen(address: SocketAddr) -> anyhow::Result<TcpListener> {
    use std::io::ErrorKind;

    let port = address.port();
    TcpListener::bind(address)
        .await
        .map_err(|error| match error.kind() {
            ErrorKind::AddrInUse => anyhow::anyhow!(
                "port {port} is taken by another program; choose another, \
             with --address {} say",
                SocketAddr::new(address.ip(), neighbour(port))
            ),
            ErrorKind::PermissionDenied => anyhow::anyhow!(
                "this user may not listen on port {port}; choose one above 1023 with --address"
            ),
            ErrorKind::AddrNotAvailable => anyhow::anyhow!(
                "{} is not an address of this machine; \
             use 127.0.0.1 for this machine alone or 0.0.0.0 for all its addresses",
                address.ip()
            ),
            _ => anyhow::Error::new(error).context(format!("cannot listen on {address}")),
        })
}

/// A port to propose instead of a taken one.
fn neighbour(port: u16) -> u16 {
    port.checked_add(1).unwrap_or(8765)
}

/// Says where everything is, in the terminal and in the log alike.
fn greet(folder: &Path, bound: SocketAddr, public_url: &PublicUrl) {
    println!("Fieldstow is at {public_url}");
    println!("Its data is in {}", folder.display());
    tracing::info!(%bound, %public_url, folder = %folder.display(), "started");
    if !public_url.is_https() && !bound.ip().is_loopback() {
        tracing::warn!(
            "other machines can reach this server without TLS: passwords can be read on the way; \
             put a TLS proxy in front and name its address with --public-url"
        );
    }
}
