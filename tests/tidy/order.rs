//! Who may use whom: the order in which lib.rs lists the modules.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;

use crate::sources::{files, none, root};

/// Files that use a slice below theirs, each with its reason.
const MAY_LOOK_DOWN: [(&str, &str, &str); 6] = [
    (
        "src/kits/pack.rs",
        "places",
        "a packing slip makes the bags it names",
    ),
    (
        "src/kits/pages/kit.rs",
        "places",
        "a kit's page tells what it is kept in",
    ),
    (
        "src/kits/pages/kit.rs",
        "loans",
        "a kit's page tells who has it",
    ),
    (
        "src/kits/pages/kit.rs",
        "reports",
        "a kit's page tells what its supplier was told",
    ),
    (
        "src/kits/pages/kit.rs",
        "events",
        "a kit's page tells where it goes",
    ),
    (
        "src/kits/pages/slip.rs",
        "places",
        "a packing slip is compared with the bags that are there",
    ),
];

/// The modules of lib.rs in order, with the heading that stands above them.
fn modules() -> Vec<(String, String)> {
    let text = fs::read_to_string(root().join("src/lib.rs")).unwrap();
    let mut heading = String::new();
    let mut all = Vec::new();
    for line in text.lines() {
        if let Some(words) = line.strip_prefix("// ") {
            heading = words.to_owned();
        }
        if let Some(name) = line
            .strip_prefix("pub mod ")
            .and_then(|rest| rest.strip_suffix(';'))
        {
            all.push((name.to_owned(), heading.clone()));
        }
    }
    assert!(
        all.len() > 10,
        "lib.rs lists its modules as `pub mod name;`"
    );
    all
}

/// What stands after each `crate::` of a line: one path, or those in braces.
fn uses(line: &str) -> Vec<String> {
    let in_name = |character: char| character.is_alphanumeric() || character == '_';
    let path = |text: &str| -> String {
        text.chars()
            .take_while(|next| in_name(*next) || *next == ':')
            .collect()
    };
    let mut all = Vec::new();
    for (at, found) in line.match_indices("crate::") {
        if line[..at].ends_with(in_name) {
            continue;
        }
        let rest = &line[at + found.len()..];
        match rest.strip_prefix('{') {
            Some(inside) => all.extend(inside.split([',', '}']).map(|one| path(one.trim()))),
            None => all.push(path(rest)),
        }
    }
    all.retain(|path| !path.is_empty());
    all
}

/// Under a heading, modules may use each other, except for the slices, which use only those above. `App`
/// is the one thing from below that everybody gets.
#[test]
fn modules_use_only_what_is_listed_before_them() {
    let modules = modules();
    let mut headings: Vec<&str> = modules
        .iter()
        .map(|(_, heading)| heading.as_str())
        .collect();
    headings.dedup();
    assert!(
        headings.contains(&"The slices."),
        "lib.rs names the slices under “// The slices.”"
    );
    let rank: BTreeMap<&str, (usize, usize)> = (0..)
        .zip(&modules)
        .map(|(order, (name, heading))| {
            let layer = headings.iter().position(|found| found == heading).unwrap();
            let order = if heading == "The slices." { order } else { 0 };
            (name.as_str(), (layer, order))
        })
        .collect();

    let mut faults = Vec::new();
    let mut looked_at = 0;
    let mut met = BTreeSet::new();
    for source in files("src", "rs") {
        let module = source.module();
        if matches!(module, "lib" | "main") {
            continue;
        }
        let Some(own) = rank.get(module) else {
            faults.push(format!("{}: {module} is not in lib.rs", source.name));
            continue;
        };
        for (number, line) in source.code() {
            for path in uses(line) {
                let mut names = path.split("::");
                let other = names.next().unwrap_or_default();
                let second = names.next().unwrap_or_default();
                let Some(theirs) = rank.get(other) else {
                    continue;
                };
                looked_at += 1;
                let known = MAY_LOOK_DOWN
                    .iter()
                    .position(|(file, below, _)| *file == source.name && *below == other);
                met.extend(known);
                if theirs > own && known.is_none() && (other, second) != ("app", "App") {
                    faults.push(format!(
                        "{}:{number}: {module} uses {other}, which is listed after it",
                        source.name
                    ));
                }
                if other != module && second == "store" {
                    faults.push(format!(
                        "{}:{number}: the store of {other} is its own",
                        source.name
                    ));
                }
            }
        }
    }
    for (index, (file, below, _)) in MAY_LOOK_DOWN.iter().enumerate() {
        if !met.contains(&index) {
            faults.push(format!("{file} does not use {below}: take it off the list"));
        }
    }
    assert!(looked_at > 100, "only {looked_at} uses were found");
    none(
        faults,
        "a slice uses the verbs and reads of those above it in lib.rs:",
    );
}

#[test]
fn the_reader_of_uses_understands_them() {
    assert_eq!(uses("use crate::app::App;"), ["app::App"]);
    assert_eq!(
        uses("use crate::{db, people::Viewer};"),
        ["db", "people::Viewer"]
    );
    assert_eq!(
        uses("let x = crate::kits::find(crate::db::y)"),
        ["kits::find", "db::y"]
    );
    assert!(uses("use super::store; my_crate::x").is_empty());
}
