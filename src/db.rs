//! Opens the database, and hands out its one writer and its readers.
//!
//! Four findings shaped this file. SQLite before 3.51.3 can lose committed writes in WAL mode, so an
//! older library is refused. A transaction that begins by reading fails when it turns to writing, so
//! every write begins with `begin immediate`. Many writers are unfair to each other, so there is one.
//! And after a failed write sqlx may return a connection to its pool in the middle of a transaction, so
//! the pool looks at each one that comes back.
//!
//! Nothing but SQLite opens the database file: closing any other handle to it would drop SQLite's locks.

mod checks;

pub use checks::check_foreign_keys;

use std::ops::{Deref, DerefMut};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::Duration;

use sqlx::migrate::Migrator;
use sqlx::pool::PoolConnection;
use sqlx::sqlite::{
    SqliteConnectOptions, SqliteConnection, SqliteJournalMode, SqlitePool, SqlitePoolOptions,
    SqliteSynchronous,
};
use sqlx::{Connection, Sqlite, Transaction};

use crate::disk;
use crate::secret;
use checks::{
    APPLICATION_ID, applied_migrations, check_is_up_to_date, check_pragmas, check_sqlite_version,
    check_whole, look_at,
};

/// Every migration, built into the program.
pub static MIGRATOR: Migrator = sqlx::migrate!("./migrations");

/// How many readers there are.
pub const READERS: u32 = 4;
/// What the database is called in its data folder.
pub const FILE_NAME: &str = "fieldstow.db";

