//! chromedriver and the Chromium behind it: found, started, and ended whatever happens.

use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpStream;
use std::path::{Path, PathBuf};
use std::process::{Child, ChildStdout, Command, Stdio};
use std::time::Duration;

use fantoccini::wd::{Capabilities, WebDriverCompatibleCommand};
use fantoccini::{Client, ClientBuilder};
use hyper_util::client::legacy::connect::HttpConnector;
use serde_json::{Value, json};
use tempfile::TempDir;
use url::Url;

const FLAGS: [&str; 12] = [
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--disable-dev-shm-usage",
    "--disable-field-trial-config",
    "--no-default-browser-check",
    // Nothing but this machine can be reached, even by mistake.
    "--host-resolver-rules=MAP * ~NOTFOUND, EXCLUDE localhost, EXCLUDE 127.0.0.1",
];

/// Where the two programs are.
pub struct Found {
    chromium: PathBuf,
    chromedriver: PathBuf,
}

/// Looks for both; `Err` says what is missing.
pub fn find() -> Result<Found, String> {
    let chromium = first_of(&["chromium", "chromium-browser", "google-chrome"]);
    let chromedriver = first_of(&["chromedriver", "chromium.chromedriver"]);
    match (chromium, chromedriver) {
        (Some(chromium), Some(chromedriver)) => Ok(Found {
            chromium,
            chromedriver,
        }),
        (None, _) => Err("no Chromium is installed".into()),
        (_, None) => Err("no chromedriver is installed".into()),
    }
}

fn first_of(names: &[&str]) -> Option<PathBuf> {
    let path = std::env::var_os("PATH")?;
    names
        .iter()
        .flat_map(|name| std::env::split_paths(&path).map(move |folder| folder.join(name)))
        .find(|file| file.is_file())
}

/// One browser with a profile of its own. Ends with this value, even when the test panics.
pub struct Driver {
    pub client: Client,
    child: Child,
    port: u16,
    session: String,
    // Held open: chromedriver would end when it cannot say anything any more.
    _said: BufReader<ChildStdout>,
    _profile: TempDir,
}

impl Driver {
    pub async fn start(found: &Found) -> Self {
        let profile = tempfile::tempdir().expect("a folder for the profile");
        let mut child = Command::new(&found.chromedriver)
            .arg("--port=0")
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .expect("chromedriver starts");
        let mut said = BufReader::new(child.stdout.take().expect("its output is ours"));
        let Some(port) = port(&mut said) else {
            let _ = child.kill();
            let _ = child.wait();
            panic!("chromedriver did not say on which port it listens");
        };
        let mut starting = Starting(Some(child));
        let client = ClientBuilder::new(HttpConnector::new())
            .capabilities(capabilities(&found.chromium, profile.path()))
            .connect(&format!("http://127.0.0.1:{port}"))
            .await
            .unwrap_or_else(|error| panic!("Chromium does not start: {error}"));
        let session = client
            .session_id()
            .await
            .ok()
            .flatten()
            .expect("a session has an id");
        Driver {
            client,
            child: starting.0.take().expect("still there"),
            port,
            session,
            _said: said,
            _profile: profile,
        }
    }

    /// A command of Chromium's own (the DevTools protocol).
    pub async fn devtools(&self, command: &str, parameters: Value) -> Value {
        let body = json!({ "cmd": command, "params": parameters });
        self.client
            .issue_cmd(Vendor("goog/cdp/execute", body))
            .await
            .unwrap_or_else(|error| panic!("{command}: {error}"))
    }

    /// What was logged since it was last asked: "browser" or "performance".
    pub async fn log(&self, kind: &str) -> Vec<Value> {
        let answer = self
            .client
            .issue_cmd(Vendor("se/log", json!({ "type": kind })))
            .await
            .unwrap_or_else(|error| panic!("the {kind} log: {error}"));
        answer.as_array().cloned().unwrap_or_default()
    }
}

fn capabilities(chromium: &Path, profile: &Path) -> Capabilities {
    let mut args: Vec<String> = FLAGS.map(String::from).to_vec();
    args.push(format!("--user-data-dir={}", profile.display()));
    let wanted = json!({
        "browserName": "chrome",
        "goog:chromeOptions": { "binary": chromium, "args": args },
        "goog:loggingPrefs": { "browser": "ALL", "performance": "ALL" },
        "goog:perfLoggingPrefs": { "enableNetwork": true, "enablePage": false },
        "timeouts": { "script": 60_000, "pageLoad": 30_000, "implicit": 0 },
    });
    match wanted {
        Value::Object(map) => map,
        _ => Capabilities::new(),
    }
}

/// From "ChromeDriver was started successfully on port 43697."
fn port(said: &mut impl BufRead) -> Option<u16> {
    let mut line = String::new();
    while said.read_line(&mut line).ok()? > 0 {
        if let Some((_, rest)) = line.split_once("successfully on port ") {
            return rest.trim().trim_end_matches('.').parse().ok();
        }
        line.clear();
    }
    None
}

/// A chromedriver without a session, ended if none comes about.
struct Starting(Option<Child>);

impl Drop for Starting {
    fn drop(&mut self) {
        if let Some(child) = &mut self.0 {
            let _ = child.kill();
            let _ = child.wait();
        }
    }
}

impl Drop for Driver {
    fn drop(&mut self) {
        // The session first, in plain HTTP since nothing can be awaited here: ending it ends Chromium,
        // which would outlive a chromedriver that is merely killed.
        if let Ok(mut stream) = TcpStream::connect(("127.0.0.1", self.port)) {
            let _ = stream.set_read_timeout(Some(Duration::from_secs(10)));
            let request = format!(
                "DELETE /session/{} HTTP/1.1\r\nHost: 127.0.0.1:{}\r\nConnection: close\r\n\r\n",
                self.session, self.port
            );
            if stream.write_all(request.as_bytes()).is_ok() {
                let _ = stream.read(&mut [0; 1]);
            }
        }
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// A command outside the WebDriver standard, below the session's address.
#[derive(Debug)]
struct Vendor(&'static str, Value);

impl WebDriverCompatibleCommand for Vendor {
    fn endpoint(&self, base: &Url, session: Option<&str>) -> Result<Url, url::ParseError> {
        base.join(&format!("session/{}/{}", session.unwrap_or(""), self.0))
    }

    fn method_and_body(&self, _: &Url) -> (axum::http::Method, Option<String>) {
        (axum::http::Method::POST, Some(self.1.to_string()))
    }
}
