//! Opening a loan link on a phone: its characters, a name, and the cookie.

use askama::Template;
use axum::extract::State;
use axum::http::{HeaderMap, HeaderValue, StatusCode, header};
use axum::response::{IntoResponse, Response};
use axum_extra::extract::cookie::CookieJar;
use serde::Deserialize;

use crate::app::App;
use crate::error::{AppError, NotDone};
use crate::find::pages::Asker;
use crate::find::tried::{Tried, tried};
use crate::ids::FormId;
use crate::lent::rules::{Key, NotAKey};
use crate::lent::{self, Link, Phone};
use crate::places::rules::words::sentence;
use crate::web::cookie;
use crate::web::extract::{Form, Path};
use crate::web::flash;
use crate::web::form::{self, Wrong};
use crate::web::frame::Frame;
use crate::web::page::{self, Page};
use crate::web::problem;

/// The phone whose cookie came with a request, if its link still holds.
pub async fn phone(app: &App, headers: &HeaderMap) -> Result<Option<Phone>, AppError> {
    match CookieJar::from_headers(headers).get(lent::cookie_name(app)) {
        Some(token) => lent::phone(app, token.value()).await,
        None => Ok(None),
    }
}

#[derive(Template)]
#[template(path = "lent/ask.html")]
pub(super) struct AskPage {
    frame: Frame,
    form_id: FormId,
    key: String,
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
        key: String::new(),
        wrongs: Vec::new(),
    })
}

#[derive(Deserialize)]
pub(super) struct KeyForm {
    #[serde(default)]
    key: String,
}

pub(super) async fn look_up(
    State(app): State<App>,
    frame: Frame,
    asker: Asker,
    form: Form<KeyForm>,
) -> Result<Response, AppError> {
    let typed = form.fields.key;
    let why = match found(&app, &asker, &typed).await? {
        Ok((key, _)) => {
            let to = HeaderValue::try_from(format!("/lent/open/{}", key.plain()))
                .map_err(anyhow::Error::new)?;
            return Ok((StatusCode::SEE_OTHER, [(header::LOCATION, to)]).into_response());
        }
        Err(why) => why,
    };
    Ok(page::again(AskPage {
        form_id: frame.form_id(),
        frame,
        key: typed,
        wrongs: vec![Wrong::at("key", why)],
    }))
}

/// The link that somebody typed or scanned, or why there is none. Misses are counted with those of crates'
/// codes, and too many of them are refused.
async fn found(
    app: &App,
    asker: &Asker,
    typed: &str,
) -> Result<Result<(Key, Link), String>, AppError> {
    tried(app, asker, "link", async {
        let key = match Key::parse(typed) {
            Ok(key) => key,
            Err(why @ NotAKey::Length) => return Ok(Tried::Unreadable(why.to_string())),
            Err(NotAKey::Code(why)) => return Ok(Tried::no_code(&why)),
        };
        let mut db = app.db.read().await?;
        Ok(match lent::in_force(&mut db, &key).await? {
            Some(link) => Tried::Opens((key, link)),
            None => Tried::Missed(
                "no such link holds: the loan may be closed, or the link withdrawn. Ask the lender"
                    .into(),
            ),
        })
    })
    .await
}

#[derive(Template)]
#[template(path = "lent/begin.html")]
pub(super) struct BeginPage {
    frame: Frame,
    form_id: FormId,
    key: Key,
    link: Link,
    typed_name: String,
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
    Path(typed): Path<String>,
) -> Result<Response, AppError> {
    Ok(match found(&app, &asker, &typed).await? {
        Ok((key, link)) => Page(BeginPage {
            form_id: frame.form_id(),
            frame,
            key,
            link,
            typed_name: String::new(),
            wrongs: Vec::new(),
        })
        .into_response(),
        Err(why) => problem::answer(StatusCode::NOT_FOUND, sentence(&format!("{why}."))),
    })
}

#[derive(Deserialize)]
pub(super) struct NameForm {
    #[serde(default)]
    name: String,
}

pub(super) async fn open(
    State(app): State<App>,
    frame: Frame,
    asker: Asker,
    Path(typed): Path<String>,
    form: Form<NameForm>,
) -> Result<Response, AppError> {
    let (key, link) = match found(&app, &asker, &typed).await? {
        Ok(found) => found,
        Err(why) => {
            let why = sentence(&format!("{why}."));
            return Ok(problem::answer(StatusCode::NOT_FOUND, why));
        }
    };
    // Each opening counts as a miss, so that nobody can fill a link with names.
    app.misses.note(&asker.0, app.clock.now());
    match lent::open(&app, &key, &form.fields.name).await {
        Ok(token) => {
            let mut response = flash::see("/lent", "The loan is open on this phone.");
            // Loans last for weeks, longer than a browser stays open. The link itself ends with the loan.
            let cookie = kept(&app, token, 400 * 24 * 60 * 60)?;
            response.headers_mut().append(header::SET_COOKIE, cookie);
            Ok(response)
        }
        Err(NotDone::Failed(error)) => Err(error),
        Err(NotDone::Refused(why)) => Ok(page::again(BeginPage {
            form_id: frame.form_id(),
            frame,
            key,
            link,
            typed_name: form.fields.name,
            wrongs: vec![Wrong::at("name", why)],
        })),
    }
}

pub(super) fn kept(app: &App, token: String, age: i64) -> Result<HeaderValue, AppError> {
    cookie::secret(lent::cookie_name(app), token, app.is_https(), Some(age))
}
