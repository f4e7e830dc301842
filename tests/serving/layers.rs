//! What every request passes: the layers around a small router, in process and over the wire.

use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::{Duration, Instant};

use axum::Router;
use axum::body::{Body, to_bytes};
use axum::extract::{DefaultBodyLimit, Form};
use axum::http::{Method, Request, Response, StatusCode};
use axum::routing::{any, get, post};
use fieldstow::serve::Limits;
use fieldstow::web::layers::{Settings, content_security_policy, stack};
use tokio::time::sleep;
use tower::ServiceExt;

use crate::support::{SLACK, Server};

const HOST: &str = "kit.example";

fn settings() -> Settings {
    Settings::new(
        "http://kit.example",
        vec![HOST.into(), "localhost:8765".into()],
    )
}

type Fields = Form<Vec<(String, String)>>;

fn router() -> Router {
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

fn request(method: Method, path: &str) -> Request<Body> {
    Request::builder()
        .method(method)
        .uri(path)
        .header("host", HOST)
        .body(Body::empty())
        .unwrap()
}

async fn send(settings: &Settings, request: Request<Body>) -> Response<Body> {
    stack(router(), settings).oneshot(request).await.unwrap()
}

async fn text(response: Response<Body>) -> String {
    let bytes = to_bytes(response.into_body(), usize::MAX).await.unwrap();
    String::from_utf8(bytes.to_vec()).unwrap()
}

/// The answer is a page with a heading and a way out.
async fn is_a_page(response: Response<Body>, status: StatusCode, words: &str) {
    assert_eq!(response.status(), status);
    assert_eq!(
        response.headers()["content-type"],
        "text/html; charset=utf-8"
    );
    let page = text(response).await;
    assert!(page.contains("<h1>") && page.contains("<a href="), "{page}");
    assert!(page.contains(words), "{words:?} is not in {page}");
}

// Cross-origin.

const SITES: [Option<&str>; 6] = [
    None,
    Some("same-origin"),
    Some("none"),
    Some("same-site"),
    Some("cross-site"),
    Some("nonsense"),
];
const ORIGINS: [Option<&str>; 6] = [
    None,
    Some("http://kit.example"),
    Some("http://other.example"),
    Some("http://kit.example:8443"),
    Some("http://kit.example.other.example"),
    Some("null"),
];
/// For each Sec-Fetch-Site (down) and Origin (across), what happens to a change:
/// `+` done, `-` refused, `c` refused if there is a session cookie.
///
/// Sec-Fetch-Site decides where it is sent (Fetch Metadata, W3C); only without it does Origin,
/// which then must name our host. A value not in that specification counts as foreign.
const CHANGES: [&str; 6] = [
    "c+----", // none sent
    "++++++", // same-origin
    "++++++", // none: typed or bookmarked
    "------", // same-site
    "------", // cross-site
    "------", // nonsense
];

#[tokio::test]
async fn a_change_is_made_only_from_our_own_pages() {
    let app = stack(router(), &settings());
    let mut wrong = Vec::new();
    let mut cases = 0;
    for method in ["GET", "HEAD", "OPTIONS", "POST", "PUT", "DELETE"] {
        for (row, site) in SITES.iter().enumerate() {
            for (column, origin) in ORIGINS.iter().enumerate() {
                for cookie in [None, Some("theme=dark; __Host-sid=secret")] {
                    let mut request = Request::builder()
                        .method(method)
                        .uri("/any")
                        .header("host", HOST);
                    for (name, value) in [
                        ("sec-fetch-site", *site),
                        ("origin", *origin),
                        ("cookie", cookie),
                    ] {
                        if let Some(value) = value {
                            request = request.header(name, value);
                        }
                    }
                    let safe = matches!(method, "GET" | "HEAD" | "OPTIONS");
                    let expected = match CHANGES[row].as_bytes()[column] {
                        _ if safe => StatusCode::OK,
                        b'+' => StatusCode::OK,
                        b'c' if cookie.is_none() => StatusCode::OK,
                        _ => StatusCode::FORBIDDEN,
                    };
                    let request = request.body(Body::empty()).unwrap();
                    let status = app.clone().oneshot(request).await.unwrap().status();
                    if status != expected {
                        wrong.push(format!("{method} {site:?} {origin:?} {cookie:?}: {status}"));
                    }
                    cases += 1;
                }
            }
        }
    }
    assert_eq!(cases, 432);
    assert!(wrong.is_empty(), "{wrong:#?}");
}

#[tokio::test]
async fn only_our_own_cookie_counts_as_a_session() {
    for (cookies, status) in [
        (vec!["theme=dark"], StatusCode::OK),
        (vec!["x__Host-sid=1"], StatusCode::OK),
        (vec!["theme=__Host-sid"], StatusCode::OK),
        (vec!["__Host-sid=1"], StatusCode::FORBIDDEN),
        (vec!["a=b;__Host-sid=1"], StatusCode::FORBIDDEN),
        (vec!["sid-lan=1"], StatusCode::FORBIDDEN),
        (vec!["a=b", "c=d; __Host-sid=1"], StatusCode::FORBIDDEN),
    ] {
        let mut request = request(Method::POST, "/any");
        for cookie in &cookies {
            request
                .headers_mut()
                .append("cookie", cookie.parse().unwrap());
        }
        let answered = send(&settings(), request).await;
        assert_eq!(answered.status(), status, "{cookies:?}");
    }
}

#[tokio::test]
async fn refusals_of_origin_are_pages() {
    let mut foreign = request(Method::POST, "/any");
    foreign
        .headers_mut()
        .insert("sec-fetch-site", "cross-site".parse().unwrap());
    let answered = send(&settings(), foreign).await;
    is_a_page(answered, StatusCode::FORBIDDEN, "a page that is not ours").await;

    let mut silent = request(Method::POST, "/any");
    silent
        .headers_mut()
        .insert("cookie", "__Host-sid=1".parse().unwrap());
    let answered = send(&settings(), silent).await;
    is_a_page(answered, StatusCode::FORBIDDEN, "update the browser").await;
}

// Host.

#[tokio::test]
async fn exactly_one_host_and_it_is_ours() {
    // RFC 9112 section 3.2: no Host, or more than one, is answered 400.
    // RFC 9110 section 15.5.20: 421 for a name this server does not answer for.
    for (uri, hosts, status) in [
        ("/", vec!["kit.example"], 200),
        ("/", vec!["KIT.example"], 200),
        ("/", vec!["localhost:8765"], 200),
        ("/", vec![], 400),
        ("/", vec!["kit.example", "kit.example"], 400),
        ("/", vec!["kit.example", "other.example"], 400),
        ("/", vec![""], 421),
        ("/", vec!["other.example"], 421),
        ("/", vec!["kit.example.other.example"], 421),
        ("/", vec!["kit.example:81"], 421),
        ("/", vec!["localhost"], 421),
        ("/", vec!["kit.example, other.example"], 421),
        ("http://kit.example/", vec!["kit.example"], 200),
        ("http://other.example/", vec!["kit.example"], 421),
        ("http://kit.example/", vec!["other.example"], 421),
        (
            "http://kit.example@other.example/",
            vec!["kit.example"],
            421,
        ),
    ] {
        let mut request = Request::builder().uri(uri);
        for host in &hosts {
            request = request.header("host", *host);
        }
        let answered = send(&settings(), request.body(Body::empty()).unwrap()).await;
        assert_eq!(answered.status().as_u16(), status, "{uri} {hosts:?}");
    }
}

#[tokio::test]
async fn a_wrong_host_is_shown_the_right_one() {
    let mut request = request(Method::GET, "/");
    request
        .headers_mut()
        .insert("host", "other.example".parse().unwrap());
    let answered = send(&settings(), request).await;
    is_a_page(
        answered,
        StatusCode::MISDIRECTED_REQUEST,
        "<a href=\"http://kit.example\">",
    )
    .await;
}

// Headers.

const ALWAYS: [(&str, &str); 6] = [
    (
        "content-security-policy",
        "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob:; \
         connect-src 'self'; font-src 'self'; manifest-src 'self'; worker-src 'self'; \
         form-action 'self'; frame-ancestors 'none'; base-uri 'none'; object-src 'none'; \
         require-trusted-types-for 'script'; trusted-types app",
    ),
    ("x-content-type-options", "nosniff"),
    ("referrer-policy", "same-origin"),
    ("cross-origin-opener-policy", "same-origin"),
    ("cross-origin-resource-policy", "same-origin"),
    (
        "permissions-policy",
        "geolocation=(), microphone=(), camera=(self)",
    ),
];

fn values<'a>(response: &'a Response<Body>, name: &str) -> Vec<&'a str> {
    let values = response.headers().get_all(name).iter();
    values.map(|value| value.to_str().unwrap()).collect()
}

