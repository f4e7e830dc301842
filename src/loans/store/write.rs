//! The queries that write loans.

use sqlx::SqliteConnection;

use crate::clock::{Day, Instant};
use crate::ids::{CountId, KitId, LoanId, PartId, PersonId, PlaceId, TeamId};
use crate::loans::rules::words::State;

/// The next loan's number. The one writer gives them out, so none is given twice.
pub async fn next_number(db: &mut SqliteConnection) -> sqlx::Result<i64> {
    sqlx::query_scalar!(r#"select coalesce(max(number), 0) + 1 as "number!: i64" from loan"#)
        .fetch_one(db)
        .await
}

pub struct NewLoan<'a> {
    pub id: LoanId,
    pub number: i64,
    pub lender: TeamId,
    pub kit: KitId,
    pub borrower: Option<TeamId>,
    pub outsider: &'a str,
    pub contact: &'a str,
    pub purpose: &'a str,
    pub out_on: Day,
    pub due_on: Day,
    pub state: State,
    pub counted: Option<CountId>,
    pub not_counted: &'a str,
    pub whole_kit: bool,
    pub spot: Option<PlaceId>,
    pub now: Instant,
}

pub async fn insert(db: &mut SqliteConnection, new: &NewLoan<'_>) -> sqlx::Result<()> {
    sqlx::query!(
        r#"
            insert into loan (
                id, number, lender_id, kit_id, borrower_id, outsider, contact, purpose, out_on,
                due_on, state, counted_id, not_counted, whole_kit, spot_id, made_at
            )
            values ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15, $16)
        "#,
        new.id,
        new.number,
        new.lender,
        new.kit,
        new.borrower,
        new.outsider,
        new.contact,
        new.purpose,
        new.out_on,
        new.due_on,
        new.state,
        new.counted,
        new.not_counted,
        new.whole_kit,
        new.spot,
        new.now
    )
    .execute(db)
    .await?;
    Ok(())
}

/// What was agreed to leaves, as the form says now.
pub async fn hand_out(db: &mut SqliteConnection, new: &NewLoan<'_>) -> sqlx::Result<()> {
    sqlx::query!(
        r#"
            update loan
            set purpose = $2, out_on = $3, due_on = $4, state = 'out', counted_id = $5,
                not_counted = $6, whole_kit = $7, spot_id = $8
            where id = $1
        "#,
        new.id,
        new.purpose,
        new.out_on,
        new.due_on,
        new.counted,
        new.not_counted,
        new.whole_kit,
        new.spot
    )
    .execute(db)
    .await?;
    Ok(())
}

pub async fn set_state(db: &mut SqliteConnection, loan: LoanId, state: State) -> sqlx::Result<()> {
    sqlx::query!(r#"update loan set state = $2 where id = $1"#, loan, state)
        .execute(db)
        .await?;
    Ok(())
}

pub async fn set_due(db: &mut SqliteConnection, loan: LoanId, due_on: Day) -> sqlx::Result<()> {
    sqlx::query!(r#"update loan set due_on = $2 where id = $1"#, loan, due_on)
        .execute(db)
        .await?;
    Ok(())
}

/// Keeps why it was lent or promised although it was not free.
pub async fn set_despite(
    db: &mut SqliteConnection,
    loan: LoanId,
    despite: &str,
) -> sqlx::Result<()> {
    sqlx::query!(
        r#"update loan set despite = $2 where id = $1"#,
        loan,
        despite
    )
    .execute(db)
    .await?;
    Ok(())
}

/// How many days a team needs before its kits go out and after they came back.
pub async fn set_days_around(
    db: &mut SqliteConnection,
    team: TeamId,
    before: i64,
    after: i64,
) -> sqlx::Result<()> {
    sqlx::query!(
        r#"update team set days_before_loans = $2, days_after_loans = $3 where id = $1"#,
        team,
        before,
        after
    )
    .execute(db)
    .await?;
    Ok(())
}

/// A crate leaves on a loan. `what` is "crate", "loose" or "owed".
pub async fn add_place(
    db: &mut SqliteConnection,
    loan: LoanId,
    place: PlaceId,
    stood_in: Option<PlaceId>,
    what: &str,
) -> sqlx::Result<()> {
    sqlx::query!(
        r#"
            insert into loan_place (loan_id, place_id, stood_in_id, kind)
            values ($1, $2, $3, $4)
        "#,
        loan,
        place,
        stood_in,
        what
    )
    .execute(db)
    .await?;
    Ok(())
}

pub async fn set_back(
    db: &mut SqliteConnection,
    loan: LoanId,
    place: PlaceId,
    now: Instant,
) -> sqlx::Result<()> {
    sqlx::query!(
        r#"update loan_place set back_at = $3 where loan_id = $1 and place_id = $2"#,
        loan,
        place,
        now
    )
    .execute(db)
    .await?;
    Ok(())
}

pub struct NewLine<'a> {
    pub place: Option<PlaceId>,
    pub part: PartId,
    pub kit: KitId,
    pub state: &'a str,
    pub qty: i64,
    pub loose: bool,
}

pub async fn add_line(
    db: &mut SqliteConnection,
    loan: LoanId,
    line: i64,
    new: &NewLine<'_>,
) -> sqlx::Result<()> {
    sqlx::query!(
        r#"
            insert into loan_line (loan_id, line, place_id, part_id, kit_id, state, qty, loose)
            values ($1, $2, $3, $4, $5, $6, $7, $8)
        "#,
        loan,
        line,
        new.place,
        new.part,
        new.kit,
        new.state,
        new.qty,
        new.loose
    )
    .execute(db)
    .await?;
    Ok(())
}

pub struct NewStep<'a> {
    pub kind: &'static str,
    pub words: &'a str,
    pub due_on: Option<Day>,
    pub entry: Option<i64>,
    pub of_borrower: bool,
    pub person: PersonId,
    pub now: Instant,
}

pub async fn add_step(
    db: &mut SqliteConnection,
    loan: LoanId,
    new: &NewStep<'_>,
) -> sqlx::Result<()> {
    sqlx::query!(
        r#"
            insert into loan_step (
                loan_id, line, kind, words, due_on, entry_seq, of_borrower, person_id, done_at
            )
            values (
                $1,
                (select coalesce(max(line), 0) + 1 from loan_step where loan_id = $1),
                $2, $3, $4, $5, $6, $7, $8
            )
        "#,
        loan,
        new.kind,
        new.words,
        new.due_on,
        new.entry,
        new.of_borrower,
        new.person,
        new.now
    )
    .execute(db)
    .await?;
    Ok(())
}
