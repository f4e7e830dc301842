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

/// How often a start is tried.
const STARTS: usize = 5;

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
    /// Starts both. Tried again when it fails: chromedriver takes a free port for one address family
    /// and then wants the same port in the other, which another program may have in the meantime.
    pub async fn start(found: &Found) -> Self {
        let mut why = Vec::new();
        for _ in 0..STARTS {
            match Self::start_once(found).await {
                Ok(driver) => return driver,
                Err(error) => why.push(error),
            }
        }
        panic!("no browser after {STARTS} starts: {why:#?}");
    }

    async fn start_once(found: &Found) -> Result<Self, String> {
        let profile = tempfile::tempdir().map_err(|error| error.to_string())?;
        let child = Command::new(&found.chromedriver)
            .arg("--port=0")
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .map_err(|error| format!("chromedriver does not start: {error}"))?;
        let mut starting = Starting(Some(child));
        let mut said = BufReader::new(starting.stdout());
        let port = port(&mut said)?;
        let client = ClientBuilder::new(HttpConnector::new())
            .capabilities(capabilities(&found.chromium, profile.path()))
            .connect(&format!("http://127.0.0.1:{port}"))
            .await
            .map_err(|error| format!("Chromium does not start: {error}"))?;
        let session = client
            .session_id()
            .await
            .map_err(|error| error.to_string())?
            .ok_or("the session has no id")?;
        Ok(Driver {
            client,
            child: starting.done(),
            port,
            session,
            _said: said,
            _profile: profile,
        })
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
        // The first page of a browser that was never started before takes long on a busy machine.
        "timeouts": { "script": 120_000, "pageLoad": 120_000, "implicit": 0 },
    });
    match wanted {
        Value::Object(map) => map,
        _ => Capabilities::new(),
    }
}

/// From "ChromeDriver was started successfully on port 43697."; `Err` is what it said instead.
fn port(said: &mut impl BufRead) -> Result<u16, String> {
    let mut all = String::new();
    loop {
        let before = all.len();
        let read = said
            .read_line(&mut all)
            .map_err(|error| error.to_string())?;
        if let Some((_, rest)) = all[before..].split_once("successfully on port ") {
            return rest
                .trim()
                .trim_end_matches('.')
                .parse()
                .map_err(|error| format!("{error} in {all}"));
        }
        if read == 0 {
            return Err(format!("chromedriver ended and said: {all}"));
        }
    }
}

/// A chromedriver without a session, ended if none comes about.
struct Starting(Option<Child>);

impl Starting {
    fn stdout(&mut self) -> ChildStdout {
        let child = self.0.as_mut().expect("it was only just started");
        child.stdout.take().expect("its output is ours")
    }

    fn done(mut self) -> Child {
        self.0.take().expect("nobody else takes it")
    }
}

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
