//! The assemblies of the parts list that a kit is checked against.

use sqlx::SqliteConnection;

use crate::ids::{AssemblyId, RevisionId};

#[derive(Debug, Clone, PartialEq, Eq)]
pub struct AssemblyName {
    pub id: AssemblyId,
    pub name: String,
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
