//! Teams: the list, adding one, changing its name and zone.

use askama::Template;
use axum::extract::State;
use axum::response::{IntoResponse, Redirect, Response};
use serde::Deserialize;

use super::form::{Wrongs, ZONES, refused};
use crate::app::App;
use crate::error::{AppError, NotDone};
use crate::ids::{FormId, TeamId};
use crate::people::Viewer;
use crate::people::rules::PeopleRefused;
use crate::people::teams::{self, Team, TeamLine};
use crate::web::extract::{Form, Path};
use crate::web::flash;
use crate::web::frame::Frame;
use crate::web::page::Page;

/// My team's people, or all teams for whoever answers for the league.
pub async fn people(viewer: Viewer) -> Response {
    let path = match viewer.main_team() {
        Some(membership) if !viewer.is_coordinator() => {
            format!("/teams/{}/people", membership.team)
        }
        _ => "/teams".into(),
    };
    Redirect::to(&path).into_response()
}

#[derive(Template)]
#[template(path = "people/teams.html")]
struct IndexPage {
    frame: Frame,
    viewer: Viewer,
    teams: Vec<TeamLine>,
}

impl IndexPage {
    fn may_see(&self, team: &TeamId) -> bool {
        self.viewer.is_coordinator() || self.is_mine(team)
    }

    fn is_mine(&self, team: &TeamId) -> bool {
        self.viewer.role_in(*team).is_some()
    }
}

pub async fn index(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
) -> Result<Response, AppError> {
    let mut db = app.db.read().await?;
    let teams = teams::lines(&mut db).await?;
    let page = IndexPage {
        frame,
        viewer,
        teams,
    };
    Ok(Page(page).into_response())
}

#[derive(Template)]
#[template(path = "people/team_new.html")]
struct NewPage {
    frame: Frame,
    form_id: FormId,
    fields: TeamForm,
    wrongs: Wrongs,
    zones: [&'static str; ZONES.len()],
}

#[derive(Deserialize, Default)]
pub struct TeamForm {
    #[serde(default)]
    team: String,
    #[serde(default)]
    zone: String,
    /// The version that was shown when the form was.
    #[serde(default)]
    version: i64,
}

fn new_page(frame: Frame, fields: TeamForm, wrongs: Wrongs) -> NewPage {
    NewPage {
        form_id: frame.form_id(),
        frame,
        fields,
        wrongs,
        zones: ZONES,
    }
}

pub async fn new(viewer: Viewer, frame: Frame) -> Response {
    let fields = TeamForm {
        zone: match viewer.main_team() {
            Some(membership) => membership.zone.clone(),
            None => String::new(),
        },
        ..TeamForm::default()
    };
    Page(new_page(frame, fields, Wrongs::default())).into_response()
}

pub async fn add(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    form: Form<TeamForm>,
) -> Result<Response, AppError> {
    let (name, zone) = (&form.fields.team, &form.fields.zone);
    match teams::add(&app, &viewer, &form.sent, name, zone).await {
        Ok(outcome) => {
            let text = "Team added. Invite its keeper next.";
            Ok(flash::told(&outcome, text, viewer.zone()))
        }
        Err(NotDone::Refused(wrongs)) => {
            Ok(refused(Page(new_page(frame, form.fields, wrongs.into()))))
        }
        Err(NotDone::Failed(error)) => Err(error),
    }
}

#[derive(Template)]
#[template(path = "people/team.html")]
struct TeamPage {
    frame: Frame,
    form_id: FormId,
    viewer: Viewer,
    team: Team,
    fields: TeamForm,
    wrongs: Wrongs,
    zones: [&'static str; ZONES.len()],
}

impl TeamPage {
    fn is_mine(&self) -> bool {
        self.viewer.role_in(self.team.id).is_some()
    }
}

pub async fn show(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(team): Path<TeamId>,
) -> Result<Response, AppError> {
    let team = find(&app, team).await?;
    let fields = TeamForm {
        team: team.name.clone(),
        zone: team.zone.clone(),
        version: team.version,
    };
    Ok(Page(TeamPage {
        form_id: frame.form_id(),
        frame,
        viewer,
        team,
        fields,
        wrongs: Wrongs::default(),
        zones: ZONES,
    })
    .into_response())
}

async fn find(app: &App, team: TeamId) -> Result<Team, AppError> {
    let mut db = app.db.read().await?;
    let team = teams::find(&mut db, team).await?;
    team.ok_or(AppError::NotFound("team"))
}

pub async fn change(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(team): Path<TeamId>,
    form: Form<TeamForm>,
) -> Result<Response, AppError> {
    let mut fields = form.fields;
    let shown = (team, fields.version);
    let done = teams::change(&app, &viewer, &form.sent, shown, &fields.team, &fields.zone).await;
    match done {
        Ok(outcome) => Ok(flash::told(&outcome, "Team changed.", viewer.zone())),
        Err(NotDone::Refused(wrongs)) => {
            let team = find(&app, team).await?;
            // Told that somebody else changed it, they may overwrite what they have now seen.
            if matches!(wrongs[..], [PeopleRefused::ChangedMeanwhile { .. }]) {
                fields.version = team.version;
            }
            Ok(refused(Page(TeamPage {
                form_id: frame.form_id(),
                frame,
                viewer,
                team,
                fields,
                wrongs: wrongs.into(),
                zones: ZONES,
            })))
        }
        Err(NotDone::Failed(error)) => Err(error),
    }
}
