//! The form that puts a field together, and changes it.

use askama::Template;
use axum::extract::State;
use axum::response::{IntoResponse, Response};
use serde::Deserialize;
use sqlx::SqliteConnection;

use crate::app::App;
use crate::error::{AppError, NotDone};
use crate::fields::rules::{Refused, Typed};
use crate::fields::{self, Field, store};
use crate::ids::{FieldId, FormId, KitId, TeamId};
use crate::kits;
use crate::people::Viewer;
use crate::web::extract::{Form, Path, Query};
use crate::web::flash;
use crate::web::form::{self, Choice, Wrong};
use crate::web::frame::Frame;
use crate::web::page::{self, Page};

#[derive(Template)]
#[template(path = "fields/details.html")]
struct DetailsPage {
    frame: Frame,
    form_id: FormId,
    /// None for a new one.
    field: Option<Field>,
    version: i64,
    team: TeamId,
    /// The viewer's teams: id, name, whether it is this one's.
    teams: Vec<(TeamId, String, bool)>,
    typed: Typed,
    /// The team's kits.
    kits: Vec<Choice>,
    wrongs: Vec<Wrong>,
}

impl DetailsPage {
    fn error(&self) -> &'static str {
        form::title_prefix(&self.wrongs)
    }

    fn wrong(&self, field: &str) -> Option<&str> {
        form::at(&self.wrongs, field)
    }
}

async fn details_page(
    db: &mut SqliteConnection,
    viewer: &Viewer,
    frame: Frame,
    (field, version): (Option<Field>, i64),
    team: TeamId,
    typed: Typed,
    wrongs: Vec<Wrong>,
) -> Result<DetailsPage, AppError> {
    let teams = viewer
        .memberships()
        .iter()
        .filter(|membership| membership.role.keeps())
        .map(|one| (one.team, one.team_name.clone(), one.team == team))
        .collect();
    let kits = kits::of_team(db, team)
        .await?
        .into_iter()
        .map(|kit| Choice::new(kit.id, kit.name, typed.kits.contains(&kit.id)))
        .collect();
    Ok(DetailsPage {
        form_id: frame.form_id(),
        frame,
        field,
        version,
        team,
        teams,
        typed,
        kits,
        wrongs,
    })
}

#[derive(Deserialize)]
pub(super) struct Asked {
    team: Option<TeamId>,
}

pub(super) async fn new(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Query(asked): Query<Asked>,
) -> Result<Response, AppError> {
    let mut db = app.db.read().await?;
    let kept = viewer
        .memberships()
        .iter()
        .find(|membership| membership.role.keeps())
        .map(|membership| membership.team);
    let team = asked
        .team
        .filter(|team| viewer.keeps(*team))
        .or(kept)
        .ok_or(AppError::NotFound("team"))?;
    let typed = Typed::default();
    let new = (None, 0);
    let page = details_page(&mut db, &viewer, frame, new, team, typed, Vec::new()).await?;
    Ok(Page(page).into_response())
}

/// The fields of the form: name, note, team, version, and `kit` as often as one is ticked.
struct Sent {
    team: Option<TeamId>,
    version: i64,
    typed: Typed,
}

fn sent(fields: Vec<(String, String)>) -> Sent {
    let mut sent = Sent {
        team: None,
        version: 0,
        typed: Typed::default(),
    };
    for (name, value) in fields {
        match name.as_str() {
            "name" => sent.typed.name = value,
            "note" => sent.typed.note = value,
            "team" => sent.team = value.parse().ok(),
            "version" => sent.version = value.parse().unwrap_or(0),
            "kit" => sent.typed.kits.extend(value.parse::<KitId>().ok()),
            _ => {}
        }
    }
    sent
}

pub(super) async fn add(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    form: Form<Vec<(String, String)>>,
) -> Result<Response, AppError> {
    let fields = sent(form.fields);
    let team = fields
        .team
        .ok_or_else(|| AppError::BadRequest("The form does not say for which team.".into()))?;
    match fields::add(&app, &viewer, &form.sent, team, &fields.typed).await {
        Ok(outcome) => Ok(flash::told(&outcome, "Put together.", viewer.zone())),
        Err(NotDone::Failed(error)) => Err(error),
        Err(NotDone::Refused(refused)) => {
            let wrongs = vec![Wrong::at(refused.field(), refused)];
            let mut db = app.db.read().await?;
            let new = (None, 0);
            let page =
                details_page(&mut db, &viewer, frame, new, team, fields.typed, wrongs).await?;
            Ok(page::again(page))
        }
    }
}

pub(super) async fn edit(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(field): Path<FieldId>,
) -> Result<Response, AppError> {
    let mut db = app.db.read().await?;
    let field = fields::found(&mut db, field).await?;
    let typed = Typed {
        name: field.name.clone(),
        note: field.note.clone(),
        kits: store::kits_of(&mut db, field.id).await?,
    };
    let team = field.team;
    let known = (Some(field.clone()), field.version);
    let page = details_page(&mut db, &viewer, frame, known, team, typed, Vec::new()).await?;
    Ok(Page(page).into_response())
}

pub(super) async fn change(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(field): Path<FieldId>,
    form: Form<Vec<(String, String)>>,
) -> Result<Response, AppError> {
    let fields = sent(form.fields);
    let changed = fields::change(
        &app,
        &viewer,
        &form.sent,
        field,
        fields.version,
        &fields.typed,
    )
    .await;
    match changed {
        Ok(outcome) => Ok(flash::told(&outcome, "Changed.", viewer.zone())),
        Err(NotDone::Failed(error)) => Err(error),
        Err(NotDone::Refused(refused)) => {
            let mut db = app.db.read().await?;
            let now = fields::found(&mut db, field).await?;
            // After a conflict, sending the form again means: what is in it is to stand.
            let version = if refused == Refused::Changed {
                now.version
            } else {
                fields.version
            };
            let wrongs = vec![Wrong::at(refused.field(), refused)];
            let team = now.team;
            let known = (Some(now), version);
            let page =
                details_page(&mut db, &viewer, frame, known, team, fields.typed, wrongs).await?;
            Ok(page::again(page))
        }
    }
}
