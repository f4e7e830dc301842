//! One report: what it said, what was answered, what came, and what can be written down now.

use std::collections::{BTreeMap, HashMap};

use askama::Template;
use axum::extract::State;
use sqlx::SqliteConnection;

use crate::app::App;
use crate::clock::Day;
use crate::error::AppError;
use crate::ids::{FormId, KitId};
use crate::kits::Kit;
use crate::kits::rules::report::{Report as Letter, Row, Sheet};
use crate::ledger::Seq;
use crate::people::{self, Viewer};
use crate::pictures::Shown;
use crate::places;
use crate::reports::rules::standing::{self, Kind, Line, Standing};
use crate::reports::rules::{typed, words};
use crate::reports::{self, Report, Step, store};
use crate::web::extract::Path;
use crate::web::form::{self, Choice, Wrong};
use crate::web::frame::Frame;
use crate::web::page::Page;

#[derive(Template)]
#[template(path = "reports/show.html")]
pub(super) struct ShowPage {
    frame: Frame,
    kit: Kit,
    report: Report,
    letter: Letter,
    sheets: Vec<Sheet>,
    text: String,
    pictures: Vec<Shown>,
    steps: Vec<Happening>,
    places: Vec<(String, String)>,
    /// A count of this kit is open.
    is_counted: bool,
    today: Day,
    may_keep: bool,
    may_work: bool,
    fields: BTreeMap<String, String>,
    wrongs: Vec<Wrong>,
}

/// One line of what happened.
struct Happening {
    line: i64,
    words: String,
    said: String,
    entry: Option<Seq>,
    taken_back: bool,
}

impl ShowPage {
    fn form_id(&self) -> FormId {
        self.frame.form_id()
    }

    fn wrong(&self, field: impl AsRef<str>) -> Option<&str> {
        form::at(&self.wrongs, field.as_ref())
    }

    fn title_prefix(&self) -> &'static str {
        form::title_prefix(&self.wrongs)
    }

    fn typed(&self, field: impl AsRef<str>) -> &str {
        self.fields.get(field.as_ref()).map_or("", String::as_str)
    }

    /// A day as typed, today's at first.
    fn day(&self, field: &str) -> String {
        self.fields
            .get(field)
            .cloned()
            .unwrap_or_else(|| self.today.to_string())
    }

    fn stands(&self) -> String {
        words::stands(self.report.standing, self.report.sent_on, self.today)
    }

    fn became(&self, line: &Line) -> String {
        words::line(line)
    }

    fn promised(&self, line: &Line) -> String {
        typed::field("promised", line.line)
    }

    fn came(&self, line: &Line) -> String {
        typed::field("came", line.line)
    }

    fn short(&self) -> impl Iterator<Item = &Line> {
        self.report.lines.iter().filter(|line| line.short > 0)
    }

    fn some_short(&self) -> bool {
        self.short().next().is_some()
    }

    fn lacks(&self) -> i64 {
        self.report.lines.iter().map(Line::lacks).sum()
    }

    fn is_under_way(&self) -> bool {
        self.report.standing.is_under_way()
    }

    fn all_arrived(&self) -> bool {
        self.report.standing == Standing::AllArrived
    }

    fn into(&self) -> Vec<Choice> {
        let chosen = self.typed("place");
        self.places
            .iter()
            .map(|(value, text)| Choice::one_of(value, text, chosen))
            .collect()
    }
}

/// The page of a report, with what was typed and what has to be put right.
pub(super) async fn page(
    app: &App,
    viewer: &Viewer,
    frame: Frame,
    (kit, number): (KitId, i64),
    fields: BTreeMap<String, String>,
    wrongs: Vec<Wrong>,
) -> Result<ShowPage, AppError> {
    let mut db = app.db.read().await?;
    let kit = super::kit(&mut db, kit).await?;
    let report = reports::find(&mut db, kit.id, number).await?;
    let letter = letter_of(&report);
    let inside = places::in_kit(&mut db, kit.id).await?;
    let arrival = crate::kits::arrival(&mut db, kit.id).await?;
    Ok(ShowPage {
        frame,
        sheets: letter.sheets(),
        text: letter.text(&report.heading),
        letter,
        pictures: store::pictures_of_report(&mut db, report.id).await?,
        steps: happened(&mut db, viewer, &report.steps).await?,
        places: inside
            .iter()
            .map(|place| {
                (
                    place.id.to_string(),
                    format!("{} {}", place.name, place.code),
                )
            })
            .collect(),
        is_counted: arrival.open.is_some(),
        today: viewer.today(app),
        may_keep: viewer.keeps(kit.team),
        may_work: viewer.role_in(kit.team).is_some(),
        kit,
        report,
        fields,
        wrongs,
    })
}

/// The letter as it was sent.
fn letter_of(report: &Report) -> Letter {
    let row = |line: &Line| Row {
        part: line.part,
        number: line.number.clone(),
        name: line.name.clone(),
        colour: line.colour.clone(),
        need: line.need,
        received: line.received,
        not_good: line.not_good,
        by: line.short.max(line.over),
    };
    let (short, over): (Vec<&Line>, Vec<&Line>) =
        report.lines.iter().partition(|line| line.short > 0);
    Letter {
        short: short.into_iter().map(row).collect(),
        over: over.into_iter().map(row).collect(),
        ..Letter::default()
    }
}

async fn happened(
    db: &mut SqliteConnection,
    viewer: &Viewer,
    steps: &[Step],
) -> sqlx::Result<Vec<Happening>> {
    let ids: Vec<_> = steps.iter().map(|step| step.person).collect();
    let names: HashMap<_, _> = people::names(db, &ids).await?.into_iter().collect();
    Ok(steps
        .iter()
        .filter(|step| step.kind != Kind::TakenBack)
        .map(|step| {
            let name = names.get(&step.person).map_or("", String::as_str);
            Happening {
                line: step.line,
                words: format!(
                    "{}: {} {}",
                    step.done_at.words(viewer.zone()),
                    people::shown_name(name),
                    words::step(step)
                ),
                said: step.words.clone(),
                entry: step.entry,
                taken_back: !standing::is_in_force(step, steps),
            }
        })
        .collect())
}

pub(super) async fn show(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(report): Path<(KitId, i64)>,
) -> Result<Page<ShowPage>, AppError> {
    page(&app, &viewer, frame, report, BTreeMap::new(), Vec::new())
        .await
        .map(Page)
}
