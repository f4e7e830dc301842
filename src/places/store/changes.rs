//! The queries that change places, and what must be known before.

use sqlx::SqliteConnection;

use super::Kind;
use crate::clock::Instant;
use crate::ids::{KitId, PlaceId, TeamId};
use crate::places::rules::making::{Holds, Kept};

/// The names of the places of a kind in the same kit, or in the same team outside of kits; those that
/// were put away and `except` left out.
pub async fn names(
    db: &mut SqliteConnection,
    kind: Kind,
    team: TeamId,
    kit: Option<KitId>,
    except: Option<PlaceId>,
) -> sqlx::Result<Vec<String>> {
    sqlx::query_scalar!(
        r#"
            select name
            from place
            where team_id = $1 and kind = $2 and kit_id is $3 and id is not $4
                and put_away_at is null
        "#,
        team,
        kind,
        kit,
        except
    )
    .fetch_all(db)
    .await
}

/// The names of all bags of a kit, put away or not.
pub async fn bag_names(db: &mut SqliteConnection, kit: KitId) -> sqlx::Result<Vec<String>> {
    sqlx::query_scalar!(
        r#"select name from place where kit_id = $1 and kind = 'bag'"#,
        kit
    )
    .fetch_all(db)
    .await
}

/// Changes what is written about a place. False if somebody changed it since `version`.
pub async fn update(
    db: &mut SqliteConnection,
    place: PlaceId,
    version: i64,
    kept: &Kept,
    usual_parent: Option<PlaceId>,
) -> sqlx::Result<bool> {
    let changed = sqlx::query!(
        r#"
            update place
            set name = $1, make = $2, tare_g = $3, note = $4, usual_parent_id = $5,
                version = version + 1
            where id = $6 and version = $7
        "#,
        kept.name,
        kept.make,
        kept.tare_g,
        kept.note,
        usual_parent,
        place,
        version
    )
    .execute(db)
    .await?
    .rows_affected();
    Ok(changed == 1)
}

/// Puts a place away, or with `None` brings it back.
pub async fn set_put_away(
    db: &mut SqliteConnection,
    place: PlaceId,
    at: Option<Instant>,
) -> sqlx::Result<()> {
    sqlx::query!(
        r#"update place set put_away_at = $1, version = version + 1 where id = $2"#,
        at,
        place
    )
    .execute(db)
    .await?;
    Ok(())
}

/// What keeps a place from being put away.
pub async fn holds(db: &mut SqliteConnection, place: PlaceId) -> sqlx::Result<Holds> {
    sqlx::query_as!(
        Holds,
        r#"
            select
                (select coalesce(sum(qty), 0) from balance where place_id = $1) as "pieces!: i64",
                (select count(*) from place where parent_id = $1 and put_away_at is null)
                    as "places!: i64",
                exists (
                    select 1
                    from stint
                    join count_sheet on count_sheet.id = stint.count_id
                    where stint.place_id = $1 and count_sheet.closed_at is null
                ) as "in_an_open_count!: bool"
        "#,
        place
    )
    .fetch_one(db)
    .await
}

/// From now on a place stands for a borrower who has what is in it.
pub async fn set_with_borrower(db: &mut SqliteConnection, place: PlaceId) -> sqlx::Result<()> {
    sqlx::query!(r#"update place set with_borrower = 1 where id = $1"#, place)
        .execute(db)
        .await?;
    Ok(())
}