#[tokio::test]
async fn every_answer_has_exactly_the_security_headers() {
    let mut no_host = request(Method::GET, "/");
    no_host.headers_mut().remove("host");
    let mut foreign = request(Method::POST, "/any");
    foreign
        .headers_mut()
        .insert("sec-fetch-site", "cross-site".parse().unwrap());
    let mut large = request(Method::POST, "/form");
    large.headers_mut().insert(
        "content-type",
        "application/x-www-form-urlencoded".parse().unwrap(),
    );
    *large.body_mut() = Body::from("a=".to_owned() + &"x".repeat(300 * 1024));

    let quick = Settings {
        read_time: Duration::from_millis(50),
        ..settings()
    };
    let full = Settings {
        in_flight: 0,
        ..settings()
    };
    let usual = settings();
    for (settings, request, status) in [
        (&usual, request(Method::GET, "/"), 200),
        (&usual, request(Method::HEAD, "/"), 200),
        (&usual, request(Method::GET, "/nowhere"), 404),
        (&usual, request(Method::PUT, "/"), 405),
        (&usual, request(Method::GET, "/panic"), 500),
        (&usual, request(Method::GET, "/careless"), 200),
        (&usual, no_host, 400),
        (&usual, foreign, 403),
        (&usual, large, 413),
        (&quick, request(Method::GET, "/hung"), 503),
        (&full, request(Method::GET, "/"), 503),
    ] {
        let what = format!("{} {}", request.method(), request.uri());
        let answered = send(settings, request).await;
        assert_eq!(answered.status().as_u16(), status, "{what}");
        for (name, value) in ALWAYS {
            assert_eq!(values(&answered, name), [value], "{what}: {name}");
        }
        assert_eq!(values(&answered, "cache-control"), ["no-store"], "{what}");
        for absent in ["strict-transport-security", "server", "x-powered-by"] {
            assert!(values(&answered, absent).is_empty(), "{what}: {absent}");
        }
    }
}

