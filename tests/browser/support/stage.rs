//! A world with its server, and windows onto it.

use std::sync::atomic::{AtomicBool, Ordering};
use std::{env, io::Write};

use fieldstow::app;
use fieldstow::config::PublicUrl;
use fieldstow::lent;
use fieldstow::passes;
use fieldstow::people::viewer;
use fieldstow::serve::{Limits, serve};
use fieldstow::web::layers::{self, Settings};
use tokio::net::TcpListener;
use tokio::sync::{Semaphore, SemaphorePermit};
use tokio::task::JoinHandle;

use super::driver::{self, Driver};
use super::gate::Gate;
use super::window::pictures;
use super::{Browser, Width, Window, World};

/// Browsers are heavy: only so many tests use some at once.
static PLACES: Semaphore = Semaphore::const_new(2);

pub struct Stage {
    pub world: World,
    /// What is between every window and the server.
    pub line: Gate,
    found: driver::Found,
    test: &'static str,
    url: String,
    server: JoinHandle<()>,
    _place: SemaphorePermit<'static>,
}

impl Stage {
    /// An empty world and its server. `None`, loudly, where no browser is installed. `test` names the
    /// folder of its pictures.
    pub async fn set(test: &'static str) -> Option<Self> {
        let found = match driver::find() {
            Ok(found) => found,
            Err(missing) => {
                not_run(test, &missing);
                return None;
            }
        };
        let place = PLACES.acquire().await.expect("never closed");

        // Pictures are of this run.
        let _ = std::fs::remove_dir_all(pictures(test));

        let loopback = ("127.0.0.1", 0);
        let before = TcpListener::bind(loopback).await.expect("a free port");
        let behind = TcpListener::bind(loopback).await.expect("a free port");
        let public_url = PublicUrl::local(before.local_addr().expect("an address").port());
        let bound = behind.local_addr().expect("an address");

        let world = World::at(public_url.to_string()).await;
        let settings = Settings {
            session_cookies: vec![viewer::cookie_name(&world.app).into()],
            ..Settings::new(public_url.to_string(), public_url.hosts(bound))
        };
        let router = layers::stack(app::router(world.app.clone()), &settings);
        let server = tokio::spawn(async move {
            serve(behind, router, Limits::default(), std::future::pending()).await;
        });
        Some(Stage {
            world,
            line: Gate::before(before, bound).await,
            found,
            test,
            url: public_url.to_string(),
            server,
            _place: place,
        })
    }

    /// A window in which this person is signed in.
    pub async fn window(&self, person: &Browser<'_>, width: Width) -> Window {
        let window = self.strangers_window(width).await;
        let name = viewer::cookie_name(&self.world.app);
        let token = person.cookie(name).expect("they are signed in");
        window.keep_cookie(name, &token).await;
        // Whoever opened a helper pass has that in the same browser.
        let helps = passes::cookie_name(&self.world.app);
        if let Some(token) = person.cookie(helps) {
            window.keep_cookie(helps, &token).await;
        }
        let borrows = lent::cookie_name(&self.world.app);
        if let Some(token) = person.cookie(borrows) {
            window.keep_cookie(borrows, &token).await;
        }
        window
    }

    /// The same with JavaScript switched off.
    pub async fn window_without_script(&self, person: &Browser<'_>, width: Width) -> Window {
        let window = self.window(person, width).await;
        window.switch_script_off().await;
        window
    }

    /// A window in which nobody is signed in.
    pub async fn strangers_window(&self, width: Width) -> Window {
        let driver = Driver::start(&self.found).await;
        Window::new(driver, self.url.clone(), self.test, width).await
    }
}

impl Drop for Stage {
    fn drop(&mut self) {
        self.server.abort();
    }
}

/// Something that the tests need is missing: a failure where it is promised, and otherwise said so that
/// nobody takes it for a pass. Written past the test harness, which swallows what passing tests print.
pub fn not_run(what: &str, missing: &str) {
    let sentence = format!("BROWSER TESTS NOT RUN: {missing} ({what})");
    assert!(env::var("CI").as_deref() != Ok("true"), "{sentence}");
    static SAID: AtomicBool = AtomicBool::new(false);
    let mut out = std::io::stderr();
    if !SAID.swap(true, Ordering::Relaxed) {
        let frame = "!".repeat(sentence.len());
        let _ = writeln!(out, "\n{frame}\n{sentence}\n{frame}");
    } else {
        let _ = writeln!(out, "{sentence}");
    }
}
