//! A small HTTP/1.1 client that asks for the same page again and again. It talks to loopback only.

use std::net::SocketAddr;
use std::time::{Duration, Instant};

use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::TcpStream;

/// One answer.
pub struct Answer {
    pub status: u16,
    pub etag: Option<String>,
    pub body: Vec<u8>,
}

/// The bytes of a request.
pub fn request(path: &str, host: &str, cookie: &str, tag: Option<&str>) -> Vec<u8> {
    let mut text = format!("GET {path} HTTP/1.1\r\nhost: {host}\r\n");
    if !cookie.is_empty() {
        text.push_str(&format!("cookie: {cookie}\r\n"));
    }
    if let Some(tag) = tag {
        text.push_str(&format!("if-none-match: {tag}\r\n"));
    }
    text.push_str("\r\n");
    text.into_bytes()
}

/// Asks once.
pub async fn once(address: SocketAddr, request: &[u8]) -> anyhow::Result<Answer> {
    let mut connection = Connection::open(address).await?;
    connection.ask(request).await
}

/// Answers a second over all connections, each asking again as soon as it was answered.
pub async fn rate(
    address: SocketAddr,
    request: &[u8],
    connections: usize,
    seconds: f64,
    status: u16,
) -> anyhow::Result<f64> {
    let start = Instant::now();
    let end = start + Duration::from_secs_f64(seconds);
    let mut tasks = Vec::new();
    for _ in 0..connections {
        let request = request.to_vec();
        tasks.push(tokio::spawn(async move {
            let mut connection = Connection::open(address).await?;
            let mut answers = 0u64;
            while Instant::now() < end {
                let answer = connection.ask(&request).await?;
                anyhow::ensure!(answer.status == status, "answered {}", answer.status);
                answers += 1;
            }
            Ok::<u64, anyhow::Error>(answers)
        }));
    }
    let mut answers = 0;
    for task in tasks {
        answers += tokio::time::timeout(super::LONGEST, task).await???;
    }
    Ok(answers as f64 / start.elapsed().as_secs_f64())
}

struct Connection {
    stream: TcpStream,
    buffer: Vec<u8>,
}

impl Connection {
    async fn open(address: SocketAddr) -> anyhow::Result<Self> {
        let stream = TcpStream::connect(address).await?;
        stream.set_nodelay(true)?;
        Ok(Self {
            stream,
            buffer: Vec::with_capacity(64 * 1024),
        })
    }

    async fn ask(&mut self, request: &[u8]) -> anyhow::Result<Answer> {
        self.stream.write_all(request).await?;
        self.buffer.clear();
        let head_end = loop {
            if let Some(at) = self.buffer.windows(4).position(|four| four == b"\r\n\r\n") {
                break at + 4;
            }
            anyhow::ensure!(self.stream.read_buf(&mut self.buffer).await? > 0, "cut off");
        };
        let head = std::str::from_utf8(&self.buffer[..head_end])?.to_ascii_lowercase();
        let status = head.split(' ').nth(1).unwrap_or_default().parse()?;
        let field = |name: &str| {
            head.lines()
                .find_map(|line| line.strip_prefix(name))
                .map(|value| value.trim().to_owned())
        };
        let length: usize = match field("content-length:") {
            Some(length) => length.parse()?,
            None => 0,
        };
        let etag = field("etag:");
        while self.buffer.len() < head_end + length {
            anyhow::ensure!(self.stream.read_buf(&mut self.buffer).await? > 0, "cut off");
        }
        Ok(Answer {
            status,
            etag,
            body: self.buffer[head_end..head_end + length].to_vec(),
        })
    }
}
