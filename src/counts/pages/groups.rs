//! Full groups and the pieces beside them, as somebody types them.

use super::super::rules::typed::{self, TypedRefused};
use super::super::store;
use crate::app::App;
use crate::error::AppError;
use crate::ids::PartId;
use crate::reckon::groups;

/// The pieces in full groups and the rest, or what is wrong with them in words.
pub(super) async fn read(
    app: &App,
    part: PartId,
    full: &str,
    rest: &str,
) -> Result<Result<u64, String>, AppError> {
    let mut db = app.db.read().await?;
    let part = store::part(&mut db, part)
        .await?
        .ok_or(AppError::NotFound("part"))?;
    let size = part.group().unwrap_or(0).unsigned_abs();
    let number = |text: &str| typed::read(text).map(|number| number.unwrap_or(0).unsigned_abs());
    if full.trim().is_empty() && rest.trim().is_empty() {
        return Ok(Err(TypedRefused::NotANumber.to_string()));
    }
    Ok(match (number(full), number(rest)) {
        (Ok(full), Ok(rest)) => groups::pieces(full, size, rest).map_err(|why| why.to_string()),
        (Err(wrong), _) | (_, Err(wrong)) => Err(wrong.to_string()),
    })
}
