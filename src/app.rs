//! The application as a value: what every handler gets, and the router over all slices.

use std::sync::Arc;

use askama::Template;
use axum::Router;
use axum::extract::{FromRequestParts, Request, State};
use axum::http::request::Parts;
use axum::http::{HeaderValue, Method, StatusCode, header};
use axum::middleware::{self, Next};
use axum::response::{IntoResponse, Response};

use tower_http::compression::CompressionLayer;

use crate::clock::Clock;
use crate::db::Db;
use crate::error::AppError;
use crate::find::misses::Misses;
use crate::people::access::{self, Listed, Routes};
use crate::people::viewer::{self, HeldRequest, Sessions};
use crate::people::{self, Viewer};
use crate::web::frame::Frame;
use crate::web::hand::Hand;
use crate::web::layers::WayOut;
use crate::web::page::Page;
use crate::web::problem::Problem;
use crate::web::{assets, flash, layers, patterns};

/// What every handler gets. Cheap to clone.
#[derive(Clone)]
pub struct App {
    pub db: Db,
    pub clock: Arc<dyn Clock>,
    pub sessions: Arc<Sessions>,
    /// Codes that were asked for and do not exist.
    pub misses: Arc<Misses>,
    pub people: Arc<people::Memory>,
    /// Where pictures are decoded, few at a time.
    pub pictures: Arc<crate::pictures::Desk>,
    /// Where backups are made by themselves, if they are.
    pub backups: Arc<crate::backups::Shelf>,
    settings: Arc<Settings>,
}

/// What the machine's owner decides.
#[derive(Debug, Clone)]
pub struct Settings {
    /// Where people reach this server, without a slash at the end: `https://kit.example.org`.
    pub public_url: String,
}

impl App {
    pub fn new(db: Db, clock: Arc<dyn Clock>, settings: Settings) -> Self {
        Self {
            db,
            clock,
            sessions: Arc::default(),
            misses: Arc::default(),
            people: Arc::default(),
            pictures: Arc::default(),
            backups: Arc::default(),
            settings: Arc::new(settings),
        }
    }

    /// Makes backups in this folder, once a day and when somebody asks.
    pub fn with_backups(mut self, folder: std::path::PathBuf) -> Self {
        let since = self.clock.now();
        self.backups = Arc::new(crate::backups::Shelf::at(folder, since));
        self
    }

    pub fn public_url(&self) -> &str {
        &self.settings.public_url
    }

    pub fn is_https(&self) -> bool {
        self.settings.public_url.starts_with("https://")
    }
}

/// Every slice's routes.
fn routes() -> Routes {
    Routes::new()
        .merge(crate::today::pages::routes())
        .merge(people::pages::routes())
        .merge(crate::seasons::pages::routes())
        .merge(crate::pictures::pages::routes())
        .merge(crate::guides::pages::routes())
        .merge(crate::parts::pages::routes())
        .merge(crate::kits::pages::routes())
        .merge(crate::places::pages::routes())
        .merge(crate::numbered::pages::routes())
        .merge(crate::events::pages::routes())
        .merge(crate::fields::pages::routes())
        .merge(crate::counts::pages::routes())
        .merge(crate::reports::pages::routes())
        .merge(crate::loans::pages::routes())
        .merge(crate::orders::pages::routes())
        .merge(crate::find::pages::routes())
        .merge(crate::passes::pages::routes())
        .merge(crate::lent::pages::routes())
        .merge(crate::damage::pages::routes())
        .merge(crate::history::pages::routes())
        .merge(crate::calendar::pages::routes())
        .merge(crate::backups::pages::routes())
}

/// Every route with its method and rule, for the tests that go through all of them.
pub fn listed_routes() -> Vec<Listed> {
    routes().into_parts().1
}

/// The whole application. The layers of `web::layers` go around it.
pub fn router(app: App) -> Router {
    let (router, _) = routes().into_parts();
    router
        // Pages are sent as they are: squeezing what mixes secrets and typed words tells of the secrets.
        .route(
            "/static/{*path}",
            axum::routing::get(assets::serve).layer(CompressionLayer::new()),
        )
        .route("/patterns", axum::routing::get(patterns::show))
        .fallback(async || AppError::NotFound("page"))
        .method_not_allowed_fallback(async || {
            crate::web::problem::answer(
                StatusCode::METHOD_NOT_ALLOWED,
                "This address does not take what was sent.",
            )
        })
        .layer(middleware::from_fn_with_state(app.clone(), around))
        .with_state(app)
}

