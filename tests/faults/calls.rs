//! The calls by which this process reaches files, taken over from the system's library.
//!
//! The linker takes these instead of the library's, because a program's own come first; so SQLite, the standard
//! library and everything else in this process come through here and know nothing of it. Each does what it
//! always does by asking the system itself, and files in a watched folder are shown to their machine.

use std::cell::Cell;
use std::ffi::{CStr, OsStr, OsString};
use std::os::unix::ffi::{OsStrExt, OsStringExt};
use std::path::{Path, PathBuf};
use std::sync::Arc;

use libc::{c_char, c_int, c_long, c_uint, c_void, mode_t, off_t, size_t, ssize_t, stat};

use crate::machine::{self, Kind, Machine};

/// The machine that watches the file with this name.
///
/// # Safety
/// `path` is null or a string that ends.
unsafe fn named(path: *const c_char) -> Option<(Arc<Machine>, PathBuf)> {
    if machine::nobody_watches() || path.is_null() {
        return None;
    }
    let path = PathBuf::from(OsStr::from_bytes(
        unsafe { CStr::from_ptr(path) }.to_bytes(),
    ));
    Some((machine::of(&path)?, path))
}

/// The machine that watches an open file.
fn opened(file: c_int) -> Option<(Arc<Machine>, PathBuf)> {
    if machine::nobody_watches() || file <= 2 {
        return None;
    }
    let link = format!("/proc/self/fd/{file}\0");
    let mut path = [0_u8; 1024];
    // Leaves `errno` as it was where it goes well, and where it does not there is no such file.
    let length = unsafe { libc::readlink(link.as_ptr().cast(), path.as_mut_ptr().cast(), 1024) };
    let path = path.get(..usize::try_from(length).ok()?)?;
    let path = PathBuf::from(OsString::from_vec(path.to_vec()));
    Some((machine::of(&path)?, path))
}

/// Asks the system itself.
macro_rules! ask {
    ($call:ident $(, $argument:expr)*) => {
        match unsafe { libc::syscall(libc::$call $(, $argument)*) } {
            -1 => Err(unsafe { *libc::__errno_location() }),
            answer => Ok(answer),
        }
    };
}

fn told(answer: Result<c_long, c_int>) -> c_long {
    answer.unwrap_or_else(|error| {
        unsafe { *libc::__errno_location() = error };
        -1
    })
}

/// Half of it, but at least one.
fn half(count: size_t, by_half: bool) -> size_t {
    if by_half { count.div_ceil(2) } else { count }
}

unsafe fn open_any(path: *const c_char, flags: c_int, mode: mode_t) -> c_int {
    let real = || ask!(SYS_openat, libc::AT_FDCWD, path, flags, mode);
    let Some((machine, name)) = (unsafe { named(path) }) else {
        return told(real()) as c_int;
    };
    let is_new = flags & libc::O_CREAT != 0
        && ask!(SYS_faccessat, libc::AT_FDCWD, path, libc::F_OK).is_err();
    let answer = machine.call(
        Kind::Open,
        &name,
        |_| real(),
        |names, _| {
            if is_new {
                names.made();
            } else if flags & libc::O_TRUNC != 0 {
                names.resized(0);
            }
        },
    );
    told(answer) as c_int
}

#[unsafe(no_mangle)]
unsafe extern "C" fn open(path: *const c_char, flags: c_int, mode: mode_t) -> c_int {
    unsafe { open_any(path, flags, mode) }
}

#[unsafe(no_mangle)]
unsafe extern "C" fn open64(path: *const c_char, flags: c_int, mode: mode_t) -> c_int {
    unsafe { open_any(path, flags, mode) }
}

fn read_any(
    file: c_int,
    count: size_t,
    real: impl FnOnce(size_t) -> Result<c_long, c_int>,
) -> ssize_t {
    let Some((machine, name)) = opened(file) else {
        return told(real(count)) as ssize_t;
    };
    let answer = machine.call(
        Kind::Read,
        &name,
        |by_half| real(half(count, by_half)),
        |_, _| {},
    );
    told(answer) as ssize_t
}

#[unsafe(no_mangle)]
unsafe extern "C" fn read(file: c_int, bytes: *mut c_void, count: size_t) -> ssize_t {
    read_any(file, count, |count| ask!(SYS_read, file, bytes, count))
}

