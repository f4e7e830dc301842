//! The queries about the pieces that a report may be about.

use sqlx::SqliteConnection;

use crate::ids::{KitId, PartId, PictureId, PlaceId, TeamId};
use crate::ledger::Outside;

/// A part that a team has pieces of and a picture of.
#[derive(Debug, Clone)]
pub struct Pictured {
    pub part: PartId,
    pub name: String,
    pub colour: String,
    pub number: String,
    pub picture: PictureId,
}

/// The parts of a team's kits, or of what lies in one place, that the team has a picture of, by name.
pub async fn pictured(
    db: &mut SqliteConnection,
    team: TeamId,
    within: Option<PlaceId>,
    limit: i64,
) -> sqlx::Result<Vec<Pictured>> {
    sqlx::query_as!(
        Pictured,
        r#"
            with recursive inside (id) as (
                select $2
                union
                select place.id
                from inside
                join place on place.parent_id = inside.id
            )
            select
                part.id as "part!: PartId",
                part.name as "name!",
                part.colour as "colour!",
                part.number as "number!",
                (
                    select picture.id from picture
                    where picture.part_id = part.id and picture.team_id = $1
                        and picture.removed_at is null
                    order by picture.position, picture.added_at, picture.id
                    limit 1
                ) as "picture!: PictureId"
            from part
            where part.id in (
                    select part_id from picture
                    where team_id = $1 and removed_at is null and part_id is not null
                )
                and part.id in (
                    select balance.part_id
                    from kit
                    cross join balance on balance.kit_id = kit.id
                        and balance.outside = 0 and balance.qty > 0
                    where kit.team_id = $1 and kit.put_away_at is null
                        and ($2 is null or balance.place_id in (select id from inside))
                )
            order by part.name, part.colour, part.number
            limit $3
        "#,
        team,
        within,
        limit
    )
    .fetch_all(db)
    .await
}

/// So many pieces of a part of a kit in a place, by state.
#[derive(Debug, Clone)]
pub struct Stand {
    pub part: PartId,
    pub part_name: String,
    pub part_colour: String,
    pub part_number: String,
    pub kit: KitId,
    pub kit_name: String,
    /// The kit is checked against nothing.
    pub is_spares_box: bool,
    pub place: PlaceId,
    pub good: i64,
    pub doubtful: i64,
    pub practice_only: i64,
    pub broken: i64,
    /// As many of them the kit has signed off as missing.
    pub missing: i64,
}

/// Where a team has pieces: of one part, or of those that a full-text expression finds, or in one place
/// and all that stands in it. Those in the place first, then most first.
pub async fn stands(
    db: &mut SqliteConnection,
    team: TeamId,
    part: Option<PartId>,
    expression: Option<&str>,
    within: Option<PlaceId>,
    limit: i64,
) -> sqlx::Result<Vec<Stand>> {
    sqlx::query_as!(
        Stand,
        r#"
            with recursive inside (id) as (
                select $4
                union
                select place.id
                from inside
                join place on place.parent_id = inside.id
            )
            select
                balance.part_id as "part!: PartId",
                part.name as "part_name!",
                part.colour as "part_colour!",
                part.number as "part_number!",
                balance.kit_id as "kit!: KitId",
                kit.name as "kit_name!",
                kit.revision_id is null as "is_spares_box!: bool",
                balance.place_id as "place!: PlaceId",
                sum(case when balance.state = 'good' then balance.qty else 0 end)
                    as "good!: i64",
                sum(case when balance.state = 'doubtful' then balance.qty else 0 end)
                    as "doubtful!: i64",
                sum(case when balance.state = 'practice only' then balance.qty else 0 end)
                    as "practice_only!: i64",
                sum(case when balance.state = 'broken' then balance.qty else 0 end)
                    as "broken!: i64",
                0 as "missing!: i64"
            from kit
            cross join balance on balance.kit_id = kit.id
                and balance.outside = 0 and balance.qty > 0
            join part on part.id = balance.part_id
            where kit.team_id = $1 and kit.put_away_at is null
                and ($2 is null or balance.part_id = $2)
                and (
                    $3 is null
                    or balance.part_id in (
                        select finding.subject_id
                        from finding_words
                        join finding on finding.n = finding_words.rowid
                        where finding_words match $3 and finding.kind = 'part'
                    )
                )
                and ($4 is null or balance.place_id in (select id from inside))
            group by balance.part_id, balance.kit_id, balance.place_id
            order by sum(balance.qty) desc, part.name, kit.name
            limit $5
        "#,
        team,
        part,
        expression,
        within,
        limit
    )
    .fetch_all(db)
    .await
}

