//! One place in a count: who counted it, beginning to count it, and comparing counts that differ.

use askama::Template;
use axum::extract::State;
use axum::response::{IntoResponse, Response};
use serde::Deserialize;
use sqlx::SqliteConnection;

use super::super::opening::BeginRefused;
use super::super::rules::facts::Whose;
use super::super::rules::progress::{PlaceProgress, of_places};
use super::super::rules::settle::{How, Verdict};
use super::super::store::{CountSheet, Part};
use super::super::{finishing, whole};
use super::{moment, parts_by_id, sentence};
use crate::app::App;
use crate::error::{AppError, NotDone};
use crate::ids::{CountId, PartId, PlaceId, StintId};
use crate::people::Viewer;
use crate::places::{self, Place};
use crate::web::extract::{Form, Path};
use crate::web::flash;
use crate::web::form::Wrong;
use crate::web::frame::Frame;
use crate::web::page::{self, Page};

#[derive(Template)]
#[template(path = "counts/place.html")]
pub struct PlacePage {
    frame: Frame,
    wrongs: Vec<Wrong>,
    sheet: CountSheet,
    place: Place,
    progress: PlaceProgress,
    stints: Vec<StintRow>,
    /// Lines to count again, without numbers.
    again: Vec<Part>,
    /// Lines with enough counts to choose from.
    choices: Vec<Choice>,
    sent_back: Vec<(Part, String)>,
    /// Lines worth a second count, without a word on the first.
    second: Vec<Part>,
    may_work: bool,
    may_keep: bool,
    /// Somebody else is at it.
    other: Option<(String, StintId)>,
    own_open: Option<StintId>,
    own_done: Option<StintId>,
}

struct StintRow {
    id: StintId,
    name: String,
    own: bool,
    words: String,
    set_aside: bool,
    /// What was typed as the reason, and why it was refused.
    reason: String,
    wrong: Option<String>,
    /// Its numbers may be looked at.
    shown: bool,
}

struct Choice {
    part: Part,
    numbers: Vec<ChoiceNumber>,
    proposed: Option<i64>,
    chosen: bool,
}

struct ChoiceNumber {
    stint: StintId,
    qty: i64,
    who: String,
    chosen: bool,
}

impl PlacePage {
    fn is_counted(&self) -> bool {
        self.stints.iter().any(|stint| !stint.set_aside)
    }
}

pub async fn show(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path((count, place)): Path<(CountId, PlaceId)>,
) -> Result<Response, AppError> {
    let mut db = app.db.read().await?;
    let page = page(
        &mut db,
        &app,
        &viewer,
        frame,
        (count, place),
        Vec::new(),
        None,
    )
    .await?;
    Ok(Page(page).into_response())
}

