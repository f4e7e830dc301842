//! Parts as counting shows them.

use sqlx::SqliteConnection;

use crate::ids::{CountId, KitId, PartId, PlaceId};
use crate::kits::rules::alike::hides_under_film;

/// A part as it stands on a count sheet.
#[derive(Debug, Clone)]
pub struct Part {
    pub id: PartId,
    pub number: String,
    pub name: String,
    pub colour: String,
    pub how_to_know: String,
    pub hazard: String,
    pub counted_by: String,
    pub group_of: Option<i64>,
}

impl Part {
    /// "RR-014 · grey", or what there is of it.
    pub fn about(&self) -> String {
        [self.number.as_str(), self.colour.as_str()]
            .into_iter()
            .filter(|text| !text.is_empty())
            .collect::<Vec<_>>()
            .join(" · ")
    }

    /// "Shade, amber": tells parts of one name apart.
    pub fn full_name(&self) -> String {
        if self.colour.is_empty() {
            self.name.clone()
        } else {
            format!("{}, {}", self.name, self.colour)
        }
    }

    /// Nobody counts it: it is enough, low or none.
    pub fn is_looked_at(&self) -> bool {
        self.counted_by == "look"
    }

    /// Its colour cannot be seen before a film is peeled.
    pub fn is_under_film(&self) -> bool {
        hides_under_film(&self.how_to_know)
    }

    /// Whether it is usually weighed.
    pub fn is_weighed(&self) -> bool {
        self.counted_by == "weight"
    }

    /// Pieces in a group, where the part is counted by groups.
    pub fn group(&self) -> Option<i64> {
        self.group_of.filter(|_| self.counted_by == "group")
    }
}

/// Parts as a counter sees them, from where the rest of the query says.
macro_rules! parts {
    ($rest:tt $(, $value:expr)* $(,)?) => {
        sqlx::query_as!(
            Part,
            r#"
            select
                part.id as "id: PartId",
                part.number,
                part.name,
                part.colour,
                part.how_to_know,
                part.hazard,
                part.counted_by,
                part.group_of
            "# + $rest
            $(, $value)*
        )
    };
}

pub async fn part(db: &mut SqliteConnection, part: PartId) -> sqlx::Result<Option<Part>> {
    parts!(
        r#"
            from part
            where part.id = $1
        "#,
        part
    )
    .fetch_optional(db)
    .await
}

/// The parts of a kit's list, in its order.
pub async fn parts_of_kit(db: &mut SqliteConnection, kit: KitId) -> sqlx::Result<Vec<Part>> {
    parts!(
        r#"
            from kit_need
            join part on part.id = kit_need.part_id
            where kit_need.kit_id = $1
            order by kit_need.position
        "#,
        kit
    )
    .fetch_all(db)
    .await
}

/// Every part that a count expects or that somebody counted in it.
pub async fn parts_of_count(db: &mut SqliteConnection, count: CountId) -> sqlx::Result<Vec<Part>> {
    parts!(
        r#"
            from part
            where part.id in (
                select part_id from count_line where count_id = $1
                union
                select stint_total.part_id
                from stint
                join stint_total on stint_total.stint_id = stint.id
                where stint.count_id = $1
            )
        "#,
        count
    )
    .fetch_all(db)
    .await
}

/// Parts outside the kit's list whose number, name or colour holds the words, at most 20.
pub async fn others_like(
    db: &mut SqliteConnection,
    kit: KitId,
    words: &str,
) -> sqlx::Result<Vec<Part>> {
    let pattern = format!(
        "%{}%",
        words
            .replace('\\', "\\\\")
            .replace('%', "\\%")
            .replace('_', "\\_")
    );
    parts!(
        r#"
            from part
            where part.number || ' ' || part.name || ' ' || part.colour like $2 escape '\'
                and part.id not in (
                    select need.part_id
                    from kit
                    join need on need.revision_id = kit.revision_id and need.size_id = kit.size_id
                    where kit.id = $1
                )
                and part.counted_by <> 'look'
            order by part.name, part.colour, part.number
            limit 20
        "#,
        kit,
        pattern
    )
    .fetch_all(db)
    .await
}

/// What the kit needs of a part; `None` if its list does not name it.
pub async fn need(
    db: &mut SqliteConnection,
    kit: KitId,
    part: PartId,
) -> sqlx::Result<Option<i64>> {
    sqlx::query_scalar!(
        r#"
            select qty
            from kit_need
            where kit_id = $1 and part_id = $2
        "#,
        kit,
        part
    )
    .fetch_optional(db)
    .await
}

/// What a count expects in a place, in order.
pub async fn due_of_place(
    db: &mut SqliteConnection,
    count: CountId,
    place: PlaceId,
) -> sqlx::Result<Vec<(PartId, i64)>> {
    let rows = sqlx::query!(
        r#"
            select part_id as "part: PartId", due
            from count_line
            where count_id = $1 and place_id = $2
            order by position
        "#,
        count,
        place
    )
    .fetch_all(db)
    .await?;
    Ok(rows.into_iter().map(|row| (row.part, row.due)).collect())
}

/// What a count expects of a part in all its places together; `None` if nothing.
pub async fn due_of_part(
    db: &mut SqliteConnection,
    count: CountId,
    part: PartId,
) -> sqlx::Result<Option<i64>> {
    sqlx::query_scalar!(
        r#"
            select sum(due) as "due: i64"
            from count_line
            where count_id = $1 and part_id = $2
        "#,
        count,
        part
    )
    .fetch_one(db)
    .await
}
