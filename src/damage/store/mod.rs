//! The queries about damage.

mod elsewhere;
mod pictures;
mod pieces;
mod shown;
mod worth;

pub use elsewhere::{found_over, is_missed_elsewhere};
pub use pictures::{Small, add_picture, came_with, pictures, strangers_pictures};
pub use pieces::{Stand, assemblies, kinds, lacking, missing, pictured, spares_on_hand, stands};
pub use shown::{PartPicture, ShownSaid, add_shown, part_pictures, shown_said};
pub use worth::{add_worth, worths};

use sqlx::SqliteConnection;

use super::rules::standing::{Kind, Step};
use super::rules::telling::{Told, Usable, What};
use crate::clock::Instant;
use crate::ids::{DamageId, EventId, HelperId, KitId, PartId, PersonId, PlaceId, TeamId};
use crate::ledger::{Seq, State};

/// A report as it is kept.
#[derive(Debug, Clone)]
pub struct Report {
    pub id: DamageId,
    pub team: TeamId,
    pub what: What,
    pub part: Option<PartId>,
    pub part_name: Option<String>,
    pub part_colour: Option<String>,
    pub part_number: Option<String>,
    /// Words for the part where the books know none of that name, or several.
    pub said_part: String,
    pub kit: Option<KitId>,
    pub kit_name: Option<String>,
    pub place: Option<PlaceId>,
    pub qty: i64,
    pub usable: Usable,
    pub happened: String,
    /// The event, where it was chosen.
    pub event_id: Option<EventId>,
    /// Its name, or the words for it where it was typed.
    pub event: String,
    pub note: String,
    /// A member's name; empty for somebody who was erased.
    pub member: Option<String>,
    pub reporter: String,
    /// The team that has the crate on loan, where one of its members told it.
    pub from_team: Option<String>,
    /// Told with a helper pass.
    pub is_helper: bool,
    pub reported_at: Instant,
}

/// Who told it, as far as that is kept: at most one of these.
#[derive(Debug, Clone, Copy, Default)]
pub struct By {
    pub member: Option<PersonId>,
    /// Somebody with a helper pass.
    pub helper: Option<HelperId>,
    /// A member of the team that has the crate on loan.
    pub team: Option<TeamId>,
}

/// What a report is about, as far as anybody knows.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct About {
    pub part: Option<PartId>,
    pub kit: Option<KitId>,
    pub place: Option<PlaceId>,
}

impl About {
    /// Whether it is known which pieces are meant.
    pub fn is_known(&self) -> bool {
        self.part.is_some() && self.kit.is_some() && self.place.is_some()
    }
}

#[expect(clippy::too_many_arguments, reason = "the columns of one row")]
pub async fn insert(
    db: &mut SqliteConnection,
    id: DamageId,
    team: TeamId,
    about: About,
    told: &Told,
    said_part: &str,
    by: By,
    now: Instant,
) -> sqlx::Result<()> {
    sqlx::query!(
        r#"
            insert into damage_report (
                id, team_id, what, part_id, kit_id, place_id, qty, usable,
                happened, event, note, reported_by, reporter, reported_at, said_part, event_id,
                helper_id, from_team_id
            )
            values ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15, $16,
                $17, $18)
        "#,
        id,
        team,
        told.what,
        about.part,
        about.kit,
        about.place,
        told.qty,
        told.usable,
        told.happened,
        told.event,
        told.note,
        by.member,
        told.reporter,
        now,
        said_part,
        told.event_id,
        by.helper,
        by.team
    )
    .execute(db)
    .await?;
    Ok(())
}

/// Puts right what a report is about, before it is accepted.
pub async fn set_about(
    db: &mut SqliteConnection,
    id: DamageId,
    about: About,
    qty: i64,
) -> sqlx::Result<()> {
    sqlx::query!(
        r#"
            update damage_report
            set part_id = $2, kit_id = $3, place_id = $4, qty = $5
            where id = $1
        "#,
        id,
        about.part,
        about.kit,
        about.place,
        qty
    )
    .execute(db)
    .await?;
    Ok(())
}

/// Which reports are asked for.
#[derive(Debug, Clone, Copy, Default)]
pub struct Asked {
    pub one: Option<DamageId>,
    pub team: Option<TeamId>,
    pub part: Option<PartId>,
    pub since: Option<Instant>,
}