#[tokio::test]
async fn https_is_insisted_on_only_where_it_is_the_public_address() {
    let settings = Settings::new("https://kit.example", vec![HOST.into()]);
    let answered = send(&settings, request(Method::GET, "/")).await;
    assert_eq!(
        values(&answered, "strict-transport-security"),
        ["max-age=31536000; includeSubDomains"]
    );
    let policy = content_security_policy(true);
    assert_eq!(values(&answered, "content-security-policy"), [&policy]);
    assert_eq!(
        policy,
        format!("{}; upgrade-insecure-requests", ALWAYS[0].1)
    );
}

#[tokio::test]
async fn a_handler_may_decide_caching_and_tighten_the_rest() {
    let settings = settings();
    let cached = send(&settings, request(Method::GET, "/cached")).await;
    assert_eq!(values(&cached, "cache-control"), ["private, no-cache"]);
    let file = send(&settings, request(Method::GET, "/file")).await;
    assert_eq!(
        values(&file, "content-security-policy"),
        ["sandbox; default-src 'none'", ALWAYS[0].1]
    );
    let token = send(&settings, request(Method::GET, "/token")).await;
    assert_eq!(values(&token, "referrer-policy"), ["no-referrer"]);
}

// Errors.

#[tokio::test]
async fn errors_without_a_page_get_one_and_others_keep_theirs() {
    let settings = settings();
    let nowhere = send(&settings, request(Method::GET, "/nowhere")).await;
    is_a_page(nowhere, StatusCode::NOT_FOUND, "nothing at this address").await;
    let wrong_way = send(&settings, request(Method::DELETE, "/")).await;
    assert_eq!(wrong_way.headers()["allow"], "GET,HEAD");
    is_a_page(
        wrong_way,
        StatusCode::METHOD_NOT_ALLOWED,
        "use its own buttons",
    )
    .await;
    for method in [Method::GET, Method::POST] {
        let broke = send(&settings, request(method, "/panic")).await;
        is_a_page(broke, StatusCode::INTERNAL_SERVER_ERROR, "on our side").await;
    }
    let own = send(&settings, request(Method::GET, "/own-page")).await;
    assert_eq!(text(own).await, "ours");
}

