//! The queries about kits.

mod change;
mod league;
mod looks;
mod promised;
mod slip;
mod spots;

pub use change::{counted_before, insert, names_of_others, set_put_away, update};
pub use league::{OtherKit, of_others, overs_elsewhere, put_away_of};
pub use looks::{
    earlier as earlier_looks, insert_look, is_looked_at, looked_at, may_hold, places_to_look,
};
pub use promised::{AskedLine, asked, came, open, ordered};
pub use slip::{clear_lines, insert_line, started};
pub use spots::{LastCount, last_count, spots};

use std::collections::HashMap;

use sqlx::SqliteConnection;

use super::rules::{self, Facts, Line};
use crate::clock::Day;
use crate::code::Code;
use crate::ids::{CountId, KitId, PartId, RevisionId, SizeId, TeamId};
use crate::ledger::Outside;

#[derive(Debug, Clone)]
pub struct Kit {
    pub id: KitId,
    pub code: Code,
    pub team: TeamId,
    pub team_name: String,
    pub name: String,
    pub revision: Option<RevisionId>,
    pub revision_label: Option<String>,
    pub guide_name: Option<String>,
    pub size: Option<SizeId>,
    pub size_name: Option<String>,
    pub supplier: String,
    pub serial: String,
    pub purchase_reference: String,
    pub brought_in: bool,
    pub received_on: Option<Day>,
    pub report_by: Option<Day>,
    pub note: String,
    pub put_away: bool,
    pub version: i64,
}

pub struct NewKit {
    pub id: KitId,
    pub team: TeamId,
    pub name: String,
    /// Revision and size; none for a spares box.
    pub checked_against: Option<(RevisionId, SizeId)>,
    pub supplier: String,
    pub serial: String,
    pub purchase_reference: String,
    pub brought_in: bool,
    pub received_on: Option<Day>,
    pub report_by: Option<Day>,
    pub note: String,
}

/// How far the arrival of a kit has come.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Arrival {
    /// The count that is open now.
    pub open: Option<CountId>,
    /// A count was closed.
    pub counted: bool,
    /// The last closed count said that nothing more is expected.
    pub complete: bool,
}

/// Kits with what they are checked against, narrowed and ordered by the rest of the query.
macro_rules! kits {
    ($rest:tt $(, $value:expr)* $(,)?) => {
        sqlx::query_as!(
            Kit,
            r#"
            select
                kit.id as "id: KitId",
                code.code as "code: Code",
                kit.team_id as "team: TeamId",
                team.name as team_name,
                kit.name,
                kit.revision_id as "revision: RevisionId",
                revision.label as "revision_label?",
                guide.name as "guide_name?",
                kit.size_id as "size: SizeId",
                size.name as "size_name?",
                kit.supplier,
                kit.serial,
                kit.purchase_reference,
                kit.brought_in as "brought_in: bool",
                kit.received_on as "received_on: Day",
                kit.report_by as "report_by: Day",
                kit.note,
                kit.put_away_at is not null as "put_away: bool",
                kit.version
            from kit
            join team on team.id = kit.team_id
            join code on code.subject_id = kit.id
            left join revision on revision.id = kit.revision_id
            left join guide on guide.id = revision.guide_id
            left join size on size.id = kit.size_id
            "# + $rest
            $(, $value)*
        )
    };
}

pub async fn find(db: &mut SqliteConnection, kit: KitId) -> sqlx::Result<Option<Kit>> {
    kits!(
        r#"
            where kit.id = $1
        "#,
        kit
    )
    .fetch_optional(db)
    .await
}

/// The kits of a team that are not put away, the newest first.
pub async fn of_team(db: &mut SqliteConnection, team: TeamId) -> sqlx::Result<Vec<Kit>> {
    kits!(
        r#"
            where kit.team_id = $1 and kit.put_away_at is null
            order by kit.made_at desc, kit.name
        "#,
        team
    )
    .fetch_all(db)
    .await
}

