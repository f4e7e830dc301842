//! The queries about parts lists and their roll-up.

use std::collections::HashMap;

use sqlx::SqliteConnection;

use crate::guides::list::NewPart;
use crate::guides::need::{Basis, Child};
use crate::guides::outline::ListRow;
use crate::ids::{AssemblyId, GuideId, ListLineId, PartId, RevisionId, SizeId};

/// What a kit of a size must hold, in the order of the list.
pub async fn need_of(
    db: &mut SqliteConnection,
    revision: RevisionId,
    size: SizeId,
) -> sqlx::Result<Vec<(PartId, i64)>> {
    let rows = sqlx::query!(
        r#"
            select part_id as "part: PartId", qty
            from need
            where revision_id = $1 and size_id = $2
            order by position
        "#,
        revision,
        size
    )
    .fetch_all(db)
    .await?;
    Ok(rows.into_iter().map(|row| (row.part, row.qty)).collect())
}

/// Empties the list of a revision.
pub async fn clear_list(db: &mut SqliteConnection, revision: RevisionId) -> sqlx::Result<()> {
    sqlx::query!(r#"delete from need where revision_id = $1"#, revision)
        .execute(&mut *db)
        .await?;
    sqlx::query!(r#"delete from part_name where revision_id = $1"#, revision)
        .execute(&mut *db)
        .await?;
    sqlx::query!(
        r#"
            delete from list_quantity
            where line_id in (select id from list_line where revision_id = $1)
        "#,
        revision
    )
    .execute(&mut *db)
    .await?;
    sqlx::query!(r#"delete from list_line where revision_id = $1"#, revision)
        .execute(db)
        .await?;
    Ok(())
}

/// The part that a list means: the known one with this maker, number and colour (without a number:
/// with this name and colour), or a new one.
pub async fn part_for(
    db: &mut SqliteConnection,
    maker: &str,
    revision: RevisionId,
    part: &NewPart,
) -> sqlx::Result<PartId> {
    let known = sqlx::query!(
        r#"
            select id as "id: PartId", name
            from part
            where maker = $1 and number = $2 and colour = $3 and issue_mark = $4
                and (number <> '' or name = $5)
        "#,
        maker,
        part.number,
        part.colour,
        part.issue_mark,
        part.name
    )
    .fetch_optional(&mut *db)
    .await?;
    if let Some(known) = known {
        if known.name != part.name {
            sqlx::query!(
                r#"
                    insert into part_name (revision_id, part_id, name)
                    values ($1, $2, $3)
                    on conflict (revision_id, part_id) do nothing
                "#,
                revision,
                known.id,
                part.name
            )
            .execute(&mut *db)
            .await?;
        }
        sqlx::query!(
            r#"
                update part
                set mass_g = coalesce(mass_g, $1),
                    how_to_know = case when how_to_know = '' then $2 else how_to_know end
                where id = $3
            "#,
            part.mass_g,
            part.how_to_know,
            known.id
        )
        .execute(db)
        .await?;
        return Ok(known.id);
    }
    let id = PartId::new();
    sqlx::query!(
        r#"
            insert into part (id, maker, number, colour, issue_mark, name, mass_g, how_to_know)
            values ($1, $2, $3, $4, $5, $6, $7, $8)
        "#,
        id,
        maker,
        part.number,
        part.colour,
        part.issue_mark,
        part.name,
        part.mass_g,
        part.how_to_know
    )
    .execute(db)
    .await?;
    Ok(id)
}

/// The assembly of a guide with this name, or a new one.
pub async fn assembly_for(
    db: &mut SqliteConnection,
    guide: GuideId,
    name: &str,
) -> sqlx::Result<AssemblyId> {
    let known = sqlx::query_scalar!(
        r#"select id as "id: AssemblyId" from assembly where guide_id = $1 and name = $2"#,
        guide,
        name
    )
    .fetch_optional(&mut *db)
    .await?;
    if let Some(id) = known {
        return Ok(id);
    }
    let id = AssemblyId::new();
    sqlx::query!(
        r#"insert into assembly (id, guide_id, name) values ($1, $2, $3)"#,
        id,
        guide,
        name
    )
    .execute(db)
    .await?;
    Ok(id)
}

/// An assembly of a parts list.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct AssemblyName {
    pub id: AssemblyId,
    pub name: String,
}

/// The assemblies that a revision's list names, by name.
pub async fn assemblies(
    db: &mut SqliteConnection,
    revision: RevisionId,
) -> sqlx::Result<Vec<AssemblyName>> {
    sqlx::query_as!(
        AssemblyName,
        r#"
            select id as "id!: AssemblyId", name as "name!"
            from assembly
            where id in (
                select assembly_id from list_line where revision_id = $1
                union
                select child_assembly_id from list_line where revision_id = $1
            )
            order by name
        "#,
        revision
    )
    .fetch_all(db)
    .await
}

/// The names of the assemblies that a revision's list names.
pub async fn assembly_names(
    db: &mut SqliteConnection,
    revision: RevisionId,
) -> sqlx::Result<HashMap<AssemblyId, String>> {
    let assemblies = assemblies(db, revision).await?;
    Ok(assemblies
        .into_iter()
        .map(|one| (one.id, one.name))
        .collect())
}

pub struct LineRow {
    pub id: ListLineId,
    pub revision: RevisionId,
    pub assembly: Option<AssemblyId>,
    pub child: Child<PartId, AssemblyId>,
    pub basis: Basis,
    pub position: i64,
    pub source_line: Option<i64>,
}

pub async fn insert_line(db: &mut SqliteConnection, row: LineRow) -> sqlx::Result<()> {
    let (part, child_assembly) = match row.child {
        Child::Part(part) => (Some(part), None),
        Child::Assembly(assembly) => (None, Some(assembly)),
    };
    let basis = match row.basis {
        Basis::Each => "each",
        Basis::All => "all",
    };
    sqlx::query!(
        r#"
            insert into list_line (
                id, revision_id, assembly_id, part_id, child_assembly_id, basis, position, source_line
            )
            values ($1, $2, $3, $4, $5, $6, $7, $8)
        "#,
        row.id,
        row.revision,
        row.assembly,
        part,
        child_assembly,
        basis,
        row.position,
        row.source_line
    )
    .execute(db)
    .await?;
    Ok(())
}

pub async fn insert_quantity(
    db: &mut SqliteConnection,
    line: ListLineId,
    size: SizeId,
    quantity: u32,
) -> sqlx::Result<()> {
    sqlx::query!(
        r#"insert into list_quantity (line_id, size_id, qty) values ($1, $2, $3)"#,
        line,
        size,
        quantity
    )
    .execute(db)
    .await?;
    Ok(())
}

pub async fn insert_need(
    db: &mut SqliteConnection,
    revision: RevisionId,
    size: SizeId,
    part: PartId,
    qty: i64,
    position: i64,
) -> sqlx::Result<()> {
    sqlx::query!(
        r#"
            insert into need (revision_id, size_id, part_id, qty, position)
            values ($1, $2, $3, $4, $5)
        "#,
        revision,
        size,
        part,
        qty,
        position
    )
    .execute(db)
    .await?;
    Ok(())
}

/// A part as a revision's list names it.
#[derive(Debug, Clone)]
pub struct ListedPart {
    pub id: PartId,
    pub number: String,
    pub name: String,
    pub colour: String,
    pub how_to_know: String,
    pub mass_g: Option<f64>,
}

/// Every part of a revision's list, under the name the revision gives it.
pub async fn listed_parts(
    db: &mut SqliteConnection,
    revision: RevisionId,
) -> sqlx::Result<Vec<ListedPart>> {
    sqlx::query_as!(
        ListedPart,
        r#"
            select
                part.id as "id: PartId",
                part.number,
                coalesce(part_name.name, part.name) as "name!",
                part.colour,
                part.how_to_know,
                part.mass_g
            from part
            left join part_name
                on part_name.part_id = part.id and part_name.revision_id = $1
            where part.id in (select part_id from list_line where revision_id = $1)
        "#,
        revision
    )
    .fetch_all(db)
    .await
}

/// Every line of a revision's list, in its order.
pub async fn list_rows(
    db: &mut SqliteConnection,
    revision: RevisionId,
) -> sqlx::Result<Vec<ListRow>> {
    let rows = sqlx::query!(
        r#"
            select
                list_line.id as "id: ListLineId",
                list_line.assembly_id as "assembly: AssemblyId",
                list_line.part_id as "part: PartId",
                list_line.child_assembly_id as "child: AssemblyId",
                list_line.basis = 'all' as "for_all: bool",
                list_quantity.size_id as "size?: SizeId",
                list_quantity.qty as "qty?"
            from list_line
            left join list_quantity on list_quantity.line_id = list_line.id
            where list_line.revision_id = $1
            order by list_line.position, list_line.id
        "#,
        revision
    )
    .fetch_all(db)
    .await?;
    let mut lines: Vec<ListRow> = Vec::new();
    let mut last = None;
    for row in rows {
        if last != Some(row.id) {
            let child = match (row.part, row.child) {
                (Some(part), _) => Child::Part(part),
                (None, Some(assembly)) => Child::Assembly(assembly),
                // The check constraint allows exactly one of the two.
                (None, None) => continue,
            };
            lines.push(ListRow {
                assembly: row.assembly,
                child,
                basis: if row.for_all { Basis::All } else { Basis::Each },
                quantities: HashMap::new(),
            });
            last = Some(row.id);
        }
        if let (Some(line), Some(size), Some(qty)) = (lines.last_mut(), row.size, row.qty) {
            line.quantities.insert(size, qty.unsigned_abs());
        }
    }
    Ok(lines)
}

/// Copies the list of one revision, and its roll-up, into another that is empty.
pub async fn copy_list(
    db: &mut SqliteConnection,
    from: RevisionId,
    to: RevisionId,
) -> sqlx::Result<()> {
    let lines = sqlx::query_scalar!(
        r#"select id as "id: ListLineId" from list_line where revision_id = $1"#,
        from
    )
    .fetch_all(&mut *db)
    .await?;
    for line in lines {
        let copy = ListLineId::new();
        sqlx::query!(
            r#"
                insert into list_line (
                    id, revision_id, assembly_id, part_id, child_assembly_id, basis, position,
                    source_line
                )
                select
                    $1, $2, assembly_id, part_id, child_assembly_id, basis, position, source_line
                from list_line
                where id = $3
            "#,
            copy,
            to,
            line
        )
        .execute(&mut *db)
        .await?;
        sqlx::query!(
            r#"
                insert into list_quantity (line_id, size_id, qty)
                select $1, size_id, qty from list_quantity where line_id = $2
            "#,
            copy,
            line
        )
        .execute(&mut *db)
        .await?;
    }
    sqlx::query!(
        r#"
            insert into part_name (revision_id, part_id, name)
            select $1, part_id, name from part_name where revision_id = $2
        "#,
        to,
        from
    )
    .execute(&mut *db)
    .await?;
    sqlx::query!(
        r#"
            insert into need (revision_id, size_id, part_id, qty, position)
            select $1, size_id, part_id, qty, position from need where revision_id = $2
        "#,
        to,
        from
    )
    .execute(db)
    .await?;
    Ok(())
}
