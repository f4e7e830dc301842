//! The queries about prices and a team's money.

use sqlx::SqliteConnection;

use crate::clock::Instant;
use crate::ids::{PartId, PersonId, TeamId};
use crate::reckon::money::{Currency, Money, Price};

/// What a team decided about money.
#[derive(Debug, Clone)]
pub struct TeamMoney {
    pub currency: Currency,
    /// The value above which a second name is needed; `None`: nobody is asked.
    pub above: Option<Money>,
    pub set_by: String,
    pub set_at: Instant,
}

/// What somebody said about a price.
#[derive(Debug, Clone)]
pub struct PriceSaid {
    /// `None`: nobody knows any more.
    pub price: Option<Price>,
    pub set_by: String,
    pub set_at: Instant,
}

/// A part that a team has pieces of or a price for.
#[derive(Debug, Clone)]
pub struct Priced {
    pub part: PartId,
    pub name: String,
    pub colour: String,
    pub number: String,
    pub price: Option<Price>,
}

fn currency(text: &str) -> sqlx::Result<Currency> {
    text.parse()
        .map_err(|why| sqlx::Error::Decode(Box::new(why)))
}

fn price(minor: Option<i64>, text: &str, for_pieces: i64) -> sqlx::Result<Option<Price>> {
    let currency = currency(text)?;
    Ok(minor.map(|minor| Price {
        money: Money { minor, currency },
        for_pieces: for_pieces.unsigned_abs(),
    }))
}

/// What a team decided about money, the latest first.
pub async fn money_said(
    db: &mut SqliteConnection,
    team: TeamId,
    limit: i64,
) -> sqlx::Result<Vec<TeamMoney>> {
    let rows = sqlx::query!(
        r#"
            select
                team_money.currency,
                team_money.above_minor,
                person.name as set_by,
                team_money.set_at as "set_at!: Instant"
            from team_money
            join person on person.id = team_money.set_by
            where team_money.team_id = $1
            order by team_money.n desc
            limit $2
        "#,
        team,
        limit
    )
    .fetch_all(db)
    .await?;
    rows.into_iter()
        .map(|row| {
            let currency = currency(&row.currency)?;
            Ok(TeamMoney {
                currency,
                above: row.above_minor.map(|minor| Money { minor, currency }),
                set_by: row.set_by,
                set_at: row.set_at,
            })
        })
        .collect()
}

pub async fn add_money(
    db: &mut SqliteConnection,
    team: TeamId,
    currency: Currency,
    above: Option<Money>,
    by: PersonId,
    now: Instant,
) -> sqlx::Result<()> {
    let currency = currency.to_string();
    let above = above.map(|money| money.minor);
    sqlx::query!(
        r#"
            insert into team_money (team_id, currency, above_minor, set_by, set_at)
            values ($1, $2, $3, $4, $5)
        "#,
        team,
        currency,
        above,
        by,
        now
    )
    .execute(db)
    .await?;
    Ok(())
}

/// How many of a team's prices that hold are in another currency.
pub async fn priced_otherwise(
    db: &mut SqliteConnection,
    team: TeamId,
    currency: Currency,
) -> sqlx::Result<i64> {
    let currency = currency.to_string();
    sqlx::query_scalar!(
        r#"
            select count(*) from part_price
            where team_id = $1 and minor is not null and currency <> $2
                and n = (
                    select max(later.n) from part_price later
                    where later.team_id = $1 and later.part_id = part_price.part_id
                )
        "#,
        team,
        currency
    )
    .fetch_one(db)
    .await
}

/// What was said about a part's price, the latest first.
pub async fn prices_said(
    db: &mut SqliteConnection,
    team: TeamId,
    part: PartId,
    limit: i64,
) -> sqlx::Result<Vec<PriceSaid>> {
    let rows = sqlx::query!(
        r#"
            select
                part_price.minor,
                part_price.currency,
                part_price.for_pieces,
                person.name as set_by,
                part_price.set_at as "set_at!: Instant"
            from part_price
            join person on person.id = part_price.set_by
            where part_price.team_id = $1 and part_price.part_id = $2
            order by part_price.n desc
            limit $3
        "#,
        team,
        part,
        limit
    )
    .fetch_all(db)
    .await?;
    rows.into_iter()
        .map(|row| {
            Ok(PriceSaid {
                price: price(row.minor, &row.currency, row.for_pieces)?,
                set_by: row.set_by,
                set_at: row.set_at,
            })
        })
        .collect()
}

pub async fn add_price(
    db: &mut SqliteConnection,
    (team, part): (TeamId, PartId),
    currency: Currency,
    price: Option<Price>,
    by: PersonId,
    now: Instant,
) -> sqlx::Result<()> {
    let currency = currency.to_string();
    let minor = price.map(|price| price.money.minor);
    let for_pieces = price.map_or(1, |price| price.for_pieces.cast_signed());
    sqlx::query!(
        r#"
            insert into part_price (team_id, part_id, minor, currency, for_pieces, set_by, set_at)
            values ($1, $2, $3, $4, $5, $6, $7)
        "#,
        team,
        part,
        minor,
        currency,
        for_pieces,
        by,
        now
    )
    .execute(db)
    .await?;
    Ok(())
}

/// The parts that a team has pieces of or a price for, by name, with what they cost.
pub async fn priced(db: &mut SqliteConnection, team: TeamId) -> sqlx::Result<Vec<Priced>> {
    let rows = sqlx::query!(
        r#"
            select
                part.id as "part!: PartId",
                part.name as "name!",
                part.colour as "colour!",
                part.number as "number!",
                said.minor as "minor?",
                said.currency as "currency?",
                said.for_pieces as "for_pieces?"
            from part
            left join part_price said on said.n = (
                select max(n) from part_price where team_id = $1 and part_id = part.id
            )
            where said.minor is not null
                or part.id in (
                    select balance.part_id
                    from kit
                    cross join balance on balance.kit_id = kit.id
                        and balance.outside = 0 and balance.qty > 0
                    where kit.team_id = $1 and kit.put_away_at is null
                )
            order by part.name, part.colour, part.number, part.id
        "#,
        team
    )
    .fetch_all(db)
    .await?;
    rows.into_iter()
        .map(|row| {
            let price = match (row.currency, row.for_pieces) {
                (Some(currency), Some(for_pieces)) => price(row.minor, &currency, for_pieces)?,
                _ => None,
            };
            Ok(Priced {
                part: row.part,
                name: row.name,
                colour: row.colour,
                number: row.number,
                price,
            })
        })
        .collect()
}
