//! The queries about reports to a supplier.

use sqlx::SqliteConnection;

pub use super::rules::standing::{State, Step};

use super::rules::standing::{Kind, Line};
use crate::clock::{Day, Instant};
use crate::ids::{KitId, PartId, PersonId, PictureId, ReportId, RevisionId, TeamId};
use crate::kits::rules::report::Row;
use crate::ledger::Seq;
use crate::pictures::Shown;

/// A report without its lines.
#[derive(Debug, Clone)]
pub struct Brief {
    pub id: ReportId,
    pub kit: KitId,
    pub number: i64,
    pub revision: Option<RevisionId>,
    pub sent_on: Day,
    /// JSON: an array of arrays of two texts.
    pub heading: String,
    pub state: State,
}

pub struct NewReport {
    pub id: ReportId,
    pub kit: KitId,
    pub number: i64,
    pub revision: Option<RevisionId>,
    pub sent_on: Day,
    pub heading: String,
    pub sent_seq: Seq,
}

/// Reports, narrowed and ordered by the rest of the query.
macro_rules! reports {
    ($rest:tt $(, $value:expr)* $(,)?) => {
        sqlx::query_as!(
            Brief,
            r#"
            select
                id as "id: ReportId",
                kit_id as "kit: KitId",
                number,
                revision_id as "revision: RevisionId",
                sent_on as "sent_on: Day",
                heading,
                state as "state: State"
            from supplier_report
            "# + $rest
            $(, $value)*
        )
    };
}

pub async fn brief(
    db: &mut SqliteConnection,
    kit: KitId,
    number: i64,
) -> sqlx::Result<Option<Brief>> {
    reports!(
        r#"
            where kit_id = $1 and number = $2
        "#,
        kit,
        number
    )
    .fetch_optional(db)
    .await
}

/// The reports of a kit, the newest first.
pub async fn of_kit(db: &mut SqliteConnection, kit: KitId) -> sqlx::Result<Vec<Brief>> {
    reports!(
        r#"
            where kit_id = $1
            order by number desc
        "#,
        kit
    )
    .fetch_all(db)
    .await
}

pub async fn next_number(db: &mut SqliteConnection, kit: KitId) -> sqlx::Result<i64> {
    sqlx::query_scalar!(
        r#"
            select coalesce(max(number), 0) + 1 as "number!: i64"
            from supplier_report
            where kit_id = $1
        "#,
        kit
    )
    .fetch_one(db)
    .await
}

pub async fn insert(db: &mut SqliteConnection, new: &NewReport) -> sqlx::Result<()> {
    sqlx::query!(
        r#"
            insert into supplier_report (
                id, kit_id, number, revision_id, sent_on, heading, state, sent_seq
            )
            values ($1, $2, $3, $4, $5, $6, 'open', $7)
        "#,
        new.id,
        new.kit,
        new.number,
        new.revision,
        new.sent_on,
        new.heading,
        new.sent_seq
    )
    .execute(db)
    .await?;
    Ok(())
}

pub async fn insert_line(
    db: &mut SqliteConnection,
    report: ReportId,
    line: i64,
    row: &Row,
    short: i64,
    over: i64,
) -> sqlx::Result<()> {
    sqlx::query!(
        r#"
            insert into supplier_report_line (
                report_id, line, part_id, number, name, colour,
                need, received, not_good, short, over
            )
            values ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11)
        "#,
        report,
        line,
        row.part,
        row.number,
        row.name,
        row.colour,
        row.need,
        row.received,
        row.not_good,
        short,
        over
    )
    .execute(db)
    .await?;
    Ok(())
}

pub async fn insert_picture(
    db: &mut SqliteConnection,
    report: ReportId,
    position: i64,
    picture: PictureId,
) -> sqlx::Result<()> {
    sqlx::query!(
        r#"
            insert into supplier_report_picture (report_id, position, picture_id)
            values ($1, $2, $3)
        "#,
        report,
        position,
        picture
    )
    .execute(db)
    .await?;
    Ok(())
}

/// Adds a step as the next one, and answers its line.
pub async fn add_step(
    db: &mut SqliteConnection,
    report: ReportId,
    step: &Step,
) -> sqlx::Result<i64> {
    sqlx::query_scalar!(
        r#"
            insert into supplier_report_step (
                report_id, line, kind, day, words, entry_seq, undoes, person_id, done_at
            )
            values (
                $1,
                (
                    select coalesce(max(line), 0) + 1
                    from supplier_report_step
                    where report_id = $1
                ),
                $2, $3, $4, $5, $6, $7, $8
            )
            returning line as "line!: i64"
        "#,
        report,
        step.kind,
        step.day,
        step.words,
        step.entry,
        step.undoes,
        step.person,
        step.done_at
    )
    .fetch_one(db)
    .await
}

