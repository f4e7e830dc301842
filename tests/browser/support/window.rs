//! A Chromium window as a person uses it.

use std::fmt;
use std::fs;
use std::path::PathBuf;
use std::sync::Mutex;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

use fantoccini::actions::{InputSource, PointerAction, TouchActions};
use fantoccini::elements::Element;
use fantoccini::error::CmdError;
use fantoccini::key::Key;
use serde_json::{Value, json};
use tokio::time::sleep;

use super::driver::Driver;
use super::words;

const PATIENCE: Duration = Duration::from_secs(10);
const ELEMENT: &str = "element-6066-11e4-a52e-4f735466cecf";

/// What the page is shown on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Width {
    /// The narrowest that pages must fit without scrolling sideways (WCAG 2.2, 1.4.10).
    Narrow,
    Phone,
    Desk,
}

impl Width {
    pub const ALL: [Width; 3] = [Width::Narrow, Width::Phone, Width::Desk];

    pub fn pixels(self) -> u32 {
        match self {
            Width::Narrow => 320,
            Width::Phone => 390,
            Width::Desk => 1280,
        }
    }

    fn height(self) -> u32 {
        match self {
            Width::Narrow => 568,
            Width::Phone => 844,
            Width::Desk => 900,
        }
    }

    fn has_touch(self) -> bool {
        self != Width::Desk
    }
}

impl fmt::Display for Width {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}", self.pixels())
    }
}

pub struct Window {
    pub(super) driver: Driver,
    pub(super) url: String,
    test: &'static str,
    width: Mutex<Width>,
    without_script: AtomicBool,
}

impl Window {
    pub(super) async fn new(driver: Driver, url: String, test: &'static str, width: Width) -> Self {
        let window = Window {
            driver,
            url,
            test,
            width: Mutex::new(width),
            without_script: AtomicBool::new(false),
        };
        window.set_width(width).await;
        window
    }

    pub(super) async fn keep_cookie(&self, name: &str, value: &str) {
        let cookie = json!({
            "name": name, "value": value, "url": self.url, "httpOnly": true, "sameSite": "Lax",
        });
        self.driver.devtools("Network.setCookie", cookie).await;
    }

    /// Signs out by losing every cookie.
    pub async fn forget_cookies(&self) {
        let nothing = json!({});
        self.driver
            .devtools("Network.clearBrowserCookies", nothing)
            .await;
    }

    pub async fn switch_script_off(&self) {
        self.without_script.store(true, Ordering::Relaxed);
        let off = json!({ "value": true });
        self.driver
            .devtools("Emulation.setScriptExecutionDisabled", off)
            .await;
    }

    /// Whether JavaScript is switched on.
    pub fn has_script(&self) -> bool {
        !self.without_script.load(Ordering::Relaxed)
    }

    /// Turns the window into another device; the page stays as it is.
    pub async fn set_width(&self, width: Width) {
        *self.width.lock().expect("nothing panics in here") = width;
        self.measure(width.height()).await;
        let touch = json!({ "enabled": width.has_touch(), "maxTouchPoints": 1 });
        self.driver
            .devtools("Emulation.setTouchEmulationEnabled", touch)
            .await;
    }

    pub fn width(&self) -> Width {
        *self.width.lock().expect("nothing panics in here")
    }

    async fn measure(&self, height: u32) {
        let width = self.width();
        let metrics = json!({
            "width": width.pixels(), "height": height, "deviceScaleFactor": 1,
            "mobile": width.has_touch(),
        });
        self.driver
            .devtools("Emulation.setDeviceMetricsOverride", metrics)
            .await;
    }

    /// Opens an address of the server: `/seasons`.
    pub async fn open(&self, path: &str) {
        let url = format!("{}{path}", self.url);
        self.driver
            .client
            .goto(&url)
            .await
            .unwrap_or_else(|error| panic!("{path} does not open: {error}"));
    }

    /// Loads the page anew.
    pub async fn reload(&self) {
        let done = self.driver.client.refresh().await;
        done.unwrap_or_else(|error| panic!("the page does not load again: {error}"));
    }

