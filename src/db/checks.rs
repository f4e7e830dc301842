//! What is asked of a database file before it is used, and what its answers mean.

use std::path::Path;

use sqlx::Connection;
use sqlx::migrate::MigrateError;
use sqlx::sqlite::{SqliteConnectOptions, SqliteConnection};

use super::{MIGRATOR, OpenError};

/// Marks a database file as Fieldstow's: "FldS".
pub(super) const APPLICATION_ID: i64 = 0x466c_6453;
/// The first SQLite without the bug that can lose committed writes in WAL mode.
const OLDEST_SQLITE: (u32, u32, u32) = (3, 51, 3);

pub(super) async fn check_sqlite_version(
    connection: &mut SqliteConnection,
) -> Result<(), OpenError> {
    let version: String = sqlx::query_scalar("select sqlite_version()")
        .fetch_one(&mut *connection)
        .await?;
    if is_recent_enough(&version) {
        Ok(())
    } else {
        Err(OpenError::OldSqlite(version))
    }
}

fn is_recent_enough(version: &str) -> bool {
    let mut numbers = version
        .split('.')
        .map(|number| number.parse::<u32>().unwrap_or(0));
    let mut next = || numbers.next().unwrap_or(0);
    (next(), next(), next()) >= OLDEST_SQLITE
}

/// Refuses a file that is not ours, without changing it.
pub(super) async fn look_at(file: &Path) -> Result<(), OpenError> {
    let options = SqliteConnectOptions::new().filename(file);
    match look_with(options.clone().read_only(true), file).await {
        // The first start was cut off before there was a log. What it began must be taken back before anybody
        // can read, and whoever only reads cannot.
        Err(OpenError::Sqlx(error)) if waits_for_rollback(&error) => look_with(options, file).await,
        other => other,
    }
}

async fn look_with(options: SqliteConnectOptions, file: &Path) -> Result<(), OpenError> {
    let mut connection = SqliteConnection::connect_with(&options).await?;
    check_sqlite_version(&mut connection).await?;
    let id: i64 = sqlx::query_scalar("pragma application_id")
        .fetch_one(&mut connection)
        .await?;
    let tables: i64 = sqlx::query_scalar("select count(*) from sqlite_schema")
        .fetch_one(&mut connection)
        .await?;
    connection.close().await?;
    if id == APPLICATION_ID || (id == 0 && tables == 0) {
        Ok(())
    } else {
        Err(OpenError::NotOurs(file.to_path_buf()))
    }
}

/// Reads every page of a file that nobody uses, and refuses one without anything in it.
pub(super) async fn check_whole(file: &Path) -> Result<(), OpenError> {
    let options = SqliteConnectOptions::new().filename(file).read_only(true);
    let mut connection = SqliteConnection::connect_with(&options).await?;
    let answer: String = sqlx::query_scalar("pragma integrity_check(1)")
        .fetch_one(&mut connection)
        .await?;
    let migrations = applied_migrations(&mut connection).await?;
    connection.close().await?;
    if answer != "ok" {
        Err(OpenError::Damaged(file.to_path_buf()))
    } else if migrations == 0 {
        Err(OpenError::Empty(file.to_path_buf()))
    } else {
        Ok(())
    }
}

/// Refuses a database that has not just the tables this program knows, and changes nothing in it.
pub(super) async fn check_is_up_to_date(file: &Path) -> Result<(), OpenError> {
    // Without our settings: a copy put here by hand is not in WAL mode yet, and a reader cannot change that.
    let options = SqliteConnectOptions::new().filename(file).read_only(true);
    let mut connection = SqliteConnection::connect_with(&options).await?;
    if applied_migrations(&mut connection).await? == 0 {
        return Err(OpenError::Missing(file.to_path_buf()));
    }
    let applied: Vec<(i64, Vec<u8>)> =
        sqlx::query_as("select version, checksum from _sqlx_migrations order by version")
            .fetch_all(&mut connection)
            .await?;
    connection.close().await?;
    let mut known = MIGRATOR.iter();
    for (version, checksum) in applied {
        match known.next() {
            Some(next) if next.version == version && *next.checksum == *checksum => {}
            Some(next) if next.version == version => {
                return Err(MigrateError::VersionMismatch(version).into());
            }
            _ => return Err(OpenError::Newer(file.to_path_buf())),
        }
    }
    match known.next() {
        None => Ok(()),
        Some(_) => Err(OpenError::Older(file.to_path_buf())),
    }
}