#[unsafe(no_mangle)]
unsafe extern "C" fn pread64(file: c_int, bytes: *mut c_void, count: size_t, at: off_t) -> ssize_t {
    read_any(file, count, |count| {
        ask!(SYS_pread64, file, bytes, count, at)
    })
}

#[unsafe(no_mangle)]
unsafe extern "C" fn pread(file: c_int, bytes: *mut c_void, count: size_t, at: off_t) -> ssize_t {
    read_any(file, count, |count| {
        ask!(SYS_pread64, file, bytes, count, at)
    })
}

/// `after` says where the file stands after so many bytes were written.
unsafe fn write_any(
    file: c_int,
    bytes: *const c_void,
    count: size_t,
    real: impl FnOnce(size_t) -> Result<c_long, c_int>,
    began: impl FnOnce(usize) -> usize,
) -> ssize_t {
    let Some((machine, name)) = opened(file) else {
        return told(real(count)) as ssize_t;
    };
    let answer = machine.call(
        Kind::Write,
        &name,
        |by_half| real(half(count, by_half)),
        |names, written| {
            let written = written as usize;
            let bytes = unsafe { std::slice::from_raw_parts(bytes.cast::<u8>(), written) };
            names.wrote(began(written), bytes);
        },
    );
    told(answer) as ssize_t
}

thread_local! {
    static IN_SILENCE: Cell<bool> = const { Cell::new(false) };
}

/// Does something; what this thread says on standard output meanwhile goes nowhere.
pub fn in_silence<T>(act: impl FnOnce() -> T) -> T {
    IN_SILENCE.set(true);
    let done = act();
    IN_SILENCE.set(false);
    done
}

#[unsafe(no_mangle)]
unsafe extern "C" fn write(file: c_int, bytes: *const c_void, count: size_t) -> ssize_t {
    if file == libc::STDOUT_FILENO && IN_SILENCE.get() {
        return count as ssize_t;
    }
    let began = |written| {
        let now = ask!(SYS_lseek, file, 0_i64, libc::SEEK_CUR).unwrap_or(0) as usize;
        now.saturating_sub(written)
    };
    let real = |count: size_t| ask!(SYS_write, file, bytes, count);
    unsafe { write_any(file, bytes, count, real, began) }
}

#[unsafe(no_mangle)]
unsafe extern "C" fn pwrite64(
    file: c_int,
    bytes: *const c_void,
    count: size_t,
    at: off_t,
) -> ssize_t {
    let real = |count: size_t| ask!(SYS_pwrite64, file, bytes, count, at);
    unsafe { write_any(file, bytes, count, real, |_| at as usize) }
}

#[unsafe(no_mangle)]
unsafe extern "C" fn pwrite(
    file: c_int,
    bytes: *const c_void,
    count: size_t,
    at: off_t,
) -> ssize_t {
    unsafe { pwrite64(file, bytes, count, at) }
}

fn truncate_any(file: c_int, length: off_t) -> c_int {
    let real = || ask!(SYS_ftruncate, file, length);
    let Some((machine, name)) = opened(file) else {
        return told(real()) as c_int;
    };
    let answer = machine.call(
        Kind::Truncate,
        &name,
        |_| real(),
        |names, _| names.resized(length as usize),
    );
    told(answer) as c_int
}

#[unsafe(no_mangle)]
extern "C" fn ftruncate64(file: c_int, length: off_t) -> c_int {
    truncate_any(file, length)
}

#[unsafe(no_mangle)]
extern "C" fn ftruncate(file: c_int, length: off_t) -> c_int {
    truncate_any(file, length)
}

/// What is watched is not synced, only noted.
fn sync_any(file: c_int, real: impl FnOnce() -> Result<c_long, c_int>) -> c_int {
    let Some((machine, name)) = opened(file) else {
        return told(real()) as c_int;
    };
    let answer = machine.call(Kind::Sync, &name, |_| Ok(0), |names, _| names.synced());
    told(answer) as c_int
}

#[unsafe(no_mangle)]
extern "C" fn fsync(file: c_int) -> c_int {
    sync_any(file, || ask!(SYS_fsync, file))
}

