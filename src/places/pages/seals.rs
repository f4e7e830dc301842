//! The forms about a crate's seal: put on, opened, taken back.

use axum::extract::State;
use axum::response::Response;
use serde::Deserialize;

use super::show::{self, Typed};
use crate::app::App;
use crate::error::{AppError, NotDone};
use crate::ids::PlaceId;
use crate::people::Viewer;
use crate::places;
use crate::places::rules::Wrong;
use crate::receipts::Outcome;
use crate::web::extract::{Form, Path};
use crate::web::flash;
use crate::web::frame::Frame;

#[derive(Deserialize)]
pub(super) struct SealForm {
    #[serde(default)]
    number: String,
}

pub(super) async fn seal(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(place): Path<PlaceId>,
    form: Form<SealForm>,
) -> Result<Response, AppError> {
    let number = form.fields.number;
    let done = places::seal(&app, &viewer, &form.sent, place, &number).await;
    let typed = Typed {
        number,
        ..Typed::default()
    };
    told(done, &app, &viewer, frame, place, typed).await
}

#[derive(Deserialize)]
pub(super) struct OpenForm {
    #[serde(default)]
    intact: String,
    #[serde(default)]
    words: String,
}

pub(super) async fn open(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(place): Path<PlaceId>,
    form: Form<OpenForm>,
) -> Result<Response, AppError> {
    let OpenForm { intact, words } = form.fields;
    let done = places::open(&app, &viewer, &form.sent, place, &intact, &words).await;
    let typed = Typed {
        intact,
        words,
        ..Typed::default()
    };
    told(done, &app, &viewer, frame, place, typed).await
}

#[derive(Deserialize)]
pub(super) struct BackForm {
    line: i64,
}

pub(super) async fn take_back(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(place): Path<PlaceId>,
    form: Form<BackForm>,
) -> Result<Response, AppError> {
    let line = form.fields.line;
    let done = places::take_back_seal(&app, &viewer, &form.sent, place, line).await;
    told(done, &app, &viewer, frame, place, Typed::default()).await
}

/// The crate's page again: with how its seal stands now, or with what has to be put right.
async fn told(
    done: Result<Outcome, NotDone<Vec<Wrong>>>,
    app: &App,
    viewer: &Viewer,
    frame: Frame,
    place: PlaceId,
    typed: Typed,
) -> Result<Response, AppError> {
    match done {
        Ok(Outcome::Done { location }) => {
            let mut db = app.db.read().await?;
            let seal = places::seal_of(&mut db, place).await?;
            let words = seal.words(viewer.zone());
            Ok(if seal.is_doubtful() {
                flash::look(&location, words)
            } else {
                flash::see(&location, words)
            })
        }
        Ok(again) => Ok(flash::told(&again, "", viewer.zone())),
        Err(NotDone::Failed(error)) => Err(error),
        Err(NotDone::Refused(wrongs)) => {
            show::again(app, viewer, frame, place, typed, wrongs).await
        }
    }
}
