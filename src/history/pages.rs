//! The pages of the history.

use askama::Template;
use axum::extract::State;
use axum::response::Response;
use serde::Deserialize;
use sqlx::SqliteConnection;

use super::rules::{self, Names, NotUndone};
use super::store;
use crate::app::App;
use crate::error::{AppError, NotDone};
use crate::ids::{FormId, PartId, PlaceId, TeamId};
use crate::ledger::{self, Document, Line, Recorded, Seq};
use crate::people::Viewer;
use crate::people::access::{Routes, Rule, allowed};
use crate::places::rules::Wrong;
use crate::places::rules::words::{called, sentence};
use crate::web::extract::{Form, Nothing, Path, Query};
use crate::web::flash;
use crate::web::frame::Frame;
use crate::web::page::{self, Page};
use crate::{kits, places};

pub fn routes() -> Routes {
    // An entry's number is no id of a thing, so its handlers ask whose it is themselves.
    Routes::new()
        .get("/history", Rule::SignedIn, history)
        .get("/entries/{seq}", Rule::SignedIn, show)
        .post("/entries/{seq}/undo", Rule::SignedIn, undo)
        .merge(super::accuracy::pages::routes())
}

/// Lines of an entry that the list shows; the entry's page has all.
const LINES: usize = 3;

/// An entry as it is told.
struct Told {
    seq: Seq,
    when: String,
    who: String,
    lines: Vec<String>,
    more_lines: usize,
    note: Option<String>,
    document: Option<(String, String)>,
    undoes: Option<Seq>,
    undone_by: Option<Seq>,
}

fn told(entry: &Recorded, names: &Names, only: Option<PartId>, zone: &str, most: usize) -> Told {
    let mut lines: Vec<String> = rules::lines(entry, names, only)
        .iter()
        .map(|line| sentence(line))
        .collect();
    let more_lines = lines.len().saturating_sub(most);
    lines.truncate(most);
    Told {
        seq: entry.seq,
        when: entry.done_at.words(zone),
        who: names.person(entry.actor).to_owned(),
        lines,
        more_lines,
        note: entry.note.clone(),
        document: entry.document.map(|document| linked(document, names)),
        undoes: entry.corrects,
        undone_by: entry.corrected_by,
    }
}

/// The address of a document and what it is called.
fn linked(document: Document, names: &Names) -> (String, String) {
    match document {
        Document::Kit(kit) => (format!("/kits/{kit}"), format!("Kit {}", names.kit(kit))),
        Document::Place(place) => (
            format!("/places/{place}"),
            sentence(&names.places.called(place)),
        ),
        Document::Count(count) => (format!("/counts/{count}"), "The count".into()),
    }
}

#[derive(Template)]
#[template(path = "history/index.html")]
struct HistoryPage {
    frame: Frame,
    /// "Peg, black (B-4) in Bag 2 (7K3-F28)"; empty when nothing was asked for.
    of: String,
    entries: Vec<Told>,
    older: Option<String>,
}

#[derive(Deserialize, Default)]
#[serde(default)]
struct HistoryQuery {
    kit: String,
    part: String,
    place: String,
    before: String,
}

async fn history(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Query(query): Query<HistoryQuery>,
) -> Result<Page<HistoryPage>, AppError> {
    let line = Line {
        kit: id(&query.kit)?,
        part: id(&query.part)?,
        place: id(&query.place)?,
        before: query.before.parse().ok(),
    };
    let mut db = app.db.read().await?;
    let of = subject(&mut db, &viewer, line).await?;
    if of.is_empty() {
        return Ok(Page(HistoryPage {
            frame,
            of,
            entries: Vec::new(),
            older: None,
        }));
    }
    let (entries, more) = super::entries(&mut db, &viewer, line).await?;
    let names = super::names(&mut db, &entries).await?;
    let older = entries.last().filter(|_| more).map(|last| {
        format!(
            "/history?kit={}&part={}&place={}&before={}",
            query.kit, query.part, query.place, last.seq
        )
    });
    Ok(Page(HistoryPage {
        frame,
        of,
        older,
        entries: entries
            .iter()
            .map(|entry| told(entry, &names, line.part, viewer.zone(), LINES))
            .collect(),
    }))
}

/// An id in the address; empty is none.
fn id<T: std::str::FromStr>(text: &str) -> Result<Option<T>, AppError> {
    match text {
        "" => Ok(None),
        text => text
            .parse()
            .map(Some)
            .map_err(|_| AppError::NotFound("history")),
    }
}