    /// Goes one page back.
    pub async fn back(&self) {
        let done = self.driver.client.back().await;
        done.unwrap_or_else(|error| panic!("there is no way back: {error}"));
    }

    /// The address of the page, from its first slash.
    pub async fn path(&self) -> String {
        let url = self.driver.client.current_url().await;
        let url = url.expect("a page has an address").to_string();
        url.strip_prefix(&self.url).unwrap_or(&url).to_owned()
    }

    /// The title, as the tab shows it.
    pub async fn title(&self) -> String {
        self.driver.client.title().await.expect("pages have titles")
    }

    /// Follows the link with these words.
    pub async fn follow(&self, link: &str) {
        self.click(words::FIND, json!(["link", link, null])).await;
    }

    /// Follows the link with these words that is nearest to others.
    pub async fn follow_near(&self, near: &str, link: &str) {
        self.click(words::FIND, json!(["link", link, near])).await;
    }

    /// Presses the button with these words.
    pub async fn press(&self, button: &str) {
        self.click(words::FIND, json!(["button", button, null]))
            .await;
    }

    /// Presses the one of several equal buttons that is nearest to these words: those of its row.
    pub async fn press_near(&self, near: &str, button: &str) {
        self.click(words::FIND, json!(["button", button, near]))
            .await;
    }

    /// Presses a button with a finger.
    pub async fn tap(&self, button: &str) {
        self.touch(json!(["button", button, null])).await;
    }

    /// Taps the one of several equal buttons that is nearest to these words.
    pub async fn tap_near(&self, near: &str, button: &str) {
        self.touch(json!(["button", button, near])).await;
    }

    /// Taps a button that stays where it is so many times, as fast as a finger can.
    pub async fn tap_often(&self, button: &str, times: usize) {
        let arguments = json!(["button", button, null]);
        let element = self.found(words::FIND, arguments).await;
        self.scroll_to(&element).await;
        let mut finger = TouchActions::new("finger".into()).then(PointerAction::MoveToElement {
            element,
            duration: None,
            x: 0.0,
            y: 0.0,
        });
        for _ in 0..times {
            finger = finger
                .then(PointerAction::Down { button: 0 })
                .then(PointerAction::Up { button: 0 });
        }
        let done = self.driver.client.perform_actions(finger).await;
        self.done(&format!("{times} taps on “{button}”"), done);
    }

    /// Puts a finger on a button and leaves it there.
    pub async fn finger_down(&self, button: &str) {
        let element = self
            .found(words::FIND, json!(["button", button, null]))
            .await;
        self.scroll_to(&element).await;
        let finger = TouchActions::new("finger".into())
            .then(PointerAction::MoveToElement {
                element,
                duration: None,
                x: 0.0,
                y: 0.0,
            })
            .then(PointerAction::Down { button: 0 });
        let done = self.driver.client.perform_actions(finger).await;
        self.done(&format!("a finger on “{button}”"), done);
    }

    /// The finger that was put down goes to the top of the page and leaves it there.
    pub async fn finger_slides_off(&self) {
        let finger = TouchActions::new("finger".into())
            .then(PointerAction::MoveTo {
                duration: None,
                x: 20.0,
                y: 20.0,
            })
            .then(PointerAction::Up { button: 0 });
        let done = self.driver.client.perform_actions(finger).await;
        self.done("a finger that slides off", done);
    }

    /// Types into the field with this label, instead of what it holds.
    pub async fn fill(&self, label: &str, value: &str) {
        let field = self.found(words::FIELD, json!([label])).await;
        let kind = field.prop("type").await.ok().flatten().unwrap_or_default();
        match kind.as_str() {
            "date" | "time" | "datetime-local" | "month" => {
                let field = serde_json::to_value(&field).expect("an element");
                self.run(words::SET_VALUE, vec![field, json!(value)]).await;
            }
            "file" => self.done("choosing a file", field.send_keys(value).await),
            _ => {
                self.done(label, field.clear().await);
                self.done(label, field.send_keys(value).await);
            }
        }
    }

