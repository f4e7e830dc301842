//! The forms of a report's page: accepting, joining, setting aside, deciding, taking back.

use axum::extract::State;
use axum::response::Response;
use serde::Deserialize;

use super::slip::{AcceptForm, DecideForm, SlipPage, slip_page};
use super::tell::{self, offers};
use super::wrongs_of;
use crate::app::App;
use crate::damage::rules::standing::Kind;
use crate::damage::rules::telling::quantity;
use crate::damage::{self, Decision, Refused};
use crate::error::{AppError, NotDone};
use crate::ids::DamageId;
use crate::people::Viewer;
use crate::receipts::Outcome;
use crate::web::extract::{Form, Path};
use crate::web::flash;
use crate::web::frame::Frame;
use crate::web::page;

/// The answer to a form of this page: the report again, with what has to be put right.
async fn answer(
    app: &App,
    viewer: &Viewer,
    frame: Frame,
    id: DamageId,
    done: Result<Outcome, NotDone<Refused>>,
    told: &str,
    keep: impl FnOnce(&mut SlipPage),
) -> Result<Response, AppError> {
    match done {
        Ok(outcome) => Ok(flash::told(&outcome, told, viewer.zone())),
        Err(NotDone::Failed(error)) => Err(error),
        Err(NotDone::Refused(refused)) => {
            let mut db = app.db.read().await?;
            let mut page = slip_page(app, &mut db, viewer, frame, id).await?;
            keep(&mut page);
            page.wrongs = match refused {
                Refused::Several(stands) => {
                    page.several = offers(&mut db, stands).await?;
                    wrongs_of(Refused::Several(Vec::new()))
                }
                refused => wrongs_of(refused),
            };
            Ok(page::again(page))
        }
    }
}

pub(super) async fn accept(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(id): Path<DamageId>,
    form: Form<AcceptForm>,
) -> Result<Response, AppError> {
    let (sent, fields) = (form.sent, form.fields);
    let told = tell::TellForm {
        part: fields.part.clone(),
        stand: fields.stand.clone(),
        code: fields.code.clone(),
        qty: fields.qty.clone(),
        usable: fields.usable.clone(),
        ..tell::TellForm::default()
    };
    let (typed, about) = (told.typed(), told.about());
    let done = damage::accept(&app, &viewer, &sent, id, &typed, &about).await;
    let keep = |page: &mut SlipPage| page.fields = fields;
    answer(&app, &viewer, frame, id, done, "Accepted.", keep).await
}

#[derive(Deserialize)]
pub(super) struct JoinForm {
    other: String,
}

pub(super) async fn join(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(id): Path<DamageId>,
    form: Form<JoinForm>,
) -> Result<Response, AppError> {
    // An id that cannot be read is nobody's, which is what the refusal says.
    let other = form.fields.other.parse().unwrap_or(id);
    let done = damage::join(&app, &viewer, &form.sent, id, other).await;
    answer(
        &app,
        &viewer,
        frame,
        id,
        done,
        "Joined with this one.",
        |_| {},
    )
    .await
}

#[derive(Deserialize)]
pub(super) struct WhyForm {
    #[serde(default)]
    why: String,
}

pub(super) async fn set_aside(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(id): Path<DamageId>,
    form: Form<WhyForm>,
) -> Result<Response, AppError> {
    let done = damage::set_aside(&app, &viewer, &form.sent, id, &form.fields.why).await;
    answer(&app, &viewer, frame, id, done, "Set aside.", |_| {}).await
}

pub(super) async fn see_to(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(id): Path<DamageId>,
    form: Form<WhyForm>,
) -> Result<Response, AppError> {
    let done = damage::see_to(&app, &viewer, &form.sent, id, &form.fields.why).await;
    answer(&app, &viewer, frame, id, done, "Seen to.", |_| {}).await
}

pub(super) async fn decide(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(id): Path<DamageId>,
    form: Form<DecideForm>,
) -> Result<Response, AppError> {
    let (sent, fields) = (form.sent, form.fields);
    let keep = {
        let fields = fields.clone();
        |page: &mut SlipPage| page.typed = fields
    };
    let done = match (decision_kind(&fields.kind), quantity(&fields.qty)) {
        (Some(kind), Ok(qty)) => {
            let decision = Decision {
                kind,
                qty: if kind == Kind::OneOff { 0 } else { qty },
                why: fields.why,
                from: fields.from,
                second: fields.second,
            };
            damage::decide(&app, &viewer, &sent, id, &decision).await
        }
        (None, _) => refuse("kind", "choose one of these".into()),
        (_, Err(why)) => refuse("qty", why),
    };
    answer(&app, &viewer, frame, id, done, "Decided.", keep).await
}

fn refuse(field: &'static str, why: String) -> Result<Outcome, NotDone<Refused>> {
    Err(NotDone::Refused(Refused::Wrong(vec![(field, why)])))
}

fn decision_kind(word: &str) -> Option<Kind> {
    [
        Kind::KeptInUse,
        Kind::Mended,
        Kind::PracticeOnly,
        Kind::SpareUsed,
        Kind::ToOrder,
        Kind::WrittenOff,
        Kind::Missing,
        Kind::TurnedUp,
        Kind::OneOff,
    ]
    .into_iter()
    .find(|kind| kind.word() == word)
}

#[derive(Deserialize)]
pub(super) struct TakeBackForm {
    line: i64,
}

pub(super) async fn take_back(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(id): Path<DamageId>,
    form: Form<TakeBackForm>,
) -> Result<Response, AppError> {
    let done = damage::take_back(&app, &viewer, &form.sent, id, form.fields.line).await;
    answer(&app, &viewer, frame, id, done, "Taken back.", |_| {}).await
}
