//! Every table, whatever there is: which columns it has, its rows as JSON, and JSON as its rows.
//!
//! Nothing here names a table, except for those that are left out: a table that is added later is in the
//! archive by itself. The names put into statements come from the schema of the database.

use futures_util::TryStreamExt;
use serde_json::{Map, Value};
use sqlx::sqlite::SqliteRow;
use sqlx::{AssertSqlSafe, Row, SqliteConnection};

use super::{hex, unhex};
use crate::error::AppError;

/// Tables that are not in an archive, each with its reason.
const LEFT_OUT: [(&str, &str); 8] = [
    (
        "_sqlx_migrations",
        "the version of the tables is in the contents",
    ),
    ("session", "lets somebody in"),
    ("token", "lets somebody in"),
    ("sign_in_failure", "of use to the running server only"),
    ("receipt", "of use to the running server only"),
    ("import_draft", "not read in yet, and can be sent again"),
    ("finding", "made anew from parts, kits and places"),
    ("file_chunk", "the files stand beside the tables"),
];

/// Columns that are empty in an archive.
const BLANK: [(&str, &str); 1] = [("person", "password_hash")];

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Kind {
    Integer,
    Real,
    Text,
    Blob,
}

#[derive(Debug, Clone)]
struct Column {
    name: String,
    kind: Kind,
    is_blank: bool,
}

/// A table as it is written and read.
#[derive(Debug, Clone)]
pub struct Table {
    pub name: String,
    columns: Vec<Column>,
    /// The columns of its key, in the key's order.
    key: Vec<String>,
    /// The statement that adds a row.
    adding: String,
}

fn quoted(name: &str) -> String {
    format!("\"{}\"", name.replace('"', "\"\""))
}

/// Every table that is in an archive, by name.
pub async fn tables(db: &mut SqliteConnection) -> Result<Vec<Table>, AppError> {
    let names: Vec<String> = sqlx::query_scalar(
        "select name from pragma_table_list \
         where schema = 'main' and type = 'table' and name not like 'sqlite\\_%' escape '\\' \
         order by name",
    )
    .fetch_all(&mut *db)
    .await?;
    let mut tables = Vec::new();
    for name in names {
        if LEFT_OUT.iter().any(|(left_out, _)| *left_out == name) {
            continue;
        }
        let rows: Vec<(String, String, i64)> =
            sqlx::query_as("select name, type, pk from pragma_table_info($1) order by cid")
                .bind(&name)
                .fetch_all(&mut *db)
                .await?;
        let mut key: Vec<(i64, String)> = Vec::new();
        let mut columns = Vec::new();
        for (column, kind, place_in_key) in rows {
            if place_in_key > 0 {
                key.push((place_in_key, column.clone()));
            }
            let kind = match kind.to_ascii_lowercase().as_str() {
                "integer" | "int" => Kind::Integer,
                "real" => Kind::Real,
                "text" => Kind::Text,
                "blob" => Kind::Blob,
                other => return Err(broken(format!("{name}.{column} is of the kind {other}"))),
            };
            columns.push(Column {
                is_blank: BLANK.contains(&(name.as_str(), column.as_str())),
                name: column,
                kind,
            });
        }
        key.sort();
        let key: Vec<String> = key.into_iter().map(|(_, column)| column).collect();
        if key.is_empty() {
            return Err(broken(format!("the table {name} has no key to go by")));
        }
        tables.push(Table {
            adding: adding(&name, &columns),
            name,
            columns,
            key,
        });
    }
    Ok(tables)
}

/// Rows that every new database has are there already. Whether they are the same is seen when everything is
/// written out again.
fn adding(table: &str, columns: &[Column]) -> String {
    let names: Vec<String> = columns.iter().map(|one| quoted(&one.name)).collect();
    let values: Vec<String> = (1..=columns.len()).map(|n| format!("${n}")).collect();
    format!(
        "insert into {} ({}) values ({}) on conflict do nothing",
        quoted(table),
        names.join(", "),
        values.join(", ")
    )
}

fn broken(why: String) -> AppError {
    AppError::Broken(anyhow::anyhow!(why))
}

pub async fn has_table(db: &mut SqliteConnection, name: &str) -> sqlx::Result<bool> {
    sqlx::query_scalar("select count(*) > 0 from sqlite_schema where type = 'table' and name = $1")
        .bind(name)
        .fetch_one(db)
        .await
}

/// The newest migration of a database.
pub async fn schema(db: &mut SqliteConnection) -> sqlx::Result<i64> {
    sqlx::query_scalar("select coalesce(max(version), 0) from _sqlx_migrations")
        .fetch_one(db)
        .await
}