    /// Chooses from the list with this label, or from the group with this legend.
    pub async fn choose(&self, label: &str, option: &str) {
        let from = Instant::now();
        loop {
            if let Some(list) = self.look(words::FIELD, json!([label])).await {
                self.done(label, list.select_by_label(option).await);
                return;
            }
            if let Some(knob) = self.look(words::IN_GROUP, json!([label, option])).await {
                self.scroll_to(&knob).await;
                self.done(label, knob.click().await);
                return;
            }
            self.wait_on(from, &format!("a choice of “{option}” at “{label}”"))
                .await;
        }
    }

    /// Presses the label of a box, whether that ticks it or takes the tick away.
    pub async fn tick(&self, label: &str) {
        self.click(words::FIND, json!(["label", label, null])).await;
    }

    /// Presses a key where the focus is.
    pub async fn key(&self, key: Key) {
        self.types(&key.to_string()).await;
    }

    /// Types where the focus is.
    pub async fn types(&self, text: &str) {
        let at = self.driver.client.active_element().await;
        let at = at.unwrap_or_else(|error| panic!("nothing has the focus: {error}"));
        self.done("the keyboard", at.send_keys(text).await);
    }

    /// What the field with this label holds.
    pub async fn value(&self, label: &str) -> String {
        let field = self.found(words::FIELD, json!([label])).await;
        field.prop("value").await.ok().flatten().unwrap_or_default()
    }

    /// The words of the element that has the focus: its label, or its text.
    pub async fn focused(&self) -> String {
        let script = "const e = document.activeElement; \
            return (e.labels?.[0] ?? e).textContent.replace(/\\s+/g, ' ').trim();";
        let words = self.run(script, vec![]).await;
        words.as_str().unwrap_or_default().to_owned()
    }

    /// Everything on the page that can be read, with single spaces.
    pub async fn words(&self) -> String {
        let read = self.run(words::READ, vec![]).await;
        read[0].as_str().unwrap_or_default().to_owned()
    }

    /// Waits until the page says this.
    pub async fn sees(&self, text: &str) {
        let from = Instant::now();
        while !self.says(text).await {
            self.wait_on(from, &format!("“{text}”")).await;
        }
    }

    /// Waits until the page no longer says this.
    pub async fn sees_no_more(&self, text: &str) {
        let from = Instant::now();
        while self.says(text).await {
            self.wait_on(from, &format!("“{text}” to go")).await;
        }
    }

    /// Waits until a script answers with this. For what a person cannot read, or only as a whole.
    pub async fn until(&self, script: &str, answer: Value) {
        let from = Instant::now();
        loop {
            let now = self.driver.client.execute(script, vec![]).await.ok();
            if now.as_ref() == Some(&answer) {
                return;
            }
            self.wait_on(from, &format!("{answer} (but {now:?}) by “{script}”"))
                .await;
        }
    }

    /// Whether the page says this now.
    pub async fn says(&self, text: &str) -> bool {
        // In the middle of a change of pages there is nothing to read.
        let read = self.driver.client.execute(words::READ, vec![]).await;
        read.ok().is_some_and(|read| {
            [&read[0], &read[1]]
                .iter()
                .any(|way| way.as_str().is_some_and(|way| way.contains(text)))
        })
    }

    /// The page as it comes out of a printer: the bytes of a PDF.
    pub async fn print(&self) -> Vec<u8> {
        let sheet = fantoccini::wd::PrintConfiguration::default();
        let printed = self.driver.client.print(sheet).await;
        printed.expect("pages can be printed")
    }

    /// Keeps a picture of the whole page in `target/screens`.
    pub async fn picture(&self, name: &str) -> PathBuf {
        let script = "return document.documentElement.scrollHeight";
        let tall = self.run(script, vec![]).await.as_u64().unwrap_or(0);
        let usual = self.width().height();
        let tall = u32::try_from(tall).unwrap_or(usual).clamp(usual, 8000);
        self.measure(tall).await;
        let png = self.driver.client.screenshot().await;
        self.measure(usual).await;

        let folder = pictures(self.test);
        fs::create_dir_all(&folder).expect("a folder for the pictures");
        let file = folder.join(format!("{name}-{}.png", self.width()));
        fs::write(&file, png.expect("a picture")).expect("the picture is kept");
        file
    }

