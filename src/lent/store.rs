//! The queries about loan links.

use sqlx::SqliteConnection;

use crate::clock::Instant;
use crate::ids::{LinkId, LoanId, PersonId, PhoneId};
use crate::loans::rules::words::State;

/// A link with what it depends on.
#[derive(Debug, Clone)]
pub struct Link {
    pub id: LinkId,
    pub loan: LoanId,
    pub loan_number: i64,
    pub state: State,
    pub lender_name: String,
    pub borrower_name: String,
    /// The time zone of the lender.
    pub zone: String,
    pub made_at: Instant,
    pub ended_at: Option<Instant>,
    /// Phones on which it was opened.
    pub phones: i64,
}

impl Link {
    /// Until it is withdrawn or the loan is closed.
    pub fn holds(&self) -> bool {
        self.ended_at.is_none() && matches!(self.state, State::Agreed | State::Out)
    }
}

/// A phone on which a link was opened.
#[derive(Debug, Clone)]
pub struct Phone {
    pub id: PhoneId,
    pub name: String,
    pub loan: LoanId,
    pub link: Link,
}

impl Phone {
    pub fn holds(&self) -> bool {
        self.link.holds()
    }

    /// "Ivo, loan 12": how what is told on it is signed.
    pub fn named(&self) -> String {
        let name: String = self.name.chars().take(25).collect();
        format!("{name}, loan {}", self.link.loan_number)
    }
}

macro_rules! links {
    ($rest:literal, $($value:expr),+) => {
        sqlx::query_as!(
            Link,
            r#"
            select
                loan_link.id as "id!: LinkId",
                loan_link.loan_id as "loan!: LoanId",
                loan.number as "loan_number!: i64",
                loan.state as "state!: State",
                lender.name as "lender_name!",
                coalesce(borrower.name, loan.outsider) as "borrower_name!: String",
                lender.zone as "zone!",
                loan_link.made_at as "made_at!: Instant",
                loan_link.ended_at as "ended_at?: Instant",
                (select count(*) from loan_phone where loan_phone.link_id = loan_link.id)
                    as "phones!: i64"
            from loan_link
            join loan on loan.id = loan_link.loan_id
            join team as lender on lender.id = loan.lender_id
            left join team as borrower on borrower.id = loan.borrower_id
            "# + $rest,
            $($value),+
        )
    };
}

pub async fn find(db: &mut SqliteConnection, hash: &[u8; 32]) -> sqlx::Result<Option<Link>> {
    let hash = hash.as_slice();
    links!("where loan_link.code_hash = $1", hash)
        .fetch_optional(db)
        .await
}

/// The last link of a loan.
pub async fn link_of(db: &mut SqliteConnection, loan: LoanId) -> sqlx::Result<Option<Link>> {
    links!(
        "where loan_link.loan_id = $1 order by loan_link.ended_at is null desc, loan_link.made_at desc, \
         loan_link.id desc limit 1",
        loan
    )
    .fetch_optional(db)
    .await
}

pub async fn insert(
    db: &mut SqliteConnection,
    link: LinkId,
    loan: LoanId,
    hash: &[u8; 32],
    by: PersonId,
    now: Instant,
) -> sqlx::Result<()> {
    let hash = hash.as_slice();
    sqlx::query!(
        r#"
            insert into loan_link (id, loan_id, code_hash, made_by, made_at)
            values ($1, $2, $3, $4, $5)
        "#,
        link,
        loan,
        hash,
        by,
        now
    )
    .execute(db)
    .await?;
    Ok(())
}

/// Withdraws a link; answers whether it was there to be withdrawn.
pub async fn end(
    db: &mut SqliteConnection,
    link: LinkId,
    by: PersonId,
    now: Instant,
) -> sqlx::Result<bool> {
    let ended = sqlx::query!(
        r#"
            update loan_link
            set ended_by = $2, ended_at = $3
            where id = $1 and ended_at is null
        "#,
        link,
        by,
        now
    )
    .execute(db)
    .await?;
    Ok(ended.rows_affected() == 1)
}

pub async fn insert_phone(
    db: &mut SqliteConnection,
    phone: PhoneId,
    link: LinkId,
    name: &str,
    hash: &[u8; 32],
    now: Instant,
) -> sqlx::Result<()> {
    let hash = hash.as_slice();
    sqlx::query!(
        r#"
            insert into loan_phone (id, link_id, name, token_hash, began_at)
            values ($1, $2, $3, $4, $5)
        "#,
        phone,
        link,
        name,
        hash,
        now
    )
    .execute(db)
    .await?;
    Ok(())
}

/// The phone with this secret, whether or not its link still holds.
pub async fn phone(db: &mut SqliteConnection, hash: &[u8; 32]) -> sqlx::Result<Option<Phone>> {
    let hash = hash.as_slice();
    let Some(row) = sqlx::query!(
        r#"
            select
                loan_phone.id as "id!: PhoneId",
                loan_phone.name,
                loan_link.code_hash
            from loan_phone
            join loan_link on loan_link.id = loan_phone.link_id
            where loan_phone.token_hash = $1
        "#,
        hash
    )
    .fetch_optional(&mut *db)
    .await?
    else {
        return Ok(None);
    };
    let link = links!("where loan_link.code_hash = $1", row.code_hash)
        .fetch_optional(db)
        .await?;
    Ok(link.map(|link| Phone {
        id: row.id,
        name: row.name,
        loan: link.loan,
        link,
    }))
}

/// On which phones a link was opened: name and when, in order.
pub async fn phones(
    db: &mut SqliteConnection,
    link: LinkId,
) -> sqlx::Result<Vec<(String, Instant)>> {
    let rows = sqlx::query!(
        r#"
            select name, began_at as "began_at!: Instant"
            from loan_phone
            where link_id = $1
            order by began_at, id
        "#,
        link
    )
    .fetch_all(db)
    .await?;
    Ok(rows
        .into_iter()
        .map(|row| (row.name, row.began_at))
        .collect())
}