#[unsafe(no_mangle)]
extern "C" fn fdatasync(file: c_int) -> c_int {
    sync_any(file, || ask!(SYS_fdatasync, file))
}

#[unsafe(no_mangle)]
unsafe extern "C" fn unlink(path: *const c_char) -> c_int {
    let real = || ask!(SYS_unlinkat, libc::AT_FDCWD, path, 0);
    let Some((machine, name)) = (unsafe { named(path) }) else {
        return told(real()) as c_int;
    };
    let answer = machine.call(Kind::Remove, &name, |_| real(), |names, _| names.removed());
    told(answer) as c_int
}

#[unsafe(no_mangle)]
unsafe extern "C" fn rename(from: *const c_char, to: *const c_char) -> c_int {
    let real = || ask!(SYS_renameat2, libc::AT_FDCWD, from, libc::AT_FDCWD, to, 0);
    let Some((machine, name)) = (unsafe { named(from) }) else {
        return told(real()) as c_int;
    };
    let to = Path::new(OsStr::from_bytes(unsafe { CStr::from_ptr(to) }.to_bytes()));
    let answer = machine.call(
        Kind::Rename,
        &name,
        |_| real(),
        |names, _| names.renamed(to),
    );
    told(answer) as c_int
}

#[unsafe(no_mangle)]
unsafe extern "C" fn mkdir(path: *const c_char, mode: mode_t) -> c_int {
    let real = || ask!(SYS_mkdirat, libc::AT_FDCWD, path, mode);
    let Some((machine, name)) = (unsafe { named(path) }) else {
        return told(real()) as c_int;
    };
    let answer = machine.call(
        Kind::MakeFolder,
        &name,
        |_| real(),
        |names, _| names.made_folder(),
    );
    told(answer) as c_int
}

#[unsafe(no_mangle)]
unsafe extern "C" fn mmap64(
    place: *mut c_void,
    length: size_t,
    protection: c_int,
    flags: c_int,
    file: c_int,
    at: off_t,
) -> *mut c_void {
    let real = || ask!(SYS_mmap, place, length, protection, flags, file, at);
    let answer = match opened(file) {
        None => real(),
        Some((machine, name)) => machine.call(Kind::Map, &name, |_| real(), |_, _| {}),
    };
    told(answer) as *mut c_void
}

/// How a system's `stat` looks is the same for the library and the system on the machines this is built for.
#[unsafe(no_mangle)]
unsafe extern "C" fn fstat64(file: c_int, about: *mut stat) -> c_int {
    let real = || ask!(SYS_fstat, file, about);
    let answer = match opened(file) {
        None => real(),
        Some((machine, name)) => machine.call(Kind::Look, &name, |_| real(), |_, _| {}),
    };
    told(answer) as c_int
}

#[unsafe(no_mangle)]
unsafe extern "C" fn stat64(path: *const c_char, about: *mut stat) -> c_int {
    let real = || ask!(SYS_newfstatat, libc::AT_FDCWD, path, about, 0);
    let answer = match unsafe { named(path) } {
        None => real(),
        Some((machine, name)) => machine.call(Kind::Look, &name, |_| real(), |_, _| {}),
    };
    told(answer) as c_int
}

/// These would go past `read` and `write`; told that they cannot, the standard library takes those.
#[unsafe(no_mangle)]
unsafe extern "C" fn copy_file_range(
    from: c_int,
    from_at: *mut off_t,
    to: c_int,
    to_at: *mut off_t,
    count: size_t,
    flags: c_uint,
) -> ssize_t {
    if opened(from).or_else(|| opened(to)).is_some() {
        return told(Err(libc::ENOSYS)) as ssize_t;
    }
    told(ask!(
        SYS_copy_file_range,
        from,
        from_at,
        to,
        to_at,
        count,
        flags
    )) as ssize_t
}

#[unsafe(no_mangle)]
unsafe extern "C" fn sendfile64(to: c_int, from: c_int, at: *mut off_t, count: size_t) -> ssize_t {
    if opened(from).or_else(|| opened(to)).is_some() {
        return told(Err(libc::ENOSYS)) as ssize_t;
    }
    told(ask!(SYS_sendfile, to, from, at, count)) as ssize_t
}
