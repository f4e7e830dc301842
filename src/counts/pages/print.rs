//! Count sheets on paper, cut into pages here, since not every browser repeats a table's head.

use std::collections::HashMap;

use askama::Template;
use axum::extract::State;

use super::super::rules::close::Purpose;
use super::super::store::{self, CountPlace, CountSheet, Part};
use super::super::{Whole, whole};
use super::parts_by_id;
use crate::app::App;
use crate::error::AppError;
use crate::ids::{CountId, PartId, PlaceId};
use crate::kits;
use crate::kits::rules::looks::LookedAt;
use crate::people::Viewer;
use crate::web::extract::Path;
use crate::web::frame::Frame;
use crate::web::page::Page;
use crate::web::qr::{self, Qr};

/// Lines on a page: 10 mm a row and some of two rows, within 240 mm.
const ROWS: usize = 12;

#[derive(Template)]
#[template(path = "counts/print.html")]
pub struct PrintPage {
    frame: Frame,
    sheet: CountSheet,
    pages: Vec<Leaf>,
    qr: Option<Qr>,
}

struct Leaf {
    number: usize,
    place: CountPlace,
    rows: Vec<Row>,
    shows_need: bool,
    /// What is only looked at in this place, by name: on its first sheet.
    looked_at: Vec<String>,
}

/// A printed line; without a part it is left blank for what turns up.
struct Row {
    part: Option<Part>,
    due: Option<i64>,
}

impl Leaf {
    fn lines(&self) -> usize {
        self.rows.iter().filter(|row| row.part.is_some()).count()
    }
}

pub async fn all(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(count): Path<CountId>,
) -> Result<Page<PrintPage>, AppError> {
    print(&app, &viewer, frame, count, None).await
}

pub async fn of_place(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path((count, place)): Path<(CountId, PlaceId)>,
) -> Result<Page<PrintPage>, AppError> {
    print(&app, &viewer, frame, count, Some(place)).await
}

async fn print(
    app: &App,
    _: &Viewer,
    frame: Frame,
    count: CountId,
    only: Option<PlaceId>,
) -> Result<Page<PrintPage>, AppError> {
    let mut db = app.db.read().await?;
    let whole = whole(&mut db, count).await?;
    let parts = parts_by_id(&mut db, count).await?;
    let looked_at = kits::looks::looked_at(&mut db, whole.sheet.kit).await?;
    let mut pages = Vec::new();
    for place in &whole.places {
        if only.is_some_and(|only| only != place.id) {
            continue;
        }
        let due = store::due_of_place(&mut db, count, place.id).await?;
        // A bag counted before, of which nothing is due, is printed only when asked for by itself.
        if due.is_empty() && place.counted_at.is_some() && only.is_none() {
            continue;
        }
        let looked_at = looked_at
            .iter()
            .filter(|part| part.belongs_to(place.id))
            .map(LookedAt::full_name)
            .collect();
        leaves(&whole, place, &due, &parts, looked_at, &mut pages);
    }
    if pages.is_empty() && only.is_some() {
        return Err(AppError::NotFound("place"));
    }
    Ok(Page(PrintPage {
        frame,
        qr: qr::of_code(app.public_url(), &whole.sheet.code),
        pages,
        sheet: whole.sheet,
    }))
}

fn leaves(
    whole: &Whole,
    place: &CountPlace,
    due: &[(PartId, i64)],
    parts: &HashMap<PartId, Part>,
    mut looked_at: Vec<String>,
    pages: &mut Vec<Leaf>,
) {
    // A second counter of a recount does not see the need, on paper either.
    let counted_before = whole.facts.counting(place.id).next().is_some();
    let shows_need = !(whole.sheet.purpose == Purpose::Recount && counted_before);
    let rows: Vec<Row> = if due.is_empty() {
        let blank = || Row {
            part: None,
            due: None,
        };
        std::iter::repeat_with(blank).take(ROWS).collect()
    } else {
        due.iter()
            .map(|(part, due)| Row {
                part: parts.get(part).cloned(),
                due: Some(*due).filter(|_| shows_need),
            })
            .collect()
    };
    let mut rows = rows.into_iter().peekable();
    while rows.peek().is_some() {
        // Each part to look at takes the room of a line.
        let room = ROWS.saturating_sub(looked_at.len()).max(1);
        pages.push(Leaf {
            number: pages.len() + 1,
            place: place.clone(),
            rows: rows.by_ref().take(room).collect(),
            shows_need,
            looked_at: std::mem::take(&mut looked_at),
        });
    }
}
