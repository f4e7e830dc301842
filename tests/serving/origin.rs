//! Which requests are ours: cross-origin and Host.

use axum::body::Body;
use axum::http::{Method, Request, StatusCode};
use fieldstow::web::layers::stack;
use tower::ServiceExt;

use crate::small_app::{HOST, is_a_page, request, router, send, settings};

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
