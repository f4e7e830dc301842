//! The helper's sheet of one crate: numbers beside parts, tapping a part, and finishing it.

use std::collections::HashMap;

use askama::Template;
use axum::Extension;
use axum::extract::{Request, State};
use axum::response::{IntoResponse, Response};
use serde::Deserialize;

use crate::app::App;
use crate::counts::Uncounted;
use crate::counts::helped::{Line, Sheet, Typed};
use crate::counts::pages::{self as tapping, UndoForm};
use crate::error::{AppError, NotDone};
use crate::ids::{CountId, FormId, PartId, PlaceId, StintId};
use crate::passes::counting::{self, Refused};
use crate::passes::{Helper, store};
use crate::places::Place;
use crate::places::rules::words::{named, sentence};
use crate::web::extract::{Form, Nothing, Path, Query};
use crate::web::flash;
use crate::web::form::Wrong;
use crate::web::frame::Frame;
use crate::web::page::{self, Page};

#[derive(Template)]
#[template(path = "passes/sheet.html")]
pub(super) struct SheetPage {
    frame: Frame,
    sheet: Sheet,
    place: Place,
    rows: Vec<Row>,
    /// It was asked whether lines that are blank mean none.
    asks_uncounted: bool,
    wrongs: Vec<Wrong>,
}

/// A line with what stands in its field.
struct Row {
    line: Line,
    value: String,
    was: String,
    wrong: Option<String>,
    ask_sure: bool,
}

impl SheetPage {
    fn form_id(&self) -> FormId {
        self.frame.form_id()
    }

    fn title(&self) -> String {
        sentence(&named(&self.place))
    }

    fn error(&self) -> &'static str {
        crate::web::form::title_prefix(&self.wrongs)
    }

    /// The first line that is not counted.
    fn next(&self) -> Option<PartId> {
        let mut lines = self.sheet.lines.iter();
        let next = lines.find(|line| line.shown.is_none())?;
        Some(next.part.id)
    }

    /// Where a part of it is tapped.
    fn taps(&self, part: &PartId) -> String {
        format!("{}/{}?part={part}", counting::STINTS, self.sheet.stint.id)
    }

    fn counted(&self) -> usize {
        let lines = self.sheet.lines.iter();
        lines.filter(|line| line.shown.is_some()).count()
    }
}

fn sheet_page(
    frame: Frame,
    (sheet, place): (Sheet, Place),
    typed: &HashMap<PartId, Typed>,
    refused: Option<&Refused>,
) -> SheetPage {
    let mut wrongs = Vec::new();
    let lines = match refused {
        Some(Refused::Lines(lines)) => lines.as_slice(),
        Some(other) => {
            wrongs.push(Wrong::at("", sentence(&format!("{other}."))));
            &[]
        }
        None => &[],
    };
    let rows = sheet
        .lines
        .iter()
        .map(|line| {
            let part = line.part.id;
            let shown = line.shown.map_or_else(String::new, |n| n.to_string());
            let typed = typed.get(&part);
            let wrong = lines.iter().find(|(of, _, _)| *of == part);
            if let Some((_, why, _)) = wrong {
                let text = format!("{}: {why}", line.part.full_name());
                wrongs.push(Wrong::at(format!("n-{part}"), text));
            }
            Row {
                value: typed.map_or_else(|| shown.clone(), |typed| typed.number.clone()),
                was: typed.map_or(shown, |typed| typed.was.clone()),
                wrong: wrong.map(|(_, why, _)| why.clone()),
                ask_sure: wrong.is_some_and(|(_, _, ask)| *ask),
                line: line.clone(),
            }
        })
        .collect();
    SheetPage {
        frame,
        asks_uncounted: refused == Some(&Refused::Uncounted),
        sheet,
        place,
        rows,
        wrongs,
    }
}

pub(super) async fn begin(
    State(app): State<App>,
    Extension(helper): Extension<Helper>,
    Path((count, place)): Path<(CountId, PlaceId)>,
    form: Form<Nothing>,
) -> Result<Response, AppError> {
    match counting::begin(&app, &helper, &form.sent, count, place).await {
        Ok(stint) => Ok(flash::see(
            &format!("/helping/stints/{stint}"),
            "Count what is in it: tap each piece, or write the number beside its part.",
        )),
        Err(NotDone::Failed(error)) => Err(error),
        Err(NotDone::Refused(why)) => {
            let why = sentence(&format!("{why}."));
            Ok(flash::look("/helping", why))
        }
    }
}

#[derive(Deserialize)]
pub(super) struct Asked {
    /// The line to tap.
    part: Option<PartId>,
    /// A number typed before, to be typed again.
    #[serde(default)]
    typed: String,
}

