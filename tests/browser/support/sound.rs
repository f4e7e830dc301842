//! What must be true of every page in every window.

use std::time::Instant;

use serde_json::Value;

use super::Fault;
use super::window::Window;

/// Everything that sticks out of the page to the right, the outermost elements only.
const SIDEWAYS: &str = r#"
const page = document.scrollingElement;
if (page.scrollWidth <= page.clientWidth) return null;
const out = (e) => e.getBoundingClientRect().right > page.clientWidth + 0.5;
const name = (e) => e.tagName.toLowerCase() + [...e.classList].map((c) => "." + c).join("");
const widest = [...document.body.querySelectorAll("*")].filter((e) => out(e) && !out(e.parentElement));
return [page.scrollWidth, page.clientWidth, widest.slice(0, 3).map(name).join(", ")];
"#;

impl Window {
    /// Fails the test, with a list, unless the page is sound at its present width.
    pub async fn is_sound(&self) {
        let faults = self.faults().await;
        if !faults.is_empty() {
            let picture = self.picture("unsound").await;
            panic!(
                "the page is not sound, picture: {}\n{}",
                picture.display(),
                Fault::list(&faults)
            );
        }
    }

    /// What is wrong with the page at its present width, and what was reported since last asked.
    pub async fn faults(&self) -> Vec<Fault> {
        let mut faults = self.axe().await;
        faults.extend(self.sideways().await);
        faults.extend(self.reported().await);
        faults
    }

    /// The same, once there is one by this rule among them.
    pub async fn faults_until(&self, rule: &str) -> Vec<Fault> {
        let from = Instant::now();
        let mut faults = self.faults().await;
        while !faults.iter().any(|fault| fault.rule == rule) {
            self.wait_on(from, &format!("a fault by the rule {rule}"))
                .await;
            faults.extend(self.reported().await);
        }
        faults
    }

    /// Whether the page as a whole scrolls to the right.
    async fn sideways(&self) -> Option<Fault> {
        let wide = self.run(SIDEWAYS, vec![]).await;
        if wide.is_null() {
            return None;
        }
        let why = format!("the page is {} px wide in {}", wide[0], wide[1]);
        let element = wide[2].as_str().unwrap_or_default();
        Some(self.fault("sideways-scroll", element, why).await)
    }

    /// Violated policies, scripts that failed, files that are missing, and other machines that were asked.
    async fn reported(&self) -> Vec<Fault> {
        let mut faults = Vec::new();
        for entry in self.driver.log("browser").await {
            let text = entry["message"].as_str().unwrap_or_default();
            let against_policy =
                text.contains("Content Security Policy") || text.contains("Trusted");
            // Failed requests are looked at below; an answer that refuses a form is not a fault.
            let failed = entry["level"] == "SEVERE" && entry["source"] != "network";
            if against_policy || failed {
                faults.push(self.fault("reported", "console", text.to_owned()).await);
            }
        }
        for entry in self.driver.log("performance").await {
            let message: Value =
                serde_json::from_str(entry["message"].as_str().unwrap_or_default())
                    .unwrap_or_default();
            let message = &message["message"];
            let why = match message["method"].as_str() {
                Some("Network.requestWillBeSent") => {
                    elsewhere(&self.url, &message["params"]["request"]["url"])
                }
                Some("Network.responseReceived") => missing(&message["params"]),
                _ => None,
            };
            if let Some(why) = why {
                faults.push(self.fault("request", "network", why).await);
            }
        }
        faults
    }

    async fn fault(&self, rule: &str, element: &str, why: String) -> Fault {
        Fault {
            rule: rule.into(),
            element: element.into(),
            why,
            page: self.path().await,
            width: self.width().pixels(),
        }
    }
}

/// A request to anything but our own server.
fn elsewhere(own: &str, url: &Value) -> Option<String> {
    let url = url.as_str().unwrap_or_default();
    let inside = ["data:", "blob:", "about:", "chrome:"];
    let own = url
        .strip_prefix(own)
        .is_some_and(|rest| rest.is_empty() || rest.starts_with(['/', '?', '#']));
    (!own && !inside.iter().any(|scheme| url.starts_with(scheme)))
        .then(|| format!("asked another machine: {url}"))
}

/// A style, script, font or picture that the page wants and does not get.
fn missing(parameters: &Value) -> Option<String> {
    let kind = parameters["type"].as_str().unwrap_or_default();
    let status = parameters["response"]["status"].as_u64().unwrap_or(0);
    let wanted = !matches!(kind, "Document" | "Fetch" | "XHR");
    (wanted && status >= 400).then(|| format!("{status} for {}", parameters["response"]["url"]))
}

#[test]
fn only_our_own_server_may_be_asked() {
    let own = "http://localhost:4100";
    for (url, is_elsewhere) in [
        ("http://localhost:4100/", false),
        ("http://localhost:4100", false),
        ("http://localhost:4100/static/site.css?v=1", false),
        ("data:image/png;base64,AA", false),
        ("blob:http://localhost:4100/1", false),
        ("http://localhost:41001/", true),
        ("http://localhost:4100.example/", true),
        ("https://fonts.example/a.woff2", true),
        ("ws://localhost:4100/", true),
    ] {
        assert_eq!(elsewhere(own, &url.into()).is_some(), is_elsewhere, "{url}");
    }
}
