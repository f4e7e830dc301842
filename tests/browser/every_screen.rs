//! Every page, on a narrow phone, a phone and a desk: nothing that axe finds, no page that scrolls
//! sideways, no violated policy, nothing from another machine. Pictures of all of them are kept in
//! `target/screens/every-screen`.

use std::collections::{BTreeMap, HashSet, VecDeque};
use std::sync::Mutex;

use axum::http::Method;
use fieldstow::people::Role;
use serde_json::json;

use crate::support::{Fault, Stage, Width, Window, route_of};

/// Linked pages of the same kind are alike: so many of each are looked at.
const OF_A_KIND: usize = 3;
/// Files, which a browser keeps instead of showing.
const FILES: [&str; 5] = [".csv", ".txt", ".svg", ".jpg", ".pdf"];

#[tokio::test(flavor = "multi_thread")]
async fn every_page_of_a_busy_keeper_is_sound_at_every_width() {
    let Some(stage) = Stage::set("every-screen").await else {
        return;
    };
    let busy = stage.world.busy().await;
    let (mut addresses, lacking) = busy.addresses();
    assert!(lacking.is_empty(), "{}", lacking.join("\n"));

    // The page of the look is nobody's and in no list.
    addresses.push("/patterns".into());

    let crawl = Crawl::of(addresses);
    let windows = (
        stage.window(&busy.keeper, Width::Desk).await,
        stage.window(&busy.keeper, Width::Desk).await,
    );
    tokio::join!(crawl.walk(&windows.0), crawl.walk(&windows.1));

    // What is shown to somebody who is not signed in, and to somebody who is lost.
    windows.0.forget_cookies().await;
    for (nth, address) in busy.strangers_addresses().iter().enumerate() {
        // A picture by itself is no page.
        if is_file(address) {
            continue;
        }
        let name = format!("stranger-{}", nth + 1);
        crawl.look_at(&windows.0, address, &name).await;
    }
    crawl
        .look_at(&windows.1, "/no-such-page", "no-such-page")
        .await;
    crawl.ends();
}

#[tokio::test(flavor = "multi_thread")]
async fn every_page_before_there_is_anything_is_sound_at_every_width() {
    let Some(stage) = Stage::set("every-empty-screen").await else {
        return;
    };
    let team = stage.world.team("Nine Larches").await;
    let ama = stage.world.person("Ama", team, Role::Keeper).await;
    let window = stage.window(&ama, Width::Desk).await;
    let crawl = Crawl::of(vec!["/".into()]);
    crawl.walk(&window).await;
    crawl.ends();
}

/// Whether a browser keeps what is there, or shows it without a page of ours around it.
fn is_file(address: &str) -> bool {
    let path = address.split('?').next().unwrap_or(address);
    path.starts_with("/static/") || FILES.iter().any(|end| path.ends_with(end))
}

/// What is still to be looked at, and what was found.
struct Crawl {
    /// Addresses, and what their pictures are called.
    waiting: Mutex<VecDeque<(String, String)>>,
    known: Mutex<HashSet<String>>,
    kinds: Mutex<BTreeMap<String, usize>>,
    faults: Mutex<Vec<Fault>>,
}

impl Crawl {
    fn of(addresses: Vec<String>) -> Self {
        let crawl = Crawl {
            waiting: Mutex::default(),
            known: Mutex::default(),
            kinds: Mutex::default(),
            faults: Mutex::default(),
        };
        for address in addresses {
            crawl.add(&address);
        }
        crawl
    }

    /// Looks at one page after the other until none is left.
    async fn walk(&self, window: &Window) {
        while let Some((address, name)) = self.next() {
            for link in self.look_at(window, &address, &name).await {
                self.add(&link);
            }
        }
    }

    fn next(&self) -> Option<(String, String)> {
        self.waiting.lock().unwrap().pop_front()
    }

    fn add(&self, address: &str) {
        let address = address.split('#').next().unwrap_or(address);
        if is_file(address) || !self.known.lock().unwrap().insert(address.to_owned()) {
            return;
        }
        let kind = kind_of(address).unwrap_or_else(|| address.to_owned());
        let name = |nth| picture_name(&kind, nth);
        let mut kinds = self.kinds.lock().unwrap();
        let count = kinds.entry(kind.clone()).or_default();
        if *count < OF_A_KIND {
            *count += 1;
            let named = (address.to_owned(), name(*count));
            self.waiting.lock().unwrap().push_back(named);
        }
    }

    /// Looks at a page at every width and answers where it leads.
    async fn look_at(&self, window: &Window, address: &str, name: &str) -> Vec<String> {
        window.open(address).await;
        let status = window.run(STATUS, vec![]).await;
        let expected = if address == "/no-such-page" { 404 } else { 200 };
        if status != json!(expected) {
            let fault = Fault {
                rule: "no-page".into(),
                element: address.into(),
                why: format!("answered with {status}"),
                page: window.path().await,
                width: window.width().pixels(),
            };
            self.faults.lock().unwrap().push(fault);
            // The page that says so is looked at once, at its own address.
            return Vec::new();
        }
        window.run_async(FONTS).await;
        for width in Width::ALL {
            window.set_width(width).await;
            let found = window.faults().await;
            self.faults.lock().unwrap().extend(found);
            window.picture(name).await;
        }
        let links = window.run(LINKS, vec![]).await;
        let links = links.as_array().cloned().unwrap_or_default();
        links
            .iter()
            .filter_map(|link| Some(link.as_str()?.to_owned()))
            .collect()
    }

    fn ends(&self) {
        let faults = self.faults.lock().unwrap();
        let pages = self.known.lock().unwrap().len();
        assert!(
            faults.is_empty(),
            "{} faults on {pages} pages:\n{}",
            faults.len(),
            Fault::list(&faults)
        );
    }
}

const STATUS: &str = "return performance.getEntriesByType('navigation')[0].responseStatus";

const FONTS: &str = "const done = arguments[0]; document.fonts.ready.then(() => done(true));";

/// Links that stay on this server, from their first slash.
const LINKS: &str = r#"
return [...document.querySelectorAll("a[href]")]
  .filter((link) => link.origin === location.origin && !link.hasAttribute("download"))
  .map((link) => link.pathname + link.search);
"#;

/// The route that an address belongs to, with a mark for a query.
fn kind_of(address: &str) -> Option<String> {
    let mark = if address.contains('?') { "?" } else { "" };
    Some(format!("{}{mark}", route_of(&Method::GET, address)?))
}

/// "kits-kit-edit-2" for the second page of the kind "/kits/{kit}/edit".
fn picture_name(kind: &str, nth: usize) -> String {
    let words: Vec<&str> = kind
        .split(|c: char| !c.is_ascii_alphanumeric())
        .filter(|word| !word.is_empty())
        .collect();
    let name = if words.is_empty() {
        "today".to_owned()
    } else {
        words.join("-")
    };
    let query = if kind.ends_with('?') { "-asked" } else { "" };
    format!("{name}{query}-{nth}")
}
