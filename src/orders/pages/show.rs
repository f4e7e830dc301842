//! One order line: what is wanted and why, what happened to it, and what can be written down now.

use std::collections::HashMap;

use askama::Template;
use axum::extract::State;
use serde::Deserialize;

use crate::app::App;
use crate::clock::Day;
use crate::error::AppError;
use crate::ids::{FormId, KitId};
use crate::ledger::Seq;
use crate::orders::rules::standing::{Kind, Standing, is_in_force};
use crate::orders::rules::words;
use crate::orders::{self, Line};
use crate::people::{self, Viewer};
use crate::places;
use crate::web::extract::Path;
use crate::web::form::{self, Choice, Wrong};
use crate::web::frame::Frame;
use crate::web::page::Page;

#[derive(Template)]
#[template(path = "orders/show.html")]
pub(super) struct ShowPage {
    frame: Frame,
    line: Line,
    /// Why it may not be needed any more.
    needless: Option<String>,
    happened: Vec<Happening>,
    /// Where what arrives can be put.
    places: Vec<Choice>,
    zone: String,
    today: Day,
    may_keep: bool,
    may_work: bool,
    fields: ActForm,
    wrongs: Vec<Wrong>,
}

/// One line of what happened.
struct Happening {
    line: i64,
    words: String,
    why: String,
    entry: Option<Seq>,
    taken_back: bool,
}

/// The fields of all forms of this page.
#[derive(Deserialize, Default, Clone)]
#[serde(default)]
pub(super) struct ActForm {
    pub supplier: String,
    pub ordered_on: String,
    pub by: String,
    pub came: String,
    pub place: String,
    pub came_on: String,
    pub off_why: String,
}

impl ShowPage {
    fn form_id(&self) -> FormId {
        self.frame.form_id()
    }

    fn wrong(&self, field: &str) -> Option<&str> {
        form::at(&self.wrongs, field)
    }

    fn error(&self) -> &'static str {
        form::title_prefix(&self.wrongs)
    }

    fn stands(&self) -> String {
        self.line.stands(self.today)
    }

    fn wanted_by(&self) -> &str {
        people::shown_name(&self.line.brief.wanted_by)
    }

    fn is_waiting(&self) -> bool {
        matches!(self.line.standing, Standing::Waiting { .. })
    }

    fn is_called_off(&self) -> bool {
        self.line.standing == Standing::CalledOff
    }

    fn is_open(&self) -> bool {
        self.line.standing.is_open()
    }

    /// A day as typed, today's at first.
    fn day(&self, typed: &str) -> String {
        match typed {
            "" => self.today.to_string(),
            typed => typed.to_owned(),
        }
    }

    fn came(&self) -> String {
        match self.fields.came.as_str() {
            "" => self.line.standing.left().max(1).to_string(),
            typed => typed.to_owned(),
        }
    }
}

/// The page of a line, with what was typed and what has to be put right.
pub(super) async fn page(
    app: &App,
    viewer: &Viewer,
    frame: Frame,
    (kit, number): (KitId, i64),
    fields: ActForm,
    wrongs: Vec<Wrong>,
) -> Result<ShowPage, AppError> {
    let mut db = app.db.read().await?;
    let line = orders::find(&mut db, kit, number).await?;
    let open = orders::open_of(&mut db, kit, line.brief.part).await?;
    let needless = match line.standing.is_open() {
        true => orders::needless(&mut db, kit, line.brief.part, &open).await?,
        false => None,
    };
    let places = places::in_kit(&mut db, kit).await?;
    let ids: Vec<_> = line.steps.iter().map(|step| step.person).collect();
    let names: HashMap<_, _> = people::names(&mut db, &ids).await?.into_iter().collect();
    let steps = line
        .steps
        .iter()
        .filter(|step| step.kind != Kind::TakenBack);
    let happened = steps
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
                why: match step.kind {
                    Kind::CalledOff => step.words.clone(),
                    Kind::Ordered | Kind::Arrived | Kind::TakenBack => String::new(),
                },
                entry: step.entry,
                taken_back: !is_in_force(step, &line.steps),
            }
        })
        .collect();
    let team = line.brief.team;
    Ok(ShowPage {
        frame,
        needless,
        happened,
        places: places
            .iter()
            .map(|place| {
                let words = format!("{} {}", place.name, place.code);
                Choice::one_of(place.id, words, &fields.place)
            })
            .collect(),
        zone: viewer.zone().to_owned(),
        today: viewer.today(app),
        may_keep: viewer.keeps(team),
        may_work: viewer.role_in(team).is_some(),
        line,
        fields,
        wrongs,
    })
}

pub(super) async fn show(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(line): Path<(KitId, i64)>,
) -> Result<Page<ShowPage>, AppError> {
    page(&app, &viewer, frame, line, ActForm::default(), Vec::new())
        .await
        .map(Page)
}
