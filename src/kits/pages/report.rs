//! The report to the supplier: on screen, on paper, as text, as a table.

use askama::Template;
use axum::extract::State;
use axum::response::{IntoResponse, Response};
use sqlx::SqliteConnection;

use crate::app::App;
use crate::clock::Day;
use crate::error::AppError;
use crate::ids::KitId;
use crate::kits::rules::plural;
use crate::kits::rules::report::{Report, Sheet};
use crate::kits::{self, Arrival, Kit, store};
use crate::people::Viewer;
use crate::web::extract::Path;
use crate::web::flash;
use crate::web::frame::Frame;
use crate::web::page::Page;

/// Everything the three forms of the report are made of.
struct Drawn {
    kit: Kit,
    arrival: Arrival,
    report: Report,
    /// The lines of the heading.
    facts: Vec<(&'static str, String)>,
    warnings: Vec<String>,
    /// Why there is no report.
    not_yet: Option<&'static str>,
}

#[derive(Template)]
#[template(path = "kits/report.html")]
struct ReportPage {
    frame: Frame,
    drawn: Drawn,
    sheets: Vec<Sheet>,
    text: String,
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

async fn draw(
    db: &mut SqliteConnection,
    viewer: &Viewer,
    kit: KitId,
    today: Day,
) -> Result<Drawn, AppError> {
    let kit = super::found(db, kit).await?;
    let arrival = kits::arrival(db, kit.id).await?;
    let report = Report::of(&kits::accounts(db, kit.id).await?);
    let last = store::last_count(db, kit.id).await?;
    let mut warnings = Vec::new();
    let mut list = String::new();
    if let Some(revision) = kit.revision
        && let Some(revision) = crate::guides::revision(db, revision).await?
    {
        list = format!("{} of {}", revision.label, revision.issued_on.words());
        if !revision.is_newest
            && let Some(newest) = crate::guides::revisions(db, revision.guide).await?.first()
        {
            warnings.push(format!(
                "The kit is checked against revision {}; the newest is {} of {}.",
                revision.label,
                newest.label,
                newest.issued_on.words()
            ));
        }
    }
    if report.not_counted + report.places_left > 0 {
        warnings.push(format!(
            "{} {} not counted at all and {} in single bags; what nobody counted is not reported as \
             short.",
            report.not_counted,
            plural(report.not_counted, "line was", "lines were"),
            report.places_left,
        ));
    }
    if report.to_come > 0 {
        warnings.push(format!(
            "More of the delivery is still to come: {} {} left out.",
            report.to_come,
            plural(report.to_come, "line is", "lines are"),
        ));
    }
    if arrival.open.is_some() {
        warnings.push("A count of this kit is open. What it finds is not in here yet.".to_owned());
    }
    match kit.report_by {
        Some(by) if by < today => warnings.push(format!(
            "Shorts could be reported until {}. That day has passed; send the report all the same \
             and ask.",
            by.words()
        )),
        _ => {}
    }
    let date = match &last {
        Some(last) => format!(
            "{}, counted on {}",
            today.words(),
            last.closed_at.day(viewer.zone()).words()
        ),
        None => today.words(),
    };
    let facts = vec![
        ("Date", date),
        ("From", kit.team_name.clone()),
        ("To", kit.supplier.clone()),
        ("Kit", joined(&kit.name, "serial number", &kit.serial)),
        (
            "Purchase",
            joined(
                &kit.purchase_reference,
                "received on",
                &kit.received_on.map_or(String::new(), Day::words),
            ),
        ),
        (
            "Parts list",
            joined(
                &super::checked_words(kit.guide_name.as_deref(), kit.size_name.as_deref()),
                "revision",
                &list,
            ),
        ),
    ];
    let not_yet = if kit.revision.is_none() {
        Some("This is a spares box: it is checked against nothing, so nothing can be short.")
    } else if last.is_none() {
        Some(
            "Nothing was counted yet, so there is nothing to report. Count the kit and close the \
             count; then this page is the letter to the supplier.",
        )
    } else {
        None
    };
    Ok(Drawn {
        kit,
        arrival,
        report,
        facts,
        warnings,
        not_yet,
    })
}

/// "P-77, received on 3 Mar 2027", without what is not known.
fn joined(first: &str, word: &str, second: &str) -> String {
    match (first.is_empty(), second.is_empty()) {
        (_, true) => first.to_owned(),
        (true, false) => format!("{word} {second}"),
        (false, false) => format!("{first}, {word} {second}"),
    }
}

pub(super) async fn show(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(kit): Path<KitId>,
) -> Result<Response, AppError> {
    let mut db = app.db.read().await?;
    let drawn = draw(&mut db, &viewer, kit, viewer.today(&app)).await?;
    Ok(Page(ReportPage {
        sheets: drawn.report.sheets(),
        text: drawn.report.text(&drawn.facts),
        frame,
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
    let drawn = draw(&mut db, &viewer, kit, viewer.today(&app)).await?;
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
    let drawn = draw(&mut db, &viewer, kit, viewer.today(&app)).await?;
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
    let drawn = draw(&mut db, &viewer, kit, viewer.today(&app)).await?;
    if let Some(not_yet) = drawn.not_yet {
        return Ok(flash::look(&format!("/kits/{kit}/report"), not_yet));
    }
    let bytes = drawn.report.xlsx().map_err(anyhow::Error::from)?;
    Ok(super::file(&drawn.kit, "report", "xlsx", bytes))
}
