//! The pages of helper passes: the team's, with the sheet to hang up, and the helper's.

use askama::Template;
use axum::Extension;
use axum::extract::State;
use axum::http::{HeaderMap, HeaderValue, StatusCode, header};
use axum::response::{IntoResponse, Response};
use axum_extra::extract::cookie::{Cookie, CookieJar, SameSite};
use serde::Deserialize;
use sqlx::SqliteConnection;

use super::rules::Refused;
use super::{Helper, Pass, store};
use crate::app::App;
use crate::code::{Code, NotACode};
use crate::error::{AppError, NotDone};
use crate::events::{self, Event};
use crate::find::pages::Asker;
use crate::ids::{EventId, FormId, PassId, TeamId};
use crate::people::Viewer;
use crate::people::access::{Routes, Rule};
use crate::places;
use crate::places::rules::words::{named, sentence};
use crate::receipts::Outcome;
use crate::web::extract::{Form, Nothing, Path};
use crate::web::flash;
use crate::web::form::{self, Choice, Wrong};
use crate::web::frame::Frame;
use crate::web::page::{self, Page};
use crate::web::problem;
use crate::web::qr::{self, Qr};

pub fn routes() -> Routes {
    Routes::new()
        .get("/events/{event}/pass", Rule::WorksSomewhere, show)
        .post("/events/{event}/pass", Rule::WorksSomewhere, make)
        .post("/events/{event}/pass/{pass}/end", Rule::WorksSomewhere, end)
        .get("/pass", Rule::Anyone, ask)
        .post("/pass", Rule::Anyone, look_up)
        .get("/pass/{code}", Rule::Anyone, begin)
        // A QR symbol holds the address in upper case.
        .get("/PASS/{code}", Rule::Anyone, begin)
        .post("/pass/{code}", Rule::Anyone, open)
        .get("/helping", Rule::Helps, helping)
        .post("/helping/stop", Rule::Helps, stop)
}

/// The helper whose cookie came with a request, if the pass still holds.
pub async fn helper(app: &App, headers: &HeaderMap) -> Result<Option<Helper>, AppError> {
    match CookieJar::from_headers(headers).get(super::cookie_name(app)) {
        Some(token) => super::helper(app, token.value()).await,
        None => Ok(None),
    }
}

/// A pass as the team sees it.
struct Shown {
    pass: Pass,
    holds: bool,
    qr: Option<Qr>,
    /// "Sam, since 4 Mar 2027, 18:00".
    helpers: Vec<String>,
}

#[derive(Template)]
#[template(path = "passes/show.html")]
struct ShowPage {
    frame: Frame,
    event: Event,
    /// Where a helper types the code.
    address: String,
    passes: Vec<Shown>,
    /// Teams of the viewer whose kits go and that have no pass.
    teams: Vec<Choice>,
    wrongs: Vec<Wrong>,
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
}

async fn show(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(event): Path<EventId>,
) -> Result<Page<ShowPage>, AppError> {
    show_page(&app, &viewer, frame, event, Vec::new())
        .await
        .map(Page)
}

async fn show_page(
    app: &App,
    viewer: &Viewer,
    frame: Frame,
    event: EventId,
    wrongs: Vec<Wrong>,
) -> Result<ShowPage, AppError> {
    let mut db = app.db.read().await?;
    let event = events::find(&mut db, event)
        .await?
        .ok_or(AppError::NotFound("event"))?;
    let now = app.clock.now();
    let mut shown = Vec::new();
    for pass in super::of_event(&mut db, event.id).await? {
        // Teams do not see each other's helpers.
        if viewer.role_in(pass.team).is_none() {
            continue;
        }
        let helpers = store::helpers(&mut db, pass.id)
            .await?
            .into_iter()
            .map(|(name, since)| format!("{name}, since {}", since.words(viewer.zone())))
            .collect();
        shown.push(Shown {
            holds: pass.holds(now),
            qr: qr::of_address(&format!("{}/pass/{}", app.public_url(), pass.code.plain())),
            helpers,
            pass,
        });
    }
    let mut teams: Vec<Choice> = Vec::new();
    for kit in events::kits_of(&mut db, event.id).await? {
        let has_one = |one: &Shown| one.pass.team == kit.team && one.pass.ended_at.is_none();
        if viewer.role_in(kit.team).is_some()
            && !shown.iter().any(has_one)
            && !event.is_called_off
            && teams.iter().all(|one| one.value != kit.team.to_string())
        {
            teams.push(Choice::new(kit.team, &kit.team_name, teams.is_empty()));
        }
    }
    Ok(ShowPage {
        frame,
        event,
        address: format!("{}/pass", app.public_url()),
        passes: shown,
        teams,
        wrongs,
    })
}