pub async fn insert_promise(
    db: &mut SqliteConnection,
    report: ReportId,
    line: i64,
    step: i64,
    qty: i64,
    by: Option<Day>,
) -> sqlx::Result<()> {
    sqlx::query!(
        r#"
            insert into supplier_promise (report_id, line, step, qty, by_day)
            values ($1, $2, $3, $4, $5)
        "#,
        report,
        line,
        step,
        qty,
        by
    )
    .execute(db)
    .await?;
    Ok(())
}

pub async fn set_state(
    db: &mut SqliteConnection,
    report: ReportId,
    state: State,
    closed_seq: Option<Seq>,
) -> sqlx::Result<()> {
    sqlx::query!(
        r#"
            update supplier_report
            set state = $2, closed_seq = $3
            where id = $1
        "#,
        report,
        state,
        closed_seq
    )
    .execute(db)
    .await?;
    Ok(())
}

/// The lines as they were reported; what became of them is not known here.
pub async fn lines(db: &mut SqliteConnection, report: ReportId) -> sqlx::Result<Vec<Line>> {
    sqlx::query_as!(
        Line,
        r#"
            select
                line,
                part_id as "part: PartId",
                number,
                name,
                colour,
                need,
                received,
                not_good,
                short,
                over,
                null as "promised: i64",
                null as "by: Day",
                0 as "arrived!: i64"
            from supplier_report_line
            where report_id = $1
            order by line
        "#,
        report
    )
    .fetch_all(db)
    .await
}

pub async fn steps(db: &mut SqliteConnection, report: ReportId) -> sqlx::Result<Vec<Step>> {
    sqlx::query_as!(
        Step,
        r#"
            select
                step.line,
                step.kind as "kind: Kind",
                step.day as "day: Day",
                step.words,
                step.entry_seq as "entry: Seq",
                exists (
                    select 1 from entry where entry.corrects_seq = step.entry_seq
                ) as "entry_undone!: bool",
                step.undoes,
                step.person_id as "person: PersonId",
                step.done_at as "done_at: Instant"
            from supplier_report_step step
            where step.report_id = $1
            order by step.line
        "#,
        report
    )
    .fetch_all(db)
    .await
}

/// Pictures, narrowed and ordered by the rest of the query.
macro_rules! pictures {
    ($rest:tt $(, $value:expr)* $(,)?) => {
        sqlx::query_as!(
            Shown,
            r#"
            select
                picture.id as "id!: PictureId",
                picture.words as "words!",
                picture.taken_on as "taken_on!: Day",
                picture.layer,
                picture.removed_at is not null as "is_removed!: bool",
                coalesce(thumb.width, 1) as "thumb_width!: i64",
                coalesce(thumb.height, 1) as "thumb_height!: i64",
                coalesce(large.width, 1) as "width!: i64",
                coalesce(large.height, 1) as "height!: i64"
            from picture
            join file thumb on thumb.id = picture.thumb_id
            join file large on large.id = picture.large_id
            "# + $rest
            $(, $value)*
        )
    };
}

/// The pictures that a team shows of the parts that a kit needs and of what the kit is kept in, the newest
/// first.
pub async fn pictures_of_kit(
    db: &mut SqliteConnection,
    kit: KitId,
    team: TeamId,
) -> sqlx::Result<Vec<Shown>> {
    pictures!(
        r#"
            where picture.team_id = $2
                and picture.removed_at is null
                and picture.erased_at is null
                and (
                    picture.place_id in (select id from place where kit_id = $1)
                    or picture.part_id in (
                        select need.part_id
                        from kit
                        join need on need.revision_id = kit.revision_id
                            and need.size_id = kit.size_id
                        where kit.id = $1
                    )
                )
            order by picture.added_at desc, picture.id
            limit 60
        "#,
        kit,
        team
    )
    .fetch_all(db)
    .await
}

/// The pictures that were chosen for a report and are still shown.
pub async fn pictures_of_report(
    db: &mut SqliteConnection,
    report: ReportId,
) -> sqlx::Result<Vec<Shown>> {
    pictures!(
        r#"
            join supplier_report_picture chosen on chosen.picture_id = picture.id
            where chosen.report_id = $1
                and picture.removed_at is null
                and picture.erased_at is null
            order by chosen.position
        "#,
        report
    )
    .fetch_all(db)
    .await
}
