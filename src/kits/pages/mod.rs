//! The pages of kits.

mod build;
mod details;
mod kit;
mod looks;
mod part;
mod parts;
mod report;
mod shorts;
mod slip;

use axum::http::header::{CONTENT_DISPOSITION, CONTENT_TYPE};
use axum::response::{IntoResponse, Response};
use sqlx::SqliteConnection;

use super::Kit;
use crate::error::AppError;
use crate::ids::KitId;
use crate::people::access::{Routes, Rule};
use crate::spreadsheet;

pub fn routes() -> Routes {
    Routes::new()
        .get("/kits", Rule::SignedIn, kit::index)
        .get("/kits/new", Rule::KeepsSomeTeam, details::new)
        .post("/kits", Rule::KeepsSomeTeam, details::begin)
        .get("/kits/{kit}", Rule::Sees, kit::show)
        .get("/kits/{kit}/edit", Rule::Keeps, details::edit)
        .post("/kits/{kit}/edit", Rule::Keeps, details::change)
        .post("/kits/{kit}/put-away", Rule::Keeps, details::put_away)
        .post("/kits/{kit}/bring-back", Rule::Keeps, details::bring_back)
        .get("/kits/{kit}/parts", Rule::Sees, parts::index)
        .get("/kits/{kit}/parts.csv", Rule::Sees, parts::download)
        .get("/kits/{kit}/parts/{part}", Rule::Sees, part::show)
        .get("/kits/{kit}/packing-slip", Rule::Keeps, slip::ask)
        .post_large(
            "/kits/{kit}/packing-slip",
            Rule::Keeps,
            slip::BODY_BYTES,
            slip::go_on,
        )
        .post_large(
            "/kits/{kit}/packing-slip/file",
            Rule::Keeps,
            slip::BODY_BYTES,
            slip::upload,
        )
        .get("/kits/{kit}/looks", Rule::Sees, looks::show)
        .post("/kits/{kit}/looks", Rule::Works, looks::look)
        .get("/shopping", Rule::SignedIn, looks::shopping)
        .get("/kits/{kit}/build", Rule::Sees, build::build)
        .get("/kits/{kit}/shorts", Rule::Sees, shorts::show)
        .get("/kits/{kit}/report", Rule::Sees, report::show)
        .get("/kits/{kit}/report.txt", Rule::Sees, report::text)
        .get("/kits/{kit}/report.csv", Rule::Sees, report::table)
        .get("/kits/{kit}/report.xlsx", Rule::Sees, report::sheet)
}

async fn found(db: &mut SqliteConnection, kit: KitId) -> Result<Kit, AppError> {
    super::find(db, kit).await?.ok_or(AppError::NotFound("kit"))
}

/// What a kit is checked against, in words: "Ridge Beacon, full".
pub(super) fn checked_words(guide: Option<&str>, size: Option<&str>) -> String {
    match (guide, size) {
        (Some(guide), Some(size)) => format!("{guide}, {size}"),
        _ => "a spares box, checked against nothing".to_owned(),
    }
}

/// A file to keep: `what` and the kit's name make its name.
fn file(kit: &Kit, what: &str, ending: &str, bytes: Vec<u8>) -> Response {
    let name: String = kit
        .name
        .chars()
        .map(|c| if c.is_ascii_alphanumeric() { c } else { '-' })
        .collect();
    let kind = match ending {
        "csv" => "text/csv; charset=utf-8",
        "xlsx" => spreadsheet::KIND,
        _ => "text/plain; charset=utf-8",
    };
    (
        [
            (CONTENT_TYPE, kind.to_owned()),
            (
                CONTENT_DISPOSITION,
                format!("attachment; filename=\"{what}-{name}.{ending}\""),
            ),
        ],
        bytes,
    )
        .into_response()
}
