//! What erodes silently: where SQL may stand, who may use whom, how long a file may be, which words and
//! attributes a page may have. Each rule says what to do about what it finds.

mod order;
mod sources;

use std::fs;

use sources::{files, lines_with, none, root};

/// Lines of code in a file, without blank lines, comments, and the cases at its foot.
const LONGEST: usize = 400;

/// Files that may be longer, each with its reason.
const MAY_BE_LONGER: [(&str, &str); 2] = [
    (
        "src/guides/pages/import.rs",
        "one dialogue, told from upload to the applied list",
    ),
    ("tests/cli.rs", "one wrong start after the other"),
];

/// Words of other trades, or of programs rather than of people: see the list of words in DEVELOPERS.md.
/// Only those that cannot stand innocently in a sentence of a page.
const FORBIDDEN_WORDS: [&str; 18] = [
    "admin",
    "administrator",
    "audit",
    "bom",
    "booking",
    "catalogue",
    "checkout",
    "container",
    "custodian",
    "dashboard",
    "inventory",
    "organisation",
    "reservation",
    "sku",
    "stocktake",
    "stocktaking",
    "variance",
    "warehouse",
];

const TOP_LEVEL: [&str; 10] = [
    "Cargo.lock",
    "Cargo.toml",
    "DEVELOPERS.md",
    "README.md",
    "docker-compose.yml",
    "migrations",
    "src",
    "static",
    "templates",
    "tests",
];

#[test]
fn sql_stands_in_stores_only() {
    let faults = lines_with(
        &[
            "sqlx::query",
            "query!(",
            "query_as!(",
            "query_scalar!(",
            "raw_sql(",
            "QueryBuilder",
        ],
        |source| {
            !source.is_called("store")
                && !source.is_in(&["db.rs", "db/", "receipts.rs", "codes.rs"])
        },
    );
    none(faults, "SQL belongs into the slice's store.rs or store/:");
}

#[test]
fn sql_is_never_put_together() {
    let faults = lines_with(&["AssertSqlSafe", "unsafe "], |source| {
        // Goes through whatever tables there are: the names it puts in come from the schema itself.
        !source.is_in(&["archive/store.rs"])
    });
    none(faults, "bind values as $1, and write each statement out:");
}

#[test]
fn only_the_database_begins_transactions() {
    let faults = lines_with(
        &[".begin().await", ".begin_with(", "begin immediate"],
        |source| {
            // `verify` and `archive` hold on to one state of the book while they read; they write nothing.
            // An archive is read into a database that nobody else knows of yet.
            !source.is_in(&[
                "db.rs",
                "commands/verify.rs",
                "commands/archive.rs",
                "archive/store.rs",
            ])
        },
    );
    none(faults, "write through Db::begin_write:");
}

#[test]
fn pages_know_http_and_nothing_else_does() {
    let faults = lines_with(
        &["axum::", "axum_extra::", "askama::", "askama("],
        |source| {
            !source.is_called("pages")
                && !source.is_in(&[
                    "web/",
                    "app.rs",
                    "error.rs",
                    "people/access.rs",
                    "people/viewer.rs",
                    // The server around the router, what starts it, and the addresses it is told.
                    "serve/",
                    "serve.rs",
                    "commands/",
                    "config/",
                    // The demo's people sign in with a cookie, as everybody does.
                    "demo/fill.rs",
                ])
        },
    );
    none(
        faults,
        "requests and templates belong into pages.rs, pages/ or web/:",
    );
}

#[test]
fn rules_are_pure() {
    let faults = lines_with(
        &[
            "async ",
            ".await",
            "sqlx::query",
            "SqliteConnection",
            "Tx",
            "SystemClock",
            "now_v7",
        ],
        |source| {
            source.is_called("rules")
                || source.is_in(&[
                    "code.rs",
                    "text.rs",
                    "ledger/entry.rs",
                    "ledger/balance.rs",
                    "ledger/chain.rs",
                    "guides/need.rs",
                    "guides/import/",
                ])
        },
    );
    none(
        faults,
        "rules get what they need as values and answer values:",
    );
}

#[test]
fn files_are_short() {
    let mut faults = Vec::new();
    for source in files("src", "rs").iter().chain(&files("tests", "rs")) {
        let lines = source.code().count();
        let allowed = MAY_BE_LONGER.iter().any(|(name, _)| *name == source.name);
        if lines > LONGEST && !allowed {
            faults.push(format!("{}: {lines} lines of code", source.name));
        }
        if lines <= LONGEST && allowed {
            faults.push(format!(
                "{}: need not be listed as longer any more",
                source.name
            ));
        }
    }
    none(
        faults,
        "divide files above 400 lines of code by what they are about:",
    );
}

#[test]
fn every_file_says_what_it_is_for() {
    let faults: Vec<String> = files("src", "rs")
        .iter()
        .chain(&files("tests", "rs"))
        .filter(|source| !source.text.starts_with("//! "))
        .map(|source| source.name.clone())
        .collect();
    none(
        faults,
        "begin the file with `//!` and a sentence about what it is for:",
    );
}

/// The policy sent with every page forbids what stands in attributes, so it would silently do nothing.
#[test]
fn templates_hold_no_style_and_no_script() {
    let mut faults = Vec::new();
    for source in files("templates", "html") {
        for (number, line) in (1..).zip(source.text.lines()) {
            let lower = line.to_lowercase();
            let handler = lower.split([' ', '\t']).any(|word| {
                word.split_once('=').is_some_and(|(name, _)| {
                    name.len() > 3
                        && name.starts_with("on")
                        && name.bytes().all(|byte| byte.is_ascii_lowercase())
                })
            });
            let script = lower.contains("<script") && !lower.contains("src=");
            let squeezed: String = lower.split_whitespace().collect();
            if handler
                || script
                || lower.contains(" style=")
                || lower.contains("<style")
                || lower.contains("javascript:")
                || squeezed.contains("|safe")
            {
                faults.push(format!("{}:{number}: {}", source.name, line.trim()));
            }
        }
    }
    none(
        faults,
        "styles belong into static/*.css, scripts into static/*.js, and text stays escaped:",
    );
}

#[test]
fn pages_use_our_words() {
    let mut faults = Vec::new();
    for source in files("templates", "html")
        .iter()
        .chain(&files("static", "js"))
    {
        for (number, line) in (1..).zip(source.text.lines()) {
            for word in line.split(|next: char| !next.is_alphanumeric()) {
                let lower = word.to_lowercase();
                let singular = lower.strip_suffix('s').unwrap_or(&lower);
                if FORBIDDEN_WORDS.contains(&lower.as_str()) || FORBIDDEN_WORDS.contains(&singular)
                {
                    faults.push(format!(
                        "{}:{number}: “{word}” in {}",
                        source.name,
                        line.trim()
                    ));
                }
            }
        }
    }
    none(
        faults,
        "see the words in DEVELOPERS.md, and say it as a kit keeper would:",
    );
}

#[test]
fn the_top_level_is_fixed() {
    let faults: Vec<String> = fs::read_dir(root())
        .unwrap()
        .map(|entry| entry.unwrap().file_name().to_string_lossy().into_owned())
        .filter(|name| !name.starts_with('.') && name != "target")
        .filter(|name| !TOP_LEVEL.contains(&name.as_str()))
        .collect();
    none(
        faults,
        "nothing new stands at the top; find its place in one of the folders:",
    );
}