/// What the history is of, in words, if the viewer may see it.
async fn subject(
    db: &mut SqliteConnection,
    viewer: &Viewer,
    line: Line,
) -> Result<String, AppError> {
    let mut words = String::new();
    if let Some(part) = line.part {
        let found = super::part_names(db, &[part]).await?;
        let (_, name) = found.into_iter().next().ok_or(AppError::NotFound("part"))?;
        words = name;
    }
    if let Some(place) = line.place {
        let place = places::find(db, place)
            .await?
            .ok_or(AppError::NotFound("place"))?;
        must_see(viewer, &[place.team])?;
        join(&mut words, "in", &called(&place));
    }
    if let Some(kit) = line.kit {
        let kit = kits::find(db, kit)
            .await?
            .ok_or(AppError::NotFound("kit"))?;
        must_see(viewer, &[kit.team])?;
        join(&mut words, "of", &format!("kit {}", kit.name));
    }
    Ok(words)
}

fn join(words: &mut String, by: &str, more: &str) {
    if !words.is_empty() {
        words.push_str(&format!(" {by} "));
    }
    words.push_str(more);
}

fn must_see(viewer: &Viewer, teams: &[TeamId]) -> Result<(), AppError> {
    let sees = teams
        .iter()
        .any(|team| allowed(Rule::Sees, Some(viewer.standing(Some(*team)))));
    if sees {
        Ok(())
    } else {
        Err(AppError::Forbidden(
            "This is for the team's members and coordinators.".into(),
        ))
    }
}

#[derive(Template)]
#[template(path = "history/show.html")]
struct ShowPage {
    frame: Frame,
    form_id: FormId,
    told: Told,
    recorded: String,
    /// The pages of what it touched, to go on from here.
    touched: Vec<(String, String)>,
    /// Why it cannot be taken back, where that is known before trying.
    not_undone: Option<String>,
    count: Option<String>,
    may_undo: bool,
    wrongs: Vec<Wrong>,
}

async fn show(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(seq): Path<Seq>,
) -> Result<Page<ShowPage>, AppError> {
    let mut db = app.db.read().await?;
    show_page(&mut db, &viewer, frame, seq, Vec::new())
        .await
        .map(Page)
}

async fn show_page(
    db: &mut SqliteConnection,
    viewer: &Viewer,
    frame: Frame,
    seq: Seq,
    wrongs: Vec<Wrong>,
) -> Result<ShowPage, AppError> {
    let entry = ledger::find(db, seq)
        .await?
        .ok_or(AppError::NotFound("entry"))?;
    let teams = store::teams_of(db, seq).await?;
    must_see(viewer, &teams)?;
    let names = super::names(db, std::slice::from_ref(&entry)).await?;
    let may = rules::may_undo(&entry);
    let works = teams.iter().all(|team| viewer.role_in(*team).is_some());
    let count = match (entry.document, &may) {
        (Some(Document::Count(count)), Err(NotUndone::IsACount)) => {
            Some(format!("/counts/{count}"))
        }
        _ => None,
    };
    Ok(ShowPage {
        form_id: frame.form_id(),
        frame,
        told: told(&entry, &names, None, viewer.zone(), usize::MAX),
        recorded: entry.recorded_at.words(viewer.zone()),
        touched: touched(&entry, &names),
        may_undo: works && may.is_ok(),
        not_undone: may.err().map(|why| sentence(&why.to_string())),
        count,
        wrongs,
    })
}

/// The places an entry touched, each once, in the order of its lines.
fn touched(entry: &Recorded, names: &Names) -> Vec<(String, String)> {
    let moves = entry
        .moves
        .iter()
        .flat_map(|one| [one.from.place, one.to.place]);
    let carried = entry
        .carried
        .iter()
        .flat_map(|one| [Some(one.place), one.from, one.to])
        .flatten();
    let mut seen: Vec<PlaceId> = Vec::new();
    for place in moves.chain(carried) {
        if names.places.get(place).is_some() && !seen.contains(&place) {
            seen.push(place);
        }
    }
    seen.into_iter()
        .map(|place| linked(Document::Place(place), names))
        .collect()
}

async fn undo(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(seq): Path<Seq>,
    form: Form<Nothing>,
) -> Result<Response, AppError> {
    match super::undo(&app, &viewer, &form.sent, seq).await {
        Ok(outcome) => Ok(flash::told(&outcome, "Taken back.", viewer.zone())),
        Err(NotDone::Failed(error)) => Err(error),
        Err(NotDone::Refused(NotUndone::NotYours)) => Err(AppError::Forbidden(
            sentence(&NotUndone::NotYours.to_string()) + ".",
        )),
        Err(NotDone::Refused(why)) => {
            let mut db = app.db.read().await?;
            let wrongs = vec![Wrong::new("", why.to_string())];
            let page = show_page(&mut db, &viewer, frame, seq, wrongs).await?;
            Ok(page::again(page))
        }
    }
}
