//! The pages of fields: all of a team, and one.

mod details;

use askama::Template;
use axum::extract::State;
use axum::response::{IntoResponse, Response};
use serde::Deserialize;
use sqlx::SqliteConnection;

use super::rules::Refused;
use super::{Field, store};
use crate::app::App;
use crate::clock::Day;
use crate::error::{AppError, NotDone};
use crate::events;
use crate::ids::{EventId, FieldId, FormId, KitId};
use crate::kits::{self, rules::Summary};
use crate::people::Viewer;
use crate::people::access::{Routes, Rule};
use crate::web::extract::{Form, Nothing, Path};
use crate::web::flash;
use crate::web::form::{self, Choice, Wrong};
use crate::web::frame::Frame;
use crate::web::page::{self, Page};

/// Events that begin within so many days are offered.
const EVENTS_AHEAD_DAYS: i64 = 400;

pub fn routes() -> Routes {
    Routes::new()
        .get("/fields", Rule::SignedIn, index)
        .get("/fields/new", Rule::KeepsSomeTeam, details::new)
        .post("/fields", Rule::KeepsSomeTeam, details::add)
        .get("/fields/{field}", Rule::Sees, show)
        .get("/fields/{field}/edit", Rule::Keeps, details::edit)
        .post("/fields/{field}/edit", Rule::Keeps, details::change)
        .post("/fields/{field}/events", Rule::Keeps, bring)
        .post("/fields/{field}/put-away", Rule::Keeps, put_away)
        .post("/fields/{field}/bring-back", Rule::Keeps, bring_back)
}

#[derive(Template)]
#[template(path = "fields/index.html")]
struct IndexPage {
    frame: Frame,
    fields: Vec<Field>,
    put_away: Vec<Field>,
    may_add: bool,
}

async fn index(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
) -> Result<Page<IndexPage>, AppError> {
    let mut db = app.db.read().await?;
    let (mut fields, mut put_away) = (Vec::new(), Vec::new());
    for membership in viewer.memberships() {
        fields.extend(store::of_team(&mut db, membership.team).await?);
        put_away.extend(store::put_away_of(&mut db, membership.team).await?);
    }
    Ok(Page(IndexPage {
        frame,
        fields,
        put_away,
        may_add: viewer
            .memberships()
            .iter()
            .any(|membership| membership.role.keeps()),
    }))
}

/// A kit of a field, and how it stands.
struct Part {
    kit: KitId,
    name: String,
    checked: String,
    stands: String,
    is_checked: bool,
    put_away: bool,
}

#[derive(Template)]
#[template(path = "fields/show.html")]
struct ShowPage {
    frame: Frame,
    field: Field,
    parts: Vec<Part>,
    short: usize,
    events: Vec<Choice>,
    why: String,
    wrongs: Vec<Wrong>,
    may_keep: bool,
}

impl ShowPage {
    fn error(&self) -> &'static str {
        form::title_prefix(&self.wrongs)
    }

    fn wrong(&self, field: &str) -> Option<&str> {
        form::at(&self.wrongs, field)
    }

    fn form_id(&self) -> FormId {
        FormId::new()
    }
}

async fn show_page(
    db: &mut SqliteConnection,
    viewer: &Viewer,
    frame: Frame,
    field: FieldId,
    today: Day,
    (event, why): (Option<EventId>, String),
    wrongs: Vec<Wrong>,
) -> Result<ShowPage, AppError> {
    let field = super::found(db, field).await?;
    let (mut parts, mut short) = (Vec::new(), 0);
    for kit in super::kits_of(db, field.id).await? {
        let accounts = kits::accounts(db, kit.id).await?;
        let summary = Summary::of(&accounts);
        short += summary.short;
        parts.push(Part {
            kit: kit.id,
            checked: match (&kit.guide_name, &kit.size_name) {
                (Some(guide), Some(size)) => format!("{guide}, {size}"),
                _ => "checked against no list".into(),
            },
            stands: if kit.revision.is_some() {
                summary.words()
            } else {
                format!("{} kinds of part in it", accounts.len())
            },
            is_checked: kit.revision.is_some(),
            put_away: kit.put_away,
            name: kit.name,
        });
    }
    let last = crate::reckon::days::moved(today, EVENTS_AHEAD_DAYS).unwrap_or(today);
    let events = events::between(db, today, last)
        .await?
        .into_iter()
        .filter(|event| !event.is_called_off)
        .map(|one| {
            let text = format!("{}, {}", one.name, one.days());
            Choice::new(one.id, text, Some(one.id) == event)
        })
        .collect();
    Ok(ShowPage {
        frame,
        may_keep: viewer.keeps(field.team),
        parts,
        short,
        events,
        why,
        wrongs,
        field,
    })
}

async fn show(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(field): Path<FieldId>,
) -> Result<Response, AppError> {
    let mut db = app.db.read().await?;
    let today = viewer.today(&app);
    let kept = (None, String::new());
    let page = show_page(&mut db, &viewer, frame, field, today, kept, Vec::new()).await?;
    Ok(Page(page).into_response())
}

#[derive(Deserialize)]
struct BringForm {
    #[serde(default)]
    event: String,
    #[serde(default)]
    why: String,
}

async fn bring(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(field): Path<FieldId>,
    form: Form<BringForm>,
) -> Result<Response, AppError> {
    let event: Option<EventId> = form.fields.event.parse().ok();
    let why = form.fields.why;
    match super::bring(&app, &viewer, &form.sent, field, event, &why).await {
        Ok(outcome) => Ok(flash::told(
            &outcome,
            "The whole field goes.",
            viewer.zone(),
        )),
        Err(NotDone::Failed(error)) => Err(error),
        Err(NotDone::Refused(refused)) => {
            again(&app, &viewer, frame, field, (event, why), refused).await
        }
    }
}

async fn again(
    app: &App,
    viewer: &Viewer,
    frame: Frame,
    field: FieldId,
    kept: (Option<EventId>, String),
    refused: Refused,
) -> Result<Response, AppError> {
    let wrongs = vec![Wrong::at(refused.field(), refused)];
    let mut db = app.db.read().await?;
    let today = viewer.today(app);
    let page = show_page(&mut db, viewer, frame, field, today, kept, wrongs).await?;
    Ok(page::again(page))
}

async fn put_away(
    app: State<App>,
    viewer: Viewer,
    frame: Frame,
    field: Path<FieldId>,
    form: Form<Nothing>,
) -> Result<Response, AppError> {
    set_put_away(app, viewer, frame, field, form, true).await
}

async fn bring_back(
    app: State<App>,
    viewer: Viewer,
    frame: Frame,
    field: Path<FieldId>,
    form: Form<Nothing>,
) -> Result<Response, AppError> {
    set_put_away(app, viewer, frame, field, form, false).await
}

async fn set_put_away(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(field): Path<FieldId>,
    form: Form<Nothing>,
    away: bool,
) -> Result<Response, AppError> {
    let told = if away { "Put away." } else { "Brought back." };
    match super::put_away(&app, &viewer, &form.sent, field, away).await {
        Ok(outcome) => Ok(flash::told(&outcome, told, viewer.zone())),
        Err(NotDone::Failed(error)) => Err(error),
        Err(NotDone::Refused(refused)) => {
            let kept = (None, String::new());
            again(&app, &viewer, frame, field, kept, refused).await
        }
    }
}
