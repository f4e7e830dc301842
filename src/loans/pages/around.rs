//! The days a team needs before its kits go out and after they came back.

use askama::Template;
use axum::extract::State;
use axum::response::Response;
use serde::Deserialize;

use crate::app::App;
use crate::error::{AppError, NotDone};
use crate::ids::{FormId, TeamId};
use crate::loans::{free, store};
use crate::people::{self, Viewer};
use crate::web::extract::{Form, Path};
use crate::web::flash;
use crate::web::form::{self, Wrong};
use crate::web::frame::Frame;
use crate::web::page::{self, Page};

#[derive(Deserialize, Default)]
#[serde(default)]
pub(super) struct Fields {
    before: String,
    after: String,
}

#[derive(Template)]
#[template(path = "loans/around.html")]
pub(super) struct AroundPage {
    frame: Frame,
    form_id: FormId,
    team: TeamId,
    team_name: String,
    fields: Fields,
    wrongs: Vec<Wrong>,
}

impl AroundPage {
    fn wrong(&self, field: &str) -> Option<&str> {
        form::at(&self.wrongs, field)
    }

    fn title_prefix(&self) -> &'static str {
        form::title_prefix(&self.wrongs)
    }
}

async fn page(
    app: &App,
    frame: Frame,
    team: TeamId,
    fields: Option<Fields>,
    wrongs: Vec<Wrong>,
) -> Result<AroundPage, AppError> {
    let mut db = app.db.read().await?;
    let (before, after) = store::days_around(&mut db, team).await?;
    Ok(AroundPage {
        form_id: frame.form_id(),
        frame,
        team,
        team_name: people::team_name(&mut db, team).await?,
        fields: fields.unwrap_or(Fields {
            before: before.to_string(),
            after: after.to_string(),
        }),
        wrongs,
    })
}

pub(super) async fn show(
    State(app): State<App>,
    frame: Frame,
    Path(team): Path<TeamId>,
) -> Result<Page<AroundPage>, AppError> {
    page(&app, frame, team, None, Vec::new()).await.map(Page)
}

pub(super) async fn change(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(team): Path<TeamId>,
    form: Form<Fields>,
) -> Result<Response, AppError> {
    let (sent, fields) = (form.sent, form.fields);
    match free::change_around(&app, &viewer, &sent, team, &fields.before, &fields.after).await {
        Ok(outcome) => Ok(flash::told(&outcome, "Changed.", viewer.zone())),
        Err(NotDone::Failed(error)) => Err(error),
        Err(NotDone::Refused(wrongs)) => Ok(page::again(
            page(&app, frame, team, Some(fields), wrongs).await?,
        )),
    }
}