/// Why the database could not be opened, in words for the person at the machine.
#[derive(Debug, thiserror::Error)]
pub enum OpenError {
    #[error(
        "this program was built with SQLite {0}; it needs 3.51.3 or newer, because older ones can lose data"
    )]
    OldSqlite(String),
    #[error("{0} is a database of another program; choose another data folder with --data")]
    NotOurs(PathBuf),
    #[error("{0} was written by a newer Fieldstow; start that version, or restore an older backup")]
    Newer(PathBuf),
    #[error(
        "{0} was written by an older Fieldstow; start `fieldstow serve` of this version there once, or use the one that wrote it"
    )]
    Older(PathBuf),
    #[error("{0} holds no Fieldstow database yet; start `fieldstow serve` there first")]
    Missing(PathBuf),
    #[error("{0} is empty: it is no backup")]
    Empty(PathBuf),
    // A disk that cannot be read looks the same to SQLite, and may be well again the next time.
    #[error(
        "{0} is not a database, or it is damaged, or its disk cannot be read; look after the disk and try again, \
         then restore a backup"
    )]
    Damaged(PathBuf),
    #[error("SQLite answered {found} for pragma {pragma} instead of {wanted}")]
    Pragma {
        pragma: &'static str,
        found: String,
        wanted: &'static str,
    },
    #[error("rows point at others that do not exist: {0}")]
    ForeignKeys(String),
    #[error("the data folder {0} cannot be synced ({1}), so nothing in it would be safe")]
    NotSynced(PathBuf, std::io::Error),
    #[error("the database could not be opened: {0}")]
    Sqlx(#[from] sqlx::Error),
    #[error("the database could not be brought up to date: {0}")]
    Migrate(#[from] sqlx::migrate::MigrateError),
}

/// The database of one data folder.
#[derive(Clone)]
pub struct Db {
    writer: SqlitePool,
    readers: SqlitePool,
    version: Arc<AtomicU64>,
    file: Arc<PathBuf>,
}

impl Db {
    /// Opens the database in `folder`, makes it if there is none, and brings it up to date.
    pub async fn open(folder: &Path) -> Result<Self, OpenError> {
        let file = folder.join(FILE_NAME);
        let options = options(&file).create_if_missing(true);
        // Looked at before it is opened for writing, which would turn another program's database into
        // WAL mode.
        if file.exists() {
            look_at(&file).await.map_err(|error| error.refined(&file))?;
        }
        bring_up_to_date(&options)
            .await
            .map_err(|error| error.refined(&file))?;
        Self::connect(file, options).await
    }

    /// Opens the database in `folder`, which must exist already and have just the tables this program
    /// knows: a server of another version may be at work on it, so nothing is changed here.
    pub async fn open_existing(folder: &Path) -> Result<Self, OpenError> {
        let file = folder.join(FILE_NAME);
        if !file.exists() {
            return Err(OpenError::Missing(file));
        }
        look_at(&file).await.map_err(|error| error.refined(&file))?;
        let options = options(&file);
        check_is_up_to_date(&file)
            .await
            .map_err(|error| error.refined(&file))?;
        Self::connect(file, options).await
    }

    /// Opens a copy of a backup that nobody else uses: reads every page of it, and brings it up to date.
    /// `named` is what messages call it.
    pub async fn open_backup(copy: &Path, named: &Path) -> Result<Self, OpenError> {
        let opened = async {
            look_at(copy).await?;
            check_whole(copy).await?;
            let options = options(copy);
            bring_up_to_date(&options).await?;
            Self::connect(copy.to_path_buf(), options).await
        };
        opened.await.map_err(|error| error.refined(named))
    }

    /// Makes a new database with the tables that a program had which knew the migrations up to `schema`, and
    /// gives its only connection. Bring it up to date with `open_backup` when it is filled and closed.
    pub async fn new_at(file: &Path, schema: i64) -> Result<SqliteConnection, OpenError> {
        let options = options(file).create_if_missing(true);
        let mut connection = SqliteConnection::connect_with(&options).await?;
        check_sqlite_version(&mut connection).await?;
        // The number is APPLICATION_ID; pragmas take no parameters.
        sqlx::query("pragma application_id = 1181508691")
            .execute(&mut connection)
            .await?;
        let known = MIGRATOR.iter().filter(|one| one.version <= schema);
        Migrator::with_migrations(known.cloned().collect())
            .run(&mut connection)
            .await?;
        check_pragmas(&mut connection).await?;
        Ok(connection)
    }

    /// The newest migration this program knows.
    pub fn newest_schema() -> i64 {
        MIGRATOR.iter().map(|one| one.version).max().unwrap_or(0)
    }

    async fn connect(file: PathBuf, options: SqliteConnectOptions) -> Result<Self, OpenError> {
        let writer = SqlitePoolOptions::new()
            .max_connections(1)
            .min_connections(1)
            .idle_timeout(None)
            .max_lifetime(None)
            .acquire_timeout(Duration::from_secs(5))
            .test_before_acquire(false)
            // A write that failed half-way may come back with its transaction still open.
            .after_release(|connection, _| {
                Box::pin(async move {
                    connection.ping().await?;
                    Ok(!connection.is_in_transaction())
                })
            })
            .connect_with(options.clone())
            .await?;
        let readers = SqlitePoolOptions::new()
            .max_connections(READERS)
            // While one is open, the log stays whatever becomes of the writer.
            .min_connections(1)
            .idle_timeout(None)
            .max_lifetime(None)
            .acquire_timeout(Duration::from_secs(5))
            .test_before_acquire(false)
            .connect_with(
                options
                    .read_only(true)
                    .create_if_missing(false)
                    .pragma("query_only", "on"),
            )
            .await?;
        // The log is made by now. SQLite syncs its name with the first commit, but goes on in silence where it
        // cannot open the folder for it, and a power cut would take the whole log.
        let folder = file.parent().unwrap_or(&file);
        disk::sync_folder(folder)
            .map_err(|reason| OpenError::NotSynced(folder.to_path_buf(), reason))?;
        Ok(Self {
            writer,
            readers,
            version: Arc::new(AtomicU64::new(first_version())),
            file: Arc::new(file),
        })
    }

    /// A connection that can only read. Take one for a whole request.
    pub async fn read(&self) -> sqlx::Result<PoolConnection<Sqlite>> {
        self.readers.acquire().await
    }

    /// Starts a write: takes SQLite's one write lock now, so that what is read next cannot change
    /// before it is written.
    pub async fn begin_write(&self) -> sqlx::Result<Tx> {
        let inner = self.writer.begin_with("begin immediate").await?;
        Ok(Tx {
            inner,
            version: self.version.clone(),
        })
    }

    /// Grows with every write. Pages are unchanged while it is.
    pub fn version(&self) -> u64 {
        self.version.load(Ordering::SeqCst)
    }

    /// The database file. For messages only; nobody but SQLite opens it.
    pub fn file(&self) -> &Path {
        &self.file
    }

    /// How many bytes the database takes, without what is still in its log.
    pub async fn size(&self) -> sqlx::Result<u64> {
        let mut connection = self.read().await?;
        let bytes: i64 = sqlx::query_scalar(
            "select page_count * page_size from pragma_page_count(), pragma_page_size()",
        )
        .fetch_one(&mut *connection)
        .await?;
        Ok(bytes.unsigned_abs())
    }

    /// A copy that nobody uses, to be read only.
    pub async fn read_copy(file: &Path) -> sqlx::Result<SqliteConnection> {
        let options = SqliteConnectOptions::new()
            .filename(file)
            .read_only(true)
            .immutable(true);
        SqliteConnection::connect_with(&options).await
    }

    /// Writes a complete copy into a new file while work goes on, and checks that the copy is sound.
    pub async fn copy_to(&self, target: &Path) -> sqlx::Result<()> {
        // A connection of its own: the readers' setting `query_only` forbids this as well, although
        // only the new file is written. This one still cannot write to ours.
        let mut connection = self.read().await?.detach();
        sqlx::query("pragma query_only = off")
            .execute(&mut connection)
            .await?;
        sqlx::query("vacuum into $1")
            .bind(target.to_string_lossy().into_owned())
            .execute(&mut connection)
            .await?;
        connection.close().await?;

        let options = SqliteConnectOptions::new().filename(target).read_only(true);
        let mut copy = SqliteConnection::connect_with(&options).await?;
        let answer: String = sqlx::query_scalar("pragma quick_check(1)")
            .fetch_one(&mut copy)
            .await?;
        copy.close().await?;
        if answer == "ok" {
            Ok(())
        } else {
            Err(sqlx::Error::Protocol(format!(
                "the copy of the database is damaged: {answer}"
            )))
        }
    }

    /// Writes everything from the log into the database file and empties it, so that what was erased is not
    /// in the log either. A reader that is still at work delays that to the next time.
    pub async fn empty_log(&self) -> sqlx::Result<()> {
        let mut connection = self.writer.acquire().await?;
        sqlx::raw_sql("pragma wal_checkpoint(truncate)")
            .execute(&mut *connection)
            .await?;
        Ok(())
    }

    /// Lets the last readers go, writes everything from the log into the database file, and closes it.
    pub async fn close(self) {
        self.readers.close().await;
        if let Ok(mut connection) = self.writer.acquire().await {
            let _ = sqlx::raw_sql(
                "pragma analysis_limit = 400; pragma optimize; pragma wal_checkpoint(truncate);",
            )
            .execute(&mut *connection)
            .await;
        }
        self.writer.close().await;
    }
}

/// Where the version begins: somewhere else at every start, so that a page kept from an earlier run is
/// never taken for unchanged.
fn first_version() -> u64 {
    u64::from_le_bytes(secret::random()) >> 16
}

/// A write in progress. Dropped without `commit`, it leaves no trace.
pub struct Tx {
    inner: Transaction<'static, Sqlite>,
    version: Arc<AtomicU64>,
}

impl Tx {
    /// Makes the write durable. After an error it is unknown whether it was: send the same form again.
    ///
    /// It runs in a task of its own, because a caller that goes away does not stop a commit that began,
    /// and pages must not be called unchanged after it.
    pub async fn commit(self) -> sqlx::Result<()> {
        let Tx { inner, version } = self;
        let committing = tokio::spawn(async move {
            let result = inner.commit().await;
            // Raised in any case: a commit that failed may still have happened.
            version.fetch_add(1, Ordering::SeqCst);
            result
        });
        committing
            .await
            .unwrap_or_else(|stopped| Err(sqlx::Error::Io(std::io::Error::other(stopped))))
    }

    /// Commits something that no page shows, so that pages stay as they are in browsers' stores.
    pub async fn commit_quietly(self) -> sqlx::Result<()> {
        self.inner.commit().await
    }
}

impl Deref for Tx {
    type Target = SqliteConnection;

    fn deref(&self) -> &Self::Target {
        &self.inner
    }
}

impl DerefMut for Tx {
    fn deref_mut(&mut self) -> &mut Self::Target {
        &mut self.inner
    }
}

fn options(file: &Path) -> SqliteConnectOptions {
    let temporary_files = file.parent().unwrap_or(Path::new(""));
    SqliteConnectOptions::new()
        .create_if_missing(false)
        .filename(file)
        .journal_mode(SqliteJournalMode::Wal)
        .synchronous(SqliteSynchronous::Full)
        .foreign_keys(true)
        .busy_timeout(Duration::from_secs(5))
        // Without this, `insert or replace` walks past the triggers that guard the ledger.
        .pragma("recursive_triggers", "on")
        .pragma("trusted_schema", "off")
        .pragma("cell_size_check", "on")
        .pragma("mmap_size", "0")
        .pragma("cache_size", "-8000")
        .pragma("journal_size_limit", "67108864")
        .pragma(
            "temp_store",
            if temporary_files.as_os_str().is_empty() {
                "2"
            } else {
                "0"
            },
        )
}

/// Makes the tables, or those that a newer program needs.
async fn bring_up_to_date(options: &SqliteConnectOptions) -> Result<(), OpenError> {
    let mut connection = SqliteConnection::connect_with(options).await?;
    check_sqlite_version(&mut connection).await?;
    let id: i64 = sqlx::query_scalar("pragma application_id")
        .fetch_one(&mut connection)
        .await?;
    if id != APPLICATION_ID {
        // The number is APPLICATION_ID; pragmas take no parameters.
        sqlx::query("pragma application_id = 1181508691")
            .execute(&mut connection)
            .await?;
    }
    let migrations_before = applied_migrations(&mut connection).await?;
    MIGRATOR.run(&mut connection).await?;
    // Looking at every row takes a second at five million moves, so it is done when the tables
    // changed, and by `fieldstow verify`.
    if applied_migrations(&mut connection).await? != migrations_before {
        check_foreign_keys(&mut connection).await?;
    }
    check_pragmas(&mut connection).await?;
    connection.close().await?;
    Ok(())
}
