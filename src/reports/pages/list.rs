//! All reports of a kit.

use askama::Template;
use axum::extract::State;

use crate::app::App;
use crate::clock::Day;
use crate::error::AppError;
use crate::ids::KitId;
use crate::kits::Kit;
use crate::people::Viewer;
use crate::reports::rules::words;
use crate::reports::{self, Report};
use crate::web::extract::Path;
use crate::web::frame::Frame;
use crate::web::page::Page;

#[derive(Template)]
#[template(path = "reports/index.html")]
pub(super) struct IndexPage {
    frame: Frame,
    kit: Kit,
    reports: Vec<Report>,
    today: Day,
    may_keep: bool,
}

impl IndexPage {
    fn stands(&self, report: &Report) -> String {
        words::stands(report.standing, report.sent_on, self.today)
    }

    fn summary(&self, report: &Report) -> String {
        words::summary(&report.lines)
    }
}

pub(super) async fn index(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(kit): Path<KitId>,
) -> Result<Page<IndexPage>, AppError> {
    let mut db = app.db.read().await?;
    let kit = super::kit(&mut db, kit).await?;
    Ok(Page(IndexPage {
        frame,
        reports: reports::of_kit(&mut db, kit.id).await?,
        today: viewer.today(&app),
        may_keep: viewer.keeps(kit.team),
        kit,
    }))
}