#[derive(Deserialize)]
struct MakeForm {
    #[serde(default)]
    team: String,
}

async fn make(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(event): Path<EventId>,
    form: Form<MakeForm>,
) -> Result<Response, AppError> {
    let team: TeamId = form
        .fields
        .team
        .parse()
        .map_err(|_| AppError::NotFound("team"))?;
    let done = super::make(&app, &viewer, &form.sent, event, team).await;
    answer(&app, &viewer, frame, event, done, "The pass holds.").await
}

async fn end(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path((event, pass)): Path<(EventId, PassId)>,
    form: Form<Nothing>,
) -> Result<Response, AppError> {
    let done = super::end(&app, &viewer, &form.sent, event, pass).await;
    answer(&app, &viewer, frame, event, done, "The pass has ended.").await
}

async fn answer(
    app: &App,
    viewer: &Viewer,
    frame: Frame,
    event: EventId,
    done: Result<Outcome, NotDone<Refused>>,
    told: &str,
) -> Result<Response, AppError> {
    match done {
        Ok(outcome) => Ok(flash::told(&outcome, told, viewer.zone())),
        Err(NotDone::Failed(error)) => Err(error),
        Err(NotDone::Refused(why)) => {
            let wrongs = vec![Wrong::at("", why)];
            let page = show_page(app, viewer, frame, event, wrongs).await?;
            Ok(page::again(page))
        }
    }
}

#[derive(Template)]
#[template(path = "passes/ask.html")]
struct AskPage {
    frame: Frame,
    form_id: FormId,
    code: String,
    wrongs: Vec<Wrong>,
}

impl AskPage {
    fn wrong(&self, field: &str) -> Option<&str> {
        form::at(&self.wrongs, field)
    }

    fn error(&self) -> &'static str {
        form::title_prefix(&self.wrongs)
    }
}

async fn ask(frame: Frame) -> Page<AskPage> {
    Page(AskPage {
        form_id: frame.form_id(),
        frame,
        code: String::new(),
        wrongs: Vec::new(),
    })
}

#[derive(Deserialize)]
struct CodeForm {
    #[serde(default)]
    code: String,
}

async fn look_up(
    State(app): State<App>,
    frame: Frame,
    asker: Asker,
    form: Form<CodeForm>,
) -> Result<Response, AppError> {
    let code = form.fields.code;
    let why = match found(&app, &asker, &code).await? {
        Ok(pass) => {
            let to = HeaderValue::try_from(format!("/pass/{}", pass.code.plain()))
                .map_err(anyhow::Error::new)?;
            return Ok((StatusCode::SEE_OTHER, [(header::LOCATION, to)]).into_response());
        }
        Err(why) => why,
    };
    Ok(page::again(AskPage {
        form_id: frame.form_id(),
        frame,
        code,
        wrongs: vec![Wrong::at("code", why)],
    }))
}

/// The pass of a code that somebody typed or scanned, or why there is none. Misses are counted with those of
/// crates' codes, and too many of them are refused.
async fn found(app: &App, asker: &Asker, typed: &str) -> Result<Result<Pass, String>, AppError> {
    let now = app.clock.now();
    if app.misses.is_blocked(&asker.0, now) {
        return Err(AppError::TooMany(
            "Too many codes that do not exist. Wait ten minutes, then look at the code again."
                .into(),
        ));
    }
    let code = match Code::parse(typed) {
        Ok(code) => code,
        Err(why) => {
            if matches!(why, NotACode::Check(_)) {
                app.misses.note(&asker.0, now);
            }
            return Ok(Err(why.to_string()));
        }
    };
    let mut db = app.db.read().await?;
    match super::in_force(&mut db, &code, now).await? {
        Some(pass) => Ok(Ok(pass)),
        None => {
            app.misses.note(&asker.0, now);
            Ok(Err(
                "no pass with this code holds; it may have ended. Ask somebody of the team".into(),
            ))
        }
    }
}

#[derive(Template)]
#[template(path = "passes/begin.html")]
struct BeginPage {
    frame: Frame,
    form_id: FormId,
    pass: Pass,
    first_name: String,
    wrongs: Vec<Wrong>,
}

