//! Closing a count, after saying what will happen, and reopening it.

use std::collections::HashMap;

use askama::Template;
use axum::extract::State;
use axum::response::{IntoResponse, Response};
use serde::Deserialize;

use super::super::closing::{self, Prepared, ReopenRefused};
use super::super::rules::close::{Answers, CloseRefused, Purpose};
use super::super::store::{self, CountSheet, Part};
use super::{moment, sentence, several};
use crate::app::App;
use crate::error::{AppError, NotDone};
use crate::ids::{CountId, PartId, PlaceId};
use crate::ledger::Outside;
use crate::people::Viewer;
use crate::web::extract::{Form, Path};
use crate::web::flash;
use crate::web::form::{Choice, Wrong};
use crate::web::frame::Frame;
use crate::web::page::{self, Page};

#[derive(Template)]
#[template(path = "counts/close.html")]
pub struct ClosePage {
    frame: Frame,
    wrongs: Vec<Wrong>,
    more_wrong: Option<String>,
    still_wrong: Option<String>,
    reason_wrong: Option<String>,
    sheet: CountSheet,
    mark: String,
    /// What will be recorded, a sentence each.
    will: Vec<String>,
    differing: Vec<(PlaceId, String, String)>,
    open: Vec<String>,
    sent_back: Vec<(String, String)>,
    uncounted: Vec<(String, String)>,
    more: Vec<Choice>,
    as_they_are: bool,
    reason: String,
}

impl ClosePage {
    fn is_arrival(&self) -> bool {
        self.sheet.purpose == Purpose::Arrival
    }

    fn leaves_lines(&self) -> bool {
        !self.sent_back.is_empty() || !self.uncounted.is_empty()
    }
}

/// What closing records, in sentences.
fn will(prepared: &Prepared) -> Vec<String> {
    let sheet = &prepared.whole.sheet;
    let moves = prepared
        .plan
        .moves(sheet.kit, sheet.purpose, sheet.source, &prepared.held);
    let mut sentences = vec![match prepared.plan.postings.len() {
        0 => "No line is recorded as counted.".into(),
        lines => format!(
            "{} recorded as counted.",
            several(lines, "line is", "lines are")
        ),
    }];
    for outside in Outside::ALL {
        let came: i64 = moves
            .iter()
            .filter(|one| one.from.place == outside.place())
            .map(|one| one.qty)
            .sum();
        if came > 0 {
            sentences.push(pieces(came, outside.came_from()));
        }
        let went: i64 = moves
            .iter()
            .filter(|one| one.to.place == outside.place())
            .map(|one| one.qty)
            .sum();
        if went > 0 {
            sentences.push(pieces(went, outside.went_to()));
        }
    }
    let carried: i64 = moves
        .iter()
        .filter(|one| {
            Outside::from_place(one.from.place).is_none()
                && Outside::from_place(one.to.place).is_none()
        })
        .map(|one| one.qty)
        .sum();
    if carried > 0 {
        sentences.push(pieces(carried, "lacking in one place turned up in another"));
    }
    if moves.is_empty() && !prepared.plan.postings.is_empty() {
        sentences.push("The books agree; nothing is moved.".into());
    }
    sentences
}

/// "3 pieces were found.": words that fit one piece, made to fit any number.
fn pieces(n: i64, words: &str) -> String {
    if n == 1 {
        return format!("1 piece {words}.");
    }
    let (verb, rest) = words.split_once(' ').unwrap_or((words, ""));
    let verb = match verb {
        "is" => "are",
        "was" => "were",
        "has" => "have",
        other => other,
    };
    format!("{n} pieces {verb} {rest}.")
}