/// Gives every row of a table as one JSON object, in the order of its key.
pub async fn each_row(
    db: &mut SqliteConnection,
    table: &Table,
    mut row: impl FnMut(String) -> std::io::Result<()>,
) -> Result<u64, AppError> {
    let columns: Vec<String> = table.columns.iter().map(|one| quoted(&one.name)).collect();
    let key: Vec<String> = table.key.iter().map(|one| quoted(one)).collect();
    // A file of which not all bytes are here yet is nothing yet.
    let whole = if table.name == "file" {
        " where sha256 is not null or erased_at is not null"
    } else {
        ""
    };
    let statement = format!(
        "select {} from {}{whole} order by {}",
        columns.join(", "),
        quoted(&table.name),
        key.join(", ")
    );
    let mut rows = sqlx::query(AssertSqlSafe(statement)).fetch(&mut *db);
    let mut count = 0;
    while let Some(found) = rows.try_next().await? {
        row(json(table, &found)?).map_err(|error| AppError::Broken(error.into()))?;
        count += 1;
    }
    Ok(count)
}

/// One row: a JSON object with its columns in the table's order.
fn json(table: &Table, row: &SqliteRow) -> sqlx::Result<String> {
    let mut text = String::from("{");
    for (at, column) in table.columns.iter().enumerate() {
        if at > 0 {
            text.push(',');
        }
        text.push_str(&Value::from(column.name.as_str()).to_string());
        text.push(':');
        let value = if column.is_blank {
            Value::Null
        } else {
            match column.kind {
                Kind::Integer => row.try_get_unchecked::<Option<i64>, _>(at)?.into(),
                Kind::Real => row.try_get_unchecked::<Option<f64>, _>(at)?.into(),
                Kind::Text => row.try_get_unchecked::<Option<String>, _>(at)?.into(),
                Kind::Blob => row
                    .try_get_unchecked::<Option<Vec<u8>>, _>(at)?
                    .map(|bytes| hex(&bytes))
                    .into(),
            }
        };
        text.push_str(&value.to_string());
    }
    text.push('}');
    Ok(text)
}

/// Adds one row. `Err` says in words what is wrong with it.
pub async fn add_row(
    db: &mut SqliteConnection,
    table: &Table,
    mut row: Map<String, Value>,
) -> anyhow::Result<()> {
    let mut query = sqlx::query(AssertSqlSafe(table.adding.clone()));
    for column in &table.columns {
        let value = row
            .remove(&column.name)
            .ok_or_else(|| anyhow::anyhow!("it has no “{}”", column.name))?;
        let wrong = || anyhow::anyhow!("its “{}” is not of the right kind", column.name);
        query = match (value, column.kind) {
            (Value::Null, _) => query.bind(None::<i64>),
            (Value::Number(number), Kind::Integer) => {
                query.bind(number.as_i64().ok_or_else(wrong)?)
            }
            (Value::Number(number), Kind::Real) => query.bind(number.as_f64().ok_or_else(wrong)?),
            (Value::String(text), Kind::Text) => query.bind(text),
            (Value::String(digits), Kind::Blob) => query.bind(unhex(&digits).ok_or_else(wrong)?),
            _ => return Err(wrong()),
        };
    }
    if let Some(unknown) = row.keys().next() {
        anyhow::bail!("it has a “{unknown}”, which this program does not know");
    }
    query.execute(db).await?;
    Ok(())
}

/// A file whose bytes are in the database.
pub struct KeptFile {
    pub id: Vec<u8>,
    pub kind: String,
}

pub async fn files(db: &mut SqliteConnection) -> sqlx::Result<Vec<KeptFile>> {
    let rows: Vec<(Vec<u8>, String)> =
        sqlx::query_as("select id, kind from file where sha256 is not null order by id")
            .fetch_all(db)
            .await?;
    Ok(rows
        .into_iter()
        .map(|(id, kind)| KeptFile { id, kind })
        .collect())
}

/// Gives the bytes of a file, one piece after the other.
pub async fn each_piece(
    db: &mut SqliteConnection,
    file: &[u8],
    mut piece: impl FnMut(&[u8]) -> std::io::Result<()>,
) -> Result<(), AppError> {
    let mut rows = sqlx::query("select bytes from file_chunk where file_id = $1 order by n")
        .bind(file)
        .fetch(&mut *db);
    while let Some(row) = rows.try_next().await? {
        let bytes: Vec<u8> = row.try_get(0)?;
        piece(&bytes).map_err(|error| AppError::Broken(error.into()))?;
    }
    Ok(())
}

pub async fn add_piece(
    db: &mut SqliteConnection,
    file: &[u8],
    n: i64,
    bytes: &[u8],
) -> sqlx::Result<()> {
    sqlx::query("insert into file_chunk (file_id, n, bytes) values ($1, $2, $3)")
        .bind(file)
        .bind(n)
        .bind(bytes)
        .execute(db)
        .await?;
    Ok(())
}

