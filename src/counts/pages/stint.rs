//! A stint's list of lines, finishing it, taking it up again and setting it aside.

use askama::Template;
use axum::extract::State;
use axum::response::{IntoResponse, Redirect, Response};
use serde::Deserialize;

use super::super::finishing::{self, StintRefused, Uncounted};
use super::super::stint_and_count;
use super::super::store::{self, CountSheet, Part, Stint};
use super::lines::{self, Line};
use super::{Counter, moment, several, tally};
use crate::app::App;
use crate::error::{AppError, NotDone};
use crate::ids::{FormId, PartId, StintId};
use crate::kits;
use crate::kits::rules::looks::LookedAt;
use crate::numbered::{self, Piece};
use crate::people::Viewer;
use crate::places::{self, Place};
use crate::web::extract::{Form, Path, Query};
use crate::web::flash;
use crate::web::form::Wrong;
use crate::web::frame::Frame;
use crate::web::page::{self, Page};

#[derive(Deserialize)]
pub struct Asked {
    part: Option<PartId>,
    #[serde(default)]
    q: String,
    /// A number typed before, to be typed again.
    #[serde(default)]
    typed: String,
}

#[derive(Template)]
#[template(path = "counts/stint.html")]
struct ListPage {
    frame: Frame,
    sheet: CountSheet,
    stint: Stint,
    place: Place,
    lines: Vec<Line>,
    has_slip: bool,
    q: String,
    words: String,
    since: String,
    may_work: bool,
    mine: bool,
    /// The first line that is not counted.
    next: Option<PartId>,
    /// Parts that are only looked at, as far as somebody looks for them here.
    looked_at: Vec<LookedAt>,
    /// Numbered pieces that were seen here last.
    numbered: Vec<Piece>,
}

impl ListPage {
    fn form_id(&self) -> FormId {
        FormId::new()
    }

    /// What was seen in this place last, in one word.
    fn seen(&self, part: &LookedAt) -> &'static str {
        part.look_in(self.place.id)
            .map_or("not looked at", |look| look.said.word())
    }
}

pub async fn show(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(stint): Path<StintId>,
    Query(asked): Query<Asked>,
) -> Result<Response, AppError> {
    let mut db = app.db.read().await?;
    let (stint, sheet) = stint_and_count(&mut db, stint).await?;
    if let Some(part) = asked.part
        && kits::looks::is_looked_at(&mut db, part).await?
    {
        let list = format!("/stints/{}#looked-at", stint.id);
        return Ok(Redirect::to(&list).into_response());
    }
    if let Some(part) = asked.part {
        let shown = tally::Shown {
            typed: asked.typed,
            ..tally::Shown::default()
        };
        let line = (stint, sheet, part);
        let counter = Counter::member(viewer);
        let page = tally::page(&mut db, &app, &counter, frame, line, shown).await?;
        return Ok(Page(page).into_response());
    }
    let place = places::find(&mut db, stint.place)
        .await?
        .ok_or(AppError::NotFound("place"))?;
    let found = lines::of_stint(&mut db, &sheet, &stint).await?;
    let counted = found.lines.iter().filter(|line| line.is_counted()).count();
    let words = if found.has_slip {
        format!("{counted} of {} lines", found.lines.len())
    } else {
        several(counted, "line counted", "lines counted")
    };
    let next = found
        .lines
        .iter()
        .find(|line| !line.is_counted())
        .map(|line| line.part.id);
    let mut looked_at = kits::looks::looked_at(&mut db, sheet.kit).await?;
    looked_at.retain(|part| part.belongs_to(place.id));
    let numbered = numbered::in_place(&mut db, sheet.kit, place.id).await?;
    let lines = if asked.q.trim().is_empty() {
        found.lines
    } else {
        lines::found(&mut db, &sheet, found.lines, &asked.q).await?
    };
    Ok(Page(ListPage {
        frame,
        lines,
        has_slip: found.has_slip,
        q: asked.q,
        words,
        since: moment(&app, &viewer, stint.began_at),
        may_work: viewer.role_in(sheet.team).is_some() && sheet.is_open(),
        mine: stint.person == viewer.person,
        next,
        looked_at,
        numbered,
        sheet,
        stint,
        place,
    })
    .into_response())
}

#[derive(Template)]
#[template(path = "counts/done.html")]
struct DonePage {
    frame: Frame,
    wrongs: Vec<Wrong>,
    sheet: CountSheet,
    stint: Stint,
    place: Place,
    uncounted: Vec<Part>,
}