pub(super) async fn show(
    State(app): State<App>,
    frame: Frame,
    Extension(helper): Extension<Helper>,
    Path(stint): Path<StintId>,
    Query(asked): Query<Asked>,
) -> Result<Response, AppError> {
    let counter = counting::counter(&app, &helper, stint).await?;
    let mut db = app.db.read().await?;
    let (sheet, place) = counting::own(&mut db, &helper, stint).await?;
    let Some(part) = asked.part else {
        let page = sheet_page(frame, (sheet, place), &HashMap::new(), None);
        return Ok(Page(page).into_response());
    };
    if !sheet.lines.iter().any(|line| line.part.id == part) {
        return Err(AppError::NotFound("part"));
    }
    let shown = tapping::Shown {
        typed: asked.typed,
        ..tapping::Shown::default()
    };
    let line = (sheet.stint, sheet.count, part);
    let page = tapping::page(&mut db, &app, &counter, frame, line, shown).await?;
    Ok(Page(page).into_response())
}

/// A tap, a typed number, or a pile of taps that the script sends.
pub(super) async fn tap(
    State(app): State<App>,
    frame: Frame,
    Extension(helper): Extension<Helper>,
    Path(stint): Path<StintId>,
    request: Request,
) -> Result<Response, AppError> {
    let counter = counting::counter(&app, &helper, stint).await?;
    tapping::taps(&app, &counter, frame, stint, request).await
}

pub(super) async fn undo(
    State(app): State<App>,
    frame: Frame,
    Extension(helper): Extension<Helper>,
    Path(stint): Path<StintId>,
    form: Form<UndoForm>,
) -> Result<Response, AppError> {
    let counter = counting::counter(&app, &helper, stint).await?;
    tapping::take_back(&app, &counter, frame, stint, form).await
}

/// Fields `n-{part}` (the number), `was-{part}` (what stood there) and `sure-{part}`.
fn read_fields(fields: &[(String, String)]) -> HashMap<PartId, Typed> {
    let mut all: HashMap<PartId, Typed> = HashMap::new();
    for (name, value) in fields {
        let Some((kind, part)) = name.split_once('-') else {
            continue;
        };
        let Ok(part) = part.parse() else { continue };
        let typed = all.entry(part).or_default();
        match kind {
            "n" => typed.number.clone_from(value),
            "was" => typed.was.clone_from(value),
            "sure" => typed.sure = value == "yes",
            _ => {}
        }
    }
    all
}

pub(super) async fn write(
    State(app): State<App>,
    frame: Frame,
    Extension(helper): Extension<Helper>,
    Path(stint): Path<StintId>,
    form: Form<Vec<(String, String)>>,
) -> Result<Response, AppError> {
    let typed = read_fields(&form.fields);
    let done = counting::write(&app, &helper, &form.sent, stint, &typed).await;
    let words = match done {
        Ok(0) => "Nothing was changed.".to_owned(),
        Ok(1) => "1 line written down.".to_owned(),
        Ok(lines) => format!("{lines} lines written down."),
        Err(_) => String::new(),
    };
    answer(
        &app,
        frame,
        &helper,
        stint,
        done.map(|_| ()),
        &words,
        &typed,
    )
    .await
}

#[derive(Deserialize)]
pub(super) struct DoneForm {
    /// "none": none of the uncounted lines are here; "leave": they stay uncounted.
    #[serde(default)]
    uncounted: String,
}

pub(super) async fn done(
    State(app): State<App>,
    frame: Frame,
    Extension(helper): Extension<Helper>,
    Path(stint): Path<StintId>,
    form: Form<DoneForm>,
) -> Result<Response, AppError> {
    let uncounted = match form.fields.uncounted.as_str() {
        "none" => Uncounted::NoneHere,
        "leave" => Uncounted::Leave,
        _ => Uncounted::Ask,
    };
    match counting::done(&app, &helper, &form.sent, stint, uncounted).await {
        Ok(()) => Ok(flash::see("/helping", "Finished. Take the next one.")),
        done => answer(&app, frame, &helper, stint, done, "", &HashMap::new()).await,
    }
}

pub(super) async fn take_up(
    State(app): State<App>,
    frame: Frame,
    Extension(helper): Extension<Helper>,
    Path(stint): Path<StintId>,
    form: Form<Nothing>,
) -> Result<Response, AppError> {
    let done = counting::take_up(&app, &helper, &form.sent, stint).await;
    let words = "You can go on with it.";
    answer(&app, frame, &helper, stint, done, words, &HashMap::new()).await
}

/// The sheet again, with what was told or what has to be put right.
async fn answer(
    app: &App,
    frame: Frame,
    helper: &Helper,
    stint: StintId,
    done: Result<(), NotDone<Refused>>,
    words: &str,
    typed: &HashMap<PartId, Typed>,
) -> Result<Response, AppError> {
    match done {
        Ok(()) => Ok(flash::see(&format!("/helping/stints/{stint}"), words)),
        Err(NotDone::Failed(error)) => Err(error),
        Err(NotDone::Refused(why)) => {
            let mut db = app.db.read().await?;
            let own = counting::own(&mut db, helper, stint).await?;
            Ok(page::again(sheet_page(frame, own, typed, Some(&why))))
        }
    }
}

/// What the helper has begun, for the list of crates: place, stint, whether it is finished.
pub(super) async fn begun(
    app: &App,
    helper: &Helper,
) -> Result<HashMap<(CountId, PlaceId), (StintId, bool)>, AppError> {
    let Some(person) = helper.person else {
        return Ok(HashMap::new());
    };
    let mut db = app.db.read().await?;
    Ok(store::begun(&mut db, person).await?)
}