/// Begins filling an empty database: rows come in any order, and what points at what is looked at when it is
/// done. The guards against adding are taken off, because they know only the order in which people work.
/// They are given back, to be put on again.
pub async fn begin_filling(db: &mut SqliteConnection) -> sqlx::Result<Vec<String>> {
    sqlx::raw_sql("begin immediate; pragma defer_foreign_keys = on;")
        .execute(&mut *db)
        .await?;
    let guards: Vec<(String, String)> = sqlx::query_as(
        "select name, sql from sqlite_schema where type = 'trigger' and sql like '%before insert on%' \
         order by name",
    )
    .fetch_all(&mut *db)
    .await?;
    let mut statements = Vec::new();
    for (name, sql) in guards {
        let statement = format!("drop trigger {}", quoted(&name));
        sqlx::raw_sql(AssertSqlSafe(statement))
            .execute(&mut *db)
            .await?;
        statements.push(sql);
    }
    Ok(statements)
}

/// Puts the guards on again and makes what was filled in durable.
pub async fn end_filling(db: &mut SqliteConnection, guards: Vec<String>) -> sqlx::Result<()> {
    for guard in guards {
        sqlx::raw_sql(AssertSqlSafe(guard))
            .execute(&mut *db)
            .await?;
    }
    sqlx::raw_sql("commit").execute(db).await?;
    Ok(())
}

/// A sheet for people: its columns and its cells.
pub type Cells = Vec<String>;

/// What every team's kits hold and where, outside places left out.
pub async fn pieces(db: &mut SqliteConnection) -> sqlx::Result<Vec<Cells>> {
    cells(
        db,
        r#"
            select
                team.name,
                kit.name,
                part.number,
                part.name,
                part.colour,
                balance.state,
                cast(balance.qty as text),
                place.kind,
                place.name,
                coalesce(code.code, ''),
                coalesce(parent.name, '')
            from balance
            join place on place.id = balance.place_id
            join kit on kit.id = balance.kit_id
            join team on team.id = kit.team_id
            join part on part.id = balance.part_id
            left join place as parent on parent.id = place.parent_id
            left join code on code.subject_id = place.id
            where balance.outside = 0 and balance.qty > 0
            order by team.name, kit.name, part.number, part.name, part.id, place.name, place.id, balance.state
        "#,
    )
    .await
}

/// What the lists ask for, added up by part.
pub async fn needs(db: &mut SqliteConnection) -> sqlx::Result<Vec<Cells>> {
    cells(
        db,
        r#"
            select
                guide.name,
                revision.label,
                size.name,
                part.number,
                part.name,
                part.colour,
                cast(need.qty as text)
            from need
            join revision on revision.id = need.revision_id
            join guide on guide.id = revision.guide_id
            join size on size.id = need.size_id
            join part on part.id = need.part_id
            where need.qty > 0
            order by guide.name, revision.issued_on, revision.label, size.name, part.number, part.name, part.id
        "#,
    )
    .await
}

/// What moved, in the order of the book. Times are UTC.
pub async fn moves(db: &mut SqliteConnection) -> sqlx::Result<Vec<Cells>> {
    cells(
        db,
        r#"
            select
                cast(entry.seq as text),
                strftime('%Y-%m-%d %H:%M:%S', entry.recorded_at / 1000, 'unixepoch'),
                strftime('%Y-%m-%d %H:%M:%S', entry.done_at / 1000, 'unixepoch'),
                person.name,
                entry.kind,
                part.number,
                part.name,
                part.colour,
                cast(move.qty as text),
                from_kit.name,
                from_place.name,
                move.from_state,
                to_kit.name,
                to_place.name,
                move.to_state,
                coalesce(entry_note.text, '')
            from move
            join entry on entry.seq = move.entry_seq
            join person on person.id = entry.actor_id
            join part on part.id = move.part_id
            join kit as from_kit on from_kit.id = move.from_kit_id
            join kit as to_kit on to_kit.id = move.to_kit_id
            join place as from_place on from_place.id = move.from_place_id
            join place as to_place on to_place.id = move.to_place_id
            left join entry_note on entry_note.entry_seq = entry.seq
            order by move.entry_seq, move.line
        "#,
    )
    .await
}

async fn cells(db: &mut SqliteConnection, statement: &'static str) -> sqlx::Result<Vec<Cells>> {
    let mut rows = sqlx::query(statement).fetch(db);
    let mut all = Vec::new();
    while let Some(row) = rows.try_next().await? {
        let cells: Result<Cells, _> = (0..row.len()).map(|at| row.try_get(at)).collect();
        all.push(cells?);
    }
    Ok(all)
}
