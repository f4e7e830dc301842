//! The lines of the parts list that a kit is checked against.

use sqlx::SqliteConnection;

use crate::guides::need::{Basis, Child, Line};
use crate::ids::{AssemblyId, PartId, RevisionId, SizeId};

#[derive(Debug, Clone, PartialEq, Eq)]
pub struct AssemblyName {
    pub id: AssemblyId,
    pub name: String,
}

/// The lines that hold something in a size, in the order of the list.
pub async fn lines(
    db: &mut SqliteConnection,
    revision: RevisionId,
    size: SizeId,
) -> sqlx::Result<Vec<Line<PartId, AssemblyId>>> {
    let rows = sqlx::query!(
        r#"
            select
                list_line.assembly_id as "parent: AssemblyId",
                list_line.part_id as "part: PartId",
                list_line.child_assembly_id as "assembly: AssemblyId",
                list_line.basis = 'each' as "is_each!: bool",
                list_quantity.qty
            from list_line
            join list_quantity on list_quantity.line_id = list_line.id
            where list_line.revision_id = $1 and list_quantity.size_id = $2
            order by list_line.position
        "#,
        revision,
        size
    )
    .fetch_all(db)
    .await?;
    Ok(rows
        .into_iter()
        .filter_map(|row| {
            let child = row
                .part
                .map(Child::Part)
                .or(row.assembly.map(Child::Assembly))?;
            Some(Line {
                parent: row.parent,
                child,
                basis: if row.is_each { Basis::Each } else { Basis::All },
                quantity: u64::try_from(row.qty).unwrap_or(0),
            })
        })
        .collect())
}

/// The assemblies that a revision names, by name.
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
