//! How much room there is on a disk.

use std::path::Path;

/// So much is left free for the database to go on with, in bytes.
const LEFT_FOR_WORK: u64 = 64 << 20;

/// There is too little room.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error(
    "the disk has {} MiB free and {} MiB are needed; make room or choose another folder",
    free >> 20,
    (needed >> 20) + 1
)]
pub struct NoRoom {
    pub needed: u64,
    pub free: u64,
}

/// Bytes that this program may still write to the disk that holds a folder. None where the system does not
/// say.
pub fn free(folder: &Path) -> Option<u64> {
    #[cfg(unix)]
    {
        let found = rustix::fs::statvfs(folder).ok()?;
        found.f_bavail.checked_mul(found.f_frsize)
    }
    #[cfg(not(unix))]
    {
        let _ = folder;
        None
    }
}

/// Refuses to begin writing so many bytes into a folder where they would fill the disk.
pub fn room_for(folder: &Path, bytes: u64) -> Result<(), NoRoom> {
    let needed = bytes.saturating_add(LEFT_FOR_WORK);
    match free(folder) {
        Some(free) if free < needed => Err(NoRoom { needed, free }),
        _ => Ok(()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn more_than_any_disk_holds_is_refused_in_words() {
        let folder = tempfile::tempdir().unwrap();
        room_for(folder.path(), 0).unwrap();
        let refused = room_for(folder.path(), 1 << 60).unwrap_err();
        assert!(refused.free < 1 << 60);
        let words = NoRoom {
            needed: 300 << 20,
            free: 7 << 20,
        };
        assert_eq!(
            words.to_string(),
            "the disk has 7 MiB free and 301 MiB are needed; make room or choose another folder"
        );
    }
}
