//! The counts themselves and the lines they expect.

use sqlx::SqliteConnection;

use super::super::rules::close::{Purpose, Source};
use crate::clock::Instant;
use crate::code::Code;
use crate::ids::{CountId, KitId, PersonId, PlaceId, RevisionId, SizeId, TeamId};
use crate::ledger::Seq;

/// A count of a kit.
#[derive(Debug, Clone)]
pub struct CountSheet {
    pub id: CountId,
    pub code: Code,
    pub kit: KitId,
    pub kit_name: String,
    pub team: TeamId,
    /// The time zone of the team's days.
    pub zone: String,
    pub revision: Option<RevisionId>,
    pub revision_label: Option<String>,
    pub size: Option<SizeId>,
    pub purpose: Purpose,
    pub source: Source,
    pub opened_at: Instant,
    pub opened_by: String,
    pub closed_at: Option<Instant>,
    pub closed_by: Option<String>,
    pub closing_seq: Option<Seq>,
    pub more_to_come: Option<bool>,
    pub left_reason: String,
    pub reopened_as: Option<CountId>,
    /// Where it goes on when it is closed; blank for nowhere.
    pub goes_on: String,
}

impl CountSheet {
    pub fn is_open(&self) -> bool {
        self.closed_at.is_none()
    }
}

/// Counts with their kit and people, narrowed and ordered by the rest of the query.
macro_rules! sheets {
    ($rest:tt $(, $value:expr)* $(,)?) => {
        sqlx::query_as!(
            CountSheet,
            r#"
            select
                count_sheet.id as "id: CountId",
                code.code as "code: Code",
                count_sheet.kit_id as "kit: KitId",
                kit.name as kit_name,
                kit.team_id as "team: TeamId",
                team.zone,
                kit.revision_id as "revision: RevisionId",
                revision.label as "revision_label?",
                kit.size_id as "size: SizeId",
                count_sheet.purpose as "purpose: Purpose",
                count_sheet.source as "source: Source",
                count_sheet.opened_at as "opened_at: Instant",
                opener.name as opened_by,
                count_sheet.closed_at as "closed_at: Instant",
                closer.name as "closed_by?",
                count_sheet.closing_seq,
                count_sheet.more_to_come as "more_to_come: bool",
                count_sheet.left_reason,
                count_sheet.reopened_as as "reopened_as: CountId",
                count_sheet.goes_on
            from count_sheet
            join code on code.subject_id = count_sheet.id
            join kit on kit.id = count_sheet.kit_id
            join team on team.id = kit.team_id
            join person as opener on opener.id = count_sheet.opened_by
            left join revision on revision.id = kit.revision_id
            left join person as closer on closer.id = count_sheet.closed_by
            "# + $rest
            $(, $value)*
        )
    };
}

pub async fn find(db: &mut SqliteConnection, count: CountId) -> sqlx::Result<Option<CountSheet>> {
    sheets!(
        r#"
            where count_sheet.id = $1
        "#,
        count
    )
    .fetch_optional(db)
    .await
}

/// The counts of a team, open ones first, then the latest closed, at most `limit`.
pub async fn of_teams(
    db: &mut SqliteConnection,
    team: TeamId,
    limit: i64,
) -> sqlx::Result<Vec<CountSheet>> {
    sheets!(
        r#"
            where kit.team_id = $1
            order by
                count_sheet.closed_at is not null,
                count_sheet.closed_at desc,
                count_sheet.opened_at desc
            limit $2
        "#,
        team,
        limit
    )
    .fetch_all(db)
    .await
}

/// The closed count of a kit that was closed last and not reopened.
pub async fn last_closed(db: &mut SqliteConnection, kit: KitId) -> sqlx::Result<Option<CountId>> {
    sqlx::query_scalar!(
        r#"
            select id as "id: CountId"
            from count_sheet
            where kit_id = $1 and closed_at is not null and reopened_as is null
            order by closed_at desc, id desc
            limit 1
        "#,
        kit
    )
    .fetch_optional(db)
    .await
}

pub async fn insert(
    db: &mut SqliteConnection,
    count: CountId,
    kit: KitId,
    purpose: Purpose,
    source: Source,
    opened_by: PersonId,
    now: Instant,
) -> sqlx::Result<()> {
    sqlx::query!(
        r#"
            insert into count_sheet (id, kit_id, purpose, source, opened_by, opened_at)
            values ($1, $2, $3, $4, $5, $6)
        "#,
        count,
        kit,
        purpose,
        source,
        opened_by,
        now
    )
    .execute(db)
    .await?;
    Ok(())
}