pub(super) async fn applied_migrations(connection: &mut SqliteConnection) -> sqlx::Result<i64> {
    let exists: i64 =
        sqlx::query_scalar("select count(*) from sqlite_schema where name = '_sqlx_migrations'")
            .fetch_one(&mut *connection)
            .await?;
    if exists == 0 {
        return Ok(0);
    }
    sqlx::query_scalar("select count(*) from _sqlx_migrations")
        .fetch_one(&mut *connection)
        .await
}

/// Fails when a row points at one that does not exist.
pub async fn check_foreign_keys(connection: &mut SqliteConnection) -> Result<(), OpenError> {
    let broken: Vec<(String, Option<i64>, String, i64)> =
        sqlx::query_as("pragma foreign_key_check")
            .fetch_all(&mut *connection)
            .await?;
    match broken.first() {
        None => Ok(()),
        Some((table, ..)) => Err(OpenError::ForeignKeys(format!(
            "{} in {table}",
            broken.len()
        ))),
    }
}

/// Reads every setting back, because a pragma with a typing error is silently ignored.
pub(super) async fn check_pragmas(connection: &mut SqliteConnection) -> Result<(), OpenError> {
    for (pragma, wanted) in [
        ("pragma journal_mode", "wal"),
        ("pragma synchronous", "2"),
        ("pragma foreign_keys", "1"),
        ("pragma recursive_triggers", "1"),
        ("pragma trusted_schema", "0"),
        ("pragma cell_size_check", "1"),
        ("pragma journal_size_limit", "67108864"),
        ("pragma application_id", "1181508691"),
    ] {
        let row = sqlx::query(pragma).fetch_one(&mut *connection).await?;
        let found = {
            use sqlx::Row;
            row.try_get_unchecked::<String, _>(0).or_else(|_| {
                row.try_get_unchecked::<i64, _>(0)
                    .map(|number| number.to_string())
            })?
        };
        if found != wanted {
            return Err(OpenError::Pragma {
                pragma,
                found,
                wanted,
            });
        }
    }
    Ok(())
}

impl OpenError {
    /// Says what SQLite's and the migrator's answers mean for this file.
    pub(super) fn refined(self, file: &Path) -> Self {
        match self {
            OpenError::Migrate(
                MigrateError::VersionMissing(_) | MigrateError::VersionTooNew(..),
            ) => OpenError::Newer(file.to_path_buf()),
            OpenError::NotOurs(_) => OpenError::NotOurs(file.to_path_buf()),
            OpenError::Empty(_) => OpenError::Empty(file.to_path_buf()),
            OpenError::Damaged(_) => OpenError::Damaged(file.to_path_buf()),
            OpenError::Sqlx(error)
            | OpenError::Migrate(MigrateError::Execute(error))
            | OpenError::Migrate(MigrateError::ExecuteMigration(error, _))
                if is_damage(&error) =>
            {
                OpenError::Damaged(file.to_path_buf())
            }
            other => other,
        }
    }
}

/// SQLITE_READONLY_ROLLBACK: a journal lies beside the file, and was opened only to be read.
fn waits_for_rollback(error: &sqlx::Error) -> bool {
    code_of(error) == Some(776)
}

fn code_of(error: &sqlx::Error) -> Option<i32> {
    error.as_database_error()?.code()?.parse().ok()
}

/// SQLite's "malformed" (11) and "not a database" (26), in all their finer codes.
fn is_damage(error: &sqlx::Error) -> bool {
    code_of(error).is_some_and(|code| matches!(code & 0xff, 11 | 26))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The fix is in 3.51.3 (SQLite's release notes); its backports to older lines are not counted on.
    #[test]
    fn old_libraries_are_told_from_new_ones() {
        for (version, recent) in [
            ("3.7.0", false),
            ("3.44.6", false),
            ("3.50.7", false),
            ("3.51.2", false),
            ("3.51.3", true),
            ("3.51.10", true),
            ("3.52.0", true),
            ("4.0.0", true),
            ("3.51", false),
            ("", false),
            ("three", false),
        ] {
            assert_eq!(is_recent_enough(version), recent, "{version}");
        }
    }

    #[test]
    fn the_number_in_the_pragmas_is_the_application_id() {
        assert_eq!(APPLICATION_ID, 1_181_508_691);
        assert_eq!(APPLICATION_ID.to_be_bytes()[4..], *b"FldS");
    }
}
