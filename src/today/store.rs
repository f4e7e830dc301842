//! The queries of Today.

use sqlx::SqliteConnection;

use super::rules::{KitFacts, ListFacts, OpenCount};
use crate::clock::Day;
use crate::ids::{CountId, KitId, RevisionId, TeamId};

/// What is known of every kit of a team that is not put away, the newest first.
pub async fn kits(
    db: &mut SqliteConnection,
    team: TeamId,
    keeps: bool,
) -> sqlx::Result<Vec<KitFacts>> {
    let rows = sqlx::query!(
        r#"
            with held as (
                select kit_id, part_id, sum(qty) as qty
                from balance
                where kit_id in (select id from kit where team_id = $1 and put_away_at is null)
                    and outside = 0
                    and state in ('good', 'doubtful')
                group by kit_id, part_id
            ),
            line as (
                select
                    kit.id as kit_id,
                    max(need.qty - coalesce(held.qty, 0), 0) as lacking
                from kit
                join kit_need as need on need.kit_id = kit.id
                left join held on held.kit_id = kit.id and held.part_id = need.part_id
                where kit.team_id = $1 and kit.put_away_at is null
            ),
            told as (
                select
                    kit_id,
                    count(*) as lines,
                    sum(lacking = 0) as lines_here,
                    sum(lacking) as lacking
                from line
                group by kit_id
            )
            select
                kit.id as "kit!: KitId",
                kit.name as "name!",
                kit.received_on as "received_on: Day",
                kit.report_by as "report_by: Day",
                coalesce(told.lines, 0) as "lines!: i64",
                coalesce(told.lines_here, 0) as "lines_here!: i64",
                coalesce(told.lacking, 0) as "lacking!: i64",
                (select id from count_sheet where kit_id = kit.id and closed_at is null)
                    as "open?: CountId",
                exists (
                    select 1 from count_sheet
                    where kit_id = kit.id and closed_at is not null and reopened_as is null
                ) as "counted!: bool",
                coalesce(
                    (
                        select more_to_come = 0 from count_sheet
                        where kit_id = kit.id and purpose = 'arrival'
                            and closed_at is not null and reopened_as is null
                        order by closed_at desc
                        limit 1
                    ),
                    0
                ) as "complete!: bool",
                exists (
                    select 1 from supplier_report
                    where kit_id = kit.id and state = 'open'
                ) as "reported!: bool",
                (
                    select count(*)
                    from (
                        select look.part_id
                        from look
                        join part on part.id = look.part_id and part.counted_by = 'look'
                        join place on place.id = look.place_id and place.put_away_at is null
                        where look.kit_id = kit.id
                            and look.n in (
                                select max(n) from look where kit_id = kit.id group by part_id, place_id
                            )
                        group by look.part_id
                        having sum(look.said = 'enough') = 0
                    )
                ) as "to_buy!: i64",
                newer.id as "newer?: RevisionId",
                newer.label as "newer_label?"
            from kit
            left join told on told.kit_id = kit.id
            left join revision as used on used.id = kit.revision_id
            left join revision as newer on newer.id = (
                select id from revision
                where guide_id = used.guide_id
                    and (issued_on, id) > (used.issued_on, used.id)
                order by issued_on desc, id desc
                limit 1
            )
            where kit.team_id = $1 and kit.put_away_at is null
            order by kit.made_at desc, kit.name
        "#,
        team
    )
    .fetch_all(&mut *db)
    .await?;
    let mut kits = Vec::with_capacity(rows.len());
    for row in rows {
        let open = match row.open {
            Some(count) => Some(open_count(&mut *db, count, row.kit).await?),
            None => None,
        };
        kits.push(KitFacts {
            kit: row.kit,
            name: row.name,
            keeps,
            received_on: row.received_on,
            report_by: row.report_by,
            open,
            counted: row.counted,
            complete: row.complete,
            lines: row.lines,
            lines_here: row.lines_here,
            lacking: row.lacking,
            reported: row.reported,
            to_buy: row.to_buy,
            newer_revision: row.newer.zip(row.newer_label),
        });
    }
    Ok(kits)
}

async fn open_count(
    db: &mut SqliteConnection,
    count: CountId,
    kit: KitId,
) -> sqlx::Result<OpenCount> {
    let row = sqlx::query!(
        r#"
            select
                (
                    select count(*) from place
                    where kit_id = $2 and put_away_at is null and kind <> 'box'
                ) as "bags!: i64",
                (
                    select count(distinct place_id) from stint
                    where count_id = $1 and state = 'done'
                ) as "bags_counted!: i64"
        "#,
        count,
        kit
    )
    .fetch_one(&mut *db)
    .await?;
    let counting = sqlx::query_scalar!(
        r#"
            select distinct person.name
            from stint
            join person on person.id = stint.person_id
            where stint.count_id = $1 and stint.state = 'open'
            order by person.name
        "#,
        count
    )
    .fetch_all(db)
    .await?;
    Ok(OpenCount {
        count,
        bags: row.bags,
        bags_counted: row.bags_counted,
        counting,
    })
}

/// What is known of the lists.
pub async fn lists(db: &mut SqliteConnection, may_keep: bool) -> sqlx::Result<ListFacts> {
    let row = sqlx::query!(
        r#"
            select
                (select count(*) from guide) as "guides!: i64",
                (
                    select id from revision
                    where not exists (
                        select 1 from list_line where list_line.revision_id = revision.id
                    )
                    order by issued_on desc, id desc
                    limit 1
                ) as "empty?: RevisionId"
        "#
    )
    .fetch_one(db)
    .await?;
    Ok(ListFacts {
        guides: row.guides,
        empty: row.empty,
        may_keep,
    })
}
