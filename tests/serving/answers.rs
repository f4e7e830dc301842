//! What leaves the server: security headers on everything, and a page for every error.

use std::time::Duration;

use axum::body::Body;
use axum::http::{Method, Response, StatusCode};
use fieldstow::web::layers::{Settings, content_security_policy};

use crate::small_app::{HOST, is_a_page, request, send, settings, text};

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
    let unchanged = send(&settings, request(Method::GET, "/unchanged")).await;
    assert!(values(&unchanged, "cache-control").is_empty());
    let file = send(&settings, request(Method::GET, "/file")).await;
    assert_eq!(
        values(&file, "content-security-policy"),
        ["sandbox; default-src 'none'", ALWAYS[0].1]
    );
    let token = send(&settings, request(Method::GET, "/token")).await;
    assert_eq!(values(&token, "referrer-policy"), ["no-referrer"]);
}

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
        draw: |problem, _| format!("<h1>{} in our frame</h1>", problem.status),
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
