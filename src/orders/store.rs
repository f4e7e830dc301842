//! The queries about order lines.

use sqlx::SqliteConnection;

use super::rules::standing::{Kind, State, Step};
use super::rules::typed::Wanted;
use crate::clock::{Day, Instant};
use crate::ids::{DamageId, KitId, OrderId, PartId, PersonId, TeamId};
use crate::ledger::Seq;

/// A line as it was wanted.
#[derive(Debug, Clone)]
pub struct Brief {
    pub id: OrderId,
    pub kit: KitId,
    pub kit_name: String,
    pub team: TeamId,
    pub number: i64,
    pub part: PartId,
    pub part_name: String,
    pub part_colour: String,
    pub part_number: String,
    pub qty: i64,
    /// The report whose pieces it replaces.
    pub report: Option<DamageId>,
    /// The step of the report that decided it.
    pub report_line: Option<i64>,
    pub needed_on: Option<Day>,
    pub why: String,
    pub wanted_by: String,
    pub wanted_at: Instant,
}

/// Which lines are asked for.
#[derive(Debug, Clone, Default)]
pub struct Asked {
    pub team: Option<TeamId>,
    pub kit: Option<KitId>,
    pub number: Option<i64>,
    pub part: Option<PartId>,
    /// A JSON list of reports' ids in hex.
    pub reports: Option<String>,
}

/// Lines, the latest first.
pub async fn lines(
    db: &mut SqliteConnection,
    asked: &Asked,
    limit: i64,
) -> sqlx::Result<Vec<Brief>> {
    sqlx::query_as!(
        Brief,
        r#"
            select
                line.id as "id!: OrderId",
                line.kit_id as "kit!: KitId",
                kit.name as "kit_name!",
                kit.team_id as "team!: TeamId",
                line.number as "number!",
                line.part_id as "part!: PartId",
                part.name as "part_name!",
                part.colour as "part_colour!",
                part.number as "part_number!",
                line.qty as "qty!",
                line.report_id as "report?: DamageId",
                line.report_line as "report_line?",
                line.needed_on as "needed_on?: Day",
                line.why as "why!",
                person.name as "wanted_by!",
                line.wanted_at as "wanted_at!: Instant"
            from order_line line
            join kit on kit.id = line.kit_id
            join part on part.id = line.part_id
            join person on person.id = line.wanted_by
            where ($1 is null or kit.team_id = $1)
                and ($2 is null or line.kit_id = $2)
                and ($3 is null or line.number = $3)
                and ($4 is null or line.part_id = $4)
                and ($5 is null or line.report_id in (select unhex(value) from json_each($5)))
            order by line.wanted_at desc, line.id desc
            limit $6
        "#,
        asked.team,
        asked.kit,
        asked.number,
        asked.part,
        asked.reports,
        limit
    )
    .fetch_all(db)
    .await
}

/// The steps of some lines (a JSON list of their ids in hex), in order.
pub async fn steps(db: &mut SqliteConnection, lines: &str) -> sqlx::Result<Vec<(OrderId, Step)>> {
    let rows = sqlx::query!(
        r#"
            select
                step.order_id as "order!: OrderId",
                step.line as "line!",
                step.kind as "kind!: Kind",
                step.day as "day!: Day",
                step.words as "words!",
                step.by_day as "by?: Day",
                step.qty as "qty!",
                step.entry_seq as "entry?: Seq",
                exists (select 1 from entry where entry.corrects_seq = step.entry_seq)
                    as "entry_undone!: bool",
                step.undoes as "undoes?",
                step.person_id as "person!: PersonId",
                step.done_at as "done_at!: Instant"
            from order_step as step
            where step.order_id in (select unhex(value) from json_each($1))
            order by step.order_id, step.line
        "#,
        lines
    )
    .fetch_all(db)
    .await?;
    Ok(rows
        .into_iter()
        .map(|row| {
            let step = Step {
                line: row.line,
                kind: row.kind,
                day: row.day,
                words: row.words,
                by: row.by,
                qty: row.qty,
                entry: row.entry,
                entry_undone: row.entry_undone,
                undoes: row.undoes,
                person: row.person,
                done_at: row.done_at,
            };
            (row.order, step)
        })
        .collect())
}

/// A new line.
#[derive(Debug, Clone)]
pub struct New<'a> {
    pub id: OrderId,
    pub kit: KitId,
    pub part: PartId,
    pub wanted: &'a Wanted,
    /// The report whose pieces it replaces, and the step that decided it.
    pub of: Option<(DamageId, i64)>,
    pub by: PersonId,
    pub now: Instant,
}

/// Adds a line after the last one of its kit, and answers its number.
pub async fn insert(db: &mut SqliteConnection, new: &New<'_>) -> sqlx::Result<i64> {
    let (report, report_line) = new.of.unzip();
    let state = State::Waiting;
    sqlx::query_scalar!(
        r#"
            insert into order_line (
                id, kit_id, number, part_id, qty, report_id, report_line, needed_on, why, state,
                wanted_by, wanted_at
            )
            select
                $1, $2, coalesce(max(number), 0) + 1, $3, $4, $5, $6, $7, $8, $9, $10, $11
            from order_line
            where kit_id = $2
            returning number as "number!"
        "#,
        new.id,
        new.kit,
        new.part,
        new.wanted.qty,
        report,
        report_line,
        new.wanted.needed_on,
        new.wanted.why,
        state,
        new.by,
        new.now
    )
    .fetch_one(db)
    .await
}

/// Adds a step after the last one of its line.
pub async fn add_step(db: &mut SqliteConnection, line: OrderId, step: &Step) -> sqlx::Result<()> {
    sqlx::query!(
        r#"
            insert into order_step (
                order_id, line, kind, day, words, by_day, qty, entry_seq, undoes, person_id, done_at
            )
            select
                $1, coalesce(max(line), 0) + 1, $2, $3, $4, $5, $6, $7, $8, $9, $10
            from order_step
            where order_id = $1
        "#,
        line,
        step.kind,
        step.day,
        step.words,
        step.by,
        step.qty,
        step.entry,
        step.undoes,
        step.person,
        step.done_at
    )
    .execute(db)
    .await?;
    Ok(())
}

pub async fn set_state(db: &mut SqliteConnection, line: OrderId, state: State) -> sqlx::Result<()> {
    sqlx::query!(
        r#"update order_line set state = $2 where id = $1"#,
        line,
        state
    )
    .execute(db)
    .await?;
    Ok(())
}
