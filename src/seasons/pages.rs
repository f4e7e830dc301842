//! The pages of seasons.

use askama::Template;
use axum::extract::State;
use axum::response::Response;
use serde::Deserialize;

use super::Season;
use crate::app::App;
use crate::error::{AppError, NotDone};
use crate::ids::{FormId, SeasonId};
use crate::people::Viewer;
use crate::people::access::{Routes, Rule};
use crate::web::extract::{Form, Path};
use crate::web::flash;
use crate::web::form::{self, Wrong};
use crate::web::frame::Frame;
use crate::web::page::{self, Page};

pub fn routes() -> Routes {
    Routes::new()
        .get("/seasons", Rule::SignedIn, index)
        .get("/seasons/new", Rule::KeepsGuides, new)
        .post("/seasons", Rule::KeepsGuides, begin)
        .get("/seasons/{season}", Rule::SignedIn, show)
}

#[derive(Template)]
#[template(path = "seasons/index.html")]
struct IndexPage {
    frame: Frame,
    seasons: Vec<Season>,
}

async fn index(State(app): State<App>, frame: Frame) -> Result<Page<IndexPage>, AppError> {
    let mut db = app.db.read().await?;
    let seasons = super::all(&mut db).await?;
    Ok(Page(IndexPage { frame, seasons }))
}

#[derive(Template)]
#[template(path = "seasons/show.html")]
struct ShowPage {
    frame: Frame,
    season: Season,
}

async fn show(
    State(app): State<App>,
    frame: Frame,
    Path(season): Path<SeasonId>,
) -> Result<Page<ShowPage>, AppError> {
    let mut db = app.db.read().await?;
    let season = super::find(&mut db, season)
        .await?
        .ok_or(AppError::NotFound("season"))?;
    Ok(Page(ShowPage { frame, season }))
}

#[derive(Template)]
#[template(path = "seasons/new.html")]
struct NewPage {
    frame: Frame,
    form_id: FormId,
    fields: SeasonForm,
    wrongs: Vec<Wrong>,
}

impl NewPage {
    fn wrong(&self, field: &str) -> Option<&str> {
        form::at(&self.wrongs, field)
    }

    fn error(&self) -> &'static str {
        form::title_prefix(&self.wrongs)
    }
}

#[derive(Deserialize, Default)]
struct SeasonForm {
    #[serde(default)]
    name: String,
    #[serde(default)]
    starts_on: String,
}

async fn new(State(app): State<App>, viewer: Viewer, frame: Frame) -> Page<NewPage> {
    Page(NewPage {
        form_id: frame.form_id(),
        frame,
        fields: SeasonForm {
            name: String::new(),
            starts_on: viewer.today(&app).to_string(),
        },
        wrongs: Vec::new(),
    })
}

async fn begin(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    form: Form<SeasonForm>,
) -> Result<Response, AppError> {
    let (sent, fields) = (form.sent, form.fields);
    // A new id: the refused one may have been sent with other words.
    let form_id = frame.form_id();
    let show_again = |fields, wrong| {
        Ok(page::again(NewPage {
            frame,
            form_id,
            fields,
            wrongs: vec![wrong],
        }))
    };
    let Ok(starts_on) = fields.starts_on.trim().parse() else {
        let text = "give the day as year-month-day, like 2027-03-04";
        return show_again(fields, Wrong::at("starts_on", text));
    };
    match super::begin(&app, &viewer, &sent, &fields.name, starts_on).await {
        Ok(outcome) => Ok(flash::told(&outcome, "Season added.", viewer.zone())),
        Err(NotDone::Refused(refused)) => show_again(fields, Wrong::at("name", refused)),
        Err(NotDone::Failed(error)) => Err(error),
    }
}
