//! Taps arriving: one from a form, or a pile of them as JSON from the script.

use askama::Template;
use axum::Json;
use axum::extract::{FromRequest, Request, State};
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Redirect, Response};
use serde::{Deserialize, Serialize};
use uuid::Uuid;

use super::super::rules::tally::TallyRefused;
use super::super::rules::typed::{self, TypedRefused};
use super::super::store::{self, Part};
use super::super::tallying::{self, Recorded, Tap};
use super::super::{kit_total, stint_and_count};
use super::{groups, lines, sentence, tally};
use crate::app::App;
use crate::clock::Instant;
use crate::error::AppError;
use crate::ids::{FormId, PartId, StintId, TallyId};
use crate::people::Viewer;
use crate::web::extract::{Form, Path};
use crate::web::flash;
use crate::web::frame::Frame;
use crate::web::page;
use crate::web::problem;

/// A pile that a phone sends at once.
const MOST_TAPS: usize = 500;
const MOST_BYTES: usize = 256 * 1024;

pub async fn post(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(stint): Path<StintId>,
    request: Request,
) -> Result<Response, AppError> {
    let is_json = request
        .headers()
        .get(header::CONTENT_TYPE)
        .and_then(|value| value.to_str().ok())
        .is_some_and(|value| value.starts_with("application/json"));
    if is_json {
        return pile(&app, &viewer, stint, request).await;
    }
    let form = Form::<TapForm>::from_request(request, &app).await?;
    one(&app, &viewer, frame, stint, form).await
}

#[derive(Deserialize)]
struct TapForm {
    part: PartId,
    amount: Option<String>,
    typed: Option<String>,
    /// "groups": typed as full groups and the pieces beside them.
    #[serde(default)]
    by: String,
    #[serde(default)]
    groups: String,
    #[serde(default)]
    rest: String,
    #[serde(default)]
    shown: String,
    #[serde(default)]
    sure: String,
    /// "This number is right", after two devices counted one line.
    #[serde(default)]
    right: String,
}

#[derive(Template)]
#[template(path = "counts/question.html")]
struct QuestionPage {
    frame: Frame,
    form_id: FormId,
    stint: StintId,
    part: Part,
    shown: String,
    typed: i64,
    need: i64,
}

/// One tap of a form. The form's id becomes the tap's id.
async fn one(
    app: &App,
    viewer: &Viewer,
    frame: Frame,
    stint: StintId,
    form: Form<TapForm>,
) -> Result<Response, AppError> {
    let mut fields = form.fields;
    let unreadable = || AppError::BadRequest("The number on the page could not be read.".into());
    let shown: Option<i64> = match fields.shown.as_str() {
        "" => None,
        text => Some(text.parse().map_err(|_| unreadable())?),
    };
    if fields.by == "groups" {
        match groups::read(app, fields.part, &fields.groups, &fields.rest).await? {
            Ok(pieces) => fields.typed = Some(pieces.to_string()),
            Err(wrong) => {
                let brought = tally::Shown {
                    groups_wrong: Some(wrong),
                    ..kept(&fields)
                };
                return refused(app, viewer, frame, stint, fields.part, brought).await;
            }
        }
    }
    let amount = match (&fields.typed, &fields.amount) {
        (Some(text), _) => match typed::read(text) {
            Ok(Some(number)) => {
                if fields.sure != "yes"
                    && let Some(page) =
                        question(app, &frame, stint, form.sent.id, &fields, number).await?
                {
                    return Ok(page::again(page));
                }
                number - shown.unwrap_or(0)
            }
            Ok(None) => {
                let wrong = TypedRefused::NotANumber.to_string();
                let brought = tally::Shown {
                    typed_wrong: Some(wrong),
                    ..kept(&fields)
                };
                return refused(app, viewer, frame, stint, fields.part, brought).await;
            }
            Err(wrong) => {
                let wrong = wrong.to_string();
                let brought = tally::Shown {
                    typed_wrong: Some(wrong),
                    ..kept(&fields)
                };
                return refused(app, viewer, frame, stint, fields.part, brought).await;
            }
        },
        (None, Some(amount)) => {
            let amount: i64 = amount.trim().parse().map_err(|_| unreadable())?;
            if amount == 0
                && fields.right != "yes"
                && let Some(shown) = shown.filter(|shown| *shown > 0)
            {
                let wrong = TallyRefused::NotNone(shown).to_string();
                let brought = tally::Shown {
                    refused: Some(wrong),
                    ..kept(&fields)
                };
                return refused(app, viewer, frame, stint, fields.part, brought).await;
            }
            amount
        }
        (None, None) => return Err(unreadable()),
    };
    let tap = Tap {
        id: TallyId(form.sent.id.0),
        part: fields.part,
        amount,
        shown,
        undoes: None,
        done_at: app.clock.now(),
    };
    let batch = tallying::record(app, viewer, stint, std::slice::from_ref(&tap)).await?;
    let result = batch.results.into_iter().next();
    let result = result.ok_or_else(|| anyhow::anyhow!("a tap has a result"))?;
    match result {
        Recorded::Refused(TallyRefused::NoSuchPart) => Err(AppError::NotFound("part")),
        Recorded::Refused(TallyRefused::OtherTap) => Err(AppError::Conflict(sentence(
            &TallyRefused::OtherTap.to_string(),
        ))),
        Recorded::Refused(why) => {
            let brought = tally::Shown {
                refused: Some(why.to_string()),
                ..kept(&fields)
            };
            refused(app, viewer, frame, stint, fields.part, brought).await
        }
        recorded => Ok(back_to_line(viewer, stint, fields.part, &recorded)),
    }
}

