//! The queries about what write-offs were worth.

use sqlx::SqliteConnection;

use crate::damage::rules::second::Worth;
use crate::ids::DamageId;
use crate::reckon::money::{Currency, Money};

pub async fn add_worth(
    db: &mut SqliteConnection,
    report: DamageId,
    line: i64,
    worth: &Worth,
) -> sqlx::Result<()> {
    let currency = worth.money.currency.to_string();
    let above = worth.above.map(|money| money.minor);
    sqlx::query!(
        r#"
            insert into damage_worth (report_id, line, minor, currency, above_minor, second)
            values ($1, $2, $3, $4, $5, $6)
        "#,
        report,
        line,
        worth.money.minor,
        currency,
        above,
        worth.second
    )
    .execute(db)
    .await?;
    Ok(())
}

/// What the write-offs of a report were worth, by the line of their step.
pub async fn worths(
    db: &mut SqliteConnection,
    report: DamageId,
) -> sqlx::Result<Vec<(i64, Worth)>> {
    let rows = sqlx::query!(
        r#"
            select line, minor, currency, above_minor, second
            from damage_worth
            where report_id = $1
            order by line
        "#,
        report
    )
    .fetch_all(db)
    .await?;
    rows.into_iter()
        .map(|row| {
            let currency: Currency = row
                .currency
                .parse()
                .map_err(|why| sqlx::Error::Decode(Box::new(why)))?;
            let money = |minor| Money { minor, currency };
            Ok((
                row.line,
                Worth {
                    money: money(row.minor),
                    above: row.above_minor.map(money),
                    second: row.second,
                },
            ))
        })
        .collect()
}
