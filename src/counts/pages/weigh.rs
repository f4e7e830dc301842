//! Counting a heap by its weight: the form, what it comes to, and writing it down.

use askama::Template;
use axum::extract::State;
use axum::response::{IntoResponse, Redirect, Response};
use serde::Deserialize;
use sqlx::SqliteConnection;

use super::super::rules::tally::TallyRefused;
use super::super::rules::weighed::{self, Reading, Typed};
use super::super::store::{self, CountSheet, Part, Stint};
use super::super::tallying::{Recorded, Tap};
use super::super::{stint_and_count, weighing};
use super::{Counter, sentence, tallies};
use crate::app::App;
use crate::error::AppError;
use crate::ids::{PartId, StintId, TallyId};
use crate::people::Viewer;
use crate::places::{self, Place};
use crate::web::extract::{Form, Path, Query};
use crate::web::form::{self, Wrong};
use crate::web::frame::Frame;
use crate::web::page::{self, Page};

/// What the form asks: everything may be left out.
#[derive(Deserialize, Default)]
#[serde(default)]
pub struct Asked {
    part: Option<PartId>,
    gross: String,
    tare: String,
    step: String,
    /// Single pieces: "12.1 11.9 12.0".
    sample: String,
    sample_step: String,
    /// "yes": the form was filled in.
    reckon: String,
    /// What the line showed when the answer was drawn.
    shown: String,
    /// "more": beside what was counted before. Else it is all there is.
    how: String,
}

impl Asked {
    fn typed(&self) -> Typed {
        Typed {
            gross: self.gross.clone(),
            tare: self.tare.clone(),
            step: self.step.clone(),
            sample: self.sample.clone(),
            sample_step: self.sample_step.clone(),
        }
    }
}

#[derive(Template)]
#[template(path = "counts/weigh.html")]
struct WeighPage {
    frame: Frame,
    wrongs: Vec<Wrong>,
    sheet: CountSheet,
    stint: Stint,
    place: Place,
    part: Part,
    typed: Typed,
    shown: Option<i64>,
    reading: Option<Reading>,
    may_tap: bool,
}

impl WeighPage {
    fn error(&self) -> &'static str {
        form::title_prefix(&self.wrongs)
    }

    fn wrong(&self, field: &str) -> Option<&str> {
        form::at(&self.wrongs, field)
    }

    fn shown_text(&self) -> String {
        self.shown.map_or_else(String::new, |n| n.to_string())
    }

    /// What was counted before and is not weighed now.
    fn before(&self) -> Option<i64> {
        self.shown.filter(|shown| *shown > 0)
    }
}

async fn weigh_page(
    db: &mut SqliteConnection,
    viewer: &Viewer,
    frame: Frame,
    (stint, part): (StintId, PartId),
    typed: Option<Typed>,
    mut wrongs: Vec<Wrong>,
) -> Result<WeighPage, AppError> {
    let (stint, sheet) = stint_and_count(db, stint).await?;
    let part = store::part(db, part)
        .await?
        .filter(|part| !part.is_looked_at())
        .ok_or(AppError::NotFound("part"))?;
    let place = places::find(db, stint.place)
        .await?
        .ok_or(AppError::NotFound("place"))?;
    let shown = store::standing(db, stint.id, part.id).await?.total;
    let is_filled = typed.is_some();
    let mut reading = None;
    let typed = match typed {
        Some(typed) => typed,
        None => store::last_sample(db, part.id, sheet.team)
            .await?
            .unwrap_or_else(|| Typed {
                step: "1".into(),
                sample_step: "1".into(),
                ..Typed::default()
            }),
    };
    if wrongs.is_empty() && is_filled {
        match weighed::read(&typed) {
            Ok(read) => reading = Some(read),
            Err(refused) => wrongs = said(refused),
        }
    }
    Ok(WeighPage {
        frame,
        wrongs,
        may_tap: viewer.role_in(sheet.team).is_some() && sheet.is_open() && stint.is_open(),
        sheet,
        stint,
        place,
        part,
        typed,
        shown,
        reading,
    })
}

fn said(refused: Vec<(&'static str, weighed::ReadRefused)>) -> Vec<Wrong> {
    refused
        .into_iter()
        .map(|(field, why)| Wrong::at(field, sentence(&why.to_string())))
        .collect()
}

pub async fn ask(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(stint): Path<StintId>,
    Query(asked): Query<Asked>,
) -> Result<Response, AppError> {
    // Without a part there is nothing to weigh: the list of lines says what there is.
    let Some(part) = asked.part else {
        return Ok(Redirect::to(&format!("/stints/{stint}")).into_response());
    };
    let mut db = app.db.read().await?;
    let typed = (asked.reckon == "yes").then(|| asked.typed());
    let page = weigh_page(&mut db, &viewer, frame, (stint, part), typed, Vec::new()).await?;
    Ok(if page.wrongs.is_empty() {
        Page(page).into_response()
    } else {
        page::again(page)
    })
}

/// The form's id becomes the tap's id.
pub async fn write_down(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(stint): Path<StintId>,
    form: Form<Asked>,
) -> Result<Response, AppError> {
    let fields = form.fields;
    let part = fields.part.ok_or(AppError::NotFound("part"))?;
    let typed = fields.typed();
    let again = async |wrongs: Vec<Wrong>| -> Result<Response, AppError> {
        let mut db = app.db.read().await?;
        let line = (stint, part);
        let page = weigh_page(&mut db, &viewer, frame, line, Some(typed.clone()), wrongs).await?;
        Ok(page::again(page))
    };
    let reading = match weighed::read(&typed) {
        Ok(reading) => reading,
        Err(refused) => return again(said(refused)).await,
    };
    let shown: Option<i64> = match fields.shown.as_str() {
        "" => None,
        text => Some(text.parse().map_err(|_| {
            AppError::BadRequest("The number on the page could not be read.".into())
        })?),
    };
    let before = if fields.how == "more" {
        0
    } else {
        shown.unwrap_or(0)
    };
    let tap = Tap {
        id: TallyId(form.sent.id.0),
        part,
        amount: reading.pieces() - before,
        shown,
        undoes: None,
        done_at: app.clock.now(),
    };
    match weighing::record(&app, &viewer, stint, &tap, &reading).await? {
        Recorded::Refused(TallyRefused::NoSuchPart) => Err(AppError::NotFound("part")),
        Recorded::Refused(TallyRefused::OtherTap) => Err(AppError::Conflict(sentence(
            &TallyRefused::OtherTap.to_string(),
        ))),
        Recorded::Refused(why) => again(super::whole(why)).await,
        recorded => Ok(tallies::back_to_line(
            &Counter::member(viewer),
            stint,
            part,
            &recorded,
        )),
    }
}
