//! The page of the backups.

use askama::Template;
use axum::extract::State;
use axum::response::Response;

use super::rules;
use crate::app::App;
use crate::backups::{self, Failure};
use crate::error::AppError;
use crate::ids::FormId;
use crate::people::Viewer;
use crate::people::access::{Routes, Rule};
use crate::receipts::{self, Outcome};
use crate::web::extract::{Form, Nothing};
use crate::web::flash;
use crate::web::frame::Frame;
use crate::web::page::Page;

pub fn routes() -> Routes {
    Routes::new()
        .get("/league/backups", Rule::Coordinates, show)
        .post("/league/backups", Rule::Coordinates, make)
}

struct Line {
    name: String,
    when: String,
    size: String,
    /// The last entry in it and its mark, or why they cannot be read.
    head: Result<(i64, String), String>,
}

#[derive(Template)]
#[template(path = "backups/show.html")]
struct ShowPage {
    frame: Frame,
    form_id: FormId,
    /// None where no backups are made by themselves.
    folder: Option<String>,
    lines: Vec<Line>,
    /// The folder could not be read.
    unreadable: Option<String>,
    /// How old the newest is.
    age: Option<String>,
    worry: Option<String>,
    failure: Option<(String, Failure)>,
}

async fn show(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
) -> Result<Page<ShowPage>, AppError> {
    let now = app.clock.now();
    let zone = viewer.zone();
    let mut lines = Vec::new();
    let mut unreadable = None;
    let mut age = None;
    if let Some(folder) = app.backups.folder() {
        match backups::all(folder) {
            Ok(found) => {
                let newest = found.iter().find(|backup| backup.at <= now);
                age = newest.map(|newest| age_words(now.0 - newest.at.0));
                for backup in found {
                    let head = backups::head(&backup).await;
                    lines.push(Line {
                        when: backup.at.words(zone),
                        size: size_words(backup.bytes),
                        head: head
                            .map(|(entry, mark)| (entry, hex(&mark)))
                            .map_err(|error| error.to_string()),
                        name: backup.name,
                    });
                }
            }
            // Nothing was made yet.
            Err(error) if error.kind() == std::io::ErrorKind::NotFound => {}
            Err(error) => unreadable = Some(error.to_string()),
        }
    }
    Ok(Page(ShowPage {
        form_id: frame.form_id(),
        frame,
        folder: app
            .backups
            .folder()
            .map(|folder| folder.display().to_string()),
        lines,
        unreadable,
        age,
        worry: backups::worry(&app),
        failure: app
            .backups
            .failure()
            .map(|failure| (failure.at.words(zone), failure)),
    }))
}

fn hex(mark: &[u8]) -> String {
    mark.iter().map(|byte| format!("{byte:02x}")).collect()
}

/// "7.4 MiB".
fn size_words(bytes: u64) -> String {
    let tenths = bytes * 10 / (1 << 20);
    format!("{}.{} MiB", tenths / 10, tenths % 10)
}

/// "3 hours old".
fn age_words(milliseconds: i64) -> String {
    let minutes = milliseconds / 60_000;
    let (count, unit) = match minutes {
        ..120 => (minutes, "minute"),
        120..2880 => (minutes / 60, "hour"),
        _ => (minutes / 1440, "day"),
    };
    let end = if count == 1 { "" } else { "s" };
    format!("{count} {unit}{end} old")
}

async fn make(
    State(app): State<App>,
    viewer: Viewer,
    form: Form<Nothing>,
) -> Result<Response, AppError> {
    const PAGE: &str = "/league/backups";
    let pressed: Result<Outcome, crate::error::NotDone<std::convert::Infallible>> =
        receipts::once(&app, &form.sent, Some(viewer.person), async |_| {
            Ok(PAGE.to_owned())
        })
        .await;
    let outcome = match pressed {
        Ok(outcome) => outcome,
        Err(crate::error::NotDone::Failed(error)) => return Err(error),
        Err(crate::error::NotDone::Refused(never)) => match never {},
    };
    if matches!(outcome, Outcome::Again { .. }) {
        return Ok(flash::told(&outcome, "", viewer.zone()));
    }
    Ok(match backups::make(&app).await {
        Ok(made) => {
            let told = format!(
                "Made and read to its end: {}, with everything up to entry {}.",
                made.name, made.entry
            );
            flash::told(&outcome, &told, viewer.zone())
        }
        Err(why) => flash::look(PAGE, format!("No backup was made: {why}.")),
    })
}