/// Expects what the packing slips of the kit's places say and nobody counted yet.
pub async fn expect_slip(
    db: &mut SqliteConnection,
    count: CountId,
    kit: KitId,
) -> sqlx::Result<()> {
    sqlx::query!(
        r#"
            insert into count_line (count_id, place_id, part_id, position, due)
            select
                $1,
                packing_line.place_id,
                packing_line.part_id,
                row_number() over (order by place.position, packing_line.position),
                packing_line.qty
            from place
            join packing_line on packing_line.place_id = place.id
            join part on part.id = packing_line.part_id and part.counted_by <> 'look'
            where place.kit_id = $2
                and place.put_away_at is null
                and place.id not in (select place_id from count_left_out where count_id = $1)
                and not exists (
                    select 1 from balance
                    where balance.place_id = packing_line.place_id
                        and balance.part_id = packing_line.part_id
                        and balance.kit_id = $2
                        and balance.counted_seq is not null
                )
        "#,
        count,
        kit
    )
    .execute(db)
    .await?;
    Ok(())
}

/// Expects what the books say is there.
pub async fn expect_books(
    db: &mut SqliteConnection,
    count: CountId,
    kit: KitId,
) -> sqlx::Result<()> {
    sqlx::query!(
        r#"
            with held as (
                select place_id, part_id, sum(qty) as qty
                from balance
                where kit_id = $2 and outside = 0 and qty > 0
                    and place_id not in (select place_id from count_left_out where count_id = $1)
                group by place_id, part_id
            )
            insert into count_line (count_id, place_id, part_id, position, due)
            select
                $1,
                held.place_id,
                held.part_id,
                row_number() over (
                    order by place.position, coalesce(packing_line.position, 1000000), part.name
                ),
                held.qty
            from held
            join place on place.id = held.place_id
            join part on part.id = held.part_id
            left join packing_line
                on packing_line.place_id = held.place_id and packing_line.part_id = held.part_id
        "#,
        count,
        kit
    )
    .execute(db)
    .await?;
    Ok(())
}

/// Expects what a place's packing slip says, if the count expects nothing of it so far: it was made, or
/// its slip written, after the count began.
pub async fn join_place(
    db: &mut SqliteConnection,
    count: CountId,
    place: PlaceId,
) -> sqlx::Result<()> {
    sqlx::query!(
        r#"
            insert into count_line (count_id, place_id, part_id, position, due)
            select
                $1,
                packing_line.place_id,
                packing_line.part_id,
                (select coalesce(max(position), 0) from count_line where count_id = $1)
                    + row_number() over (order by packing_line.position),
                packing_line.qty
            from packing_line
            join part on part.id = packing_line.part_id and part.counted_by <> 'look'
            where packing_line.place_id = $2
                and not exists (
                    select 1 from count_line where count_id = $1 and place_id = $2
                )
        "#,
        count,
        place
    )
    .execute(db)
    .await?;
    Ok(())
}

/// A reopened count expects what the first one did.
pub async fn copy_lines(db: &mut SqliteConnection, from: CountId, to: CountId) -> sqlx::Result<()> {
    sqlx::query!(
        r#"
            insert into count_line (count_id, place_id, part_id, position, due)
            select $1, place_id, part_id, position, due
            from count_line
            where count_id = $2
        "#,
        to,
        from
    )
    .execute(db)
    .await?;
    Ok(())
}

pub struct Closing<'a> {
    pub by: PersonId,
    pub now: Instant,
    pub seq: Option<Seq>,
    pub more_to_come: bool,
    pub reason: &'a str,
}

pub async fn close(
    db: &mut SqliteConnection,
    count: CountId,
    closing: Closing<'_>,
) -> sqlx::Result<()> {
    sqlx::query!(
        r#"
            update count_sheet
            set closed_by = $1,
                closed_at = $2,
                closing_seq = $3,
                more_to_come = $4,
                left_reason = $5
            where id = $6
        "#,
        closing.by,
        closing.now,
        closing.seq,
        closing.more_to_come,
        closing.reason,
        count
    )
    .execute(db)
    .await?;
    Ok(())
}

pub async fn set_reopened(
    db: &mut SqliteConnection,
    count: CountId,
    as_count: CountId,
) -> sqlx::Result<()> {
    sqlx::query!(
        r#"update count_sheet set reopened_as = $1 where id = $2"#,
        as_count,
        count
    )
    .execute(db)
    .await?;
    Ok(())
}
