//! How fast pages are, against the least that SQLite and a bare server could do.
//!
//! For each page the benchmark notes which statements answering it runs. The **floor** is a bare server
//! that runs the very same statements on SQLite inside the request's thread, reads every value, and sends
//! the very same bytes. Page and floor are measured in turns within one run, each over three rounds; the
//! median counts. Machines are noisy, so only the ratios mean something.
//!
//! `cargo bench --bench pages` prints them; `-- --seconds 5` measures longer.

mod client;
mod floor;
mod statements;

use std::sync::Arc;
use std::time::Duration;

use axum::Router;
use axum::routing::get;
use fieldstow::app::{self, App};
use fieldstow::clock::SystemClock;
use fieldstow::db::Db;
use fieldstow::demo;
use fieldstow::people::viewer;
use fieldstow::serve::{Limits, serve};
use fieldstow::web::layers::{self, Settings};

const CONNECTIONS: usize = 32;
const ROUNDS: usize = 3;

#[tokio::main]
async fn main() -> anyhow::Result<()> {
    let seconds = seconds_wanted().unwrap_or(2.0);
    let folder = tempfile::tempdir()?;
    let db = Db::open(folder.path()).await?;
    let listener = tokio::net::TcpListener::bind("127.0.0.1:0").await?;
    let host = format!("localhost:{}", listener.local_addr()?.port());
    let public_url = format!("http://{host}");
    let settings = app::Settings {
        public_url: public_url.clone(),
    };
    let app = App::new(db.clone(), Arc::new(SystemClock), settings);
    let filled = demo::fill(&app).await?;

    let cookie = format!("{}={}", viewer::cookie_name(&app), filled.crates_session);
    let pages = [
        ("kit", format!("/kits/{}", filled.counted_kit)),
        ("crate", format!("/places/{}", filled.full_crate)),
        ("where", "/where?q=peg".to_owned()),
        ("today", "/".to_owned()),
    ];

    let layers = Settings {
        session_cookies: vec![viewer::cookie_name(&app).into()],
        in_flight: 4 * CONNECTIONS,
        ..Settings::new(public_url, vec![host.clone()])
    };
    let router = layers::stack(app::router(app.clone()), &layers);
    let ours = listener.local_addr()?;
    tokio::spawn(serve(
        listener,
        router,
        limits(),
        std::future::pending::<()>(),
    ));

    println!("{CONNECTIONS} connections, {ROUNDS} rounds of {seconds} s each, medians");
    println!("page      | ours /s | floor /s | ratio (bar 0.5) | bytes | statements");
    for (name, path) in &pages {
        let request = client::request(path, &host, &cookie, None);
        let watch = statements::watch(&app.db).await?;
        let sample = client::once(ours, &request).await?;
        anyhow::ensure!(sample.status == 200, "{path} answered {}", sample.status);
        let statements = watch.stop(&app.db).await?;
        let floor = floor::serve(
            db.file().to_owned(),
            statements.clone(),
            sample.body.clone(),
        )
        .await?;
        let floor_request = client::request("/", "localhost", "", None);
        let (mut our_rates, mut floor_rates) = (Vec::new(), Vec::new());
        for _ in 0..ROUNDS {
            our_rates.push(client::rate(ours, &request, CONNECTIONS, seconds, 200).await?);
            floor_rates.push(client::rate(floor, &floor_request, CONNECTIONS, seconds, 200).await?);
        }
        let (rate, floor_rate) = (median(our_rates), median(floor_rates));
        println!(
            "{name:9} | {rate:7.0} | {floor_rate:8.0} | {:15.2} | {:5} | {}",
            rate / floor_rate,
            sample.body.len(),
            statements.len()
        );
    }

    unchanged_page(ours, &host, &cookie, seconds).await?;
    Ok(())
}

/// A page that did not change, against a bare server that says "hello".
async fn unchanged_page(
    ours: std::net::SocketAddr,
    host: &str,
    cookie: &str,
    seconds: f64,
) -> anyhow::Result<()> {
    let first = client::once(ours, &client::request("/", host, cookie, None)).await?;
    let tag = first
        .etag
        .ok_or_else(|| anyhow::anyhow!("Today has no tag"))?;
    let request = client::request("/", host, cookie, Some(&tag));
    let hello = tokio::net::TcpListener::bind("127.0.0.1:0").await?;
    let bare = hello.local_addr()?;
    let router = Router::new().route("/", get(async || "hello"));
    tokio::spawn(serve(hello, router, limits(), std::future::pending::<()>()));
    let bare_request = client::request("/", "localhost", "", None);
    let (mut our_rates, mut bare_rates) = (Vec::new(), Vec::new());
    for _ in 0..ROUNDS {
        our_rates.push(client::rate(ours, &request, CONNECTIONS, seconds, 304).await?);
        bare_rates.push(client::rate(bare, &bare_request, CONNECTIONS, seconds, 200).await?);
    }
    let (rate, bare_rate) = (median(our_rates), median(bare_rates));
    println!(
        "unchanged | {rate:7.0} | {bare_rate:8.0} | {:15.2} | (304 against a bare hello)",
        rate / bare_rate
    );
    Ok(())
}

fn limits() -> Limits {
    Limits {
        connections: 4 * CONNECTIONS,
        ..Limits::default()
    }
}

fn median(mut rates: Vec<f64>) -> f64 {
    rates.sort_by(f64::total_cmp);
    rates[rates.len() / 2]
}

fn seconds_wanted() -> Option<f64> {
    let mut arguments = std::env::args().skip_while(|argument| argument != "--seconds");
    arguments
        .nth(1)?
        .parse()
        .ok()
        .filter(|seconds| *seconds > 0.0)
}

/// How long one round may take at most, whatever the server does.
pub const LONGEST: Duration = Duration::from_secs(60);
