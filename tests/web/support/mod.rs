//! What tests need to act as people do: a world with accounts, and a browser without script.

#![allow(dead_code, unused_imports)]

pub mod beacon;
mod browser;
mod delivered;
pub mod drawn;
mod examples;
mod seen;
mod stock;

pub use browser::Browser;
pub use examples::route_of;
pub use seen::Seen;

use std::sync::Arc;

use axum::Router;
use fieldstow::app::{self, App, Settings};
use fieldstow::clock::{Clock, FixedClock, Instant, SystemClock};
use fieldstow::db::Db;
use fieldstow::ids::{PersonId, TeamId};
use fieldstow::people::{self, Role};
use tempfile::TempDir;

/// 4 March 2027, 18:00 UTC.
pub const NOW: Instant = Instant(1_804_183_200_000);

/// A running program without a socket, on its own database.
pub struct World {
    pub app: App,
    pub clock: Arc<FixedClock>,
    router: Router,
    _folder: Option<TempDir>,
}

impl World {
    /// An empty database: no account yet.
    pub async fn empty() -> Self {
        let clock = Arc::new(FixedClock::at(NOW));
        Self::with(clock.clone(), clock, "http://localhost:8765".into()).await
    }

    /// The same for a server at `public_url` whose clock goes: `clock` moves nothing in it.
    pub async fn at(public_url: String) -> Self {
        let still = Arc::new(FixedClock::at(NOW));
        Self::with(Arc::new(SystemClock), still, public_url).await
    }

    /// A world whose backups are made in a folder.
    pub async fn backing_up(shelf: std::path::PathBuf) -> Self {
        Self::empty().await.with_backups(shelf)
    }

    /// A world whose database is in a folder that stays.
    pub async fn on(folder: &std::path::Path) -> Self {
        let clock = Arc::new(FixedClock::at(NOW));
        Self::in_folder(clock.clone(), clock, "http://localhost:8765".into(), folder).await
    }

    pub fn with_backups(mut self, shelf: std::path::PathBuf) -> Self {
        self.app = self.app.with_backups(shelf);
        self.router = app::router(self.app.clone());
        self
    }

    async fn with(shown: Arc<dyn Clock>, clock: Arc<FixedClock>, public_url: String) -> Self {
        let folder = tempfile::tempdir().expect("a folder for the test");
        let mut world = Self::in_folder(shown, clock, public_url, folder.path()).await;
        world._folder = Some(folder);
        world
    }

    async fn in_folder(
        shown: Arc<dyn Clock>,
        clock: Arc<FixedClock>,
        public_url: String,
        folder: &std::path::Path,
    ) -> Self {
        let db = Db::open(folder).await.expect("the database opens");
        let app = App::new(db, shown, Settings { public_url });
        let router = app::router(app.clone());
        Self {
            app,
            clock,
            router,
            _folder: None,
        }
    }

    /// A team, by name.
    pub async fn team(&self, name: &str) -> TeamId {
        let mut tx = self.app.db.begin_write().await.unwrap();
        let team = people::add_team(&mut tx, name, "UTC").await.unwrap();
        tx.commit().await.unwrap();
        team
    }

    /// A person of a team, signed in.
    pub async fn person(&self, name: &str, team: TeamId, role: Role) -> Browser<'_> {
        self.account(name, Some((team, role)), false).await.1
    }

    /// A coordinator without a team, signed in.
    pub async fn coordinator(&self, name: &str) -> Browser<'_> {
        self.account(name, None, true).await.1
    }

    /// An account of any kind, and its browser, signed in.
    pub async fn account(
        &self,
        name: &str,
        team: Option<(TeamId, Role)>,
        coordinator: bool,
    ) -> (PersonId, Browser<'_>) {
        let mut tx = self.app.db.begin_write().await.unwrap();
        let person = people::add_person(&self.app, &mut tx, name, None, None, coordinator)
            .await
            .unwrap();
        if let Some((team, role)) = team {
            people::add_member(&self.app, &mut tx, person, team, role)
                .await
                .unwrap();
        }
        let token = people::open_session(&self.app, &mut tx, person, "a test")
            .await
            .unwrap();
        tx.commit().await.unwrap();
        let browser = self.browser();
        browser.set_cookie("sid", &token);
        (person, browser)
    }

    /// A browser of somebody who has not signed in.
    pub fn browser(&self) -> Browser<'_> {
        Browser::new(&self.router)
    }
}
