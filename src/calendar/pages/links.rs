//! Private links to a team's calendar, and what is behind them.

use askama::Template;
use axum::extract::State;
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};
use serde::Deserialize;

use crate::app::App;
use crate::calendar::feed::{Feed, FreeDays, text};
use crate::calendar::rules::{LinkRefused, free};
use crate::calendar::{self, FeedLink, LinkMade};
use crate::error::{AppError, NotDone};
use crate::find::pages::Asker;
use crate::ids::{FeedId, FormId, TeamId};
use crate::people::Viewer;
use crate::receipts::Outcome;
use crate::secret;
use crate::web::extract::{Form, Nothing, Path};
use crate::web::flash;
use crate::web::form::{self, Choice, Wrong};
use crate::web::frame::Frame;
use crate::web::page::{self, Page};

/// A feed shows so many days back and ahead.
const DAYS_BACK: i64 = 60;
const DAYS_AHEAD: i64 = 366;
/// Free days are told for so many days ahead.
const FREE_AHEAD: i64 = 120;

#[derive(Template)]
#[template(path = "calendar/links.html")]
pub(super) struct LinksPage {
    frame: Frame,
    form_id: FormId,
    zone: String,
    links: Vec<FeedLink>,
    teams: Vec<Choice>,
    /// What was typed as the name of a new one.
    typed: String,
    /// The link that was just made.
    made: Option<String>,
    wrongs: Vec<Wrong>,
}

impl LinksPage {
    fn wrong(&self, field: &str) -> Option<&str> {
        form::at(&self.wrongs, field)
    }

    fn error(&self) -> &'static str {
        form::title_prefix(&self.wrongs)
    }

    fn new_id(&self) -> FormId {
        self.frame.form_id()
    }
}

async fn links_page(
    app: &App,
    viewer: &Viewer,
    frame: Frame,
    team: Option<TeamId>,
) -> Result<LinksPage, AppError> {
    let mut db = app.db.read().await?;
    Ok(LinksPage {
        form_id: frame.form_id(),
        frame,
        zone: viewer.zone().to_owned(),
        links: calendar::links(&mut db, viewer.person).await?,
        teams: viewer
            .memberships()
            .iter()
            .map(|one| Choice::new(one.team, &one.team_name, Some(one.team) == team))
            .collect(),
        typed: String::new(),
        made: None,
        wrongs: Vec::new(),
    })
}

pub(super) async fn index(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
) -> Result<Page<LinksPage>, AppError> {
    Ok(Page(links_page(&app, &viewer, frame, None).await?))
}

#[derive(Deserialize)]
pub(super) struct LinkForm {
    team: TeamId,
    #[serde(default)]
    name: String,
}

/// Shows the link in answer to the form, without a redirect: it is stored nowhere, so there is no page to
/// redirect to.
pub(super) async fn make(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    form: Form<LinkForm>,
) -> Result<Response, AppError> {
    let LinkForm { team, name } = form.fields;
    match calendar::make_link(&app, &viewer, &form.sent, team, &name).await {
        Ok(LinkMade::Now { path }) => {
            let mut page = links_page(&app, &viewer, frame, None).await?;
            page.made = Some(format!("{}{path}", app.public_url()));
            let mut answer = Page(page).into_response();
            let no_store = header::HeaderValue::from_static("no-store");
            answer.headers_mut().insert(header::CACHE_CONTROL, no_store);
            Ok(answer)
        }
        Ok(LinkMade::Before(outcome)) => {
            let when = match &outcome {
                Outcome::Again { recorded_at, .. } => recorded_at.time_of_day(viewer.zone()),
                Outcome::Done { .. } => String::new(),
            };
            let told = format!(
                "This link was made at {when} already and is shown only once. Make another if it was lost."
            );
            Ok(flash::look(outcome.location(), told))
        }
        Err(NotDone::Refused(refused)) => {
            let mut page = links_page(&app, &viewer, frame, Some(team)).await?;
            page.typed = name;
            page.wrongs = vec![Wrong::at("name", refused)];
            Ok(page::again(page))
        }
        Err(NotDone::Failed(error)) => Err(error),
    }
}

pub(super) async fn withdraw(
    State(app): State<App>,
    viewer: Viewer,
    Path(link): Path<FeedId>,
    form: Form<Nothing>,
) -> Result<Response, AppError> {
    match calendar::withdraw(&app, &viewer, &form.sent, link).await {
        Ok(outcome) => Ok(flash::told(
            &outcome,
            "Withdrawn. Whoever asks with it gets nothing any more.",
            viewer.zone(),
        )),
        Err(NotDone::Refused(refused @ LinkRefused::Gone)) => {
            Ok(flash::look("/calendar/links", refused.to_string()))
        }
        Err(NotDone::Refused(refused)) => Err(AppError::BadRequest(refused.to_string())),
        Err(NotDone::Failed(error)) => Err(error),
    }
}

/// The days behind a link, as calendar programs read them.
pub(super) async fn feed(
    State(app): State<App>,
    asker: Asker,
    Path(token): Path<String>,
) -> Result<Response, AppError> {
    let now = app.clock.now();
    if app.misses.is_blocked(&asker.0, now) {
        return Err(AppError::TooMany(
            "Too many links were tried that do not exist. Wait ten minutes.".into(),
        ));
    }
    let mut db = app.db.read().await?;
    let Some(led) = calendar::feed(&mut db, secret::hash(token.as_bytes())).await? else {
        app.misses.note(&asker.0, now);
        return Err(AppError::NotFound("calendar, or its link was withdrawn"));
    };
    let today = now.day(&led.zone);
    let (from, to) = (today.plus_days(-DAYS_BACK), today.plus_days(DAYS_AHEAD));
    let days = calendar::days(&mut db, led.team, from, to, today).await?;
    drop(db);
    let free_until = today.plus_days(FREE_AHEAD);
    let feed = Feed {
        name: format!("Field kits of {}", led.team_name),
        public_url: app.public_url(),
        now,
        items: &days.items,
        free: days
            .kits
            .iter()
            .map(|kit| FreeDays {
                kit_uid: kit.kit.to_string(),
                kit_name: &kit.name,
                free: free(today, free_until, &kit.taken, kit.around),
            })
            .collect(),
    };
    let text = text(&feed);
    // Once a day is enough to see whether a link is still in use.
    if led
        .asked_at
        .is_none_or(|at| at.day("UTC") != now.day("UTC"))
    {
        let mut tx = app.db.begin_write().await?;
        calendar::asked(&mut tx, led.id, now).await?;
        tx.commit_quietly().await?;
    }
    let kind = [
        (header::CONTENT_TYPE, "text/calendar; charset=utf-8"),
        (
            header::CONTENT_DISPOSITION,
            "inline; filename=\"field-kits.ics\"",
        ),
        (header::CACHE_CONTROL, "private, no-store"),
    ];
    Ok((StatusCode::OK, kind, [("x-robots-tag", "noindex")], text).into_response())
}