    /// Runs a script in the page and answers what it returns. For what a person cannot see.
    pub async fn run(&self, script: &str, arguments: Vec<Value>) -> Value {
        let answer = self.driver.client.execute(script, arguments).await;
        answer.unwrap_or_else(|error| panic!("the script fails: {error}\n{script}"))
    }

    /// The same for a script that calls its last argument when it is done.
    pub async fn run_async(&self, script: &str) -> Value {
        let answer = self.driver.client.execute_async(script, vec![]).await;
        answer.unwrap_or_else(|error| panic!("the script fails: {error}\n{script}"))
    }

    async fn click(&self, script: &str, arguments: Value) {
        let from = Instant::now();
        loop {
            let element = self.found(script, arguments.clone()).await;
            self.scroll_to(&element).await;
            match element.click().await {
                Ok(()) => return,
                // The page was just drawn anew, or something slides over it.
                Err(error) if will_pass(&error) => {
                    self.wait_on(from, &format!("a press of {arguments} ({error})"))
                        .await;
                }
                Err(error) => panic!("{arguments} cannot be pressed: {error}"),
            }
        }
    }

    async fn touch(&self, arguments: Value) {
        let element = self.found(words::FIND, arguments.clone()).await;
        self.scroll_to(&element).await;
        let finger = TouchActions::new("finger".into())
            .then(PointerAction::MoveToElement {
                element,
                duration: None,
                x: 0.0,
                y: 0.0,
            })
            .then(PointerAction::Down { button: 0 })
            .then(PointerAction::Up { button: 0 });
        let done = self.driver.client.perform_actions(finger).await;
        self.done(&format!("a tap on {arguments}"), done);
    }

    /// As a person scrolls: to the middle, away from what stays at the edges.
    async fn scroll_to(&self, element: &Element) {
        let element = serde_json::to_value(element).expect("an element");
        let script = "arguments[0].scrollIntoView({ block: 'center', behavior: 'instant' })";
        // An element that is gone meanwhile is found out by what comes next.
        let _ = self.driver.client.execute(script, vec![element]).await;
    }

    /// Waits for the element that a script finds.
    async fn found(&self, script: &str, arguments: Value) -> Element {
        let from = Instant::now();
        loop {
            if let Some(element) = self.look(script, arguments.clone()).await {
                return element;
            }
            self.wait_on(from, &arguments.to_string()).await;
        }
    }

    /// The element that a script finds now.
    async fn look(&self, script: &str, arguments: Value) -> Option<Element> {
        let list = arguments.as_array().cloned().unwrap_or_default();
        let answer = self.driver.client.execute(script, list).await.ok()?;
        if let Some(trouble) = answer.as_str() {
            panic!("{trouble} ({arguments} on {})", self.path().await);
        }
        let id = answer.get(ELEMENT)?.as_str()?.to_owned();
        Some(Element::from_element_id(
            self.driver.client.clone(),
            id.into(),
        ))
    }

    /// A moment's rest, or the end of patience with what the page says instead.
    pub(super) async fn wait_on(&self, from: Instant, what: &str) {
        if from.elapsed() < PATIENCE {
            return sleep(Duration::from_millis(30)).await;
        }
        let picture = self.picture("failed").await;
        panic!(
            "{what} is not on {} at {} px; picture: {}\n{}",
            self.path().await,
            self.width(),
            picture.display(),
            self.words().await
        );
    }

    fn done(&self, what: &str, result: Result<(), CmdError>) {
        result.unwrap_or_else(|error| panic!("{what}: {error}"));
    }
}

fn will_pass(error: &CmdError) -> bool {
    error.is_stale_element_reference()
        || error.to_string().contains("click intercepted")
        || error.is_element_not_interactable()
}

/// The folder of everything that is built.
pub fn target() -> PathBuf {
    let mut folder = PathBuf::from(env!("CARGO_TARGET_TMPDIR"));
    folder.pop();
    folder
}

/// Where the pictures of a test are kept.
pub fn pictures(test: &str) -> PathBuf {
    target().join("screens").join(test)
}
