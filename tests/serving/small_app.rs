//! A small router with something of everything, inside the layers.

use axum::Router;
use axum::body::{Body, to_bytes};
use axum::extract::DefaultBodyLimit;
use axum::http::{Method, Request, Response, StatusCode};
use axum::routing::{any, get, post};
use axum_extra::extract::Form;
use fieldstow::web::layers::{Settings, stack};
use tower::ServiceExt;

pub const HOST: &str = "kit.example";

pub fn settings() -> Settings {
    Settings::new(
        "http://kit.example",
        vec![HOST.into(), "localhost:8765".into()],
    )
}

type Fields = Form<Vec<(String, String)>>;

pub fn router() -> Router {
    Router::new()
        .route("/", get(async || "here"))
        .route("/any", any(async || "here"))
        .route(
            "/form",
            post(async |Form(fields): Fields| fields.len().to_string()),
        )
        .route(
            "/large-form",
            post(async |Form(fields): Fields| fields.len().to_string())
                .layer(DefaultBodyLimit::max(1024 * 1024)),
        )
        .route(
            "/panic",
            any(async || -> &'static str { panic!("on purpose") }),
        )
        .route("/hung", get(std::future::pending::<&'static str>))
        .route("/hung-write", post(std::future::pending::<&'static str>))
        .route(
            "/own-page",
            get(async || (StatusCode::NOT_FOUND, axum::response::Html("ours"))),
        )
        .route(
            "/cached",
            get(async || ([("cache-control", "private, no-cache")], "here")),
        )
        .route("/unchanged", get(async || StatusCode::NOT_MODIFIED))
        .route(
            "/file",
            get(async || {
                (
                    [("content-security-policy", "sandbox; default-src 'none'")],
                    "file",
                )
            }),
        )
        .route(
            "/token",
            get(async || ([("referrer-policy", "no-referrer")], "here")),
        )
        .route(
            "/careless",
            get(async || ([("x-content-type-options", "maybe")], "here")),
        )
}

pub fn request(method: Method, path: &str) -> Request<Body> {
    Request::builder()
        .method(method)
        .uri(path)
        .header("host", HOST)
        .body(Body::empty())
        .unwrap()
}

pub async fn send(settings: &Settings, request: Request<Body>) -> Response<Body> {
    stack(router(), settings).oneshot(request).await.unwrap()
}

pub async fn text(response: Response<Body>) -> String {
    let bytes = to_bytes(response.into_body(), usize::MAX).await.unwrap();
    String::from_utf8(bytes.to_vec()).unwrap()
}

/// The answer is a page with a heading and a way out.
pub async fn is_a_page(response: Response<Body>, status: StatusCode, words: &str) {
    assert_eq!(response.status(), status);
    assert_eq!(
        response.headers()["content-type"],
        "text/html; charset=utf-8"
    );
    let page = text(response).await;
    assert!(page.contains("<h1>") && page.contains("<a href="), "{page}");
    assert!(page.contains(words), "{words:?} is not in {page}");
}