/// How far the arrival of a kit has come.
pub async fn arrival(db: &mut SqliteConnection, kit: KitId) -> sqlx::Result<Arrival> {
    let open = sqlx::query_scalar!(
        r#"
            select id as "id: CountId"
            from count_sheet
            where kit_id = $1 and closed_at is null
        "#,
        kit
    )
    .fetch_optional(&mut *db)
    .await?;
    let last = sqlx::query_scalar!(
        r#"
            select more_to_come as "more: bool"
            from count_sheet
            where kit_id = $1 and purpose = 'arrival'
                and closed_at is not null and reopened_as is null
            order by closed_at desc
            limit 1
        "#,
        kit
    )
    .fetch_optional(db)
    .await?;
    Ok(Arrival {
        open,
        counted: last.is_some(),
        complete: last.flatten().is_some_and(|more| !more),
    })
}

/// The statement of a kit: every part it needs or has, in the order of its list, then the others. `on_order`
/// are the pieces that are promised.
pub async fn lines(
    db: &mut SqliteConnection,
    kit: KitId,
    on_order: &HashMap<PartId, i64>,
) -> sqlx::Result<Vec<Line>> {
    let complete = arrival(&mut *db, kit).await?.complete;
    let missing = Outside::Missing.place();
    let rows = sqlx::query!(
        r#"
            with recursive lent (id) as (
                select loan_place.place_id
                from kit
                join loan on loan.lender_id = kit.team_id and loan.state = 'out'
                join loan_place on loan_place.loan_id = loan.id and loan_place.back_at is null
                where kit.id = $1
                union
                select place.id
                from lent
                join place on place.parent_id = lent.id
            ),
            held as (
                select
                    part_id,
                    sum(
                        case when outside = 0 and state = 'good' and place_id not in lent
                            then qty else 0 end
                    ) as good,
                    sum(
                        case when outside = 0 and state = 'doubtful' and place_id not in lent
                            then qty else 0 end
                    ) as doubtful,
                    sum(
                        case when state in ('good', 'doubtful') and place_id in lent
                            then qty else 0 end
                    ) as lent_out,
                    sum(case when outside = 0 and state = 'practice only' then qty else 0 end)
                        as practice_only,
                    sum(case when outside = 0 and state = 'broken' then qty else 0 end) as broken,
                    sum(case when place_id = $2 then qty else 0 end) as missing
                from balance
                where kit_id = $1
                group by part_id
            ),
            needed as (
                select part_id, qty, position
                from kit_need
                where kit_id = $1
            ),
            line as (
                select
                    needed.part_id,
                    needed.qty as need,
                    needed.position,
                    held.good,
                    held.doubtful,
                    held.lent_out,
                    held.practice_only,
                    held.broken,
                    held.missing
                from needed
                left join held on held.part_id = needed.part_id
                union all
                select
                    held.part_id,
                    0 as need,
                    1000000 as position,
                    held.good,
                    held.doubtful,
                    held.lent_out,
                    held.practice_only,
                    held.broken,
                    held.missing
                from held
                where not exists (select 1 from needed where needed.part_id = held.part_id)
                    and held.good + held.doubtful + held.lent_out + held.practice_only + held.broken > 0
            )
            select
                line.part_id as "part!: PartId",
                part.number as "number!",
                part.name as "name!",
                part.colour as "colour!",
                part.how_to_know as "how_to_know!",
                line.need as "need!: i64",
                coalesce(line.good, 0) as "good!: i64",
                coalesce(line.doubtful, 0) as "doubtful!: i64",
                coalesce(line.lent_out, 0) as "lent_out!: i64",
                coalesce(line.practice_only, 0) as "practice_only!: i64",
                coalesce(line.broken, 0) as "broken!: i64",
                coalesce(line.missing, 0) as "missing!: i64"
            from line
            join part on part.id = line.part_id
            order by line.position, part.name, part.colour
        "#,
        kit,
        missing
    )
    .fetch_all(db)
    .await?;
    Ok(rows
        .into_iter()
        .map(|row| {
            let facts = Facts {
                need: row.need,
                good: row.good,
                doubtful: row.doubtful,
                lent_out: row.lent_out,
                practice_only: row.practice_only,
                broken: row.broken,
                missing: row.missing,
                on_order: on_order.get(&row.part).copied().unwrap_or(0),
                ..Facts::default()
            };
            Line {
                part: row.part,
                number: row.number,
                name: row.name,
                colour: row.colour,
                how_to_know: row.how_to_know,
                still_to_come: rules::still_to_come(&facts, complete),
                facts,
            }
        })
        .collect())
}
