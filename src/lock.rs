//! The data folder, taken by one process at a time.
//!
//! A lock file beside the database keeps a second server out; the system drops the lock when the
//! process ends, however it ends. Nothing here opens the database: whoever opens and closes that
//! file by other means than SQLite silently drops SQLite's own locks.

use std::fs::{self, File, OpenOptions, TryLockError};
use std::io::{self, Read, Seek, Write};
use std::path::{Path, PathBuf};

use crate::disk;

pub const LOCK_FILE: &str = "fieldstow.lock";

/// A data folder that is ours until this is dropped.
#[derive(Debug)]
pub struct DataFolder {
    path: PathBuf,
    /// Holds the lock; closing it gives the lock back.
    _lock: File,
}

/// The absolute path of a data folder that must be there already, for reading beside a server.
///
/// It takes no lock and makes nothing: a mistyped name must not look like empty books.
pub fn existing(path: &Path) -> Result<PathBuf, FolderRefused> {
    match fs::metadata(path) {
        Ok(found) if found.is_dir() => {}
        Ok(_) => return Err(FolderRefused::IsAFile(path.to_owned())),
        Err(reason) => {
            return Err(FolderRefused::NotThere {
                folder: path.to_owned(),
                reason,
            });
        }
    }
    fs::canonicalize(path).map_err(|reason| FolderRefused::NotThere {
        folder: path.to_owned(),
        reason,
    })
}

/// Why a data folder cannot be used, in words for whoever started the program.
#[derive(Debug, thiserror::Error)]
pub enum FolderRefused {
    #[error(
        "{} is a file, but a folder is needed for the data; name another with --data",
        .0.display()
    )]
    IsAFile(PathBuf),
    #[error(
        "there is no data folder {} to work on ({reason}); name the right one with --data",
        .folder.display()
    )]
    NotThere { folder: PathBuf, reason: io::Error },
    #[error("the data folder {} cannot be made: {reason}", .folder.display())]
    CannotMake { folder: PathBuf, reason: io::Error },
    #[error("the data folder {} is not writable: {reason}", .folder.display())]
    NotWritable { folder: PathBuf, reason: io::Error },
    #[error(
        "Fieldstow is already running on the data folder {}{}; stop it first, or name another folder with --data",
        .folder.display(),
        .process.map(|id| format!(" (process {id})")).unwrap_or_default()
    )]
    AlreadyRunning {
        folder: PathBuf,
        process: Option<u32>,
    },
    #[error(
        "the data folder {} is on a network file system ({kind}), where a database can be damaged; use a local disk",
        .folder.display()
    )]
    OnTheNetwork { folder: PathBuf, kind: String },
    #[error("the data folder {} cannot be locked: {reason}", .folder.display())]
    CannotLock { folder: PathBuf, reason: io::Error },
}

impl DataFolder {
    /// Makes the folder if it is not there, and takes it.
    pub fn take(path: &Path) -> Result<DataFolder, FolderRefused> {
        let path = make(path)?;
        if let Some(kind) = network_file_system(&path) {
            return Err(FolderRefused::OnTheNetwork { folder: path, kind });
        }
        let mut lock = open_lock(&path).map_err(|reason| FolderRefused::NotWritable {
            folder: path.clone(),
            reason,
        })?;
        match lock.try_lock() {
            Ok(()) => {}
            Err(TryLockError::WouldBlock) => {
                return Err(FolderRefused::AlreadyRunning {
                    process: process_in(&mut lock),
                    folder: path,
                });
            }
            Err(TryLockError::Error(reason)) => {
                return Err(FolderRefused::CannotLock {
                    folder: path,
                    reason,
                });
            }
        }
        // The number only makes the refusal of a second process more helpful, but a disk that
        // does not take it will not take the database either.
        write_process(&mut lock).map_err(|reason| FolderRefused::NotWritable {
            folder: path.clone(),
            reason,
        })?;
        Ok(DataFolder { path, _lock: lock })
    }

