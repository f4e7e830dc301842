//! A pile of taps as JSON, as the script sends what waited on the phone.

use axum::Json;
use axum::extract::Request;
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};
use serde::{Deserialize, Serialize};
use uuid::Uuid;

use super::super::rules::tally::TallyRefused;
use super::super::tallying::{self, Recorded, Tap};
use crate::app::App;
use crate::clock::Instant;
use crate::error::AppError;
use crate::ids::{PartId, StintId, TallyId};
use crate::people::Viewer;
use crate::web::problem;

/// What a phone may send at once.
const MOST_TAPS: usize = 500;
const MOST_BYTES: usize = 256 * 1024;

#[derive(Deserialize)]
struct Pile {
    tallies: Vec<serde_json::Value>,
}

/// A tap as the script sends it.
#[derive(Deserialize)]
struct SentTap {
    id: Uuid,
    part: PartId,
    amount: i64,
    #[serde(default)]
    shown: Option<i64>,
    #[serde(default)]
    undoes: Option<Uuid>,
    #[serde(default)]
    done_at: i64,
}

#[derive(Serialize)]
struct Answer {
    results: Vec<TapResult>,
    totals: Vec<Total>,
}

#[derive(Serialize)]
struct TapResult {
    id: String,
    state: &'static str,
    #[serde(skip_serializing_if = "Option::is_none")]
    why: Option<String>,
}

#[derive(Serialize)]
struct Total {
    part: PartId,
    /// What stands in the line of this stint; null: not counted.
    stint: Option<i64>,
    /// Null where the need is hidden from a second counter.
    kit_counted: Option<i64>,
    still_to_come: Option<i64>,
}

/// The last millisecond of the year 9999: what a phone's clock says is kept, within reason.
const LAST_MOMENT: i64 = 253_402_300_799_999;

/// Records what the script has waiting for one stint.
pub(super) async fn record(
    app: &App,
    viewer: &Viewer,
    stint: StintId,
    request: Request,
) -> Result<Response, AppError> {
    let too_large = || {
        problem::answer(
            StatusCode::PAYLOAD_TOO_LARGE,
            "Send at most 500 taps and 256 KiB at once. Nothing was recorded.",
        )
    };
    let Ok(bytes) = axum::body::to_bytes(request.into_body(), MOST_BYTES).await else {
        return Ok(too_large());
    };
    let sent: Pile = serde_json::from_slice(&bytes)
        .map_err(|_| AppError::BadRequest("The taps could not be read.".into()))?;
    if sent.tallies.len() > MOST_TAPS {
        return Ok(too_large());
    }
    // One that cannot be read is refused by itself; the others are recorded.
    let mut results: Vec<TapResult> = Vec::with_capacity(sent.tallies.len());
    let mut taps = Vec::new();
    let mut places = Vec::new();
    for (at, value) in sent.tallies.into_iter().enumerate() {
        let id = value
            .get("id")
            .and_then(|id| id.as_str())
            .unwrap_or_default()
            .to_owned();
        results.push(TapResult {
            id,
            state: "refused",
            why: Some(TallyRefused::Unreadable.to_string()),
        });
        if let Ok(tap) = serde_json::from_value::<SentTap>(value) {
            places.push(at);
            taps.push(Tap {
                id: TallyId(tap.id),
                part: tap.part,
                amount: tap.amount,
                shown: tap.shown,
                undoes: tap.undoes.map(TallyId),
                done_at: Instant(tap.done_at.clamp(0, LAST_MOMENT)),
            });
        }
    }
    let batch = tallying::record(app, viewer, stint, &taps).await?;
    for (at, recorded) in places.into_iter().zip(batch.results) {
        let (state, why) = match recorded {
            Recorded::Now { .. } => ("recorded", None),
            Recorded::Late => (
                "recorded",
                Some("the count is closed; it is kept and listed as late".into()),
            ),
            Recorded::Again(_) => ("again", None),
            Recorded::Refused(refused) => ("refused", Some(refused.to_string())),
        };
        results[at].state = state;
        results[at].why = why;
    }
    let totals = batch
        .totals
        .into_iter()
        .map(|total| Total {
            part: total.part,
            stint: total.stint,
            kit_counted: total.kit.map(|kit| kit.counted),
            still_to_come: total.kit.map(|kit| kit.to_come()),
        })
        .collect();
    Ok(Json(Answer { results, totals }).into_response())
}
