//! Who counts at a tally page: a member of the team, or a helper without an account.

use sqlx::SqliteConnection;

use super::super::kit_total::{KitTotal, kit_total};
use super::super::store::{CountSheet, Stint};
use super::moment_in;
use crate::app::App;
use crate::clock::Instant;
use crate::ids::{PartId, StintId, TeamId};
use crate::people::Viewer;

/// Somebody who counts. Whoever lets a helper in has looked that the stint is theirs.
pub struct Counter {
    pub viewer: Viewer,
    zone: String,
    /// Where a helper's stints are; members' are at `/stints`.
    helps_at: Option<&'static str>,
}

impl Counter {
    pub fn member(viewer: Viewer) -> Self {
        Self {
            zone: viewer.zone().to_owned(),
            viewer,
            helps_at: None,
        }
    }

    /// A helper, whose stints have pages under `helps_at`, and whose times are those of the team.
    pub fn helper(viewer: Viewer, zone: String, helps_at: &'static str) -> Self {
        Self {
            viewer,
            zone,
            helps_at: Some(helps_at),
        }
    }

    pub fn is_helper(&self) -> bool {
        self.helps_at.is_some()
    }

    /// May count in the books of a team.
    pub fn works_for(&self, team: TeamId) -> bool {
        self.is_helper() || self.viewer.role_in(team).is_some()
    }

    /// A part over the whole kit, as far as they may see it: a helper sees nothing that others counted.
    pub async fn kit_total(
        &self,
        db: &mut SqliteConnection,
        sheet: &CountSheet,
        stint: &Stint,
        part: PartId,
    ) -> sqlx::Result<Option<KitTotal>> {
        match self.is_helper() {
            true => Ok(None),
            false => kit_total(db, sheet, stint, part).await,
        }
    }

    pub fn zone(&self) -> &str {
        &self.zone
    }

    pub fn moment(&self, app: &App, at: Instant) -> String {
        moment_in(app, &self.zone, at)
    }

    /// The address of a stint.
    pub fn path(&self, stint: StintId) -> String {
        format!("{}/{stint}", self.helps_at.unwrap_or("/stints"))
    }

    /// The address of a line of it.
    pub fn line(&self, stint: StintId, part: PartId) -> String {
        format!("{}?part={part}", self.path(stint))
    }
}