/// Goes around every request: finds the viewer, answers "unchanged" where it is, and draws pages around
/// failures.
async fn around(State(app): State<App>, mut request: Request, next: Next) -> Response {
    if request.uri().path().starts_with("/static/") {
        return next.run(request).await;
    }
    match people::pages::start_first(&app, request.uri().path()).await {
        Ok(None) => {}
        Ok(Some(to_start)) => return to_start,
        Err(error) => return error.into_response(),
    }
    let viewer = match viewer::find(&app, request.headers()).await {
        Ok(viewer) => viewer,
        Err(error) => return error.into_response(),
    };
    let helper = match crate::passes::pages::helper(&app, request.headers()).await {
        Ok(helper) => helper,
        Err(error) => return error.into_response(),
    };
    let hand = Hand::read(request.headers());
    let phone = match crate::lent::pages::phone(&app, request.headers()).await {
        Ok(phone) => phone,
        Err(error) => return error.into_response(),
    };
    let told = flash::read(request.headers());
    let had_message = told.is_some();

    // Unchanged as long as nobody wrote, nobody else looks, and the day and the program are the same.
    let tag = match &viewer {
        // What a helper is shown changes with the day, not with a write; a borrower's phone is told apart by its
        // cookie alone.
        Some(viewer)
            if request.method() == Method::GET
                && !had_message
                && helper.is_none()
                && phone.is_none() =>
        {
            Some(format!(
                "\"{}-{}-{}-{}-{}\"",
                app.db.version(),
                viewer.session,
                viewer.today(&app),
                hand.mark(),
                assets::mark()
            ))
        }
        _ => None,
    };
    if let Some(tag) = &tag
        && request
            .headers()
            .get(header::IF_NONE_MATCH)
            .is_some_and(|known| known == tag.as_str())
    {
        return (StatusCode::NOT_MODIFIED, [(header::ETAG, tag.clone())]).into_response();
    }

    let path = request.uri().path().to_owned();
    let league = match people::league(&app).await {
        Ok(league) => league,
        Err(error) => return error.into_response(),
    };
    // A borrower without an account reads the lender's time.
    let zone = match (&viewer, &phone) {
        (Some(viewer), _) => viewer.zone(),
        (None, Some(phone)) => &phone.link.zone,
        (None, None) => "UTC",
    };
    let as_of = app.clock.now().words(zone);
    let mut frame = frame(league, viewer.as_ref(), told, path, as_of);
    frame.hand = hand;
    request.extensions_mut().insert(app.clone());
    request.extensions_mut().insert(frame.clone());
    if let Some(viewer) = viewer {
        request.extensions_mut().insert(viewer);
    }
    if let Some(helper) = helper {
        request.extensions_mut().insert(access::Helping);
        request.extensions_mut().insert(helper);
    }
    if let Some(phone) = phone {
        request.extensions_mut().insert(access::Borrowing);
        request.extensions_mut().insert(phone);
    }
    let mut response = next.run(request).await;

    if let Some(held) = response.extensions_mut().remove::<HeldRequest>() {
        return people::pages::sign_in_again(frame, held).await;
    }
    let problem = response
        .extensions_mut()
        .remove::<Problem>()
        .or_else(|| layers::stray_error(response.status(), response.headers()));
    if let Some(problem) = problem {
        return draw_problem(frame, problem, response);
    }
    if response.status() == StatusCode::OK {
        let headers = response.headers_mut();
        if had_message {
            headers.append(header::SET_COOKIE, flash::forget());
        }
        if let Some(tag) = tag.and_then(|tag| HeaderValue::from_str(&tag).ok())
            && !headers.contains_key(header::CACHE_CONTROL)
        {
            headers.insert(
                header::CACHE_CONTROL,
                HeaderValue::from_static("private, no-cache"),
            );
            headers.insert(header::ETAG, tag);
        }
    }
    response
}

fn frame(
    league: String,
    viewer: Option<&Viewer>,
    told: Option<flash::Flash>,
    path: String,
    as_of: String,
) -> Frame {
    Frame {
        league,
        person: viewer.map(|viewer| viewer.name().to_owned()),
        team: viewer
            .and_then(Viewer::main_team)
            .map(|membership| membership.team_name.clone()),
        strip: Frame::strip_of(&path),
        flash: told,
        as_of,
        path,
        hand: Hand::default(),
    }
}

impl<S: Send + Sync> FromRequestParts<S> for Frame {
    type Rejection = AppError;

    async fn from_request_parts(parts: &mut Parts, _: &S) -> Result<Self, AppError> {
        Ok(parts.extensions.get::<Frame>().cloned().unwrap_or_default())
    }
}

#[derive(askama::Template)]
#[template(path = "error.html")]
struct ErrorPage {
    frame: Frame,
    title: &'static str,
    sentence: String,
    way_out: WayOut,
}

/// The same page around a problem that never came as far as a person and a frame.
pub fn draw_outside(problem: &Problem, way_out: &WayOut) -> String {
    let page = ErrorPage {
        frame: Frame::default(),
        title: title(problem.status),
        sentence: problem.sentence.clone(),
        way_out: way_out.clone(),
    };
    page.render()
        .unwrap_or_else(|_| layers::minimal_page(problem, way_out))
}

/// The same answer as a page: headers such as `Retry-After` stay.
fn draw_problem(frame: Frame, problem: Problem, plain: Response) -> Response {
    let page = Page(ErrorPage {
        frame,
        title: title(problem.status),
        sentence: problem.sentence,
        way_out: WayOut {
            href: "/".into(),
            words: "Back to Today".into(),
        },
    })
    .into_response();
    let (mut parts, _) = plain.into_parts();
    let (page_parts, body) = page.into_parts();
    parts.headers.remove(header::CONTENT_LENGTH);
    parts.headers.extend(page_parts.headers);
    Response::from_parts(parts, body)
}

fn title(status: StatusCode) -> &'static str {
    match status {
        StatusCode::BAD_REQUEST => "This could not be read",
        StatusCode::UNAUTHORIZED => "Sign in again",
        StatusCode::FORBIDDEN => "Not for you to do",
        StatusCode::NOT_FOUND => "Not here",
        StatusCode::METHOD_NOT_ALLOWED => "Not like this",
        StatusCode::CONFLICT => "Recorded differently before",
        StatusCode::GONE => "No longer here",
        StatusCode::PAYLOAD_TOO_LARGE => "Too large",
        StatusCode::TOO_MANY_REQUESTS => "Wait a little",
        StatusCode::SERVICE_UNAVAILABLE => "Too busy just now",
        StatusCode::INSUFFICIENT_STORAGE => "The disk is full",
        _ => "Something broke",
    }
}
