//! The page that says how right a team's books were.

use askama::Template;
use axum::extract::State;

use super::rules::{self, OfCount, OfPart};
use super::store;
use crate::app::App;
use crate::clock::Instant;
use crate::error::AppError;
use crate::ids::TeamId;
use crate::people::access::{Routes, Rule};
use crate::people::{self, Viewer};
use crate::reckon::accuracy::Accuracy;
use crate::web::extract::Path;
use crate::web::frame::Frame;
use crate::web::page::Page;

/// Counts that are looked back at, and parts that are named.
const COUNTS: i64 = 100;
const PARTS: usize = 30;

pub fn routes() -> Routes {
    Routes::new().get("/teams/{team}/accuracy", Rule::Sees, accuracy)
}

#[derive(Template)]
#[template(path = "history/accuracy.html")]
struct AccuracyPage {
    frame: Frame,
    team_name: String,
    all: Option<Accuracy>,
    counts: Vec<OfCount>,
    parts: Vec<OfPart>,
    zone: String,
}

impl AccuracyPage {
    fn heading(&self) -> String {
        match self.all {
            None => "No count to look back at yet".into(),
            Some(all) => format!("{} of {} records were right", all.right, all.records),
        }
    }

    fn percent(&self, accuracy: &Accuracy) -> String {
        format!("{:.1} %", accuracy.percent())
    }

    fn day(&self, at: &Instant) -> String {
        at.day(&self.zone).words()
    }
}

async fn accuracy(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(team): Path<TeamId>,
) -> Result<Page<AccuracyPage>, AppError> {
    let mut db = app.db.read().await?;
    let lines = store::counted(&mut db, team, COUNTS).await?;
    let mut parts = rules::most_wrong(&lines);
    parts.truncate(PARTS);
    Ok(Page(AccuracyPage {
        frame,
        team_name: people::team_name(&mut db, team).await?,
        all: rules::of_all(&lines),
        counts: rules::by_count(&lines),
        parts,
        zone: viewer.zone().to_owned(),
    }))
}