    /// Its absolute path.
    pub fn path(&self) -> &Path {
        &self.path
    }
}

/// Makes the folder, for nobody but us to read, and resolves its name.
fn make(path: &Path) -> Result<PathBuf, FolderRefused> {
    let cannot_make = |reason| FolderRefused::CannotMake {
        folder: path.to_owned(),
        reason,
    };
    match fs::metadata(path) {
        Ok(found) if found.is_dir() => {}
        Ok(_) => return Err(FolderRefused::IsAFile(path.to_owned())),
        Err(error) if error.kind() == io::ErrorKind::NotFound => {
            disk::make_folder(path).map_err(cannot_make)?;
        }
        Err(error) => return Err(cannot_make(error)),
    }
    fs::canonicalize(path).map_err(cannot_make)
}

fn open_lock(folder: &Path) -> io::Result<File> {
    let mut options = OpenOptions::new();
    options.read(true).write(true).create(true);
    // What is in it belongs to whoever holds the lock.
    options.truncate(false);
    #[cfg(unix)]
    std::os::unix::fs::OpenOptionsExt::mode(&mut options, 0o600);
    options.open(folder.join(LOCK_FILE))
}

fn write_process(lock: &mut File) -> io::Result<()> {
    lock.set_len(0)?;
    lock.rewind()?;
    writeln!(lock, "{}", std::process::id())
}

fn process_in(lock: &mut File) -> Option<u32> {
    let mut text = String::new();
    lock.take(32).read_to_string(&mut text).ok()?;
    text.trim().parse().ok()
}

/// The kind of network file system `path` is on, if it is on one and the system tells.
fn network_file_system(path: &Path) -> Option<String> {
    let mounts = fs::read_to_string("/proc/self/mountinfo").ok()?;
    let kind = file_system(path, &mounts)?;
    is_network(&kind).then_some(kind)
}

/// The file system `path` is on, from the text of Linux's `mountinfo` (see proc(5)).
fn file_system(path: &Path, mounts: &str) -> Option<String> {
    let mut nearest: Option<(usize, &str)> = None;
    for line in mounts.lines() {
        // "36 35 98:0 /root /mnt rw,noatime master:1 - ext3 /dev/root rw"
        let (place, kind) = line.split_once(" - ")?;
        let place = unescaped(place.split(' ').nth(4)?);
        let kind = kind.split(' ').next()?;
        let depth = Path::new(&place).components().count();
        // Of two mounts on one place the later one covers the earlier.
        if path.starts_with(&place) && nearest.is_none_or(|(best, _)| depth >= best) {
            nearest = Some((depth, kind));
        }
    }
    nearest.map(|(_, kind)| kind.to_owned())
}

/// Undoes the octal escapes of `mountinfo`: blank, tab, line end and backslash.
fn unescaped(place: &str) -> String {
    place
        .replace("\\040", " ")
        .replace("\\011", "\t")
        .replace("\\012", "\n")
        .replace("\\134", "\\")
}

