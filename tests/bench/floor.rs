//! The floor: a bare server that runs given statements on SQLite inside the request's thread, reads every
//! value, and sends given bytes.

use std::cell::RefCell;
use std::net::SocketAddr;
use std::path::PathBuf;
use std::sync::Arc;

use axum::Router;
use axum::body::Bytes;
use axum::response::Html;
use axum::routing::get;
use fieldstow::serve::serve as accept;
use rusqlite::types::ValueRef;
use rusqlite::{Connection, OpenFlags};

thread_local! {
    static CONNECTION: RefCell<Option<(PathBuf, Connection)>> = const { RefCell::new(None) };
}

/// Starts the floor for one page and answers where it listens.
pub async fn serve(
    database: PathBuf,
    statements: Vec<String>,
    page: Vec<u8>,
) -> anyhow::Result<SocketAddr> {
    let listener = tokio::net::TcpListener::bind("127.0.0.1:0").await?;
    let address = listener.local_addr()?;
    let statements: Arc<[String]> = statements.into();
    let page = Bytes::from(page);
    let handler = move || {
        let (database, statements, page) = (database.clone(), statements.clone(), page.clone());
        async move {
            run(&database, &statements).expect("the same statements run");
            Html(page)
        }
    };
    let router = Router::new().route("/", get(handler));
    tokio::spawn(accept(
        listener,
        router,
        super::limits(),
        std::future::pending::<()>(),
    ));
    Ok(address)
}

fn run(database: &PathBuf, statements: &[String]) -> rusqlite::Result<u64> {
    CONNECTION.with_borrow_mut(|slot| {
        if slot.as_ref().is_none_or(|(file, _)| file != database) {
            let flags = OpenFlags::SQLITE_OPEN_READ_ONLY | OpenFlags::SQLITE_OPEN_NO_MUTEX;
            let connection = Connection::open_with_flags(database, flags)?;
            connection.set_prepared_statement_cache_capacity(200);
            *slot = Some((database.clone(), connection));
        }
        let (_, connection) = slot.as_ref().expect("just opened");
        let mut seen = 0u64;
        for sql in statements {
            let mut statement = connection.prepare_cached(sql)?;
            let columns = statement.column_count();
            let mut rows = statement.query([])?;
            while let Some(row) = rows.next()? {
                for column in 0..columns {
                    // Reading the value, as building a page must.
                    seen += match row.get_ref(column)? {
                        ValueRef::Null => 0,
                        ValueRef::Integer(number) => number.unsigned_abs() & 1,
                        ValueRef::Real(_) => 1,
                        ValueRef::Text(bytes) | ValueRef::Blob(bytes) => {
                            bytes.to_vec().len() as u64
                        }
                    };
                }
            }
        }
        Ok(seen)
    })
}
