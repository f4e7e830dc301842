//! Taps arriving: one from a form, or a pile of them from the script (`pile`).

use askama::Template;
use axum::extract::{FromRequest, Request, State};
use axum::http::header;
use axum::response::{IntoResponse, Redirect, Response};
use serde::Deserialize;

use super::super::rules::tally::TallyRefused;
use super::super::rules::typed::{self, TypedRefused};
use super::super::stint_and_count;
use super::super::store::{self, Part};
use super::super::tallying::{self, Recorded, Tap};
use super::{Counter, groups, lines, pile, sentence, tally};
use crate::app::App;
use crate::error::AppError;
use crate::ids::{FormId, PartId, StintId, TallyId};
use crate::people::Viewer;
use crate::web::extract::{Form, Path};
use crate::web::flash;
use crate::web::frame::Frame;
use crate::web::page;

pub async fn post(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(stint): Path<StintId>,
    request: Request,
) -> Result<Response, AppError> {
    taps(&app, &Counter::member(viewer), frame, stint, request).await
}

/// Records what somebody taps in a stint.
pub async fn taps(
    app: &App,
    counter: &Counter,
    frame: Frame,
    stint: StintId,
    request: Request,
) -> Result<Response, AppError> {
    let is_json = request
        .headers()
        .get(header::CONTENT_TYPE)
        .and_then(|value| value.to_str().ok())
        .is_some_and(|value| value.starts_with("application/json"));
    if is_json {
        return pile::record(app, &counter.viewer, stint, request).await;
    }
    let form = Form::<TapForm>::from_request(request, app).await?;
    one(app, counter, frame, stint, form).await
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
    /// The address of the stint.
    path: String,
    part: Part,
    shown: String,
    typed: i64,
    need: i64,
}

/// One tap of a form. The form's id becomes the tap's id.
async fn one(
    app: &App,
    counter: &Counter,
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
                return refused(app, counter, frame, stint, fields.part, brought).await;
            }
        }
    }
    let amount = match (&fields.typed, &fields.amount) {
        (Some(text), _) => match typed::read(text) {
            Ok(Some(number)) => {
                if fields.sure != "yes"
                    && let Some(page) =
                        question(app, counter, &frame, stint, form.sent.id, &fields, number).await?
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
                return refused(app, counter, frame, stint, fields.part, brought).await;
            }
            Err(wrong) => {
                let wrong = wrong.to_string();
                let brought = tally::Shown {
                    typed_wrong: Some(wrong),
                    ..kept(&fields)
                };
                return refused(app, counter, frame, stint, fields.part, brought).await;
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
                return refused(app, counter, frame, stint, fields.part, brought).await;
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
    let batch = tallying::record(app, &counter.viewer, stint, std::slice::from_ref(&tap)).await?;
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
            refused(app, counter, frame, stint, fields.part, brought).await
        }
        recorded => Ok(back_to_line(counter, stint, fields.part, &recorded)),
    }
}

/// 303 to the line. A first tap needs no words: the number says it.
pub(super) fn back_to_line(
    counter: &Counter,
    stint: StintId,
    part: PartId,
    recorded: &Recorded,
) -> Response {
    let line = counter.line(stint, part);
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
        Recorded::Again(at) => flash::already(&line, *at, counter.zone()),
    }
}

/// The page that asks once whether a typed number is right, if it looks like a slip.
async fn question(
    app: &App,
    counter: &Counter,
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
    let kit = counter
        .kit_total(&mut db, &sheet, &stint, fields.part)
        .await?;
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
        path: counter.path(stint.id),
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
    counter: &Counter,
    frame: Frame,
    stint: StintId,
    part: PartId,
    brought: tally::Shown,
) -> Result<Response, AppError> {
    let mut db = app.db.read().await?;
    let (stint, sheet) = stint_and_count(&mut db, stint).await?;
    let page = tally::page(&mut db, app, counter, frame, (stint, sheet, part), brought).await?;
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
    take_back(&app, &Counter::member(viewer), frame, stint, form).await
}

/// Takes a tap of a stint back.
pub async fn take_back(
    app: &App,
    counter: &Counter,
    frame: Frame,
    stint: StintId,
    form: Form<UndoForm>,
) -> Result<Response, AppError> {
    let (id, tally) = (form.sent.id, form.fields.tally);
    let (part, recorded) = tallying::undo(app, &counter.viewer, stint, id, tally).await?;
    match recorded {
        Recorded::Refused(why) => {
            let brought = tally::Shown {
                refused: Some(why.to_string()),
                ..tally::Shown::default()
            };
            refused(app, counter, frame, stint, part, brought).await
        }
        recorded => Ok(back_to_line(counter, stint, part, &recorded)),
    }
}
