//! `fieldstow serve`: takes the data folder and the port, answers, and stops in good order.

use std::net::SocketAddr;
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::sync::Arc;
use std::time::Duration;

use anyhow::Context;
use axum::Router;
use axum::routing::get;
use tokio::net::TcpListener;

use super::{in_runtime, signals};
use crate::app::{self, App};
use crate::clock::SystemClock;
use crate::config::{ListenOptions, PublicUrl, ServeOptions};
use crate::db::Db;
use crate::lock::DataFolder;
use crate::people::{self, viewer};
use crate::serve::{Limits, serve};
use crate::web::layers::{self, Settings};

/// How long writes may go on once every connection is closed.
const LAST_WRITES: Duration = Duration::from_secs(2);

pub fn run(options: &ServeOptions) -> anyhow::Result<ExitCode> {
    let folder = DataFolder::take(&options.data.data)?;
    let backups = options.backups.folder(folder.path());
    in_runtime(serve_folder(folder.path(), &options.listen, backups))?;
    // The lock is held until nothing can write any more.
    drop(folder);
    Ok(ExitCode::SUCCESS)
}

/// Serves what is in `folder` until somebody asks to stop, and makes backups in another folder, if one is
/// named. The caller holds its lock.
pub async fn serve_folder(
    folder: &Path,
    options: &ListenOptions,
    backups: Option<PathBuf>,
) -> anyhow::Result<()> {
    let asked_to_stop = signals::asked_to_stop().context("signals cannot be listened to")?;
    // The port first: a taken one is said before the data is touched.
    let listener = listen(options.address.address).await?;
    let bound = listener
        .local_addr()
        .context("the listening address is not known")?;
    let public_url = options.url.or_local(bound.port());

    let db = Db::open(folder).await?;
    let mut app = App::new(
        db.clone(),
        Arc::new(SystemClock),
        app::Settings {
            public_url: public_url.to_string(),
        },
    );
    let mut keeping = None;
    if let Some(backups) = backups {
        app = app.with_backups(backups);
        keeping = Some(tokio::spawn(crate::backups::keep_on(app.clone())));
    }
    let settings = Settings {
        session_cookies: vec![viewer::cookie_name(&app).into()],
        draw: app::draw_outside,
        ..Settings::new(public_url.to_string(), public_url.hosts(bound))
    };
    let start_code = people::start_code(&app).await?;
    let router = layers::stack(pages(app), &settings);
    let usual = Limits::default();
    let limits = Limits {
        connections: connections_within(descriptors(), usual.connections),
        connections_per_address: options.connections_per_address,
        ..usual
    };

    greet(folder, bound, &public_url);
    if let Some(code) = start_code {
        say(&format!(
            "Nobody has an account yet. Open {public_url}/start and type this code: {code}"
        ));
        say("It works for 30 minutes; start the program again for another.");
    }
    let stopped = serve(listener, router, limits, asked_to_stop).await;
    // A backup that is under way is left unfinished, and is tidied away at the next start.
    if let Some(keeping) = keeping {
        keeping.abort();
    }
    if !settings.writes.finished(LAST_WRITES).await {
        tracing::error!("a write was still under way at the end and may not be recorded");
    }
    db.close().await;
    tracing::info!(
        requests = stopped.requests,
        connections = stopped.connections,
        cut = stopped.cut,
        "stopped"
    );
    Ok(())
}

/// The pages, and the one address that answers without looking at anybody's session.
fn pages(app: App) -> Router {
    Router::new()
        .route("/healthz", get(async || "well\n"))
        .merge(app::router(app))
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

/// As many connections as wished for, or as many as file descriptors allow.
fn connections_within(descriptors: Option<usize>, wished: usize) -> usize {
    // For the database, its log and readers, the lock, and temporary files.
    const OURS: usize = 64;
    let Some(descriptors) = descriptors else {
        return wished;
    };
    let possible = descriptors.saturating_sub(OURS).max(8);
    if possible < wished {
        tracing::warn!(
            descriptors,
            connections = possible,
            "few file descriptors are allowed (ulimit -n), so fewer connections are taken"
        );
    }
    possible.min(wished)
}

/// How many file descriptors this process may have, where the system tells.
fn descriptors() -> Option<usize> {
    let limits = std::fs::read_to_string("/proc/self/limits").ok()?;
    soft_limit(&limits)
}

/// From "Max open files            1024                 524288               files".
fn soft_limit(limits: &str) -> Option<usize> {
    let line = limits
        .lines()
        .find_map(|line| line.strip_prefix("Max open files"))?;
    line.split_whitespace().next()?.parse().ok()
}

/// A port to propose instead of a taken one.
fn neighbour(port: u16) -> u16 {
    port.checked_add(1).unwrap_or(8765)
}

/// One line for whoever started the program. That nobody reads it is no reason to stop.
pub(super) fn say(line: &str) {
    use std::io::Write;

    let _ = writeln!(std::io::stdout(), "{line}");
}

/// Says where everything is, in the terminal and in the log alike.
fn greet(folder: &Path, bound: SocketAddr, public_url: &PublicUrl) {
    say(&format!("Fieldstow is at {public_url}"));
    say(&format!("Its data is in {}", folder.display()));
    tracing::info!(%bound, %public_url, folder = %folder.display(), "started");
    if !public_url.is_https() && !bound.ip().is_loopback() {
        tracing::warn!(
            "other machines can reach this server without TLS: passwords can be read on the way; \
             put a TLS proxy in front and name its address with --public-url"
        );
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn connections_leave_descriptors_for_the_database() {
        for (descriptors, connections) in [
            (None, 256),
            (Some(1024), 256),
            (Some(320), 256),
            (Some(128), 64),
            (Some(20), 8),
        ] {
            assert_eq!(connections_within(descriptors, 256), connections);
        }
    }

    #[test]
    fn the_limit_of_descriptors_is_read_where_there_is_one() {
        // The form of the lines is the one of proc(5).
        let text = "Limit                     Soft Limit           Hard Limit           Units     \n\
                    Max open files            1024                 524288               files     \n";
        assert_eq!(soft_limit(text), Some(1024));
        let text = text.replace("1024  ", "unlimited");
        assert_eq!(soft_limit(&text), None);
        assert_eq!(soft_limit(""), None);
    }

    #[test]
    fn a_port_is_proposed_even_after_the_last() {
        assert_eq!(neighbour(8765), 8766);
        assert_eq!(neighbour(65535), 8765);
    }
}