async fn done_page(
    app: &App,
    frame: Frame,
    stint: StintId,
    wrongs: Vec<Wrong>,
) -> Result<DonePage, AppError> {
    let mut db = app.db.read().await?;
    let (stint, sheet) = stint_and_count(&mut db, stint).await?;
    let place = places::find(&mut db, stint.place)
        .await?
        .ok_or(AppError::NotFound("place"))?;
    let mut uncounted = Vec::new();
    for part in finishing::uncounted(&mut db, &stint).await? {
        uncounted.extend(store::part(&mut db, part).await?);
    }
    Ok(DonePage {
        frame,
        wrongs,
        sheet,
        stint,
        place,
        uncounted,
    })
}

pub async fn ask_done(
    State(app): State<App>,
    frame: Frame,
    Path(stint): Path<StintId>,
) -> Result<Response, AppError> {
    Ok(Page(done_page(&app, frame, stint, Vec::new()).await?).into_response())
}

#[derive(Deserialize)]
pub struct DoneForm {
    /// "none": none of the uncounted lines are here; "leave": they stay uncounted.
    #[serde(default)]
    uncounted: String,
}

pub async fn done(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(stint): Path<StintId>,
    form: Form<DoneForm>,
) -> Result<Response, AppError> {
    let uncounted = match form.fields.uncounted.as_str() {
        "none" => Uncounted::NoneHere,
        "leave" => Uncounted::Leave,
        _ => Uncounted::Ask,
    };
    match finishing::done(&app, &viewer, &form.sent, stint, uncounted).await {
        Ok(outcome) if outcome.location().contains("/places/") => Ok(flash::told(
            &outcome,
            "Finished. The counts of some lines differ.",
            viewer.zone(),
        )),
        Ok(outcome) => Ok(flash::told(
            &outcome,
            "Finished. Take the next bag.",
            viewer.zone(),
        )),
        Err(NotDone::Refused(refused)) => {
            let page = done_page(&app, frame, stint, super::whole(refused)).await?;
            Ok(page::again(page))
        }
        Err(NotDone::Failed(error)) => Err(error),
    }
}

#[derive(Deserialize)]
pub struct NoFields {}

pub async fn take_up(
    State(app): State<App>,
    viewer: Viewer,
    Path(stint): Path<StintId>,
    form: Form<NoFields>,
) -> Result<Response, AppError> {
    match finishing::take_up(&app, &viewer, &form.sent, stint).await {
        Ok(outcome) => Ok(flash::told(
            &outcome,
            "This count is open again.",
            viewer.zone(),
        )),
        Err(NotDone::Refused(refused)) => refused_at_place(&app, stint, &refused).await,
        Err(NotDone::Failed(error)) => Err(error),
    }
}

#[derive(Deserialize)]
pub struct AsideForm {
    #[serde(default)]
    reason: String,
}

pub async fn set_aside(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(stint): Path<StintId>,
    form: Form<AsideForm>,
) -> Result<Response, AppError> {
    let reason = &form.fields.reason;
    match finishing::set_aside(&app, &viewer, &form.sent, stint, reason).await {
        Ok(outcome) => Ok(flash::told(
            &outcome,
            "Set aside. Its numbers are kept, but have no say.",
            viewer.zone(),
        )),
        Err(NotDone::Refused(refused)) => {
            let mut db = app.db.read().await?;
            let (stint, sheet) = stint_and_count(&mut db, stint).await?;
            let wrong = Wrong::at(
                format!("reason-{}", stint.id),
                super::sentence(&refused.to_string()),
            );
            let kept = Some((stint.id, reason.clone()));
            let page = super::place::page(
                &mut db,
                &app,
                &viewer,
                frame,
                (sheet.id, stint.place),
                vec![wrong],
                kept,
            )
            .await?;
            Ok(page::again(page))
        }
        Err(NotDone::Failed(error)) => Err(error),
    }
}

/// Leads to the page of the place, where the counts are compared, with the refusal as its message.
async fn refused_at_place(
    app: &App,
    stint: StintId,
    refused: &StintRefused,
) -> Result<Response, AppError> {
    let mut db = app.db.read().await?;
    let (stint, sheet) = stint_and_count(&mut db, stint).await?;
    Ok(flash::look(
        &format!("/counts/{}/places/{}", sheet.id, stint.place),
        super::sentence(&refused.to_string()),
    ))
}
