//! Requests no browser sends: each gets its answer or a closed connection, never a 5xx.

use std::time::Duration;

use fieldstow::serve::Limits;
use fieldstow::web::layers::stack;
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::time::timeout;

use crate::small_app::{router, settings};
use crate::support::Server;

const FORM: &str = "Host: kit.example\r\nContent-Type: application/x-www-form-urlencoded\r\n";

/// The status of the first answer, or 0 if the server closed without one.
async fn status(server: &Server, request: &[u8]) -> u16 {
    let mut socket = server.connect().await;
    // The server may close before it has all of it.
    let _ = socket.0.write_all(request).await;
    let _ = socket.0.shutdown().await;
    let mut answer = Vec::new();
    let _ = timeout(Duration::from_secs(5), socket.0.read_to_end(&mut answer))
        .await
        .expect("the connection hung");
    let line = String::from_utf8_lossy(&answer);
    let status = line.split(' ').nth(1).unwrap_or("0");
    status.parse().unwrap()
}

#[tokio::test]
async fn each_gets_the_answer_the_standard_asks_for() {
    // The sections are those of RFC 9112 (HTTP/1.1) and RFC 9110 (HTTP semantics), from memory.
    // 0 stands for a connection closed without an answer.
    let server = Server::start(stack(router(), &settings()), Limits::default()).await;
    let host = "Host: kit.example\r\n";
    // One line a case reads better than what the formatter makes of it.
    #[rustfmt::skip]
    let cases: Vec<(&str, Vec<u8>, u16)> = vec![
        ("a plain one, to compare", format!("GET / HTTP/1.1\r\n{host}\r\n").into(), 200),
        ("nothing", b"".into(), 0),
        ("not HTTP", b"\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03".into(), 400),
        ("HTTP/1.0 without Host", b"GET / HTTP/1.0\r\n\r\n".into(), 400),
        ("HTTP/9.9", format!("GET / HTTP/9.9\r\n{host}\r\n").into(), 400),
        ("the preface of HTTP/2", b"PRI * HTTP/2.0\r\n\r\nSM\r\n\r\n".into(), 0),
        ("no Host (9112, 3.2)", b"GET / HTTP/1.1\r\n\r\n".into(), 400),
        ("two Hosts (9112, 3.2)", format!("GET / HTTP/1.1\r\n{host}{host}\r\n").into(), 400),
        ("blank before the colon (9112, 5.1)", b"GET / HTTP/1.1\r\nHost : kit.example\r\n\r\n".into(), 400),
        ("a folded line (9112, 5.2)", format!("GET / HTTP/1.1\r\n{host}X: a\r\n b\r\n\r\n").into(), 400),
        ("NUL in a value (9110, 5.5)", format!("GET / HTTP/1.1\r\n{host}X: a\0b\r\n\r\n").into(), 400),
        ("NUL in the target", format!("GET /\0 HTTP/1.1\r\n{host}\r\n").into(), 400),
        ("%ff in the path", format!("GET /%ff HTTP/1.1\r\n{host}\r\n").into(), 404),
        ("dots in the path", format!("GET /../../etc HTTP/1.1\r\n{host}\r\n").into(), 404),
        ("hidden dots", format!("GET /%2e%2e/%2e%2e/etc HTTP/1.1\r\n{host}\r\n").into(), 404),
        ("another host as target", format!("GET http://other.example/ HTTP/1.1\r\n{host}\r\n").into(), 421),
        ("TRACE", format!("TRACE / HTTP/1.1\r\n{host}\r\n").into(), 405),
        ("CONNECT", format!("CONNECT kit.example HTTP/1.1\r\n{host}\r\n").into(), 404),
        ("OPTIONS *", format!("OPTIONS * HTTP/1.1\r\n{host}\r\n").into(), 404),
        ("an unknown method", format!("DANCE / HTTP/1.1\r\n{host}\r\n").into(), 405),
        ("two lengths (9112, 6.3)", format!("POST /form HTTP/1.1\r\n{FORM}Content-Length: 3\r\nContent-Length: 4\r\n\r\na=b").into(), 400),
        ("a length below zero", format!("POST /form HTTP/1.1\r\n{FORM}Content-Length: -1\r\n\r\n").into(), 400),
        ("a length beyond all numbers", format!("POST /form HTTP/1.1\r\n{FORM}Content-Length: 99999999999999999999\r\n\r\n").into(), 400),
        ("an unknown transfer coding (9112, 6.1)", format!("POST /form HTTP/1.1\r\n{FORM}Transfer-Encoding: knots\r\n\r\n").into(), 400),
        ("a chunk of no size", format!("POST /form HTTP/1.1\r\n{FORM}Transfer-Encoding: chunked\r\n\r\nxyz\r\n").into(), 400),
        ("a chunk beyond all sizes", format!("POST /form HTTP/1.1\r\n{FORM}Transfer-Encoding: chunked\r\n\r\nfffffffffffffffff\r\n").into(), 400),
        ("a good chunk, to compare", format!("POST /form HTTP/1.1\r\n{FORM}Transfer-Encoding: chunked\r\n\r\n3\r\na=b\r\n0\r\n\r\n").into(), 200),
        ("a body that ends early (9112, 8)", format!("POST /form HTTP/1.1\r\n{FORM}Content-Length: 30\r\n\r\na=b").into(), 400),
        ("length and chunks: chunks count (9112, 6.1)", format!("POST /form HTTP/1.1\r\n{FORM}Content-Length: 30\r\nTransfer-Encoding: chunked\r\n\r\n3\r\na=b\r\n0\r\n\r\n").into(), 200),
        ("lines ended by LF alone: allowed (9112, 2.2)", b"GET / HTTP/1.1\nHost: kit.example\n\n".into(), 200),
        ("a cookie of a mebibyte", format!("GET / HTTP/1.1\r\n{host}Cookie: a={}\r\n\r\n", "x".repeat(1 << 20)).into(), 431),
        ("ten thousand keys", format!("GET /?{} HTTP/1.1\r\n{host}\r\n", "a&".repeat(5_000)).into(), 200),
        ("a target of 20 KiB", format!("GET /{} HTTP/1.1\r\n{host}\r\n", "x".repeat(20 << 10)).into(), 431),
    ];
    let mut wrong = Vec::new();
    for (name, request, expected) in &cases {
        let got = status(&server, request).await;
        if got != *expected {
            wrong.push(format!("{name}: {got}, not {expected}"));
        }
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
    // And it still serves.
    assert_eq!(status(&server, &cases[0].1).await, 200);
}
