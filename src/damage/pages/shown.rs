//! The page on which a team decides what strangers are shown of its crates.

use askama::Template;
use axum::extract::State;
use axum::response::Response;
use serde::Deserialize;

use super::wrongs_of;
use crate::app::App;
use crate::damage::shown::{self, Shows};
use crate::damage::store::ShownSaid;
use crate::error::{AppError, NotDone};
use crate::ids::{FormId, TeamId};
use crate::people::{self, Viewer, shown_name};
use crate::web::extract::{Form, Path};
use crate::web::flash;
use crate::web::form::{self, Choice, Wrong};
use crate::web::frame::Frame;
use crate::web::page::{self, Page};

#[derive(Template)]
#[template(path = "damage/public_page.html")]
pub(super) struct PublicPage {
    frame: Frame,
    team: TeamId,
    team_name: String,
    /// The latest first.
    said: Vec<ShownSaid>,
    zone: String,
    may_keep: bool,
    wrongs: Vec<Wrong>,
}

impl PublicPage {
    fn form_id(&self) -> FormId {
        self.frame.form_id()
    }

    fn wrong(&self, field: &str) -> Option<&str> {
        form::at(&self.wrongs, field)
    }

    fn error(&self) -> &'static str {
        form::title_prefix(&self.wrongs)
    }

    fn now(&self) -> Shows {
        self.said.first().map_or(Shows::Pictures, |said| said.shows)
    }

    fn choices(&self) -> Vec<Choice> {
        Shows::ALL
            .into_iter()
            .map(|one| Choice::new(one.word(), one.sentence(), one == self.now()))
            .collect()
    }

    /// What held before the last decision, where there is one to take back.
    fn before(&self) -> Option<Shows> {
        self.said.first()?;
        Some(self.said.get(1).map_or(Shows::Pictures, |said| said.shows))
            .filter(|before| *before != self.now())
    }

    fn earlier(&self) -> Vec<String> {
        let all = self.said.iter();
        all.map(|said| {
            let (who, at) = (shown_name(&said.set_by), said.set_at.words(&self.zone));
            format!("{at}, {who}: {}", said.shows.sentence())
        })
        .collect()
    }
}

pub(super) async fn public_page(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(team): Path<TeamId>,
) -> Result<Page<PublicPage>, AppError> {
    page(&app, &viewer, frame, team, Vec::new()).await.map(Page)
}

async fn page(
    app: &App,
    viewer: &Viewer,
    frame: Frame,
    team: TeamId,
    wrongs: Vec<Wrong>,
) -> Result<PublicPage, AppError> {
    let mut db = app.db.read().await?;
    Ok(PublicPage {
        frame,
        team_name: people::team_name(&mut db, team).await?,
        said: shown::said(&mut db, team).await?,
        zone: viewer.zone().to_owned(),
        may_keep: viewer.keeps(team),
        team,
        wrongs,
    })
}

#[derive(Deserialize)]
pub(super) struct ShowsForm {
    #[serde(default)]
    shows: String,
}

pub(super) async fn decide(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(team): Path<TeamId>,
    form: Form<ShowsForm>,
) -> Result<Response, AppError> {
    match shown::decide(&app, &viewer, &form.sent, team, &form.fields.shows).await {
        Ok(outcome) => Ok(flash::told(&outcome, "Decided.", viewer.zone())),
        Err(NotDone::Failed(error)) => Err(error),
        Err(NotDone::Refused(refused)) => {
            let page = page(&app, &viewer, frame, team, wrongs_of(refused)).await?;
            Ok(page::again(page))
        }
    }
}
