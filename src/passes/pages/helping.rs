//! The helper's pages: the code of a pass, a first name, the crates.

use askama::Template;
use axum::Extension;
use axum::extract::State;
use axum::http::{HeaderMap, HeaderValue, StatusCode, header};
use axum::response::{IntoResponse, Response};
use axum_extra::extract::cookie::CookieJar;
use serde::Deserialize;

use super::counting;
use crate::app::App;
use crate::code::Code;
use crate::error::{AppError, NotDone};
use crate::find::pages::Asker;
use crate::find::tried::{Tried, tried};
use crate::ids::{FormId, StintId};
use crate::passes::{self, Helper, Pass};
use crate::places::rules::words::{named, sentence};
use crate::web::cookie;
use crate::web::extract::{Form, Nothing, Path};
use crate::web::flash;
use crate::web::form::{self, Wrong};
use crate::web::frame::Frame;
use crate::web::page::{self, Page};
use crate::web::problem;

/// The helper whose cookie came with a request, if the pass still holds.
pub async fn helper(app: &App, headers: &HeaderMap) -> Result<Option<Helper>, AppError> {
    match CookieJar::from_headers(headers).get(passes::cookie_name(app)) {
        Some(token) => passes::helper(app, token.value()).await,
        None => Ok(None),
    }
}

#[derive(Template)]
#[template(path = "passes/ask.html")]
pub(super) struct AskPage {
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

pub(super) async fn ask(frame: Frame) -> Page<AskPage> {
    Page(AskPage {
        form_id: frame.form_id(),
        frame,
        code: String::new(),
        wrongs: Vec::new(),
    })
}

#[derive(Deserialize)]
pub(super) struct CodeForm {
    #[serde(default)]
    code: String,
}

pub(super) async fn look_up(
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
    tried(app, asker, "code", async {
        let code = match Code::parse(typed) {
            Ok(code) => code,
            Err(why) => return Ok(Tried::no_code(&why)),
        };
        let mut db = app.db.read().await?;
        Ok(
            match passes::in_force(&mut db, &code, app.clock.now()).await? {
                Some(pass) => Tried::Opens(pass),
                None => Tried::Missed(
                    "no pass with this code holds; it may have ended. Ask somebody of the team"
                        .into(),
                ),
            },
        )
    })
    .await
}

#[derive(Template)]
#[template(path = "passes/begin.html")]
pub(super) struct BeginPage {
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

pub(super) async fn begin(
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
pub(super) struct NameForm {
    #[serde(default)]
    first_name: String,
}

pub(super) async fn open(
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
    match passes::open(&app, &pass, &form.fields.first_name).await {
        Ok(token) => {
            let mut response = flash::see("/helping", "You are helping now.");
            // Ends with the browser; the pass itself ends with the event.
            let cookie = kept(&app, token, None)?;
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

fn kept(app: &App, token: String, age: Option<i64>) -> Result<HeaderValue, AppError> {
    cookie::secret(passes::cookie_name(app), token, app.is_https(), age)
}

/// The crates of one kit that goes.
struct Kit {
    name: String,
    /// A member opened a count of it.
    is_counted: bool,
    crates: Vec<Crate>,
}

/// One crate or bag.
struct Crate {
    /// Where its public page is.
    address: String,
    words: String,
    /// What the helper began there, and whether it is finished.
    begun: Option<(StintId, bool)>,
    /// Where counting it begins, if it can be counted.
    begin: Option<String>,
}

#[derive(Template)]
#[template(path = "passes/helping.html")]
pub(super) struct HelpingPage {
    frame: Frame,
    form_id: FormId,
    helper: Helper,
    kits: Vec<Kit>,
}

pub(super) async fn helping(
    State(app): State<App>,
    frame: Frame,
    Extension(helper): Extension<Helper>,
) -> Result<Page<HelpingPage>, AppError> {
    let begun = counting::begun(&app, &helper).await?;
    let mut db = app.db.read().await?;
    let kits = passes::counting::kits(&mut db, &helper)
        .await?
        .into_iter()
        .map(|kit| Kit {
            is_counted: kit.count.is_some(),
            crates: kit
                .crates
                .iter()
                .map(|place| Crate {
                    address: format!("/c/{}/inside", place.code.plain()),
                    words: format!("{}, {}", sentence(&named(place)), place.code),
                    begun: kit
                        .count
                        .and_then(|count| begun.get(&(count, place.id)).copied()),
                    begin: kit
                        .count
                        .map(|count| format!("/helping/counts/{count}/places/{}", place.id)),
                })
                .collect(),
            name: kit.name,
        })
        .collect();
    Ok(Page(HelpingPage {
        form_id: frame.form_id(),
        frame,
        kits,
        helper,
    }))
}

/// Forgets the pass on this phone.
pub(super) async fn stop(State(app): State<App>, _: Form<Nothing>) -> Result<Response, AppError> {
    let mut response = flash::see(
        "/pass",
        "This phone has forgotten the pass. Thank you for helping.",
    );
    let forget = kept(&app, String::new(), Some(0))?;
    response.headers_mut().append(header::SET_COOKIE, forget);
    Ok(response)
}
