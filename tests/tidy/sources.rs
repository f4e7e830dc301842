//! Reading the repository's own files.

use std::fs;
use std::path::{Path, PathBuf};

pub struct Source {
    /// From the root, with slashes: `src/kits/store.rs`.
    pub name: String,
    pub text: String,
}

pub fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

pub fn files(folder: &str, extension: &str) -> Vec<Source> {
    fn walk(folder: &Path, all: &mut Vec<PathBuf>) {
        for entry in fs::read_dir(folder).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                walk(&path, all);
            } else {
                all.push(path);
            }
        }
    }
    let mut paths = Vec::new();
    walk(&root().join(folder), &mut paths);
    paths.sort();
    let found: Vec<Source> = paths
        .into_iter()
        .filter(|path| path.extension().is_some_and(|found| found == extension))
        .map(|path| Source {
            name: path
                .strip_prefix(root())
                .unwrap()
                .to_string_lossy()
                .replace('\\', "/"),
            text: fs::read_to_string(&path).unwrap(),
        })
        .collect();
    assert!(!found.is_empty(), "no .{extension} files in {folder}");
    found
}

impl Source {
    /// Each line of code with its number, without comments and without the tests at the foot of the file.
    pub fn code(&self) -> impl Iterator<Item = (usize, &str)> {
        let own = self
            .text
            .split("#[cfg(test)]\nmod ")
            .next()
            .unwrap_or_default();
        (1..)
            .zip(own.lines())
            .filter(|(_, line)| !line.trim().is_empty() && !line.trim_start().starts_with("//"))
    }

    /// Whether it is this file, or in this folder.
    pub fn is_in(&self, places: &[&str]) -> bool {
        places.iter().any(|place| match place.strip_suffix('/') {
            Some(folder) => self.name.starts_with(&format!("src/{folder}/")),
            None => self.name == format!("src/{place}"),
        })
    }

    /// `pages.rs` or a file in `pages/`, and so on.
    pub fn is_called(&self, part: &str) -> bool {
        self.name.ends_with(&format!("/{part}.rs")) || self.name.contains(&format!("/{part}/"))
    }

    pub fn module(&self) -> &str {
        let rest = self.name.trim_start_matches("src/");
        rest.split('/')
            .next()
            .unwrap_or(rest)
            .trim_end_matches(".rs")
    }
}

#[track_caller]
pub fn none(faults: Vec<String>, advice: &str) {
    assert!(faults.is_empty(), "{advice}\n  {}\n", faults.join("\n  "));
}

/// Every line of code of the files that `may_not` names and in which one of `words` stands.
pub fn lines_with(words: &[&str], may_not: impl Fn(&Source) -> bool) -> Vec<String> {
    let mut faults = Vec::new();
    for source in files("src", "rs").iter().filter(|source| may_not(source)) {
        for (number, line) in source.code() {
            if words.iter().any(|word| line.contains(word)) {
                faults.push(format!("{}:{number}: {}", source.name, line.trim()));
            }
        }
    }
    faults
}
