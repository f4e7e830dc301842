//! Files in the database: in pieces of 256 KiB, named by the SHA-256 of their bytes.
//!
//! The same bytes are kept once. A large file is written piece by piece while it arrives, each piece in a
//! write of its own, so that neither memory nor the write lock is held by somebody's slow line; what never
//! became whole is swept up a day later.

use sha2::{Digest, Sha256};
use sqlx::SqliteConnection;

use super::develop::Jpeg;
use super::store::files as rows;
use crate::app::App;
use crate::clock::Instant;
use crate::db::Tx;
use crate::error::AppError;
use crate::ids::FileId;

pub use rows::{Whole, chunk, whole};

pub const CHUNK: usize = 256 * 1024;

/// Keeps a picture that is at hand as a whole.
pub(super) async fn keep(tx: &mut Tx, jpeg: &Jpeg, now: Instant) -> sqlx::Result<FileId> {
    let sha256 = Sha256::digest(&jpeg.bytes);
    if let Some(known) = rows::with_hash(tx, &sha256).await? {
        return Ok(known);
    }
    let file = FileId::new();
    rows::begin(tx, file, "picture", Some((jpeg.width, jpeg.height)), now).await?;
    for (n, bytes) in (0..).zip(jpeg.bytes.chunks(CHUNK)) {
        rows::append(tx, file, n, bytes).await?;
    }
    rows::complete(tx, file, &sha256, jpeg.bytes.len() as i64).await?;
    Ok(file)
}

/// All bytes of a whole file. For pictures; a PDF is sent piece by piece.
pub async fn read(db: &mut SqliteConnection, file: FileId) -> Result<Vec<u8>, AppError> {
    let mut bytes = Vec::new();
    while let Some(more) = rows::chunk(db, file, (bytes.len() / CHUNK) as i64).await? {
        let is_last = more.len() < CHUNK;
        bytes.extend(more);
        if is_last {
            break;
        }
    }
    Ok(bytes)
}

/// A PDF that is arriving.
pub struct Arriving {
    pub file: FileId,
    written: i64,
    size: usize,
    hash: Sha256,
    /// What arrived and is not written yet: less than a piece.
    rest: Vec<u8>,
}

impl Arriving {
    pub async fn begin(app: &App) -> Result<Self, AppError> {
        let now = app.clock.now();
        let file = FileId::new();
        let mut tx = app.db.begin_write().await?;
        for left in rows::unfinished(&mut tx, now.plus_days(-1)).await? {
            rows::drop_unfinished(&mut tx, left).await?;
        }
        rows::begin(&mut tx, file, "pdf", None, now).await?;
        tx.commit_quietly().await?;
        Ok(Self {
            file,
            written: 0,
            size: 0,
            hash: Sha256::new(),
            rest: Vec::with_capacity(CHUNK),
        })
    }

    pub fn size(&self) -> usize {
        self.size
    }

    /// Takes the next bytes, however many came.
    pub async fn take(&mut self, app: &App, mut bytes: &[u8]) -> Result<(), AppError> {
        self.hash.update(bytes);
        self.size += bytes.len();
        while !bytes.is_empty() {
            let (now, later) = bytes.split_at(bytes.len().min(CHUNK - self.rest.len()));
            self.rest.extend_from_slice(now);
            bytes = later;
            if self.rest.len() == CHUNK {
                let mut tx = app.db.begin_write().await?;
                rows::append(&mut tx, self.file, self.written, &self.rest).await?;
                tx.commit_quietly().await?;
                self.written += 1;
                self.rest.clear();
            }
        }
        Ok(())
    }

    /// The SHA-256 of what came so far.
    pub fn hash(&self) -> [u8; 32] {
        self.hash.clone().finalize().into()
    }

    /// Writes the last piece and answers the file: this one, or the one that has had these bytes before.
    pub async fn whole(&self, tx: &mut Tx) -> Result<FileId, AppError> {
        let sha256 = self.hash();
        if let Some(known) = rows::with_hash(tx, &sha256).await? {
            rows::drop_unfinished(tx, self.file).await?;
            return Ok(known);
        }
        if !self.rest.is_empty() {
            rows::append(tx, self.file, self.written, &self.rest).await?;
        }
        rows::complete(tx, self.file, &sha256, self.size as i64).await?;
        Ok(self.file)
    }

    /// Forgets what arrived. Does nothing to a file that became whole.
    pub async fn give_up(&self, app: &App) -> Result<(), AppError> {
        let mut tx = app.db.begin_write().await?;
        if rows::whole(&mut tx, self.file).await?.is_none() {
            rows::drop_unfinished(&mut tx, self.file).await?;
        }
        tx.commit_quietly().await?;
        Ok(())
    }
}

/// Erases the bytes of files that nothing shows any more.
pub(super) async fn erase(tx: &mut Tx, files: [FileId; 2], now: Instant) -> sqlx::Result<()> {
    for file in files {
        rows::erase(tx, file, now).await?;
    }
    Ok(())
}
