//! Asking another team for a kit.

use askama::Template;
use axum::extract::State;
use axum::response::Response;
use serde::Deserialize;

use crate::app::App;
use crate::error::{AppError, NotDone};
use crate::ids::{FormId, KitId, TeamId};
use crate::kits;
use crate::loans;
use crate::loans::rules::lending::Typed;
use crate::people::Viewer;
use crate::web::extract::{Form, Path};
use crate::web::flash;
use crate::web::form::{self, Choice, Wrong};
use crate::web::frame::Frame;
use crate::web::page::{self, Page};

#[derive(Deserialize, Default)]
#[serde(default)]
pub(super) struct Fields {
    team: String,
    purpose: String,
    out_on: String,
    due_on: String,
}

#[derive(Template)]
#[template(path = "loans/ask.html")]
pub(super) struct AskPage {
    frame: Frame,
    form_id: FormId,
    kit: KitId,
    kit_name: String,
    lender: String,
    teams: Vec<Choice>,
    fields: Fields,
    wrongs: Vec<Wrong>,
}

impl AskPage {
    fn wrong(&self, field: &str) -> Option<&str> {
        form::at(&self.wrongs, field)
    }

    fn title_prefix(&self) -> &'static str {
        form::title_prefix(&self.wrongs)
    }
}

async fn page(
    app: &App,
    viewer: &Viewer,
    frame: Frame,
    kit: KitId,
    fields: Fields,
    wrongs: Vec<Wrong>,
) -> Result<AskPage, AppError> {
    let mut db = app.db.read().await?;
    let kit = kits::find(&mut db, kit)
        .await?
        .ok_or(AppError::NotFound("kit"))?;
    let teams = viewer
        .memberships()
        .iter()
        .filter(|one| one.role.keeps() && one.team != kit.team)
        .map(|one| Choice::one_of(one.team, &one.team_name, &fields.team))
        .collect();
    Ok(AskPage {
        form_id: frame.form_id(),
        frame,
        kit: kit.id,
        kit_name: kit.name,
        lender: kit.team_name,
        teams,
        fields,
        wrongs,
    })
}

pub(super) async fn new(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(kit): Path<KitId>,
) -> Result<Page<AskPage>, AppError> {
    page(&app, &viewer, frame, kit, Fields::default(), Vec::new())
        .await
        .map(Page)
}

pub(super) async fn ask(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(kit): Path<KitId>,
    form: Form<Fields>,
) -> Result<Response, AppError> {
    let (sent, fields) = (form.sent, form.fields);
    let typed = Typed {
        purpose: fields.purpose.clone(),
        out_on: fields.out_on.clone(),
        due_on: fields.due_on.clone(),
        ..Typed::default()
    };
    let asked = match fields.team.parse::<TeamId>() {
        Ok(team) => loans::ask(&app, &viewer, &sent, kit, team, &typed).await,
        Err(_) => Err(NotDone::Refused(vec![Wrong::at(
            "team",
            "choose the team that asks",
        )])),
    };
    match asked {
        Ok(outcome) => Ok(flash::told(&outcome, "Asked.", viewer.zone())),
        Err(NotDone::Failed(error)) => Err(error),
        Err(NotDone::Refused(wrongs)) => {
            let page = page(&app, &viewer, frame, kit, fields, wrongs).await?;
            Ok(page::again(page))
        }
    }
}
