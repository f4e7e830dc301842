//! The queries about parts.

mod prices;
mod stand_ins;

pub use prices::{
    PriceSaid, Priced, TeamMoney, add_money, add_price, money_said, priced, priced_otherwise,
    prices_said,
};
pub use stand_ins::{
    StandIn, called, end as end_stand_in, holding, insert as insert_stand_in,
    of_part as stand_ins_of,
};

use sqlx::SqliteConnection;

use super::rules::{CountedBy, Values};
use crate::ids::{PartId, RevisionId};

#[derive(Debug, Clone)]
pub struct Part {
    pub id: PartId,
    pub maker: String,
    pub number: String,
    pub colour: String,
    pub issue_mark: String,
    pub name: String,
    pub mass_g: Option<f64>,
    pub how_to_know: String,
    pub hazard: String,
    pub counted_by: CountedBy,
    pub group_of: Option<i64>,
    pub essential: bool,
    pub version: i64,
}

/// A revision that lists a part.
#[derive(Debug, Clone)]
pub struct Listed {
    pub revision: RevisionId,
    pub guide_name: String,
    pub label: String,
    /// "half: 14, full: 20".
    pub needs: String,
    /// What the revision calls it, where that is not today's name.
    pub called: Option<String>,
}

pub async fn find(db: &mut SqliteConnection, part: PartId) -> sqlx::Result<Option<Part>> {
    sqlx::query_as!(
        Part,
        r#"
            select
                id as "id: PartId",
                maker,
                number,
                colour,
                issue_mark,
                name,
                mass_g,
                how_to_know,
                hazard,
                counted_by as "counted_by: CountedBy",
                group_of,
                essential as "essential: bool",
                version
            from part
            where id = $1
        "#,
        part
    )
    .fetch_optional(db)
    .await
}

/// The revisions that list a part, the newest first.
pub async fn listed_in(db: &mut SqliteConnection, part: PartId) -> sqlx::Result<Vec<Listed>> {
    sqlx::query_as!(
        Listed,
        r#"
            select
                revision.id as "revision!: RevisionId",
                guide.name as "guide_name!",
                revision.label as "label!",
                coalesce(
                    (
                        select group_concat(size.name || ': ' || need.qty, ', ')
                        from size
                        join need
                            on need.revision_id = revision.id
                            and need.size_id = size.id
                            and need.part_id = $1
                    ),
                    'none'
                ) as "needs!: String",
                part_name.name as "called?"
            from revision
            join guide on guide.id = revision.guide_id
            left join part_name
                on part_name.revision_id = revision.id and part_name.part_id = $1
            where revision.id in (select revision_id from list_line where part_id = $1)
            order by revision.issued_on desc, guide.name
        "#,
        part
    )
    .fetch_all(db)
    .await
}

pub async fn update(db: &mut SqliteConnection, part: PartId, values: &Values) -> sqlx::Result<()> {
    sqlx::query!(
        r#"
            update part
            set
                name = $1,
                mass_g = $2,
                how_to_know = $3,
                hazard = $4,
                counted_by = $5,
                group_of = $6,
                essential = $7,
                version = version + 1
            where id = $8
        "#,
        values.name,
        values.mass_g,
        values.how_to_know,
        values.hazard,
        values.counted_by,
        values.group_of,
        values.essential,
        part
    )
    .execute(db)
    .await?;
    Ok(())
}

/// Pieces of a part that the books hold in real places, of all teams.
pub async fn in_the_books(db: &mut SqliteConnection, part: PartId) -> sqlx::Result<i64> {
    sqlx::query_scalar!(
        r#"
            select coalesce(sum(qty), 0) as "qty!: i64"
            from balance
            where part_id = $1 and outside = 0 and qty > 0
        "#,
        part
    )
    .fetch_one(db)
    .await
}

/// Whether a count that is open expects pieces of a part.
pub async fn is_being_counted(db: &mut SqliteConnection, part: PartId) -> sqlx::Result<bool> {
    sqlx::query_scalar!(
        r#"
            select exists (
                select 1
                from count_sheet
                join count_line on count_line.count_id = count_sheet.id
                where count_sheet.closed_at is null and count_line.part_id = $1
            ) as "is!: bool"
        "#,
        part
    )
    .fetch_one(db)
    .await
}
