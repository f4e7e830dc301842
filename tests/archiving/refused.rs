//! Archives that were damaged, changed, or never were any.

use std::collections::BTreeMap;
use std::fs;
use std::io::{Cursor, Write};

use fieldstow::db::{Db, FILE_NAME};
use sha2::{Digest, Sha256};
use zip::ZipWriter;
use zip::write::SimpleFileOptions;

use super::{files_of, program, text, told};

/// The archive with some files changed, and contents that agree with them.
fn changed(change: impl FnOnce(&mut BTreeMap<String, Vec<u8>>)) -> Vec<u8> {
    let mut files = files_of(&fs::read(&told().archive).unwrap());
    change(&mut files);
    let contents = files.remove("contents.json").unwrap();
    let mut contents: serde_json::Value = serde_json::from_slice(&contents).unwrap();
    contents["files"] = files
        .iter()
        .map(|(name, bytes)| {
            let hash: String = Sha256::digest(bytes)
                .iter()
                .map(|byte| format!("{byte:02x}"))
                .collect();
            (name.clone(), hash.into())
        })
        .collect::<serde_json::Map<_, _>>()
        .into();
    files.insert("contents.json".into(), contents.to_string().into_bytes());
    let mut zip = ZipWriter::new(Cursor::new(Vec::new()));
    for (name, bytes) in files {
        zip.start_file(name, SimpleFileOptions::default()).unwrap();
        zip.write_all(&bytes).unwrap();
    }
    zip.finish().unwrap().into_inner()
}

/// Where the packed bytes of a file begin, and how many they are.
fn packed(archive: &[u8], name: &str) -> (usize, usize) {
    let mut zip = zip::ZipArchive::new(Cursor::new(archive)).unwrap();
    let file = zip.by_name(name).unwrap();
    let start = file.data_start().expect("a file has a beginning");
    (
        usize::try_from(start).unwrap(),
        usize::try_from(file.compressed_size()).unwrap(),
    )
}

/// Tries to read it into an empty folder, which stays empty.
#[track_caller]
fn refused(archive: &[u8], words: &str) {
    let parent = tempfile::tempdir().unwrap();
    let file = parent.path().join("archive.zip");
    fs::write(&file, archive).unwrap();
    let folder = parent.path().join("data");
    let output = program(&["read-archive", text(&file), "--data", text(&folder)]);
    let said = String::from_utf8_lossy(&output.stderr);
    assert_eq!(output.status.code(), Some(1), "{said}");
    assert!(said.contains(words), "{words:?} is not in {said:?}");
    assert_eq!(said.lines().count(), 1, "{said}");
    for left in fs::read_dir(&folder).into_iter().flatten() {
        let name = left.unwrap().file_name().into_string().unwrap();
        assert!(
            !name.contains("unchecked") && name != FILE_NAME,
            "{name} is left"
        );
    }
}

fn edit(files: &mut BTreeMap<String, Vec<u8>>, name: &str, change: impl FnOnce(String) -> String) {
    let text = String::from_utf8(files.remove(name).unwrap()).unwrap();
    let after = change(text.clone());
    assert_ne!(text, after, "{name}");
    files.insert(name.into(), after.into_bytes());
}

#[test]
fn what_is_no_archive_or_was_changed_is_refused_and_leaves_nothing() {
    let whole = fs::read(&told().archive).unwrap();
    refused(b"", "no ZIP file");
    refused(&whole[..whole.len() / 2], "no ZIP file");
    // One bit in the middle of the packed rows. Not just anywhere: a few bytes between the files are written twice,
    // and no reader looks at the first of them.
    let mut bit = whole.clone();
    let (start, length) = packed(&whole, "tables/move.jsonl");
    bit[start + length / 2] ^= 1;
    let parent = tempfile::tempdir().unwrap();
    let file = parent.path().join("bit.zip");
    fs::write(&file, bit).unwrap();
    let folder = parent.path().join("data");
    let output = program(&["read-archive", text(&file), "--data", text(&folder)]);
    assert_eq!(
        output.status.code(),
        Some(1),
        "a bit was changed: {output:?}"
    );

    refused(
        &changed(|files| {
            files.remove("tables/kit.jsonl");
        }),
        "tables/kit.jsonl is missing",
    );
    refused(
        &changed(|files| {
            files.insert("tables/secret.jsonl".into(), b"{}\n".to_vec());
        }),
        "nothing here knows what to do with it",
    );
    refused(
        &changed(|files| edit(files, "tables/kit.jsonl", |text| format!("{text}{{\n"))),
        "is not a row",
    );
    refused(
        &changed(|files| {
            edit(files, "tables/kit.jsonl", |text| {
                text.replacen("{", "{\"colour\":\"red\",", 1)
            })
        }),
        "which this program does not know",
    );
    refused(
        &changed(|files| {
            edit(files, "tables/team.jsonl", |text| {
                text.lines()
                    .skip(1)
                    .map(|line| format!("{line}\n"))
                    .collect()
            })
        }),
        "points at what is not in it",
    );
    // One move of one piece more: the chain of the ledger does not agree.
    refused(
        &changed(|files| {
            edit(files, "tables/move.jsonl", |text| {
                text.replacen("\"qty\":2,", "\"qty\":3,", 1)
            })
        }),
        "does not agree with itself",
    );
    // A row that is there twice does not come out as it was read.
    refused(
        &changed(|files| {
            edit(files, "tables/team.jsonl", |text| {
                let first = text.lines().next().unwrap().to_owned();
                format!("{text}{first}\n")
            })
        }),
        "does not come out as it was read",
    );
    let newer = {
        let mut files = files_of(&whole);
        edit(&mut files, "contents.json", |text| {
            let schema = format!("\"schema\": {}", Db::newest_schema());
            text.replacen(&schema, "\"schema\": 9999", 1)
        });
        let mut zip = ZipWriter::new(Cursor::new(Vec::new()));
        for (name, bytes) in files {
            zip.start_file(name, SimpleFileOptions::default()).unwrap();
            zip.write_all(&bytes).unwrap();
        }
        zip.finish().unwrap().into_inner()
    };
    refused(&newer, "written by a newer Fieldstow");
}