#[tokio::test]
async fn the_app_can_draw_the_page_around_an_answer() {
    let settings = Settings {
        draw: |answer| format!("<h1>{} in our frame</h1>", answer.status),
        ..settings()
    };
    let answered = send(&settings, request(Method::GET, "/nowhere")).await;
    assert_eq!(text(answered).await, "<h1>404 Not Found in our frame</h1>");
}

#[tokio::test]
async fn a_body_is_limited_where_the_route_says_nothing_else() {
    for (path, bytes, status) in [
        ("/form", 255 * 1024, 200),
        ("/form", 257 * 1024, 413),
        ("/large-form", 257 * 1024, 200),
        ("/large-form", 1025 * 1024, 413),
    ] {
        let mut request = request(Method::POST, path);
        request.headers_mut().insert(
            "content-type",
            "application/x-www-form-urlencoded".parse().unwrap(),
        );
        *request.body_mut() = Body::from("a=".to_owned() + &"x".repeat(bytes));
        let answered = send(&settings(), request).await;
        assert_eq!(answered.status().as_u16(), status, "{path} {bytes}");
    }
}

// Time and number.

#[tokio::test]
async fn a_page_that_takes_too_long_is_given_up() {
    let quick = Settings {
        read_time: Duration::from_millis(100),
        ..settings()
    };
    let started = Instant::now();
    let answered = send(&quick, request(Method::GET, "/hung")).await;
    assert!(started.elapsed() < Duration::from_millis(100) + SLACK);
    assert_eq!(answered.headers()["retry-after"], "1");
    is_a_page(answered, StatusCode::SERVICE_UNAVAILABLE, "takes too long").await;
}

#[tokio::test]
async fn a_write_that_takes_too_long_goes_on_and_says_so() {
    let quick = Settings {
        write_time: Duration::from_millis(100),
        ..settings()
    };
    let answered = send(&quick, request(Method::POST, "/hung-write")).await;
    is_a_page(
        answered,
        StatusCode::SERVICE_UNAVAILABLE,
        "still being worked on",
    )
    .await;
    assert!(!quick.writes.finished(Duration::from_millis(50)).await);
}

#[tokio::test]
async fn one_request_too_many_is_sent_away_at_once() {
    let two = Settings {
        in_flight: 2,
        ..settings()
    };
    let app = stack(router(), &two);
    let waiting: Vec<_> = (0..2)
        .map(|_| tokio::spawn(app.clone().oneshot(request(Method::GET, "/hung"))))
        .collect();
    sleep(Duration::from_millis(50)).await;
    let started = Instant::now();
    let answered = app
        .clone()
        .oneshot(request(Method::GET, "/"))
        .await
        .unwrap();
    assert!(started.elapsed() < Duration::from_millis(50) + SLACK);
    assert_eq!(answered.headers()["retry-after"], "1");
    is_a_page(
        answered,
        StatusCode::SERVICE_UNAVAILABLE,
        "Too much is going on",
    )
    .await;

    waiting[0].abort();
    sleep(Duration::from_millis(50)).await;
    let answered = app.oneshot(request(Method::GET, "/")).await.unwrap();
    assert_eq!(answered.status(), StatusCode::OK);
}

