//! Asking another team for a kit.

use askama::Template;
use axum::extract::State;
use axum::response::{IntoResponse, Response};
use serde::Deserialize;

use crate::app::App;
use crate::clock::Day;
use crate::error::{AppError, NotDone};
use crate::ids::{FormId, KitId, TeamId};
use crate::kits;
use crate::loans::rules::lending::Typed;
use crate::loans::{self, free};
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
    /// The days that were offered instead, by a press.
    take: String,
}

/// Free days that are offered.
struct Instead {
    out_on: Day,
    due_on: Day,
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
    instead: Option<Instead>,
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
    let mut instead = None;
    if let (Ok(out_on), Ok(due_on)) = (fields.out_on.parse(), fields.due_on.parse())
        && form::at(&wrongs, "out_on").is_some()
    {
        let wanted = free::Wanted {
            out_on,
            due_on,
            loan: None,
            whole: true,
            today: viewer.today(app),
            by_lender: false,
            despite: "",
        };
        let opening = free::instead(&mut db, &kit, wanted).await?;
        instead = opening.and_then(|opening| {
            Some(Instead {
                out_on: opening.stay.first(),
                due_on: opening.stay.last()?,
            })
        });
    }
    Ok(AskPage {
        form_id: frame.form_id(),
        frame,
        kit: kit.id,
        kit_name: kit.name,
        lender: kit.team_name,
        teams,
        fields,
        instead,
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
    let (sent, mut fields) = (form.sent, form.fields);
    // The days that were offered are filled in, and asked for by the next press.
    if let Some((out_on, due_on)) = fields.take.split_once('.') {
        fields = Fields {
            out_on: out_on.to_owned(),
            due_on: due_on.to_owned(),
            take: String::new(),
            ..fields
        };
        let page = page(&app, &viewer, frame, kit, fields, Vec::new()).await?;
        return Ok(Page(page).into_response());
    }
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
