//! The report to the supplier: on screen, on paper, as text, as a table.

use askama::Template;
use axum::extract::State;
use axum::response::{IntoResponse, Response};

use crate::app::App;
use crate::error::AppError;
use crate::ids::KitId;
use crate::kits::letter::{self, Letter};
use crate::kits::rules::plural;
use crate::kits::rules::report::Sheet;
use crate::people::Viewer;
use crate::web::extract::Path;
use crate::web::flash;
use crate::web::frame::Frame;
use crate::web::page::Page;

#[derive(Template)]
#[template(path = "kits/report.html")]
struct ReportPage {
    frame: Frame,
    drawn: Letter,
    sheets: Vec<Sheet>,
    text: String,
    may_keep: bool,
}

impl ReportPage {
    fn state(&self) -> String {
        let report = &self.drawn.report;
        format!(
            "{} {} short, {} over.",
            report.short.len(),
            plural(report.short.len(), "line", "lines"),
            report.over.len()
        )
    }
}

pub(super) async fn show(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(kit): Path<KitId>,
) -> Result<Response, AppError> {
    let mut db = app.db.read().await?;
    let drawn = letter::write(&mut db, viewer.zone(), kit, viewer.today(&app)).await?;
    Ok(Page(ReportPage {
        sheets: drawn.report.sheets(),
        text: drawn.report.text(&drawn.facts),
        frame,
        may_keep: viewer.keeps(drawn.kit.team),
        drawn,
    })
    .into_response())
}

pub(super) async fn text(
    State(app): State<App>,
    viewer: Viewer,
    Path(kit): Path<KitId>,
) -> Result<Response, AppError> {
    let mut db = app.db.read().await?;
    let drawn = letter::write(&mut db, viewer.zone(), kit, viewer.today(&app)).await?;
    if let Some(not_yet) = drawn.not_yet {
        return Ok(flash::look(&format!("/kits/{kit}/report"), not_yet));
    }
    let text = drawn.report.text(&drawn.facts);
    Ok(super::file(&drawn.kit, "report", "txt", text.into_bytes()))
}

pub(super) async fn table(
    State(app): State<App>,
    viewer: Viewer,
    Path(kit): Path<KitId>,
) -> Result<Response, AppError> {
    let mut db = app.db.read().await?;
    let drawn = letter::write(&mut db, viewer.zone(), kit, viewer.today(&app)).await?;
    if let Some(not_yet) = drawn.not_yet {
        return Ok(flash::look(&format!("/kits/{kit}/report"), not_yet));
    }
    let bytes = drawn
        .report
        .csv()
        .map_err(|error| AppError::Broken(error.into()))?;
    Ok(super::file(&drawn.kit, "report", "csv", bytes))
}

pub(super) async fn sheet(
    State(app): State<App>,
    viewer: Viewer,
    Path(kit): Path<KitId>,
) -> Result<Response, AppError> {
    let mut db = app.db.read().await?;
    let drawn = letter::write(&mut db, viewer.zone(), kit, viewer.today(&app)).await?;
    if let Some(not_yet) = drawn.not_yet {
        return Ok(flash::look(&format!("/kits/{kit}/report"), not_yet));
    }
    let bytes = drawn.report.xlsx().map_err(anyhow::Error::from)?;
    Ok(super::file(&drawn.kit, "report", "xlsx", bytes))
}
