//! The desk sheet: a whole place typed in, one number a line, in the order of the paper.

use std::collections::HashMap;

use askama::Template;
use axum::extract::State;
use axum::response::{IntoResponse, Response};
use sqlx::SqliteConnection;

use super::super::rules::tally::TallyRefused;
use super::super::rules::typed;
use super::super::stint_and_count;
use super::super::store::{CountSheet, Stint};
use super::super::tallying::{self, SheetRefused, TypedLine};
use super::lines::{self, Line};
use super::sentence;
use crate::app::App;
use crate::error::{AppError, NotDone};
use crate::ids::{PartId, StintId};
use crate::people::Viewer;
use crate::places::{self, Place};
use crate::web::extract::{Form, Path};
use crate::web::flash;
use crate::web::form::Wrong;
use crate::web::frame::Frame;
use crate::web::page::{self, Page};

#[derive(Template)]
#[template(path = "counts/sheet.html")]
struct SheetPage {
    frame: Frame,
    wrongs: Vec<Wrong>,
    sheet: CountSheet,
    stint: Stint,
    place: Place,
    rows: Vec<Row>,
    shows_need: bool,
    filled: String,
    may_type: bool,
}

struct Row {
    line: Line,
    /// What stands in the field.
    value: String,
    /// What the screen showed when the number was typed.
    was: String,
    wrong: Option<String>,
    /// A number that may be a slip: it is taken when this is ticked.
    ask_sure: bool,
    sure: bool,
}

/// What a form said about a line.
#[derive(Default)]
struct Typed {
    number: Option<String>,
    was: String,
    sure: bool,
}

type AllTyped = HashMap<PartId, Typed>;

async fn sheet_page(
    db: &mut SqliteConnection,
    viewer: &Viewer,
    frame: Frame,
    stint: StintId,
    typed: &AllTyped,
    wrong: &HashMap<PartId, (String, bool)>,
    whole: Option<String>,
) -> Result<SheetPage, AppError> {
    let (stint, sheet) = stint_and_count(db, stint).await?;
    let place = places::find(db, stint.place)
        .await?
        .ok_or(AppError::NotFound("place"))?;
    let found = lines::of_stint(db, &sheet, &stint).await?;
    let counted = found.lines.iter().filter(|line| line.is_counted()).count();
    let short = found.lines.iter().filter(|line| line.short() > 0).count();
    let mut filled = format!("Filled {counted} of {} lines", found.lines.len());
    if short > 0 {
        filled.push_str(&format!(", {short} short"));
    }
    let mut wrongs: Vec<Wrong> = whole.map(super::whole).unwrap_or_default();
    let rows: Vec<Row> = found
        .lines
        .into_iter()
        .map(|line| {
            let part = line.part.id;
            let shown = line.shown.map_or_else(String::new, |n| n.to_string());
            let typed = typed.get(&part);
            let wrong = wrong.get(&part);
            if let Some((text, _)) = wrong {
                wrongs.push(Wrong::at(
                    format!("n-{part}"),
                    format!("{}: {text}", line.part.full_name()),
                ));
            }
            Row {
                value: typed
                    .and_then(|typed| typed.number.clone())
                    .unwrap_or_else(|| shown.clone()),
                was: typed.map_or(shown, |typed| typed.was.clone()),
                sure: typed.is_some_and(|typed| typed.sure),
                ask_sure: wrong.is_some_and(|(_, ask)| *ask),
                wrong: wrong.map(|(text, _)| text.clone()),
                line,
            }
        })
        .collect();
    Ok(SheetPage {
        frame,
        wrongs,
        rows,
        shows_need: lines::shows_need(&sheet, &stint),
        filled,
        may_type: viewer.role_in(sheet.team).is_some() && sheet.is_open() && stint.is_open(),
        sheet,
        stint,
        place,
    })
}