/// Reports, the latest first.
pub async fn reports(
    db: &mut SqliteConnection,
    asked: Asked,
    limit: i64,
) -> sqlx::Result<Vec<Report>> {
    sqlx::query_as!(
        Report,
        r#"
            select
                report.id as "id!: DamageId",
                report.team_id as "team!: TeamId",
                report.what as "what!: What",
                report.part_id as "part?: PartId",
                part.name as "part_name?",
                part.colour as "part_colour?",
                part.number as "part_number?",
                report.said_part as "said_part!",
                report.kit_id as "kit?: KitId",
                kit.name as "kit_name?",
                report.place_id as "place?: PlaceId",
                report.qty as "qty!",
                report.usable as "usable!: Usable",
                report.happened as "happened!",
                report.event_id as "event_id?: EventId",
                coalesce(event.name, report.event) as "event!: String",
                report.note as "note!",
                person.name as "member?",
                report.reporter as "reporter!",
                from_team.name as "from_team?",
                report.helper_id is not null as "is_helper!: bool",
                report.reported_at as "reported_at!: Instant"
            from damage_report as report
            left join part on part.id = report.part_id
            left join kit on kit.id = report.kit_id
            left join person on person.id = report.reported_by
            left join event on event.id = report.event_id
            left join team as from_team on from_team.id = report.from_team_id
            where ($1 is null or report.id = $1)
                and ($2 is null or report.team_id = $2)
                and ($3 is null or report.part_id = $3)
                and ($4 is null or report.reported_at >= $4)
            order by report.reported_at desc, report.id desc
            limit $5
        "#,
        asked.one,
        asked.team,
        asked.part,
        asked.since,
        limit
    )
    .fetch_all(db)
    .await
}

/// The steps about some reports (a JSON list of their ids in hex), in order.
pub async fn steps(
    db: &mut SqliteConnection,
    reports: &[DamageId],
) -> sqlx::Result<Vec<(DamageId, Step)>> {
    let ids: Vec<String> = reports
        .iter()
        .map(|id| format!("\"{}\"", id.0.simple()))
        .collect();
    let ids = format!("[{}]", ids.join(","));
    let rows = sqlx::query!(
        r#"
            select
                step.report_id as "report!: DamageId",
                step.line as "line!",
                step.kind as "kind!: Kind",
                step.qty as "qty!",
                step.state as "state?: State",
                step.entry_seq as "entry?: Seq",
                exists (select 1 from entry where entry.corrects_seq = step.entry_seq)
                    as "entry_undone!: bool",
                step.other_id as "other?: DamageId",
                step.undoes as "undoes?",
                step.why as "why!",
                step.person_id as "person!: PersonId",
                step.done_at as "done_at!: Instant"
            from damage_step as step
            where step.report_id in (select unhex(value) from json_each($1))
            order by step.report_id, step.line
        "#,
        ids
    )
    .fetch_all(db)
    .await?;
    Ok(rows
        .into_iter()
        .map(|row| {
            let step = Step {
                line: row.line,
                kind: row.kind,
                qty: row.qty,
                state: row.state,
                entry: row.entry,
                entry_undone: row.entry_undone,
                other: row.other,
                undoes: row.undoes,
                why: row.why,
                person: row.person,
                done_at: row.done_at,
            };
            (row.report, step)
        })
        .collect())
}

/// Adds a step after the last one of its report, and answers its line.
pub async fn add_step(
    db: &mut SqliteConnection,
    report: DamageId,
    step: &Step,
) -> sqlx::Result<i64> {
    sqlx::query_scalar!(
        r#"
            insert into damage_step (
                report_id, line, kind, qty, state, entry_seq, other_id, undoes, why,
                person_id, done_at
            )
            select
                $1, coalesce(max(line), 0) + 1, $2, $3, $4, $5, $6, $7, $8, $9, $10
            from damage_step
            where report_id = $1
            returning line as "line!"
        "#,
        report,
        step.kind,
        step.qty,
        step.state,
        step.entry,
        step.other,
        step.undoes,
        step.why,
        step.person,
        step.done_at
    )
    .fetch_one(db)
    .await
}

/// Reports about a place, or what stands in it, that somebody without an account sent since a moment.
pub async fn sent_by_strangers(
    db: &mut SqliteConnection,
    place: PlaceId,
    since: Instant,
) -> sqlx::Result<i64> {
    sqlx::query_scalar!(
        r#"
            select count(*) from damage_report
            where place_id = $1 and reported_by is null and reported_at >= $2
        "#,
        place,
        since
    )
    .fetch_one(db)
    .await
}

/// How many of a team's reports nobody has said anything about: none of their steps is in force.
pub async fn waiting(db: &mut SqliteConnection, team: TeamId) -> sqlx::Result<i64> {
    sqlx::query_scalar!(
        r#"
            select count(*) from damage_report as report
            where report.team_id = $1
                and not exists (
                    select 1 from damage_step as step
                    where step.report_id = report.id
                        and step.kind <> 'taken back'
                        and not exists (
                            select 1 from damage_step as back
                            where back.report_id = step.report_id and back.undoes = step.line
                        )
                        and not exists (
                            select 1 from entry where entry.corrects_seq = step.entry_seq
                        )
                )
        "#,
        team
    )
    .fetch_one(db)
    .await
}
