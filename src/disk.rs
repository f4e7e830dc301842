//! How much room there is on a disk, and what is certainly on it.

use std::fs::{self, File};
use std::io;
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

/// Waits until the names in a folder are on the disk: a file may be there whole and have no name yet.
pub fn sync_folder(folder: &Path) -> io::Result<()> {
    #[cfg(unix)]
    {
        // The folder of a name without one.
        let folder = match folder.as_os_str().is_empty() {
            true => Path::new("."),
            false => folder,
        };
        match File::open(folder)?.sync_all() {
            // Where folders cannot be synced, names are certain or nobody can help it.
            Err(error)
                if matches!(
                    error.kind(),
                    io::ErrorKind::InvalidInput | io::ErrorKind::Unsupported
                ) => {}
            other => other?,
        }
    }
    #[cfg(not(unix))]
    let _ = folder;
    Ok(())
}

/// Makes a folder with all above it, for nobody but us to read, as far as the disk.
pub fn make_folder(folder: &Path) -> io::Result<()> {
    let there = folder.ancestors().find(|above| above.is_dir());
    if there == Some(folder) {
        return Ok(());
    }
    let mut builder = fs::DirBuilder::new();
    builder.recursive(true);
    #[cfg(unix)]
    std::os::unix::fs::DirBuilderExt::mode(&mut builder, 0o700);
    builder.create(folder)?;
    for above in folder.ancestors().skip(1) {
        sync_folder(above)?;
        if Some(above) == there {
            break;
        }
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_folder_is_made_with_all_above_it() {
        let parent = tempfile::tempdir().unwrap();
        let deep = parent.path().join("one/two/three");
        for _ in 0..2 {
            make_folder(&deep).unwrap();
            assert!(deep.is_dir());
        }
        let file = deep.join("file");
        fs::write(&file, "").unwrap();
        assert!(make_folder(&file.join("below")).is_err());
        assert!(sync_folder(&deep.join("another")).is_err());
        sync_folder(Path::new("")).unwrap();
    }

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
