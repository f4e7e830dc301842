//! Reports to a supplier: from the day one was sent to the day it is closed.
//!
//! - A report **freezes** what it said: its heading, its lines, the revision, the pictures chosen for it.
//! - **Answered** says what was promised, line by line; of several answers about a line the last one holds.
//!   What is promised and has not come is *on order* in the kit's statement, so it is short now and not for
//!   good.
//! - What **arrived** is never written beside the books: it is what came into the kit from the supplier after
//!   the report was sent (`kits::asked`), whether somebody counted a whole delivery or wrote down the few
//!   pieces of an envelope here.
//! - **Closed**: all of it arrived, or the rest is given up with a word why.
//! - Each step can be taken back. Nothing is ever deleted.

pub mod pages;
pub mod rules;
mod store;
mod taking_back;

pub use store::{Brief, Step};
pub use taking_back::take_back;

use std::collections::BTreeMap;

use sqlx::SqliteConnection;

use crate::app::App;
use crate::clock::Day;
use crate::db::Tx;
use crate::error::{AppError, NotDone};
use crate::ids::{KitId, PictureId, ReportId, RevisionId};
use crate::kits::letter;
use crate::ledger::{self, Document, Entry, Move, NotAppended, Outside, Stand};
use crate::people::Viewer;
use crate::pictures::Shown;
use crate::receipts::{self, Outcome, Sent};
use crate::web::form::{self, Wrong};
use crate::{kits, places};
use rules::standing::{self, Kind, Line, Standing};
use rules::typed::{self, Answer, Came, Typed};
use rules::words;

/// A report with everything that happened to it.
#[derive(Debug, Clone)]
pub struct Report {
    pub id: ReportId,
    pub kit: KitId,
    pub number: i64,
    pub revision: Option<RevisionId>,
    pub sent_on: Day,
    pub heading: Vec<(String, String)>,
    pub lines: Vec<Line>,
    pub steps: Vec<Step>,
    pub standing: Standing,
}

impl Report {
    pub fn path(&self) -> String {
        path(self.kit, self.number)
    }
}

fn path(kit: KitId, number: i64) -> String {
    format!("/kits/{kit}/reports/{number}")
}

/// One report of a kit.
pub async fn find(db: &mut SqliteConnection, kit: KitId, number: i64) -> Result<Report, AppError> {
    let brief = store::brief(db, kit, number)
        .await?
        .ok_or(AppError::NotFound("report"))?;
    let asked = kits::asked(db, kit).await?;
    whole(db, brief, &asked).await
}

/// All reports of a kit, the newest first.
pub async fn of_kit(db: &mut SqliteConnection, kit: KitId) -> Result<Vec<Report>, AppError> {
    let briefs = store::of_kit(db, kit).await?;
    let mut reports = Vec::new();
    if briefs.is_empty() {
        return Ok(reports);
    }
    let asked = kits::asked(db, kit).await?;
    for brief in briefs {
        reports.push(whole(db, brief, &asked).await?);
    }
    Ok(reports)
}

/// The reports of a kit that are under way: the page of each, and how it stands.
pub async fn under_way(
    db: &mut SqliteConnection,
    kit: KitId,
    today: Day,
) -> Result<Vec<(String, String)>, AppError> {
    Ok(of_kit(db, kit)
        .await?
        .iter()
        .filter(|report| report.standing.is_under_way())
        .map(|report| {
            let words = words::stands(report.standing, report.sent_on, today);
            (report.path(), words)
        })
        .collect())
}

async fn whole(
    db: &mut SqliteConnection,
    brief: Brief,
    asked: &[(kits::AskedLine, i64)],
) -> Result<Report, AppError> {
    let mut lines = store::lines(db, brief.id).await?;
    for line in &mut lines {
        let of_it = asked
            .iter()
            .find(|(asked, _)| asked.report == brief.id && asked.line == line.line);
        if let Some((asked, arrived)) = of_it {
            line.promised = asked.asked.promised;
            line.by = asked.by;
            line.arrived = *arrived;
        }
    }
    let steps = store::steps(db, brief.id).await?;
    Ok(Report {
        standing: standing::stands(brief.state, &lines, &steps),
        id: brief.id,
        kit: brief.kit,
        number: brief.number,
        revision: brief.revision,
        sent_on: brief.sent_on,
        heading: serde_json::from_str(&brief.heading).map_err(anyhow::Error::new)?,
        lines,
        steps,
    })
}

/// The pictures that may go with a report of a kit: of the parts in it and of the kit's crates and bags.
pub async fn pictures(db: &mut SqliteConnection, kit: &kits::Kit) -> sqlx::Result<Vec<Shown>> {
    store::pictures_of_kit(db, kit.id, kit.team).await
}

