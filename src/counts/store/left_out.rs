//! The queries about places that a count does not go over.

use sqlx::SqliteConnection;

use crate::ids::{CountId, KitId, PlaceId};

/// A place that a count does not go over.
#[derive(Debug, Clone)]
pub struct LeftOut {
    pub place: PlaceId,
    pub name: String,
    /// Who has it; `None` where it only stays while other things are counted.
    pub holder: Option<String>,
    /// What it stands in is left out too.
    pub is_inside: bool,
}

/// Leaves out whatever of a kit is with a borrower, bag by bag.
pub async fn leave_out_lent(
    db: &mut SqliteConnection,
    count: CountId,
    kit: KitId,
) -> sqlx::Result<()> {
    sqlx::query!(
        r#"
            with recursive away (id) as (
                select child.id
                from place as spot
                join place as child on child.parent_id = spot.id
                where spot.with_borrower = 1
                    and spot.team_id = (select team_id from kit where id = $2)
                union
                select place.id
                from away
                join place on place.parent_id = away.id
            )
            insert into count_left_out (count_id, place_id, why)
            select $1, away.id, 'lent'
            from away
            join place on place.id = away.id
            where place.put_away_at is null
                and (
                    place.kit_id = $2
                    or exists (
                        select 1 from balance
                        where balance.place_id = away.id and balance.kit_id = $2
                            and balance.outside = 0 and balance.qty > 0
                    )
                )
        "#,
        count,
        kit
    )
    .execute(db)
    .await?;
    Ok(())
}

/// Leaves out all of a kit but some places and what stands in them.
pub async fn leave_out_others(
    db: &mut SqliteConnection,
    count: CountId,
    kit: KitId,
    only: &[PlaceId],
) -> sqlx::Result<()> {
    let ids: Vec<String> = only
        .iter()
        .map(|place| format!("\"{}\"", place.0.simple()))
        .collect();
    let ids = format!("[{}]", ids.join(","));
    sqlx::query!(
        r#"
            with recursive wanted (id) as (
                select unhex(value) from json_each($3)
                union
                select place.id
                from wanted
                join place on place.parent_id = wanted.id
            )
            insert into count_left_out (count_id, place_id, why)
            select $1, place.id, 'stays'
            from place
            where place.kind <> 'outside' and place.put_away_at is null
                and (
                    place.kit_id = $2
                    or place.id in (
                        select place_id from balance
                        where kit_id = $2 and outside = 0 and qty > 0
                    )
                )
                and place.id not in (select id from wanted where id is not null)
                and place.id not in (select place_id from count_left_out where count_id = $1)
        "#,
        count,
        kit,
        ids
    )
    .execute(db)
    .await?;
    Ok(())
}

/// A count that carries another one on goes over the same places, and on to the same page.
pub async fn copy_left_out(
    db: &mut SqliteConnection,
    from: CountId,
    to: CountId,
) -> sqlx::Result<()> {
    sqlx::query!(
        r#"
            insert into count_left_out (count_id, place_id, why)
            select $2, place_id, why from count_left_out where count_id = $1
        "#,
        from,
        to
    )
    .execute(&mut *db)
    .await?;
    sqlx::query!(
        r#"
            update count_sheet
            set goes_on = (select goes_on from count_sheet where id = $1)
            where id = $2
        "#,
        from,
        to
    )
    .execute(db)
    .await?;
    Ok(())
}

/// What a count does not go over, in order.
pub async fn left_out(db: &mut SqliteConnection, count: CountId) -> sqlx::Result<Vec<LeftOut>> {
    sqlx::query_as!(
        LeftOut,
        r#"
            with recursive above (id, at, with_borrower, name) as (
                select place.id, place.parent_id, 0, ''
                from count_left_out
                join place on place.id = count_left_out.place_id
                where count_left_out.count_id = $1 and count_left_out.why = 'lent'
                union
                select above.id, place.parent_id, place.with_borrower, place.name
                from above
                join place on place.id = above.at
            )
            select
                place.id as "place: PlaceId",
                place.name,
                case when count_left_out.why = 'lent' then coalesce(
                    (select above.name from above where above.id = place.id and above.with_borrower = 1),
                    ''
                ) end as "holder?: String",
                exists (
                    select 1 from count_left_out as outer_one
                    where outer_one.count_id = $1 and outer_one.place_id = place.parent_id
                ) as "is_inside!: bool"
            from count_left_out
            join place on place.id = count_left_out.place_id
            where count_left_out.count_id = $1
            order by count_left_out.why, place.position
        "#,
        count
    )
    .fetch_all(db)
    .await
}

/// Says where a count goes on when it is closed.
pub async fn set_goes_on(
    db: &mut SqliteConnection,
    count: CountId,
    path: &str,
) -> sqlx::Result<()> {
    sqlx::query!(
        r#"update count_sheet set goes_on = $2 where id = $1"#,
        count,
        path
    )
    .execute(db)
    .await?;
    Ok(())
}
