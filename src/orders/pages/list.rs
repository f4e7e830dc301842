//! All order lines of the viewer's teams: what waits, what is on order, and what came of the others.

use std::collections::HashMap;

use askama::Template;
use axum::extract::State;

use crate::app::App;
use crate::clock::Day;
use crate::error::AppError;
use crate::ids::{KitId, PartId};
use crate::orders::rules::standing::Standing;
use crate::orders::{self, Line};
use crate::people::Viewer;
use crate::web::frame::Frame;
use crate::web::page::Page;

/// Lines that are done with on a page.
const DONE: usize = 50;

#[derive(Template)]
#[template(path = "orders/index.html")]
pub(super) struct IndexPage {
    frame: Frame,
    today: Day,
    waiting: Vec<Line>,
    ordered: Vec<Line>,
    done: Vec<Line>,
    /// Why what is open of a part of a kit may not be needed any more.
    needless: HashMap<(KitId, PartId), String>,
    keeps_some: bool,
}

impl IndexPage {
    fn more(&self, line: &Line) -> String {
        let mut text = line.stands(self.today);
        if let Some(day) = line.brief.needed_on.filter(|_| line.standing.is_open()) {
            text.push_str(&format!(" Needed by {}.", day.words()));
        }
        text
    }

    fn needless(&self, line: &Line) -> Option<&str> {
        let of = (line.brief.kit, line.brief.part);
        self.needless.get(&of).map(String::as_str)
    }

    fn is_late(&self, line: &Line) -> bool {
        line.standing.is_late(self.today)
    }
}

pub(super) async fn index(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
) -> Result<Page<IndexPage>, AppError> {
    let mut db = app.db.read().await?;
    let today = viewer.today(&app);
    let mut lines = Vec::new();
    for membership in viewer.memberships() {
        lines.extend(orders::of_team(&mut db, membership.team).await?);
    }
    let mut open: HashMap<(KitId, PartId), Vec<Line>> = HashMap::new();
    for line in lines.iter().filter(|line| line.standing.is_open()) {
        let of = (line.brief.kit, line.brief.part);
        open.entry(of).or_default().push(line.clone());
    }
    let mut needless = HashMap::new();
    for ((kit, part), open) in open {
        if let Some(why) = orders::needless(&mut db, kit, part, &open).await? {
            needless.insert((kit, part), why);
        }
    }
    let (mut waiting, mut ordered, mut done) = (Vec::new(), Vec::new(), Vec::new());
    for line in lines {
        match line.standing {
            Standing::Waiting { .. } => waiting.push(line),
            Standing::Ordered { .. } => ordered.push(line),
            Standing::Arrived | Standing::CalledOff => done.push(line),
        }
    }
    // What is needed first stands first; late ones before everything.
    let soon = |line: &Line| (line.brief.needed_on.is_none(), line.brief.needed_on);
    waiting.sort_by_key(soon);
    ordered.sort_by_key(|line| (!line.standing.is_late(today), soon(line)));
    done.truncate(DONE);
    Ok(Page(IndexPage {
        frame,
        today,
        waiting,
        ordered,
        done,
        needless,
        keeps_some: viewer.memberships().iter().any(|of| of.role.keeps()),
    }))
}