/// Writes down that the report, as it reads today, was sent on.
pub async fn send(
    app: &App,
    viewer: &Viewer,
    sent: &Sent,
    kit: KitId,
    typed: &Typed,
    pictures: &[String],
) -> Result<Outcome, NotDone<Vec<Wrong>>> {
    let today = viewer.today(app);
    receipts::once(app, sent, Some(viewer.person), async |tx| {
        let letter = letter::write(tx, viewer.zone(), kit, today).await?;
        let said = typed::sent(typed, today).map_err(NotDone::Refused)?;
        if let Some(why) = letter.not_yet {
            return Err(form::refused("", why));
        }
        if letter.report.short.is_empty() && letter.report.over.is_empty() {
            return Err(form::refused(
                "",
                "nothing is short or over, so there is nothing to report",
            ));
        }
        let offered = self::pictures(tx, &letter.kit).await?;
        let mut chosen = Vec::new();
        for one in pictures {
            let id: Option<PictureId> = one.parse().ok();
            match id.filter(|id| offered.iter().any(|shown| shown.id == *id)) {
                Some(id) if !chosen.contains(&id) => chosen.push(id),
                Some(_) => {}
                None => return Err(form::refused("picture", "choose pictures of the list")),
            }
        }
        let number = store::next_number(tx, kit).await?;
        let report = ReportId::new();
        let (head, _) = ledger::head(tx).await?;
        let new = store::NewReport {
            id: report,
            kit,
            number,
            revision: letter.kit.revision,
            sent_on: said.day,
            heading: serde_json::to_string(&letter.facts)
                .map_err(|error| AppError::from(anyhow::Error::new(error)))?,
            sent_seq: head,
        };
        store::insert(tx, &new).await?;
        let short = letter.report.short.iter().map(|row| (row, row.by, 0));
        let over = letter.report.over.iter().map(|row| (row, 0, row.by));
        for (line, (row, short, over)) in (1..).zip(short.chain(over)) {
            store::insert_line(tx, report, line, row, short, over).await?;
        }
        for (position, picture) in (1..).zip(chosen) {
            store::insert_picture(tx, report, position, picture).await?;
        }
        let step = step(Kind::Sent, said.day, said.words, viewer, app);
        store::add_step(tx, report, &step).await?;
        Ok(path(kit, number))
    })
    .await
}

/// Writes down what the supplier answered.
pub async fn answer(
    app: &App,
    viewer: &Viewer,
    sent: &Sent,
    kit: KitId,
    number: i64,
    fields: &BTreeMap<String, String>,
) -> Result<Outcome, NotDone<Vec<Wrong>>> {
    let today = viewer.today(app);
    receipts::once(app, sent, Some(viewer.person), async |tx| {
        let report = open(tx, kit, number).await?;
        let Answer {
            day,
            words: said,
            by,
            promised,
        } = typed::answer(fields, &report.lines, report.sent_on, today)
            .map_err(NotDone::Refused)?;
        let step = step(Kind::Answered, day, said, viewer, app);
        let line = store::add_step(tx, report.id, &step).await?;
        for (of, qty) in promised {
            store::insert_promise(tx, report.id, of, line, qty, by.filter(|_| qty > 0)).await?;
        }
        Ok(report.path())
    })
    .await
}

/// Writes down pieces that arrived without a count of the whole delivery: they come into the kit from the
/// supplier.
pub async fn arrive(
    app: &App,
    viewer: &Viewer,
    sent: &Sent,
    kit: KitId,
    number: i64,
    fields: &BTreeMap<String, String>,
) -> Result<Outcome, NotDone<Vec<Wrong>>> {
    let today = viewer.today(app);
    receipts::once(app, sent, Some(viewer.person), async |tx| {
        let report = open(tx, kit, number).await?;
        let inside = places::in_kit(tx, kit).await?;
        let ids: Vec<_> = inside.iter().map(|place| place.id).collect();
        let Came {
            day,
            words,
            place,
            pieces,
        } = typed::came(fields, &report.lines, &ids, report.sent_on, today)
            .map_err(NotDone::Refused)?;
        if let Some(words) = places::sealed_words(tx, place).await? {
            return Err(form::refused("place", words));
        }
        let mut entry = Entry::new(sent.id, "arrived", viewer.person, app.clock.now());
        entry.document = Some(Document::Kit(kit));
        entry.note = (!words.is_empty()).then(|| words.clone());
        entry.moves = pieces
            .into_iter()
            .map(|(part, qty)| Move {
                part,
                qty,
                from: Stand::good(kit, Outside::Supplier.place()),
                to: Stand::good(kit, place),
            })
            .collect();
        let seq = ledger::append(tx, &entry).await.map_err(|not| match not {
            NotAppended::Sqlx(error) => NotDone::from(error),
            other => NotDone::Failed(anyhow::Error::new(other).into()),
        })?;
        let step = Step {
            entry: Some(seq),
            ..step(Kind::Arrived, day, words, viewer, app)
        };
        store::add_step(tx, report.id, &step).await?;
        Ok(report.path())
    })
    .await
}

/// Closes a report. While something of it has not come, with a word why.
pub async fn close(
    app: &App,
    viewer: &Viewer,
    sent: &Sent,
    kit: KitId,
    number: i64,
    words: &str,
) -> Result<Outcome, NotDone<Vec<Wrong>>> {
    let today = viewer.today(app);
    receipts::once(app, sent, Some(viewer.person), async |tx| {
        let report = open(tx, kit, number).await?;
        let lacks: i64 = report.lines.iter().map(Line::lacks).sum();
        let words = typed::why(words, lacks > 0).map_err(NotDone::Refused)?;
        let step = step(Kind::Closed, today, words, viewer, app);
        store::add_step(tx, report.id, &step).await?;
        let (head, _) = ledger::head(tx).await?;
        store::set_state(tx, report.id, store::State::Closed, Some(head)).await?;
        Ok(report.path())
    })
    .await
}

async fn open(tx: &mut Tx, kit: KitId, number: i64) -> Result<Report, NotDone<Vec<Wrong>>> {
    let report = find(tx, kit, number).await?;
    match report.standing {
        Standing::Closed => Err(form::refused(
            "",
            "this report is closed; take that back first",
        )),
        Standing::NotSent => Err(form::refused("", "this report was not sent after all")),
        _ => Ok(report),
    }
}

/// A step of now.
fn step(kind: Kind, day: Day, words: String, viewer: &Viewer, app: &App) -> Step {
    Step {
        line: 0,
        kind,
        day,
        words,
        entry: None,
        entry_undone: false,
        undoes: None,
        person: viewer.person,
        done_at: app.clock.now(),
    }
}
