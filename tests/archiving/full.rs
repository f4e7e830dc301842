//! The disk fills up while an archive is written.

use std::io::{BufWriter, Cursor, ErrorKind, Result, Seek, SeekFrom, Write};

use fieldstow::archive;
use fieldstow::db::Db;
use sqlx::Connection;

use crate::{block_on, told};

/// A file that takes so many bytes and no more.
struct Full<'a> {
    file: &'a mut Cursor<Vec<u8>>,
    room: usize,
}

impl Write for Full<'_> {
    fn write(&mut self, bytes: &[u8]) -> Result<usize> {
        if self.file.position() as usize + bytes.len() > self.room {
            return Err(ErrorKind::StorageFull.into());
        }
        self.file.write(bytes)
    }

    fn flush(&mut self) -> Result<()> {
        Ok(())
    }
}

impl Seek for Full<'_> {
    fn seek(&mut self, to: SeekFrom) -> Result<u64> {
        self.file.seek(to)
    }
}

/// Up to its last byte: what the writer still holds at the end may not fit either.
#[test]
fn an_archive_that_does_not_fit_is_never_called_written() {
    // Made before the runtime is entered, because it takes one of its own.
    let data = told().folder.path();
    let written = |room: usize| {
        block_on(async {
            let db = Db::open_existing(data).await.unwrap();
            let mut connection = db.read().await.unwrap();
            let mut snapshot = connection.begin().await.unwrap();
            let mut file = Cursor::new(Vec::new());
            let full = Full {
                file: &mut file,
                room,
            };
            let done = archive::write(&mut snapshot, BufWriter::new(full)).await;
            done.map(|_| file.into_inner())
        })
    };
    let length = written(usize::MAX).unwrap().len();
    assert_eq!(written(length).unwrap().len(), length);
    for room in [
        0,
        length / 7,
        length / 3,
        length / 2,
        length - 9_000,
        length - 1,
    ] {
        let told = written(room).map(|bytes| bytes.len());
        assert!(told.is_err(), "room for {room} of {length}: {told:?}");
    }
}
