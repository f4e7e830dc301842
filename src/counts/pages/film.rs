//! The lines of a count whose colour hides under film, in one list: peel a corner before they are counted.

use std::collections::HashMap;

use askama::Template;
use axum::extract::State;

use super::super::rules::facts::Whose;
use super::super::store::{CountSheet, Part};
use super::super::{Whole, whole};
use super::parts_by_id;
use crate::app::App;
use crate::error::AppError;
use crate::ids::{CountId, PartId, PlaceId};
use crate::web::extract::Path;
use crate::web::frame::Frame;
use crate::web::page::Page;

/// A line of a place whose colour hides under film.
pub(super) struct FilmLine {
    place: PlaceId,
    place_name: String,
    part: Part,
    is_counted: bool,
}

/// Those lines of a count, place by place.
pub(super) fn lines(whole: &Whole, parts: &HashMap<PartId, Part>) -> Vec<FilmLine> {
    let lines = whole.facts.lines(Whose::All);
    whole
        .places
        .iter()
        .flat_map(|place| {
            lines
                .iter()
                .filter(move |line| line.place == place.id)
                .map(move |line| (place, line))
        })
        .filter_map(|(place, line)| {
            let part = parts.get(&line.part)?;
            part.is_under_film().then(|| FilmLine {
                place: place.id,
                place_name: place.name.clone(),
                part: part.clone(),
                is_counted: line.is_counted(),
            })
        })
        .collect()
}

#[derive(Template)]
#[template(path = "counts/film.html")]
pub struct FilmPage {
    frame: Frame,
    sheet: CountSheet,
    lines: Vec<FilmLine>,
}

impl FilmPage {
    fn left(&self) -> usize {
        self.lines.iter().filter(|line| !line.is_counted).count()
    }
}

pub async fn show(
    State(app): State<App>,
    frame: Frame,
    Path(count): Path<CountId>,
) -> Result<Page<FilmPage>, AppError> {
    let mut db = app.db.read().await?;
    let whole = whole(&mut db, count).await?;
    let parts = parts_by_id(&mut db, count).await?;
    Ok(Page(FilmPage {
        frame,
        lines: lines(&whole, &parts),
        sheet: whole.sheet,
    }))
}
