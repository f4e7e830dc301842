//! The pages of reports to a supplier.

mod acts;
mod list;
mod send;
mod show;

use crate::people::access::{Routes, Rule};

pub fn routes() -> Routes {
    Routes::new()
        .get("/kits/{kit}/reports", Rule::Sees, list::index)
        .get("/kits/{kit}/reports/new", Rule::Keeps, send::new)
        .post("/kits/{kit}/reports", Rule::Keeps, send::send)
        .get("/kits/{kit}/reports/{report}", Rule::Sees, show::show)
        .post(
            "/kits/{kit}/reports/{report}/answered",
            Rule::Keeps,
            acts::answer,
        )
        .post(
            "/kits/{kit}/reports/{report}/arrived",
            Rule::Works,
            acts::arrive,
        )
        .post(
            "/kits/{kit}/reports/{report}/close",
            Rule::Keeps,
            acts::close,
        )
        .post(
            "/kits/{kit}/reports/{report}/take-back",
            Rule::Keeps,
            acts::take_back,
        )
}

async fn kit(
    db: &mut sqlx::SqliteConnection,
    kit: crate::ids::KitId,
) -> Result<crate::kits::Kit, crate::error::AppError> {
    crate::kits::find(db, kit)
        .await?
        .ok_or(crate::error::AppError::NotFound("kit"))
}
