//! Counting by weight: the reckoned number becomes a tally like any other, and what was on the scale is kept
//! beside it.

use super::rules::weighed::Reading;
use super::store;
use super::tallying::{Recorded, Sink, Tap};
use crate::app::App;
use crate::error::AppError;
use crate::ids::StintId;
use crate::people::Viewer;

/// Records a tap that was weighed, with what was on the scale.
pub async fn record(
    app: &App,
    viewer: &Viewer,
    stint: StintId,
    tap: &Tap,
    reading: &Reading,
) -> Result<Recorded, AppError> {
    let mut tx = app.db.begin_write().await?;
    let mut sink = Sink::new(app, viewer, &mut tx, stint).await?;
    let recorded = sink.take(&mut tx, tap).await?;
    if recorded.is_new() {
        store::insert_weighing(&mut tx, tap.id, reading).await?;
        sink.finish(&mut tx).await?;
        tx.commit().await?;
    }
    Ok(recorded)
}
