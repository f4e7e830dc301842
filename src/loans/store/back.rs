//! The queries about what came back and what differed.

use sqlx::SqliteConnection;

use crate::ids::{KitId, LoanId, PartId, PlaceId};
use crate::loans::rules::back::Kind;

/// One difference, as it stands now.
#[derive(Debug, Clone)]
pub struct Difference {
    pub line: i64,
    pub kind: Kind,
    pub part: Option<PartId>,
    pub kit: Option<KitId>,
    pub part_name: String,
    pub colour: String,
    pub number: String,
    pub place: PlaceId,
    pub place_name: String,
    pub qty: i64,
    pub came_home: i64,
    pub words: String,
    pub agreement: String,
    pub pays: String,
    pub lender_name: String,
    pub borrower_name: String,
    /// In whose time it came about: 0 is the borrower's own, others are the number of what was handed on.
    pub laid_to: Option<i64>,
    pub laid_words: String,
}

impl Difference {
    /// All of it came home, or turned out to lie in another crate.
    pub fn is_home(&self) -> bool {
        self.came_home == self.qty
    }
}

pub async fn differences(db: &mut SqliteConnection, loan: LoanId) -> sqlx::Result<Vec<Difference>> {
    sqlx::query_as!(
        Difference,
        r#"
            select
                loan_difference.line,
                loan_difference.kind as "kind: Kind",
                loan_difference.part_id as "part: PartId",
                loan_difference.kit_id as "kit: KitId",
                coalesce(part.name, '') as "part_name!: String",
                coalesce(part.colour, '') as "colour!: String",
                coalesce(part.number, '') as "number!: String",
                loan_difference.place_id as "place: PlaceId",
                place.name as place_name,
                loan_difference.qty,
                loan_difference.came_home,
                loan_difference.words,
                loan_difference.agreement,
                loan_difference.pays,
                loan_difference.lender_name,
                loan_difference.borrower_name,
                loan_difference.laid_to,
                loan_difference.laid_words
            from loan_difference
            join place on place.id = loan_difference.place_id
            left join part on part.id = loan_difference.part_id
            where loan_difference.loan_id = $1
            order by loan_difference.line
        "#,
        loan
    )
    .fetch_all(db)
    .await
}

pub async fn difference(
    db: &mut SqliteConnection,
    loan: LoanId,
    line: i64,
) -> sqlx::Result<Option<Difference>> {
    let all = differences(db, loan).await?;
    Ok(all.into_iter().find(|one| one.line == line))
}

/// Adds a difference; answers its line.
pub async fn add_difference(
    db: &mut SqliteConnection,
    loan: LoanId,
    kind: Kind,
    part: Option<(PartId, KitId)>,
    place: PlaceId,
    qty: i64,
    words: &str,
) -> sqlx::Result<i64> {
    let (part, kit) = part.unzip();
    let line = sqlx::query_scalar!(
        r#"
            select coalesce(max(line), 0) + 1 as "line!: i64" from loan_difference where loan_id = $1
        "#,
        loan
    )
    .fetch_one(&mut *db)
    .await?;
    sqlx::query!(
        r#"
            insert into loan_difference (loan_id, line, kind, part_id, kit_id, place_id, qty, words)
            values ($1, $2, $3, $4, $5, $6, $7, $8)
        "#,
        loan,
        line,
        kind,
        part,
        kit,
        place,
        qty,
        words
    )
    .execute(db)
    .await?;
    Ok(line)
}

/// Notes what both sides agreed about a difference.
pub async fn agree(
    db: &mut SqliteConnection,
    loan: LoanId,
    line: i64,
    (agreement, pays): (&str, &str),
    (lender, borrower): (&str, &str),
) -> sqlx::Result<()> {
    sqlx::query!(
        r#"
            update loan_difference
            set agreement = $3, pays = $4, lender_name = $5, borrower_name = $6
            where loan_id = $1 and line = $2
        "#,
        loan,
        line,
        agreement,
        pays,
        lender,
        borrower
    )
    .execute(db)
    .await?;
    Ok(())
}

/// So many more of what was missing came home.
pub async fn came_home(
    db: &mut SqliteConnection,
    loan: LoanId,
    line: i64,
    qty: i64,
) -> sqlx::Result<()> {
    sqlx::query!(
        r#"update loan_difference set came_home = came_home + $3 where loan_id = $1 and line = $2"#,
        loan,
        line,
        qty
    )
    .execute(db)
    .await?;
    Ok(())
}

/// The loose pieces of a loan as they left: where they lay, and how many in any state.
pub async fn lines_out(
    db: &mut SqliteConnection,
    loan: LoanId,
) -> sqlx::Result<Vec<(PlaceId, PartId, KitId, i64)>> {
    let rows = sqlx::query!(
        r#"
            select
                place_id as "place!: PlaceId",
                part_id as "part!: PartId",
                kit_id as "kit!: KitId",
                sum(qty) as "qty!: i64"
            from loan_line
            where loan_id = $1 and loose = 1 and place_id is not null
            group by place_id, part_id, kit_id
            order by min(line)
        "#,
        loan
    )
    .fetch_all(db)
    .await?;
    Ok(rows
        .into_iter()
        .map(|row| (row.place, row.part, row.kit, row.qty))
        .collect())
}
