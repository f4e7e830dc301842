//! Runs axe-core on the page that is open. It is fetched by `.ci/run`, not kept in the repository
//! (Mozilla Public License 2.0).

use std::collections::BTreeMap;
use std::path::PathBuf;
use std::sync::OnceLock;
use std::{env, fs};

use serde_json::{Value, json};

use super::stage::not_run;
use super::window::{Window, target};

/// The rules of WCAG 2.2, levels A and AA, and common practice. Level AAA's contrast of 7 to 1 is asked
/// for by name.
const RUN: &str = r#"
const done = arguments[arguments.length - 1];
axe.run(document, {
  runOnly: {
    type: "tag",
    values: ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"],
  },
  rules: { "color-contrast-enhanced": { enabled: true } },
  preload: false,
}).then((results) => {
  const ids = (list) => list.map((rule) => rule.id);
  done({
    ran: [...ids(results.violations), ...ids(results.passes), ...ids(results.incomplete),
      ...ids(results.inapplicable)],
    violations: results.violations.flatMap((rule) => rule.nodes.map((node) => ({
      rule: rule.id,
      where: node.target.join(" "),
      why: (node.any[0] ?? node.all[0] ?? node.none[0])?.message ?? rule.help,
    }))),
  });
}, (error) => done({ failed: String(error) }));
"#;

/// Off unless asked for; if they did not run, the check is not what it says.
const MUST_RUN: [&str; 2] = ["target-size", "color-contrast-enhanced"];

/// One thing that is wrong with one page at one width.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct Fault {
    pub rule: String,
    pub element: String,
    pub why: String,
    pub page: String,
    pub width: u32,
}

impl Fault {
    /// Many faults as few lines: each rule and element once, with the pages and widths it is at.
    pub fn list(faults: &[Fault]) -> String {
        let mut by_what: BTreeMap<_, BTreeMap<&str, Vec<u32>>> = BTreeMap::new();
        for fault in faults {
            by_what
                .entry((&fault.rule, &fault.element, &fault.why))
                .or_default()
                .entry(&fault.page)
                .or_default()
                .push(fault.width);
        }
        let mut lines = String::new();
        for ((rule, element, why), pages) in by_what {
            lines += &format!("{rule}: {element}\n    {why}\n");
            for (page, widths) in pages {
                let widths: Vec<String> = widths.iter().map(u32::to_string).collect();
                lines += &format!("    on {page} at {}\n", widths.join(", "));
            }
        }
        lines
    }
}

/// axe-core's source, where it is there.
fn source() -> Option<&'static str> {
    static SOURCE: OnceLock<Option<String>> = OnceLock::new();
    SOURCE
        .get_or_init(|| {
            let file = env::var_os("FIELDSTOW_AXE")
                .map_or_else(|| target().join("axe/axe.min.js"), PathBuf::from);
            let source = fs::read_to_string(&file).ok();
            if source.is_none() {
                let missing = format!("no axe-core at {}", file.display());
                not_run("accessibility", &missing);
            }
            source
        })
        .as_deref()
}

/// Whether axe-core is there; where it is not, that was said loudly.
pub fn has_axe() -> bool {
    source().is_some()
}

impl Window {
    /// What axe finds on the page at its present width. It is a script: where those are switched off
    /// it finds nothing, so look at the page in another window too.
    pub async fn axe(&self) -> Vec<Fault> {
        if !self.has_script() {
            return Vec::new();
        }
        let Some(source) = source() else {
            return Vec::new();
        };
        let client = &self.driver.client;
        if self.run("return !window.axe", vec![]).await == json!(true) {
            self.run(source, vec![]).await;
        }
        let found = client
            .execute_async(RUN, vec![])
            .await
            .unwrap_or_else(|error| panic!("axe does not answer: {error}"));
        let page = self.path().await;
        assert!(
            found["failed"].is_null(),
            "axe on {page}: {}",
            found["failed"]
        );
        for rule in MUST_RUN {
            let ran = found["ran"]
                .as_array()
                .is_some_and(|ran| ran.contains(&json!(rule)));
            assert!(ran, "axe did not run {rule} on {page}");
        }
        let text = |value: &Value| value.as_str().unwrap_or_default().to_owned();
        let violations = found["violations"].as_array().cloned().unwrap_or_default();
        violations
            .iter()
            .map(|violation| Fault {
                rule: text(&violation["rule"]),
                element: text(&violation["where"]),
                why: text(&violation["why"]),
                page: page.clone(),
                width: self.width().pixels(),
            })
            .collect()
    }
}