/// File systems whose locks or memory maps other machines do not see.
///
/// `9p` and `virtiofs` are left out although they can cross machines: they are how folders of one
/// and the same machine are shown to its containers and virtual machines.
fn is_network(kind: &str) -> bool {
    matches!(
        kind,
        "nfs"
            | "nfs4"
            | "cifs"
            | "smb3"
            | "smbfs"
            | "afs"
            | "ceph"
            | "glusterfs"
            | "lustre"
            | "ocfs2"
            | "gfs2"
            | "fuse.sshfs"
            | "fuse.glusterfs"
            | "fuse.ceph-fuse"
            | "fuse.rclone"
            | "fuse.s3fs"
            | "davfs"
            | "fuse.davfs2"
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_second_taker_is_refused_with_folder_and_process() {
        let parent = tempfile::tempdir().unwrap();
        let folder = parent.path().join("deep/data");
        let taken = DataFolder::take(&folder).unwrap();
        let refused = DataFolder::take(&folder).unwrap_err().to_string();
        assert!(
            refused.contains(taken.path().to_str().unwrap()),
            "{refused}"
        );
        let process = format!("(process {})", std::process::id());
        assert!(refused.contains(&process), "{refused}");

        drop(taken);
        DataFolder::take(&folder).unwrap();
    }

    #[test]
    fn an_unreadable_process_number_is_left_out() {
        let folder = tempfile::tempdir().unwrap();
        let _taken = DataFolder::take(folder.path()).unwrap();
        fs::write(folder.path().join(LOCK_FILE), "not a number").unwrap();
        let refused = DataFolder::take(folder.path()).unwrap_err();
        assert!(matches!(
            refused,
            FolderRefused::AlreadyRunning { process: None, .. }
        ));
        assert!(!refused.to_string().contains("process"));
    }

    #[cfg(unix)]
    #[test]
    fn what_we_make_is_for_nobody_else() {
        use std::os::unix::fs::PermissionsExt;
        let parent = tempfile::tempdir().unwrap();
        let taken = DataFolder::take(&parent.path().join("data")).unwrap();
        let mode = |path: &Path| fs::metadata(path).unwrap().permissions().mode() & 0o777;
        assert_eq!(mode(taken.path()), 0o700);
        assert_eq!(mode(&taken.path().join(LOCK_FILE)), 0o600);
    }

    #[test]
    fn a_file_is_no_folder() {
        let parent = tempfile::tempdir().unwrap();
        let file = parent.path().join("data");
        fs::write(&file, "").unwrap();
        let refused = DataFolder::take(&file).unwrap_err();
        assert!(matches!(refused, FolderRefused::IsAFile(_)));
        let refused = existing(&file).unwrap_err();
        assert!(matches!(refused, FolderRefused::IsAFile(_)));
        let refused = DataFolder::take(&file.join("below")).unwrap_err();
        assert!(matches!(refused, FolderRefused::CannotMake { .. }));
    }

    #[test]
    fn to_look_at_a_folder_neither_makes_nor_takes_it() {
        let parent = tempfile::tempdir().unwrap();
        let folder = parent.path().join("data");
        let refused = existing(&folder).unwrap_err();
        assert!(matches!(refused, FolderRefused::NotThere { .. }));
        assert!(!folder.exists());
        let taken = DataFolder::take(&folder).unwrap();
        assert_eq!(existing(&folder).unwrap(), taken.path());
    }

    #[cfg(target_os = "linux")]
    #[test]
    fn a_folder_that_cannot_be_written_is_refused() {
        // Nobody, not even the superuser, can make a file here.
        let refused = DataFolder::take(Path::new("/sys")).unwrap_err();
        assert!(
            matches!(refused, FolderRefused::NotWritable { .. }),
            "{refused}"
        );
    }

    #[test]
    fn the_nearest_mount_tells_the_file_system() {
        // The form of the lines is the one of proc(5); places and devices are made up.
        let mounts = "\
            22 1 8:1 / / rw,relatime shared:1 - ext4 /dev/sda1 rw\n\
            30 22 0:40 / /srv rw - tmpfs tmpfs rw\n\
            31 30 0:41 / /srv/far\\040away rw shared:7 master:2 - nfs4 far:/x rw\n\
            32 22 0:42 / /home rw - nfs near:/x rw\n\
            33 32 8:2 / /home rw - xfs /dev/sdb1 rw\n";
        for (path, kind, network) in [
            ("/data", "ext4", false),
            ("/srv/data", "tmpfs", false),
            ("/srv/far away/data", "nfs4", true),
            ("/srv/far", "tmpfs", false),
            ("/home/keeper", "xfs", false),
        ] {
            let found = file_system(Path::new(path), mounts).unwrap();
            assert_eq!(
                (found.as_str(), is_network(&found)),
                (kind, network),
                "{path}"
            );
        }
        assert_eq!(file_system(Path::new("/data"), ""), None);
    }
}
