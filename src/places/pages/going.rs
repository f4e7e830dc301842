//! Moving pieces out of a place, and carrying a place elsewhere.

use std::collections::BTreeMap;

use askama::Template;
use axum::extract::State;
use axum::response::Response;
use serde::Deserialize;
use sqlx::SqliteConnection;

use super::{choices, choices_or, nowhere};
use crate::app::App;
use crate::error::{AppError, NotDone};
use crate::ids::{FormId, PlaceId};
use crate::people::Viewer;
use crate::places::rules::making::may_stand_in;
use crate::places::rules::mass::{self, Mass};
use crate::places::rules::words::called;
use crate::places::rules::{Wrong, wrong_at};
use crate::places::{self, Pieces, Place, Target, store};
use crate::web::extract::{Form, Path};
use crate::web::flash;
use crate::web::form::Choice;
use crate::web::frame::Frame;
use crate::web::page::{self, Page};

#[derive(Template)]
#[template(path = "places/move.html")]
pub struct MovePage {
    frame: Frame,
    form_id: FormId,
    place: Place,
    lines: Vec<MoveLine>,
    targets: Vec<Choice>,
    code: String,
    wrongs: Vec<Wrong>,
}

struct MoveLine {
    pieces: Pieces,
    field: String,
    typed: String,
    wrong: Option<String>,
}

impl MovePage {
    fn called(&self) -> String {
        called(&self.place)
    }

    fn wrong(&self, field: &str) -> Option<String> {
        wrong_at(&self.wrongs, field)
    }
}

/// The form's fields: `to`, `code`, and one number for each line under a name of its own.
type MoveForm = BTreeMap<String, String>;

fn target_of(fields: &MoveForm) -> Target {
    let field = |name: &str| fields.get(name).cloned().unwrap_or_default();
    Target {
        to: field("to"),
        code: field("code"),
    }
}

pub async fn move_from(
    State(app): State<App>,
    frame: Frame,
    Path(place): Path<PlaceId>,
) -> Result<Page<MovePage>, AppError> {
    let mut db = app.db.read().await?;
    move_page(&mut db, frame, place, &MoveForm::new(), Vec::new())
        .await
        .map(Page)
}

async fn move_page(
    db: &mut SqliteConnection,
    frame: Frame,
    place: PlaceId,
    fields: &MoveForm,
    wrongs: Vec<Wrong>,
) -> Result<MovePage, AppError> {
    let place = found(db, place).await?;
    let target = target_of(fields);
    let lines = store::pieces(db, place.id, false)
        .await?
        .into_iter()
        .map(|pieces| {
            let field = pieces.there().key.field();
            MoveLine {
                typed: fields.get(&field).cloned().unwrap_or_default(),
                wrong: wrong_at(&wrongs, &field),
                pieces,
                field,
            }
        })
        .collect();
    let none = Choice::one_of("", "choose a place", &target.to);
    let targets = choices_or(none, db, place.team, &target.to, |other| {
        other.id != place.id
    })
    .await?;
    Ok(MovePage {
        form_id: frame.form_id(),
        frame,
        place,
        lines,
        targets,
        code: target.code,
        wrongs,
    })
}

async fn found(db: &mut SqliteConnection, place: PlaceId) -> Result<Place, AppError> {
    places::find(db, place)
        .await?
        .ok_or(AppError::NotFound("place"))
}

pub async fn move_pieces(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(place): Path<PlaceId>,
    form: Form<MoveForm>,
) -> Result<Response, AppError> {
    let (sent, fields) = (form.sent, form.fields);
    let target = target_of(&fields);
    match places::move_pieces(&app, &viewer, &sent, place, &fields, &target).await {
        Ok(outcome) => Ok(flash::told(&outcome, "Moved.", viewer.zone())),
        Err(NotDone::Failed(error)) => Err(error),
        Err(NotDone::Refused(wrongs)) => {
            let mut db = app.db.read().await?;
            let page = move_page(&mut db, frame, place, &fields, wrongs).await?;
            Ok(page::again(page))
        }
    }
}

#[derive(Template)]
#[template(path = "places/carry.html")]
pub struct CarryPage {
    frame: Frame,
    form_id: FormId,
    place: Place,
    stands: String,
    mass: Mass,
    targets: Vec<Choice>,
    code: String,
    wrongs: Vec<Wrong>,
}

impl CarryPage {
    fn called(&self) -> String {
        called(&self.place)
    }

    fn wrong(&self, field: &str) -> Option<String> {
        wrong_at(&self.wrongs, field)
    }

    fn caution(&self) -> Option<(String, String)> {
        mass::caution(self.place.kind, &self.mass)
    }
}

#[derive(Deserialize, Default)]
#[serde(default)]
pub struct CarryForm {
    to: String,
    code: String,
}

pub async fn carry_from(
    State(app): State<App>,
    frame: Frame,
    Path(place): Path<PlaceId>,
) -> Result<Page<CarryPage>, AppError> {
    let mut db = app.db.read().await?;
    carry_page(&mut db, frame, place, CarryForm::default(), Vec::new())
        .await
        .map(Page)
}

async fn carry_page(
    db: &mut SqliteConnection,
    frame: Frame,
    place: PlaceId,
    fields: CarryForm,
    wrongs: Vec<Wrong>,
) -> Result<CarryPage, AppError> {
    let place = found(db, place).await?;
    let below = store::below(db, place.id).await?;
    let fits = |other: &Place| {
        other.id != place.id
            && may_stand_in(place.kind, other.kind)
            && below.iter().all(|inner| inner.id != other.id)
    };
    let mut targets = vec![Choice::one_of("", "choose a place", &fields.to)];
    targets.push(nowhere(&fields.to));
    targets.extend(choices(db, place.team, &fields.to, fits).await?);
    let pieces = store::pieces(db, place.id, place.kind.is_carried()).await?;
    let mass = mass::weigh(
        below.iter().chain([&place]).map(|p| (p.kind, p.tare_g)),
        pieces.iter().map(|line| (line.part, line.qty, line.mass_g)),
    );
    let ways = places::ways(db, &[place.id]).await?;
    Ok(CarryPage {
        form_id: frame.form_id(),
        frame,
        stands: ways.stands(place.id),
        place,
        mass,
        targets,
        code: fields.code,
        wrongs,
    })
}

pub async fn carry(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(place): Path<PlaceId>,
    form: Form<CarryForm>,
) -> Result<Response, AppError> {
    let (sent, fields) = (form.sent, form.fields);
    let target = Target {
        to: fields.to.clone(),
        code: fields.code.clone(),
    };
    match places::carry(&app, &viewer, &sent, place, &target).await {
        Ok(outcome) => Ok(flash::told(&outcome, "Carried.", viewer.zone())),
        Err(NotDone::Failed(error)) => Err(error),
        Err(NotDone::Refused(wrongs)) => {
            let mut db = app.db.read().await?;
            let page = carry_page(&mut db, frame, place, fields, wrongs).await?;
            Ok(page::again(page))
        }
    }
}