async fn close_page(
    app: &App,
    viewer: &Viewer,
    frame: Frame,
    count: CountId,
    answers: Answers,
    refused: Option<CloseRefused>,
) -> Result<ClosePage, AppError> {
    let mut db = app.db.read().await?;
    let prepared = closing::prepare(&mut db, count).await?;
    let parts: HashMap<PartId, Part> = store::parts_of_count(&mut db, count)
        .await?
        .into_iter()
        .map(|part| (part.id, part))
        .collect();
    let will = will(&prepared);
    let whole = prepared.whole;
    let place_name = |place: PlaceId| {
        whole
            .places
            .iter()
            .find(|known| known.id == place)
            .map_or_else(String::new, |place| place.name.clone())
    };
    let part_name = |part: PartId| parts.get(&part).map(Part::full_name).unwrap_or_default();
    let mut page = ClosePage {
        frame,
        wrongs: Vec::new(),
        more_wrong: None,
        still_wrong: None,
        reason_wrong: None,
        mark: prepared.mark,
        will,
        differing: prepared
            .plan
            .differing
            .iter()
            .map(|(place, part)| (*place, place_name(*place), part_name(*part)))
            .collect(),
        open: whole
            .stints
            .iter()
            .filter(|stint| stint.is_open())
            .map(|stint| {
                format!(
                    "{} is counting {} since {}",
                    stint.person_name,
                    place_name(stint.place),
                    moment(app, viewer, stint.began_at)
                )
            })
            .collect(),
        sent_back: prepared
            .plan
            .sent_back
            .iter()
            .map(|back| {
                let why = back.why.words(&place_name(back.place));
                (part_name(back.part), sentence(&why))
            })
            .collect(),
        uncounted: prepared
            .plan
            .uncounted
            .iter()
            .map(|(place, part)| (place_name(*place), part_name(*part)))
            .collect(),
        more: vec![
            Choice::new(
                "all",
                "Everything is here. What lacks is short",
                answers.more_to_come == Some(false),
            ),
            Choice::new(
                "more",
                "More boxes are to come. What lacks is still to come",
                answers.more_to_come == Some(true),
            ),
        ],
        as_they_are: answers.as_they_are,
        reason: answers.reason,
        sheet: whole.sheet,
    };
    if let Some(refused) = refused {
        page.refuse(&refused);
    }
    Ok(page)
}

impl ClosePage {
    /// Puts a refusal on top and at its field.
    fn refuse(&mut self, refused: &CloseRefused) {
        let text = sentence(&refused.to_string());
        let field = match refused {
            CloseRefused::NotSaidIfMore => {
                self.more_wrong = Some(text.clone());
                "more"
            }
            CloseRefused::StillCounting => {
                self.still_wrong = Some(text.clone());
                "as_they_are"
            }
            CloseRefused::NoReason(_) | CloseRefused::LongReason => {
                self.reason_wrong = Some(text.clone());
                "reason"
            }
            CloseRefused::Differing(_)
            | CloseRefused::Changed
            | CloseRefused::Closed
            | CloseRefused::Books => "",
        };
        self.wrongs.push(Wrong::at(field, text));
    }
}

pub async fn ask(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(count): Path<CountId>,
) -> Result<Response, AppError> {
    let page = close_page(&app, &viewer, frame, count, Answers::default(), None).await?;
    if !page.sheet.is_open() {
        return Ok(flash::look(
            &format!("/counts/{count}"),
            "This count is closed already.",
        ));
    }
    Ok(Page(page).into_response())
}

#[derive(Deserialize)]
pub struct CloseForm {
    #[serde(default)]
    more: String,
    #[serde(default)]
    as_they_are: String,
    #[serde(default)]
    reason: String,
    #[serde(default)]
    mark: String,
}

pub async fn close(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(count): Path<CountId>,
    form: Form<CloseForm>,
) -> Result<Response, AppError> {
    let fields = form.fields;
    let answers = Answers {
        more_to_come: match fields.more.as_str() {
            "all" => Some(false),
            "more" => Some(true),
            _ => None,
        },
        as_they_are: fields.as_they_are == "yes",
        reason: fields.reason,
    };
    let closed = super::super::close(&app, &viewer, &form.sent, count, &answers, &fields.mark);
    match closed.await {
        Ok(outcome) => Ok(flash::told(
            &outcome,
            "The count is closed. What was counted is in the books.",
            viewer.zone(),
        )),
        Err(NotDone::Refused(refused)) => {
            let page = close_page(&app, &viewer, frame, count, answers, Some(refused)).await?;
            Ok(page::again(page))
        }
        Err(NotDone::Failed(error)) => Err(error),
    }
}

#[derive(Deserialize)]
pub struct NoFields {}

pub async fn reopen(
    State(app): State<App>,
    viewer: Viewer,
    Path(count): Path<CountId>,
    form: Form<NoFields>,
) -> Result<Response, AppError> {
    match super::super::reopen(&app, &viewer, &form.sent, count).await {
        Ok(outcome) => Ok(flash::told(
            &outcome,
            "Reopened. Every number was carried on; nothing has to be counted again.",
            viewer.zone(),
        )),
        Err(NotDone::Refused(refused)) => {
            let location = match refused {
                ReopenRefused::Already(again) => format!("/counts/{again}"),
                _ => format!("/counts/{count}"),
            };
            Ok(flash::look(&location, sentence(&refused.to_string())))
        }
        Err(NotDone::Failed(error)) => Err(error),
    }
}