/// The parts that a full-text expression finds among all that a team's kits ever held, as if they lay in
/// `place`: for what was found there. Those that are missing first.
pub async fn kinds(
    db: &mut SqliteConnection,
    team: TeamId,
    expression: &str,
    place: PlaceId,
    limit: i64,
) -> sqlx::Result<Vec<Stand>> {
    let missing = Outside::Missing.place();
    sqlx::query_as!(
        Stand,
        r#"
            select
                balance.part_id as "part!: PartId",
                part.name as "part_name!",
                part.colour as "part_colour!",
                part.number as "part_number!",
                balance.kit_id as "kit!: KitId",
                kit.name as "kit_name!",
                kit.revision_id is null as "is_spares_box!: bool",
                $3 as "place!: PlaceId",
                0 as "good!: i64",
                0 as "doubtful!: i64",
                0 as "practice_only!: i64",
                0 as "broken!: i64",
                0 as "missing!: i64"
            from kit
            cross join balance on balance.kit_id = kit.id
            join part on part.id = balance.part_id
            where kit.team_id = $1 and kit.put_away_at is null
                and balance.part_id in (
                    select finding.subject_id
                    from finding_words
                    join finding on finding.n = finding_words.rowid
                    where finding_words match $2 and finding.kind = 'part'
                )
            group by balance.part_id, balance.kit_id
            order by
                max(balance.place_id = $4 and balance.qty > 0) desc,
                part.name,
                kit.name
            limit $5
        "#,
        team,
        expression,
        place,
        missing,
        limit
    )
    .fetch_all(db)
    .await
}

/// The parts that a full-text expression finds among those that a team's kits have signed off as missing, or
/// one part: each where most of its kind lie in that kit, for that is where a found one belongs. What lacks most
/// first.
pub async fn lacking(
    db: &mut SqliteConnection,
    team: TeamId,
    part: Option<PartId>,
    expression: Option<&str>,
    limit: i64,
) -> sqlx::Result<Vec<Stand>> {
    let missing = Outside::Missing.place();
    sqlx::query_as!(
        Stand,
        r#"
            with lack as (
                select balance.kit_id, balance.part_id, sum(balance.qty) as qty
                from kit
                cross join balance on balance.kit_id = kit.id and balance.place_id = $5
                where kit.team_id = $1 and kit.put_away_at is null
                    and ($2 is null or balance.part_id = $2)
                    and (
                        $3 is null
                        or balance.part_id in (
                            select finding.subject_id
                            from finding_words
                            join finding on finding.n = finding_words.rowid
                            where finding_words match $3 and finding.kind = 'part'
                        )
                    )
                group by balance.kit_id, balance.part_id
                having sum(balance.qty) > 0
            ),
            home as (
                select
                    lack.kit_id,
                    lack.part_id,
                    lack.qty as missing,
                    balance.place_id,
                    sum(case when balance.state = 'good' then balance.qty else 0 end) as good,
                    row_number() over (
                        partition by lack.kit_id, lack.part_id
                        order by sum(balance.qty) desc, balance.place_id
                    ) as nth
                from lack
                join balance on balance.kit_id = lack.kit_id and balance.part_id = lack.part_id
                    and balance.outside = 0
                group by lack.kit_id, lack.part_id, balance.place_id
            )
            select
                home.part_id as "part!: PartId",
                part.name as "part_name!",
                part.colour as "part_colour!",
                part.number as "part_number!",
                home.kit_id as "kit!: KitId",
                kit.name as "kit_name!",
                kit.revision_id is null as "is_spares_box!: bool",
                home.place_id as "place!: PlaceId",
                home.good as "good!: i64",
                0 as "doubtful!: i64",
                0 as "practice_only!: i64",
                0 as "broken!: i64",
                home.missing as "missing!: i64"
            from home
            join kit on kit.id = home.kit_id
            join part on part.id = home.part_id
            where home.nth = 1
            order by home.missing desc, part.name, kit.name
            limit $4
        "#,
        team,
        part,
        expression,
        limit,
        missing
    )
    .fetch_all(db)
    .await
}

/// How many pieces of a part a kit has signed off as missing.
pub async fn missing(db: &mut SqliteConnection, kit: KitId, part: PartId) -> sqlx::Result<i64> {
    let place = Outside::Missing.place();
    sqlx::query_scalar!(
        r#"
            select coalesce(sum(qty), 0) as "qty!: i64" from balance
            where kit_id = $1 and part_id = $2 and place_id = $3
        "#,
        kit,
        part,
        place
    )
    .fetch_one(db)
    .await
}

/// Assemblies of a kit's own list that hold a part, by name.
pub async fn assemblies(
    db: &mut SqliteConnection,
    kit: KitId,
    part: PartId,
) -> sqlx::Result<Vec<String>> {
    sqlx::query_scalar!(
        r#"
            select distinct assembly.name as "name!"
            from kit
            join list_line on list_line.revision_id = kit.revision_id and list_line.part_id = $2
            join list_quantity on list_quantity.line_id = list_line.id
                and list_quantity.size_id = kit.size_id
            join assembly on assembly.id = list_line.assembly_id
            where kit.id = $1
            order by assembly.name
        "#,
        kit,
        part
    )
    .fetch_all(db)
    .await
}

/// Good pieces in a team's spares boxes, by part.
pub async fn spares_on_hand(
    db: &mut SqliteConnection,
    team: TeamId,
) -> sqlx::Result<Vec<(PartId, i64)>> {
    let rows = sqlx::query!(
        r#"
            select balance.part_id as "part!: PartId", sum(balance.qty) as "qty!: i64"
            from kit
            cross join balance on balance.kit_id = kit.id
                and balance.outside = 0 and balance.qty > 0
            where kit.team_id = $1 and kit.put_away_at is null and kit.revision_id is null
                and balance.state = 'good'
            group by balance.part_id
        "#,
        team
    )
    .fetch_all(db)
    .await?;
    Ok(rows.into_iter().map(|row| (row.part, row.qty)).collect())
}
