//! Applies the migrations to an empty database at build time and points sqlx at it, so that
//! every query in the code is checked against the real tables by a plain `cargo build`.

use std::path::{Path, PathBuf};
use std::{env, fs};

fn main() {
    let migrations = Path::new(env!("CARGO_MANIFEST_DIR")).join("migrations");
    println!("cargo:rerun-if-changed={}", migrations.display());

    let database =
        PathBuf::from(env::var_os("OUT_DIR").expect("cargo sets OUT_DIR")).join("schema.db");
    if database.exists() {
        fs::remove_file(&database).expect("could not remove the old schema database");
    }
    let connection =
        rusqlite::Connection::open(&database).expect("could not create the schema database");

    for file in sorted_sql_files(&migrations) {
        println!("cargo:rerun-if-changed={}", file.display());
        let sql = fs::read_to_string(&file).expect("could not read a migration");
        if let Err(error) = connection.execute_batch(&sql) {
            panic!("{}: {error}", file.display());
        }
    }
    println!("cargo:rustc-env=DATABASE_URL=sqlite:{}", database.display());
}

fn sorted_sql_files(folder: &Path) -> Vec<PathBuf> {
    let mut files: Vec<PathBuf> = fs::read_dir(folder)
        .expect("could not list the migrations")
        .map(|entry| entry.expect("could not read the migrations folder").path())
        .filter(|path| path.extension().is_some_and(|extension| extension == "sql"))
        .collect();
    files.sort();
    files
}
