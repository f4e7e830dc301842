//! The people of a team: who belongs to it, inviting, changing and ending, links for new passwords.

use askama::Template;
use axum::extract::State;
use axum::response::Response;
use serde::Deserialize;

use super::form::{Wrongs, refused, role, role_choices, secret, unstored};
use crate::app::App;
use crate::error::{AppError, NotDone};
use crate::ids::{FormId, PersonId, TeamId, TokenId};
use crate::people::access::{Rule, allowed};
use crate::people::links::{self, LinkMade, OpenInvite};
use crate::people::members::{self, Member};
use crate::people::rules::PeopleRefused;
use crate::people::teams::{self, Team};
use crate::people::{Role, Viewer, resets};
use crate::web::extract::{Form, Nothing, Path};
use crate::web::flash;
use crate::web::form::Choice;
use crate::web::frame::Frame;
use crate::web::page::Page;

#[derive(Template)]
#[template(path = "people/team_people.html")]
struct PeoplePage {
    frame: Frame,
    viewer: Viewer,
    team: Team,
    members: Vec<Member>,
    invites: Vec<OpenInvite>,
    /// Whether the viewer decides who belongs here. Others see names and roles only.
    staffs: bool,
    wrongs: Wrongs,
}

impl PeoplePage {
    fn roles(&self, chosen: Role) -> Vec<Choice> {
        role_choices(Some(chosen))
    }
}

pub async fn show(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(team): Path<TeamId>,
) -> Result<Response, AppError> {
    let page = page(&app, viewer, frame, team, Wrongs::default()).await?;
    Ok(unstored(Page(page)))
}

async fn page(
    app: &App,
    viewer: Viewer,
    frame: Frame,
    team: TeamId,
    wrongs: Wrongs,
) -> Result<PeoplePage, AppError> {
    let staffs = allowed(Rule::Staffs, Some(viewer.standing(Some(team))));
    let invites = if staffs {
        links::open_invites(app, team).await?
    } else {
        Vec::new()
    };
    let mut db = app.db.read().await?;
    let members = members::of_team(&mut db, team).await?;
    let team = teams::find(&mut db, team)
        .await?
        .ok_or(AppError::NotFound("team"))?;
    Ok(PeoplePage {
        frame,
        viewer,
        team,
        members,
        invites,
        staffs,
        wrongs,
    })
}

async fn again(
    app: &App,
    viewer: Viewer,
    frame: Frame,
    team: TeamId,
    wrong: NotDone<PeopleRefused>,
) -> Result<Response, AppError> {
    match wrong {
        NotDone::Refused(wrong) => {
            let page = page(app, viewer, frame, team, wrong.into()).await?;
            Ok(refused(Page(page)))
        }
        NotDone::Failed(error) => Err(error),
    }
}

#[derive(Template)]
#[template(path = "people/link.html")]
struct LinkPage {
    frame: Frame,
    team: TeamId,
    link: String,
    title: &'static str,
    sentence: &'static str,
}

#[derive(Deserialize)]
pub struct RoleForm {
    #[serde(default)]
    role: String,
}

/// Shows the link in answer to the form, without a redirect: the link is stored nowhere, so there is no
/// page to redirect to.
fn show_link(
    app: &App,
    viewer: &Viewer,
    frame: Frame,
    team: TeamId,
    made: LinkMade,
    (title, sentence): (&'static str, &'static str),
) -> Response {
    match made {
        LinkMade::Now { path } => secret(Page(LinkPage {
            frame,
            team,
            link: format!("{}{path}", app.public_url()),
            title,
            sentence,
        })),
        LinkMade::Before(outcome) => {
            let when = match &outcome {
                crate::receipts::Outcome::Again { recorded_at, .. } => {
                    recorded_at.time_of_day(viewer.zone())
                }
                crate::receipts::Outcome::Done { .. } => String::new(),
            };
            let text = format!(
                "This link was made at {when} already and is shown only once. Make another if it was \
                 lost."
            );
            flash::look(outcome.location(), text)
        }
    }
}

pub async fn invite(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(team): Path<TeamId>,
    form: Form<RoleForm>,
) -> Result<Response, AppError> {
    let made = match role(&form.fields.role) {
        Ok(role) => links::invite(&app, &viewer, &form.sent, team, role).await,
        Err(refused) => Err(NotDone::Refused(refused)),
    };
    let words = (
        "An invitation",
        "It works once, for 7 days. Whoever opens it can join the team, so give it only to the person \
         it is meant for.",
    );
    match made {
        Ok(made) => Ok(show_link(&app, &viewer, frame, team, made, words)),
        Err(wrong) => again(&app, viewer, frame, team, wrong).await,
    }
}

pub async fn take_back(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path((team, invite)): Path<(TeamId, TokenId)>,
    form: Form<Nothing>,
) -> Result<Response, AppError> {
    match links::take_invite_back(&app, &viewer, &form.sent, team, invite).await {
        Ok(outcome) => Ok(flash::told(
            &outcome,
            "Invitation taken back.",
            viewer.zone(),
        )),
        Err(wrong) => again(&app, viewer, frame, team, wrong).await,
    }
}

pub async fn change_role(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path((team, person)): Path<(TeamId, PersonId)>,
    form: Form<RoleForm>,
) -> Result<Response, AppError> {
    let done = match role(&form.fields.role) {
        Ok(role) => members::change_role(&app, &viewer, &form.sent, team, person, role).await,
        Err(refused) => Err(NotDone::Refused(refused)),
    };
    match done {
        Ok(outcome) => Ok(flash::told(&outcome, "Role changed.", viewer.zone())),
        Err(wrong) => again(&app, viewer, frame, team, wrong).await,
    }
}

pub async fn end(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path((team, person)): Path<(TeamId, PersonId)>,
    form: Form<Nothing>,
) -> Result<Response, AppError> {
    match members::end(&app, &viewer, &form.sent, team, person).await {
        // Whoever ended their own membership sees this page no more.
        Ok(_) if person == viewer.person && !viewer.is_coordinator() => {
            Ok(flash::see("/", "You belong to that team no more."))
        }
        Ok(outcome) => {
            let text = "Membership ended. What they recorded stays under their name.";
            Ok(flash::told(&outcome, text, viewer.zone()))
        }
        Err(wrong) => again(&app, viewer, frame, team, wrong).await,
    }
}

pub async fn reset(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path((team, person)): Path<(TeamId, PersonId)>,
    form: Form<Nothing>,
) -> Result<Response, AppError> {
    let words = (
        "A link for a new password",
        "It works once, for 30 minutes. Whoever opens it can sign in as this person afterwards, so \
         give it to nobody else.",
    );
    match resets::reset_link(&app, &viewer, &form.sent, team, person).await {
        Ok(made) => Ok(show_link(&app, &viewer, frame, team, made, words)),
        Err(wrong) => again(&app, viewer, frame, team, wrong).await,
    }
}

// Each small form draws its own id.
impl PeoplePage {
    fn form_id(&self) -> FormId {
        self.frame.form_id()
    }
}