/// The page, after a refusal with what is wrong and the reason that was typed for a stint.
pub async fn page(
    db: &mut SqliteConnection,
    app: &App,
    viewer: &Viewer,
    frame: Frame,
    (count, place): (CountId, PlaceId),
    wrongs: Vec<Wrong>,
    kept: Option<(StintId, String)>,
) -> Result<PlacePage, AppError> {
    let whole = whole(db, count).await?;
    let place = places::find(db, place)
        .await?
        .filter(|place| place.team == whole.sheet.team)
        .ok_or(AppError::NotFound("place"))?;
    let parts = parts_by_id(db, count).await?;
    let second = super::super::worth_a_second_count(db, &whole)
        .await?
        .into_iter()
        .filter(|second| second.place == place.id)
        .filter_map(|second| parts.get(&second.part).cloned())
        .collect();
    let here: Vec<_> = whole
        .stints
        .iter()
        .filter(|stint| stint.place == place.id)
        .collect();
    let anyone_open = here.iter().any(|stint| stint.is_open());
    let lines: Vec<_> = whole
        .facts
        .lines(Whose::Finished)
        .into_iter()
        .filter(|line| line.place == place.id)
        .collect();
    let differing = lines.iter().any(|line| line.verdict == Verdict::Differs);

    let who = |stint: StintId| {
        whole.stint(stint).map_or_else(String::new, |stint| {
            let at = moment(app, viewer, stint.done_at.unwrap_or(stint.last_at));
            format!("{}, {at}", stint.person_name)
        })
    };
    let (mut again, mut choices, mut sent_back) = (Vec::new(), Vec::new(), Vec::new());
    for line in &lines {
        let Some(part) = parts.get(&line.part) else {
            continue;
        };
        if !line.is_counted()
            && let Some(last) = line.disturbed.last()
        {
            let why = super::super::rules::close::WhyBack::Disturbed {
                left: last.left,
                came: last.came,
            };
            sent_back.push((part.clone(), sentence(&why.words(&place.name))));
        }
        let standing = match line.verdict {
            Verdict::Differs => {
                again.push(part.clone());
                continue;
            }
            // Numbers are shown only when there are enough of them, and nobody is counting again.
            Verdict::ToChoose { .. } if anyone_open => {
                again.push(part.clone());
                continue;
            }
            Verdict::ToChoose { .. } => None,
            Verdict::Stands {
                number,
                how: How::Chosen,
            } if line.may_choose && !anyone_open => Some(number),
            Verdict::Stands { .. } | Verdict::Uncounted => continue,
        };
        let proposed = match line.verdict {
            Verdict::ToChoose { proposed } => proposed,
            _ => None,
        };
        choices.push(Choice {
            part: part.clone(),
            numbers: line
                .numbers
                .iter()
                .map(|number| ChoiceNumber {
                    stint: number.stint,
                    qty: number.qty,
                    who: who(number.stint),
                    chosen: standing.is_some_and(|chosen| chosen.stint == number.stint),
                })
                .collect(),
            proposed: proposed.map(|number| number.qty),
            chosen: standing.is_some(),
        });
    }
    let stints = here
        .iter()
        .map(|stint| {
            let own = stint.person == viewer.person;
            let mut words = format!("since {}", moment(app, viewer, stint.began_at));
            if let Some(at) = stint.done_at {
                words = format!("finished {}", moment(app, viewer, at));
            } else if stint.last_at != stint.began_at {
                words.push_str(&format!(
                    ", last tap {}",
                    moment(app, viewer, stint.last_at)
                ));
            }
            if let Some(by) = &stint.set_aside_by {
                words.push_str(&format!("; set aside by {by}: {}", stint.set_aside_reason));
            }
            let (reason, wrong) = match &kept {
                Some((id, reason)) if *id == stint.id => (
                    reason.clone(),
                    wrongs.first().map(|wrong| wrong.text.clone()),
                ),
                _ => (String::new(), None),
            };
            StintRow {
                id: stint.id,
                name: stint.person_name.clone(),
                own,
                words,
                set_aside: stint.is_set_aside(),
                reason,
                wrong,
                shown: own || (!anyone_open && !differing && !stint.is_open()),
            }
        })
        .collect();
    let open_of = |own: bool| {
        here.iter()
            .find(|stint| stint.is_open() && (stint.person == viewer.person) == own)
    };
    let progress = of_places(&whole.facts, &[place.id])
        .into_iter()
        .next()
        .ok_or(AppError::NotFound("place"))?;
    Ok(PlacePage {
        frame,
        wrongs,
        progress,
        stints,
        again,
        choices,
        sent_back,
        second,
        may_work: viewer.role_in(whole.sheet.team).is_some() && whole.sheet.is_open(),
        may_keep: viewer.keeps(whole.sheet.team) && whole.sheet.is_open(),
        other: open_of(false).map(|stint| {
            let since = moment(app, viewer, stint.began_at);
            (
                format!(
                    "{} is counting this {} since {since}.",
                    stint.person_name,
                    place.kind.word()
                ),
                stint.id,
            )
        }),
        own_open: open_of(true).map(|stint| stint.id),
        own_done: here
            .iter()
            .find(|stint| stint.is_done() && stint.person == viewer.person)
            .map(|stint| stint.id),
        sheet: whole.sheet,
        place,
    })
}

#[derive(Deserialize)]
pub struct BeginForm {
    /// "yes": beside somebody else's open count.
    #[serde(default)]
    beside: String,
}

pub async fn begin(
    State(app): State<App>,
    viewer: Viewer,
    Path((count, place)): Path<(CountId, PlaceId)>,
    form: Form<BeginForm>,
) -> Result<Response, AppError> {
    let beside = form.fields.beside == "yes";
    match super::super::begin(&app, &viewer, &form.sent, count, place, beside).await {
        Ok(outcome) => Ok(flash::told(
            &outcome,
            "Count what is in your hand; every tap is saved at once.",
            viewer.zone(),
        )),
        Err(NotDone::Refused(BeginRefused::Occupied(name))) => Ok(flash::look(
            &format!("/counts/{count}/places/{place}"),
            format!("{name} is counting here. Choose what you want to do."),
        )),
        Err(NotDone::Refused(closed @ BeginRefused::Closed)) => Ok(flash::look(
            &format!("/counts/{count}"),
            sentence(&closed.to_string()),
        )),
        Err(NotDone::Failed(error)) => Err(error),
    }
}

/// Fields `stand-{part}`, each the id of a stint.
pub async fn settle(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path((count, place)): Path<(CountId, PlaceId)>,
    form: Form<Vec<(String, String)>>,
) -> Result<Response, AppError> {
    let chosen: Vec<(PartId, StintId)> = form
        .fields
        .iter()
        .filter_map(|(name, value)| {
            let part = name.strip_prefix("stand-")?.parse().ok()?;
            Some((part, value.parse().ok()?))
        })
        .collect();
    match finishing::settle(&app, &viewer, &form.sent, count, place, &chosen).await {
        Ok(outcome) => Ok(flash::told(
            &outcome,
            "Settled. The chosen numbers stand.",
            viewer.zone(),
        )),
        Err(NotDone::Refused(refused)) => {
            let mut db = app.db.read().await?;
            let wrongs = super::whole(refused);
            let page = page(&mut db, &app, &viewer, frame, (count, place), wrongs, None).await?;
            Ok(page::again(page))
        }
        Err(NotDone::Failed(error)) => Err(error),
    }
}
