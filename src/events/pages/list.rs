//! The events to come, and those that are over.

use askama::Template;
use axum::extract::State;
use serde::Deserialize;

use crate::app::App;
use crate::clock::Day;
use crate::error::AppError;
use crate::events::{self, Event};
use crate::people::Viewer;
use crate::people::access::{Rule, allowed};
use crate::web::extract::Query;
use crate::web::frame::Frame;
use crate::web::page::Page;

/// Events that are over are shown for so many days back, those to come for so many ahead.
const DAYS: i64 = 3 * 366;

#[derive(Template)]
#[template(path = "events/index.html")]
pub(super) struct IndexPage {
    frame: Frame,
    events: Vec<Event>,
    is_past: bool,
    may_plan: bool,
    today: Day,
}

impl IndexPage {
    fn is_going_on(&self, event: &Event) -> bool {
        event.first_on <= self.today && self.today <= event.last_on
    }
}

#[derive(Deserialize)]
pub(super) struct Wanted {
    #[serde(default)]
    show: String,
}

pub(super) async fn index(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Query(wanted): Query<Wanted>,
) -> Result<Page<IndexPage>, AppError> {
    let mut db = app.db.read().await?;
    let today = viewer.today(&app);
    let is_past = wanted.show == "past";
    let mut events = if is_past {
        events::between(&mut db, today.plus_days(-DAYS), today.plus_days(-1)).await?
    } else {
        events::between(&mut db, today, today.plus_days(DAYS)).await?
    };
    events.retain(|event| (event.last_on < today) == is_past);
    if is_past {
        events.reverse();
    }
    Ok(Page(IndexPage {
        frame,
        events,
        is_past,
        may_plan: allowed(Rule::KeepsSomeTeam, Some(viewer.standing(None))),
        today,
    }))
}