impl BeginPage {
    fn wrong(&self, field: &str) -> Option<&str> {
        form::at(&self.wrongs, field)
    }

    fn error(&self) -> &'static str {
        form::title_prefix(&self.wrongs)
    }
}

async fn begin(
    State(app): State<App>,
    frame: Frame,
    asker: Asker,
    Path(code): Path<String>,
) -> Result<Response, AppError> {
    Ok(match found(&app, &asker, &code).await? {
        Ok(pass) => Page(BeginPage {
            form_id: frame.form_id(),
            frame,
            pass,
            first_name: String::new(),
            wrongs: Vec::new(),
        })
        .into_response(),
        Err(why) => problem::answer(StatusCode::NOT_FOUND, sentence(&format!("{why}."))),
    })
}

#[derive(Deserialize)]
struct NameForm {
    #[serde(default)]
    first_name: String,
}

async fn open(
    State(app): State<App>,
    frame: Frame,
    asker: Asker,
    Path(code): Path<String>,
    form: Form<NameForm>,
) -> Result<Response, AppError> {
    let pass = match found(&app, &asker, &code).await? {
        Ok(pass) => pass,
        Err(why) => {
            let why = sentence(&format!("{why}."));
            return Ok(problem::answer(StatusCode::NOT_FOUND, why));
        }
    };
    // Each opening counts as a miss, so that nobody can fill a pass with names.
    app.misses.note(&asker.0, app.clock.now());
    match super::open(&app, &pass, &form.fields.first_name).await {
        Ok(token) => {
            let mut response = flash::see("/helping", "You are helping now.");
            // Ends with the browser; the pass itself ends with the event.
            let cookie = cookie(&app, token, None)?;
            response.headers_mut().append(header::SET_COOKIE, cookie);
            Ok(response)
        }
        Err(NotDone::Failed(error)) => Err(error),
        Err(NotDone::Refused(why)) => Ok(page::again(BeginPage {
            form_id: frame.form_id(),
            frame,
            pass,
            first_name: form.fields.first_name,
            wrongs: vec![Wrong::at("first_name", why)],
        })),
    }
}

fn cookie(app: &App, token: String, age: Option<i64>) -> Result<HeaderValue, AppError> {
    let mut cookie = Cookie::build((super::cookie_name(app), token))
        .path("/")
        .http_only(true)
        .same_site(SameSite::Lax)
        .secure(app.is_https())
        .to_string();
    if let Some(age) = age {
        cookie.push_str(&format!("; Max-Age={age}"));
    }
    HeaderValue::try_from(cookie).map_err(|error| anyhow::Error::new(error).into())
}

/// The crates of one kit that goes.
struct Kit {
    name: String,
    /// Address and words of each.
    crates: Vec<(String, String)>,
}

#[derive(Template)]
#[template(path = "passes/helping.html")]
struct HelpingPage {
    frame: Frame,
    form_id: FormId,
    helper: Helper,
    kits: Vec<Kit>,
}

async fn helping(
    State(app): State<App>,
    frame: Frame,
    Extension(helper): Extension<Helper>,
) -> Result<Page<HelpingPage>, AppError> {
    let mut db = app.db.read().await?;
    Ok(Page(HelpingPage {
        form_id: frame.form_id(),
        frame,
        kits: kits(&mut db, &helper).await?,
        helper,
    }))
}

async fn kits(db: &mut SqliteConnection, helper: &Helper) -> sqlx::Result<Vec<Kit>> {
    let mut kits = Vec::new();
    for kit in events::kits_of(db, helper.pass.event).await? {
        if kit.team != helper.pass.team {
            continue;
        }
        let crates = places::in_kit(db, kit.kit)
            .await?
            .iter()
            .filter(|place| place.kind.is_carried())
            .map(|place| {
                let words = format!("{}, {}", sentence(&named(place)), place.code);
                (format!("/c/{}/inside", place.code.plain()), words)
            })
            .collect();
        kits.push(Kit {
            name: kit.kit_name,
            crates,
        });
    }
    Ok(kits)
}

/// Forgets the pass on this phone.
async fn stop(State(app): State<App>, _: Form<Nothing>) -> Result<Response, AppError> {
    let mut response = flash::see(
        "/pass",
        "This phone has forgotten the pass. Thank you for helping.",
    );
    let forget = cookie(&app, String::new(), Some(0))?;
    response.headers_mut().append(header::SET_COOKIE, forget);
    Ok(response)
}
