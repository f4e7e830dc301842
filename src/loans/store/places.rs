//! The queries about the crates and bags of loans, who has them, and where that is in the books.

use sqlx::SqliteConnection;

use crate::clock::{Day, Instant};
use crate::code::Code;
use crate::ids::{LoanId, PlaceId, TeamId};
use crate::places::Kind;

/// A crate or bag that left on a loan.
#[derive(Debug, Clone)]
pub struct LoanPlace {
    pub place: PlaceId,
    pub code: Code,
    pub name: String,
    pub kind: Kind,
    pub tare_g: Option<f64>,
    /// "crate", "loose" or "owed".
    pub what: String,
    pub stood_in: Option<PlaceId>,
    /// What it stands in now.
    pub stands_in: Option<PlaceId>,
    pub back_at: Option<Instant>,
    /// Who has it, where the borrower handed it on.
    pub handed_to: Option<String>,
}

impl LoanPlace {
    /// Only pieces are owed in it.
    pub fn is_owed(&self) -> bool {
        self.what == "owed"
    }

    pub fn is_loose(&self) -> bool {
        self.what == "loose"
    }

    /// Who has it, or had it last.
    pub fn holder<'a>(&'a self, borrower: &'a str) -> &'a str {
        self.handed_to.as_deref().unwrap_or(borrower)
    }
}

pub async fn places(db: &mut SqliteConnection, loan: LoanId) -> sqlx::Result<Vec<LoanPlace>> {
    sqlx::query_as!(
        LoanPlace,
        r#"
            select
                place.id as "place: PlaceId",
                code.code as "code: Code",
                place.name,
                place.kind as "kind: Kind",
                place.tare_g,
                loan_place.kind as what,
                loan_place.stood_in_id as "stood_in: PlaceId",
                place.parent_id as "stands_in: PlaceId",
                loan_place.back_at as "back_at: Instant",
                loan_hand.name as "handed_to?: String"
            from loan_place
            left join loan_hand using (loan_id, place_id)
            join place on place.id = loan_place.place_id
            join code on code.subject_id = place.id
            where loan_place.loan_id = $1
            order by place.position
        "#,
        loan
    )
    .fetch_all(db)
    .await
}

/// Who has a place, or something in it, or something it stands in.
#[derive(Debug, Clone)]
pub struct Holder {
    pub number: i64,
    pub place_name: String,
    pub borrower_name: String,
    pub due_on: Day,
}

pub async fn holder(db: &mut SqliteConnection, places: &[PlaceId]) -> sqlx::Result<Option<Holder>> {
    let ids = hex_list(places);
    sqlx::query_as!(
        Holder,
        r#"
            with recursive wanted (id) as (
                select unhex(value) from json_each($1)
            ),
            above (id) as (
                select id from wanted
                union
                select place.parent_id
                from above
                join place on place.id = above.id
                where place.parent_id is not null
            ),
            below (id) as (
                select id from wanted
                union
                select place.id
                from below
                join place on place.parent_id = below.id
            )
            select
                loan.number as "number!",
                place.name as "place_name!",
                coalesce(loan_hand.name, team.name, loan.outsider) as "borrower_name!: String",
                loan.due_on as "due_on!: Day"
            from loan_place
            join loan on loan.id = loan_place.loan_id
            join place on place.id = loan_place.place_id
            left join team on team.id = loan.borrower_id
            left join loan_hand on loan_hand.loan_id = loan_place.loan_id
                and loan_hand.place_id = loan_place.place_id
            where loan_place.back_at is null
                and loan_place.place_id in (select id from above union select id from below)
            order by place.position
            limit 1
        "#,
        ids
    )
    .fetch_optional(db)
    .await
}

/// The loan by which a team has one of some places: its borrower, or (with its number) whoever it was handed on to.
pub async fn with_team(
    db: &mut SqliteConnection,
    places: &[PlaceId],
    team: TeamId,
) -> sqlx::Result<Option<(LoanId, i64, Option<i64>)>> {
    let ids = hex_list(places);
    let row = sqlx::query!(
        r#"
            select
                loan.id as "loan!: LoanId",
                loan.number as "number!",
                case when loan.borrower_id is $2 then null else loan_hand.n end as "held?: i64"
            from loan_place
            join loan on loan.id = loan_place.loan_id
            left join loan_hand on loan_hand.loan_id = loan_place.loan_id
                and loan_hand.place_id = loan_place.place_id
            where loan.state = 'out'
                and loan_place.back_at is null
                and loan_place.place_id in (select unhex(value) from json_each($1))
                and (loan.borrower_id is $2 or loan_hand.team_id = $2)
            limit 1
        "#,
        ids,
        team
    )
    .fetch_optional(db)
    .await?;
    Ok(row.map(|row| (row.loan, row.number, row.held)))
}

/// Ids as a JSON array of hexadecimal texts, for `unhex(value) from json_each(…)`.
fn hex_list(places: &[PlaceId]) -> String {
    let ids: Vec<String> = places
        .iter()
        .map(|place| format!("\"{}\"", place.0.simple()))
        .collect();
    format!("[{}]", ids.join(","))
}

/// The place that stands for a borrower among a team's places, from an earlier loan.
pub async fn spot(
    db: &mut SqliteConnection,
    lender: TeamId,
    borrower: Option<TeamId>,
    outsider: &str,
) -> sqlx::Result<Option<PlaceId>> {
    sqlx::query_scalar!(
        r#"
            select spot_id as "spot!: PlaceId"
            from (
                select spot_id, borrower_id as team_id, outsider, made_at as at, lender_id
                from loan
                union all
                select
                    loan_onward.spot_id, loan_onward.team_id, loan_onward.outsider,
                    loan_onward.handed_at, loan.lender_id
                from loan_onward
                join loan on loan.id = loan_onward.loan_id
            )
            where lender_id = $1 and team_id is $2 and outsider = $3 and spot_id is not null
            order by at desc
            limit 1
        "#,
        lender,
        borrower,
        outsider
    )
    .fetch_optional(db)
    .await
}