pub async fn show(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(stint): Path<StintId>,
) -> Result<Response, AppError> {
    let mut db = app.db.read().await?;
    let nothing = (AllTyped::new(), HashMap::new());
    let page = sheet_page(&mut db, &viewer, frame, stint, &nothing.0, &nothing.1, None).await?;
    Ok(Page(page).into_response())
}

/// Fields `n-{part}` (the number), `was-{part}` (what stood there) and `sure-{part}`.
fn read_fields(fields: &[(String, String)]) -> AllTyped {
    let mut all = AllTyped::new();
    for (name, value) in fields {
        let Some((kind, part)) = name.split_once('-') else {
            continue;
        };
        let Ok(part) = part.parse() else { continue };
        let typed: &mut Typed = all.entry(part).or_default();
        match kind {
            "n" => typed.number = Some(value.clone()),
            "was" => typed.was = value.clone(),
            "sure" => typed.sure = value == "yes",
            _ => {}
        }
    }
    all
}

pub async fn post(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(stint): Path<StintId>,
    form: Form<Vec<(String, String)>>,
) -> Result<Response, AppError> {
    let typed = read_fields(&form.fields);
    let mut db = app.db.read().await?;
    let (found, sheet) = stint_and_count(&mut db, stint).await?;
    let known: HashMap<PartId, Line> = lines::of_stint(&mut db, &sheet, &found)
        .await?
        .lines
        .into_iter()
        .map(|line| (line.part.id, line))
        .collect();
    let mut wrong: HashMap<PartId, (String, bool)> = HashMap::new();
    let mut changed = Vec::new();
    for (part, typed) in &typed {
        let was: Option<i64> = typed.was.parse().ok();
        let text = typed.number.as_deref().unwrap_or_default();
        match typed::read(text) {
            Err(refused) => {
                wrong.insert(*part, (sentence(&refused.to_string()), false));
            }
            Ok(None) => {
                if let Some(was) = was {
                    let text = format!(
                        "{was} is written down here. Type 0 if there are none, or take it back on the \
                         page of the line."
                    );
                    wrong.insert(*part, (text, false));
                }
            }
            Ok(number) if number == was => {}
            Ok(Some(number)) => {
                let need = known.get(part).and_then(|line| line.due);
                if let Some(need) = need
                    && typed::is_doubtful(number, Some(need))
                    && !typed.sure
                {
                    let text = format!(
                        "You typed {number}. The list needs {need}. Type it again, or tick that \
                         {number} is right."
                    );
                    wrong.insert(*part, (text, true));
                    continue;
                }
                changed.push(TypedLine {
                    part: *part,
                    amount: number - was.unwrap_or(0),
                    shown: was,
                });
            }
        }
    }
    drop(db);
    let whole = if wrong.is_empty() {
        match tallying::record_sheet(&app, &viewer, &form.sent, stint, &changed).await {
            Ok(outcome) => {
                let words = match changed.len() {
                    0 => "Nothing was changed.".into(),
                    lines => format!("{} written down.", super::several(lines, "line", "lines")),
                };
                return Ok(flash::told(&outcome, words, viewer.zone()));
            }
            Err(NotDone::Refused(SheetRefused::Line(part, refused))) => {
                wrong.insert(part, (explain(&refused), false));
                None
            }
            Err(NotDone::Refused(SheetRefused::Closed)) => Some(SheetRefused::Closed.to_string()),
            Err(NotDone::Failed(error)) => return Err(error),
        }
    } else {
        None
    };
    let mut db = app.db.read().await?;
    let page = sheet_page(&mut db, &viewer, frame, stint, &typed, &wrong, whole).await?;
    Ok(page::again(page))
}

fn explain(refused: &TallyRefused) -> String {
    match refused {
        TallyRefused::NoneToTake | TallyRefused::BelowZero(_) => {
            "Somebody changed this line since you opened the sheet. Open it again and look.".into()
        }
        other => sentence(&other.to_string()),
    }
}
