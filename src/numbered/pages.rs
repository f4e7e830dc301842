//! The pages of numbered pieces: those of a kit, and one.

use askama::Template;
use axum::extract::State;
use axum::response::{IntoResponse, Response};
use serde::Deserialize;
use sqlx::SqliteConnection;

use super::rules::{Refused, Typed};
use super::{Piece, Sighting, store};
use crate::app::App;
use crate::error::{AppError, NotDone};
use crate::ids::{FormId, KitId, PieceId, PlaceId};
use crate::kits::{self, Kit};
use crate::people::Viewer;
use crate::people::access::{Routes, Rule};
use crate::people::rules::own_path;
use crate::places::{self, Place};
use crate::web::extract::{Form, Nothing, Path};
use crate::web::flash;
use crate::web::form::{self, Choice, Wrong};
use crate::web::frame::Frame;
use crate::web::page::{self, Page};
use crate::web::qr::{self, Qr};

pub fn routes() -> Routes {
    Routes::new()
        .get("/kits/{kit}/numbered", Rule::Sees, index)
        .post("/kits/{kit}/numbered", Rule::Keeps, add)
        .get("/numbered/{piece}", Rule::Sees, show)
        .post("/numbered/{piece}", Rule::Keeps, change)
        .post("/numbered/{piece}/sightings", Rule::Works, see)
        .post("/numbered/{piece}/put-away", Rule::Keeps, put_away)
        .post("/numbered/{piece}/bring-back", Rule::Keeps, bring_back)
}

#[derive(Deserialize, Default)]
struct AddForm {
    #[serde(default)]
    part: String,
    #[serde(default)]
    name: String,
    #[serde(default)]
    serial: String,
    #[serde(default)]
    note: String,
}

#[derive(Template)]
#[template(path = "numbered/index.html")]
struct IndexPage {
    frame: Frame,
    kit: Kit,
    pieces: Vec<Piece>,
    typed: AddForm,
    wrongs: Vec<Wrong>,
    may_keep: bool,
}

impl IndexPage {
    fn error(&self) -> &'static str {
        form::title_prefix(&self.wrongs)
    }

    fn wrong(&self, field: &str) -> Option<&str> {
        form::at(&self.wrongs, field)
    }
}

async fn index_page(
    db: &mut SqliteConnection,
    viewer: &Viewer,
    frame: Frame,
    kit: KitId,
    typed: AddForm,
    wrongs: Vec<Wrong>,
) -> Result<IndexPage, AppError> {
    let kit = kits::find(db, kit)
        .await?
        .ok_or(AppError::NotFound("kit"))?;
    Ok(IndexPage {
        frame,
        pieces: store::of_kit(db, kit.id).await?,
        typed,
        wrongs,
        may_keep: viewer.keeps(kit.team),
        kit,
    })
}

async fn index(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(kit): Path<KitId>,
) -> Result<Response, AppError> {
    let mut db = app.db.read().await?;
    let typed = AddForm::default();
    let page = index_page(&mut db, &viewer, frame, kit, typed, Vec::new()).await?;
    Ok(Page(page).into_response())
}

async fn add(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(kit): Path<KitId>,
    form: Form<AddForm>,
) -> Result<Response, AppError> {
    let fields = form.fields;
    let typed = Typed {
        name: fields.name.clone(),
        serial: fields.serial.clone(),
        note: fields.note.clone(),
    };
    match super::add(&app, &viewer, &form.sent, kit, &fields.part, &typed).await {
        Ok(outcome) => Ok(flash::told(
            &outcome,
            "Added. Write its code on it, and say where it is.",
            viewer.zone(),
        )),
        Err(NotDone::Failed(error)) => Err(error),
        Err(NotDone::Refused(refused)) => {
            let wrongs = vec![Wrong::at(refused.field(), refused)];
            let mut db = app.db.read().await?;
            let page = index_page(&mut db, &viewer, frame, kit, fields, wrongs).await?;
            Ok(page::again(page))
        }
    }
}

/// What was typed on the page of a piece.
#[derive(Default)]
struct Kept {
    typed: Option<Typed>,
    sighting_note: String,
    why: String,
}

#[derive(Template)]
#[template(path = "numbered/show.html")]
struct ShowPage {
    frame: Frame,
    piece: Piece,
    sightings: Vec<Sighting>,
    places: Vec<Place>,
    kept: Kept,
    wrongs: Vec<Wrong>,
    may_work: bool,
    may_keep: bool,
    zone: String,
    qr: Option<Qr>,
}

impl ShowPage {
    fn error(&self) -> &'static str {
        form::title_prefix(&self.wrongs)
    }

    fn wrong(&self, field: &str) -> Option<&str> {
        form::at(&self.wrongs, field)
    }

    fn form_id(&self) -> FormId {
        FormId::new()
    }

    fn typed(&self) -> Typed {
        self.kept.typed.clone().unwrap_or_else(|| Typed {
            name: self.piece.name.clone(),
            serial: self.piece.serial.clone(),
            note: self.piece.note.clone(),
        })
    }

    fn choices(&self) -> Vec<Choice> {
        self.places
            .iter()
            .map(|place| Choice::new(place.id, &place.name, Some(place.id) == self.piece.place))
            .collect()
    }

    /// "seen in Bag 3, Ama, 4 Mar 2027, 18:04: battery low".
    fn told(&self, sighting: &Sighting) -> String {
        let mut words = format!(
            "{} in {}, {}, {}",
            sighting.said.word(),
            sighting.place_name,
            crate::people::shown_name(&sighting.by),
            sighting.at.words(&self.zone)
        );
        if !sighting.note.is_empty() {
            words.push_str(": ");
            words.push_str(&sighting.note);
        }
        words
    }
}

