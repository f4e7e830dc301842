//! Notes which statements the program's readers run, with their values written out.

use std::ffi::{CStr, c_int, c_uint, c_void};
use std::sync::Mutex;

use fieldstow::db::Db;
use libsqlite3_sys as sqlite;

static NOTED: Mutex<Vec<String>> = Mutex::new(Vec::new());

/// A watch over all readers.
pub struct Watch(());

/// Begins to note.
pub async fn watch(db: &Db) -> anyhow::Result<Watch> {
    NOTED
        .lock()
        .map_err(|_| anyhow::anyhow!("a noting thread broke"))?
        .clear();
    set(db, sqlite::SQLITE_TRACE_STMT, Some(note)).await?;
    Ok(Watch(()))
}

impl Watch {
    /// Stops, and answers what was noted.
    pub async fn stop(self, db: &Db) -> anyhow::Result<Vec<String>> {
        set(db, 0, None).await?;
        let noted = NOTED
            .lock()
            .map_err(|_| anyhow::anyhow!("a noting thread broke"))?
            .clone();
        Ok(noted)
    }
}

type Callback = unsafe extern "C" fn(c_uint, *mut c_void, *mut c_void, *mut c_void) -> c_int;

/// Takes every reader at once, so that none is left out, and sets its trace.
async fn set(db: &Db, mask: c_uint, callback: Option<Callback>) -> anyhow::Result<()> {
    let mut readers = Vec::new();
    for _ in 0..fieldstow::db::READERS {
        readers.push(db.read().await?);
    }
    for reader in &mut readers {
        let mut handle = reader.lock_handle().await?;
        // SAFETY: the handle is locked, so nobody else uses the connection; the callback is a plain
        // function without state.
        unsafe {
            sqlite::sqlite3_trace_v2(
                handle.as_raw_handle().as_ptr().cast(),
                mask,
                callback,
                std::ptr::null_mut(),
            );
        }
    }
    Ok(())
}

unsafe extern "C" fn note(
    _event: c_uint,
    _context: *mut c_void,
    statement: *mut c_void,
    _text: *mut c_void,
) -> c_int {
    // SAFETY: SQLite hands a live statement to this event; the text it gives back is ours to free.
    unsafe {
        let sql = sqlite::sqlite3_expanded_sql(statement.cast());
        if !sql.is_null() {
            // What a statement runs inside itself, such as the full-text index, comes as a comment.
            if let (Ok(text), Ok(mut noted)) = (CStr::from_ptr(sql).to_str(), NOTED.lock())
                && !text.starts_with("--")
            {
                noted.push(text.to_owned());
            }
            sqlite::sqlite3_free(sql.cast());
        }
    }
    0
}