// A router whose handlers say how far they came.

#[derive(Clone, Default)]
struct Progress {
    begun: Arc<AtomicUsize>,
    done: Arc<AtomicUsize>,
}

impl Progress {
    fn router(&self) -> Router {
        let progress = self.clone();
        let work = move || {
            let progress = progress.clone();
            async move {
                progress.begun.fetch_add(1, Ordering::SeqCst);
                sleep(Duration::from_millis(300)).await;
                progress.done.fetch_add(1, Ordering::SeqCst);
                "done"
            }
        };
        Router::new().route("/work", get(work.clone()).post(work))
    }

    fn begun_and_done(&self) -> (usize, usize) {
        (
            self.begun.load(Ordering::SeqCst),
            self.done.load(Ordering::SeqCst),
        )
    }
}

#[tokio::test]
async fn a_cut_connection_cuts_a_read_but_never_a_write() {
    for (method, done) in [("GET", 0), ("POST", 1)] {
        let progress = Progress::default();
        let settings = settings();
        let server = Server::start(stack(progress.router(), &settings), Limits::default()).await;
        let mut client = server.connect().await;
        client
            .write(&format!(
                "{method} /work HTTP/1.1\r\nHost: {HOST}\r\nContent-Length: 0\r\n\r\n"
            ))
            .await;
        sleep(Duration::from_millis(100)).await;
        assert_eq!(progress.begun_and_done(), (1, 0), "{method}");
        drop(client);
        sleep(Duration::from_millis(400)).await;
        assert_eq!(progress.begun_and_done(), (1, done), "{method}");
    }
}

#[tokio::test]
async fn a_write_cut_by_the_stop_can_be_waited_for() {
    let progress = Progress::default();
    let settings = settings();
    let at_once = Limits {
        stop: Duration::from_millis(10),
        ..Limits::default()
    };
    let server = Server::start(stack(progress.router(), &settings), at_once).await;
    let mut client = server.connect().await;
    client
        .write(&format!(
            "POST /work HTTP/1.1\r\nHost: {HOST}\r\nContent-Length: 0\r\n\r\n"
        ))
        .await;
    sleep(Duration::from_millis(100)).await;
    assert_eq!(server.stopped().await.cut, 1);
    assert_eq!(progress.begun_and_done(), (1, 0));
    assert!(settings.writes.finished(Duration::from_secs(2)).await);
    assert_eq!(progress.begun_and_done(), (1, 1));
}

#[tokio::test]
async fn a_form_that_dribbles_is_given_up_with_the_reason() {
    let quick = Settings {
        body_time: Duration::from_millis(500),
        ..settings()
    };
    let server = Server::start(stack(router(), &quick), Limits::default()).await;
    let mut client = server.connect().await;
    client
        .write(&format!(
            "POST /form HTTP/1.1\r\nHost: {HOST}\r\nContent-Length: 100\r\n\
             Content-Type: application/x-www-form-urlencoded\r\n\r\n"
        ))
        .await;
    let started = Instant::now();
    let dribble = async {
        loop {
            client.write("x").await;
            sleep(Duration::from_millis(100)).await;
        }
    };
    let _ = tokio::time::timeout(Duration::from_millis(450), dribble).await;
    let (_, said) = client.closed_after().await;
    assert!(started.elapsed() < Duration::from_millis(500) + SLACK);
    assert!(said.starts_with("HTTP/1.1 408 "), "{said}");
    assert!(said.contains("did not arrive in time"), "{said}");
}