async fn show_page(
    db: &mut SqliteConnection,
    app: &App,
    viewer: &Viewer,
    frame: Frame,
    piece: PieceId,
    kept: Kept,
    wrongs: Vec<Wrong>,
) -> Result<ShowPage, AppError> {
    let piece = super::found(db, piece).await?;
    Ok(ShowPage {
        frame,
        sightings: store::sightings(db, piece.id).await?,
        places: places::in_kit(db, piece.kit).await?,
        kept,
        wrongs,
        may_work: viewer.role_in(piece.team).is_some() && !piece.is_put_away(),
        may_keep: viewer.keeps(piece.team),
        zone: viewer.zone().to_owned(),
        qr: qr::of_code(app.public_url(), &piece.code),
        piece,
    })
}

async fn show(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(piece): Path<PieceId>,
) -> Result<Response, AppError> {
    let mut db = app.db.read().await?;
    let kept = Kept::default();
    let page = show_page(&mut db, &app, &viewer, frame, piece, kept, Vec::new()).await?;
    Ok(Page(page).into_response())
}

/// The page of the piece again, with what has to be put right and what was typed.
async fn again(
    app: &App,
    viewer: &Viewer,
    frame: Frame,
    piece: PieceId,
    kept: Kept,
    refused: Refused,
) -> Result<Response, AppError> {
    let wrongs = vec![Wrong::at(refused.field(), refused)];
    let mut db = app.db.read().await?;
    let page = show_page(&mut db, app, viewer, frame, piece, kept, wrongs).await?;
    Ok(page::again(page))
}

#[derive(Deserialize)]
struct ChangeForm {
    version: i64,
    #[serde(default)]
    name: String,
    #[serde(default)]
    serial: String,
    #[serde(default)]
    note: String,
}

async fn change(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(piece): Path<PieceId>,
    form: Form<ChangeForm>,
) -> Result<Response, AppError> {
    let fields = form.fields;
    let typed = Typed {
        name: fields.name,
        serial: fields.serial,
        note: fields.note,
    };
    match super::change(&app, &viewer, &form.sent, piece, fields.version, &typed).await {
        Ok(outcome) => Ok(flash::told(&outcome, "Kept.", viewer.zone())),
        Err(NotDone::Failed(error)) => Err(error),
        Err(NotDone::Refused(refused)) => {
            let kept = Kept {
                typed: Some(typed),
                ..Kept::default()
            };
            again(&app, &viewer, frame, piece, kept, refused).await
        }
    }
}

#[derive(Deserialize)]
struct SeeForm {
    #[serde(default)]
    place: String,
    #[serde(default)]
    said: String,
    #[serde(default)]
    sighting_note: String,
    #[serde(default)]
    then: String,
}

async fn see(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(piece): Path<PieceId>,
    form: Form<SeeForm>,
) -> Result<Response, AppError> {
    let fields = form.fields;
    let own = format!("/numbered/{piece}");
    let then = own_path(&fields.then).unwrap_or(&own);
    let place: Option<PlaceId> = fields.place.parse().ok();
    let seen = (place, fields.said.as_str(), fields.sighting_note.as_str());
    match super::see(&app, &viewer, &form.sent, piece, seen, then).await {
        Ok(outcome) => Ok(flash::told(&outcome, "Written down.", viewer.zone())),
        Err(NotDone::Failed(error)) => Err(error),
        Err(NotDone::Refused(refused)) => {
            let kept = Kept {
                sighting_note: fields.sighting_note,
                ..Kept::default()
            };
            again(&app, &viewer, frame, piece, kept, refused).await
        }
    }
}

#[derive(Deserialize)]
struct AwayForm {
    #[serde(default)]
    why: String,
}

async fn put_away(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(piece): Path<PieceId>,
    form: Form<AwayForm>,
) -> Result<Response, AppError> {
    let why = form.fields.why;
    match super::put_away(&app, &viewer, &form.sent, piece, Some(&why)).await {
        Ok(outcome) => Ok(flash::told(&outcome, "Put away.", viewer.zone())),
        Err(NotDone::Failed(error)) => Err(error),
        Err(NotDone::Refused(refused)) => {
            let kept = Kept {
                why,
                ..Kept::default()
            };
            again(&app, &viewer, frame, piece, kept, refused).await
        }
    }
}

async fn bring_back(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(piece): Path<PieceId>,
    form: Form<Nothing>,
) -> Result<Response, AppError> {
    match super::put_away(&app, &viewer, &form.sent, piece, None).await {
        Ok(outcome) => Ok(flash::told(&outcome, "Brought back.", viewer.zone())),
        Err(NotDone::Failed(error)) => Err(error),
        Err(NotDone::Refused(refused)) => {
            again(&app, &viewer, frame, piece, Kept::default(), refused).await
        }
    }
}