/// 303 to the line. A first tap needs no words: the number says it.
pub(super) fn back_to_line(
    viewer: &Viewer,
    stint: StintId,
    part: PartId,
    recorded: &Recorded,
) -> Response {
    let line = format!("/stints/{stint}?part={part}");
    match recorded {
        Recorded::Now { doubted: false } | Recorded::Refused(_) => {
            Redirect::to(&line).into_response()
        }
        Recorded::Now { doubted: true } => flash::look(
            &line,
            "Recorded. Another device counted on this line too: look whether the number is right.",
        ),
        Recorded::Late => flash::look(
            &line,
            "Kept, but the count is closed: it is in no total until the keeper reopens it.",
        ),
        Recorded::Again(at) => flash::already(&line, *at, viewer.zone()),
    }
}

/// The page that asks once whether a typed number is right, if it looks like a slip.
async fn question(
    app: &App,
    frame: &Frame,
    stint: StintId,
    form_id: FormId,
    fields: &TapForm,
    number: i64,
) -> Result<Option<QuestionPage>, AppError> {
    let mut db = app.db.read().await?;
    let (stint, sheet) = stint_and_count(&mut db, stint).await?;
    let due = store::due_of_place(&mut db, sheet.id, stint.place)
        .await?
        .into_iter()
        .find(|(part, _)| *part == fields.part)
        .map(|(_, due)| due)
        .filter(|_| lines::shows_need(&sheet, &stint));
    let kit = kit_total(&mut db, &sheet, &stint, fields.part).await?;
    let Some(need) = due
        .or_else(|| kit.and_then(|kit| kit.need))
        .filter(|need| typed::is_doubtful(number, Some(*need)))
    else {
        return Ok(None);
    };
    // A form that was recorded before is not asked about again.
    if store::tally(&mut db, TallyId(form_id.0)).await?.is_some() {
        return Ok(None);
    }
    let part = store::part(&mut db, fields.part)
        .await?
        .ok_or(AppError::NotFound("part"))?;
    Ok(Some(QuestionPage {
        frame: frame.clone(),
        form_id,
        stint: stint.id,
        part,
        shown: fields.shown.clone(),
        typed: number,
        need,
    }))
}

/// What was typed, for the page that shows it again.
fn kept(fields: &TapForm) -> tally::Shown {
    tally::Shown {
        typed: match fields.by.as_str() {
            "groups" => String::new(),
            _ => fields.typed.clone().unwrap_or_default(),
        },
        groups: fields.groups.clone(),
        rest: fields.rest.clone(),
        ..tally::Shown::default()
    }
}

/// The tally page again, with the reason and what was typed.
async fn refused(
    app: &App,
    viewer: &Viewer,
    frame: Frame,
    stint: StintId,
    part: PartId,
    brought: tally::Shown,
) -> Result<Response, AppError> {
    let mut db = app.db.read().await?;
    let (stint, sheet) = stint_and_count(&mut db, stint).await?;
    let page = tally::page(&mut db, app, viewer, frame, (stint, sheet, part), brought).await?;
    Ok(page::again(page))
}

#[derive(Deserialize)]
pub struct UndoForm {
    tally: TallyId,
}

pub async fn undo(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(stint): Path<StintId>,
    form: Form<UndoForm>,
) -> Result<Response, AppError> {
    let (part, recorded) =
        tallying::undo(&app, &viewer, stint, form.sent.id, form.fields.tally).await?;
    match recorded {
        Recorded::Refused(why) => {
            let brought = tally::Shown {
                refused: Some(why.to_string()),
                ..tally::Shown::default()
            };
            refused(&app, &viewer, frame, stint, part, brought).await
        }
        recorded => Ok(back_to_line(&viewer, stint, part, &recorded)),
    }
}

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

async fn pile(
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
