//! The queries about what was reported to a supplier and has not come.

use sqlx::SqliteConnection;

use crate::clock::Day;
use crate::ids::{KitId, PartId, ReportId};
use crate::kits::rules::promised::Asked;
use crate::ledger::{Outside, Seq};

/// A line of a report that is under way, and the day by which something of it is promised.
#[derive(Debug, Clone)]
pub struct AskedLine {
    pub report: ReportId,
    pub line: i64,
    pub part: PartId,
    pub asked: Asked,
    pub by: Option<Day>,
}

/// The short lines of a kit's reports that were sent, closed ones included: what came for those is not
/// there for others. By part, then in the order in which they were sent.
pub async fn asked(db: &mut SqliteConnection, kit: KitId) -> sqlx::Result<Vec<AskedLine>> {
    let rows = sqlx::query!(
        r#"
            select
                report.id as "report!: ReportId",
                line.line as "line!: i64",
                line.part_id as "part!: PartId",
                report.sent_seq as "after!: Seq",
                report.closed_seq as "until?: Seq",
                line.short as "short!: i64",
                promise.qty as "promised?: i64",
                promise.by_day as "by?: Day"
            from supplier_report report
            cross join supplier_report_line line on line.report_id = report.id
            left join supplier_promise promise on promise.report_id = line.report_id
                and promise.line = line.line
                and promise.step = (
                    select max(said.step)
                    from supplier_promise said
                    where said.report_id = line.report_id and said.line = line.line
                        and not exists (
                            select 1 from supplier_report_step step
                            where step.report_id = said.report_id and step.undoes = said.step
                        )
                )
            where report.kit_id = $1 and report.state <> 'not sent' and line.short > 0
            order by line.part_id, report.number
        "#,
        kit
    )
    .fetch_all(db)
    .await?;
    Ok(rows
        .into_iter()
        .map(|row| AskedLine {
            report: row.report,
            line: row.line,
            part: row.part,
            asked: Asked {
                after: row.after,
                until: row.until,
                short: row.short,
                promised: row.promised,
            },
            by: row.by,
        })
        .collect())
}

/// The reports of the kit that are under way.
pub async fn open(db: &mut SqliteConnection, kit: KitId) -> sqlx::Result<Vec<ReportId>> {
    sqlx::query_scalar!(
        r#"
            select id as "id: ReportId"
            from supplier_report
            where kit_id = $1 and state = 'open'
        "#,
        kit
    )
    .fetch_all(db)
    .await
}

/// An order line of which not all has arrived, and the day by which it is expected.
#[derive(Debug, Clone)]
pub struct OrderedLine {
    pub part: PartId,
    pub number: i64,
    pub left: i64,
    pub by: Option<Day>,
}

/// What a kit has ordered and not received.
pub async fn ordered(db: &mut SqliteConnection, kit: KitId) -> sqlx::Result<Vec<OrderedLine>> {
    let mut lines = sqlx::query_as!(
        OrderedLine,
        r#"
            select
                line.part_id as "part!: PartId",
                line.number as "number!",
                line.qty - coalesce(
                    (
                        select sum(step.qty) from order_step step
                        where step.order_id = line.id
                            and not exists (
                                select 1 from entry where entry.corrects_seq = step.entry_seq
                            )
                    ),
                    0
                ) as "left!: i64",
                (
                    select step.by_day from order_step step
                    where step.order_id = line.id and step.kind = 'ordered'
                        and not exists (
                            select 1 from order_step back
                            where back.order_id = step.order_id and back.undoes = step.line
                        )
                    order by step.line desc
                    limit 1
                ) as "by?: Day"
            from order_line line
            where line.kit_id = $1 and line.state = 'ordered'
            order by line.number
        "#,
        kit
    )
    .fetch_all(db)
    .await?;
    lines.retain(|line| line.left > 0);
    Ok(lines)
}

/// What came of a part from the supplier after an entry, in order; below zero for what never came after
/// all. What was taken back did not happen.
pub async fn came(
    db: &mut SqliteConnection,
    kit: KitId,
    part: PartId,
    after: Seq,
) -> sqlx::Result<Vec<(Seq, i64)>> {
    let supplier = Outside::Supplier.place();
    let rows = sqlx::query!(
        r#"
            select
                entry.seq as "seq!: Seq",
                sum(
                    case
                        when move.from_place_id = $4 and move.to_place_id <> $4 then move.qty
                        when move.to_place_id = $4 and move.from_place_id <> $4 then -move.qty
                        else 0
                    end
                ) as "qty!: i64"
            from move
            join entry on entry.seq = move.entry_seq
            where move.part_id = $2 and move.to_kit_id = $1 and move.entry_seq > $3
                and entry.corrects_seq is null
                and not exists (select 1 from entry later where later.corrects_seq = entry.seq)
            group by entry.seq
            order by entry.seq
        "#,
        kit,
        part,
        after,
        supplier
    )
    .fetch_all(db)
    .await?;
    Ok(rows.into_iter().map(|row| (row.seq, row.qty)).collect())
}
