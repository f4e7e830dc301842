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
                (
                    select coalesce(team.name, loan_onward.outsider)
                    from loan_onward_place
                    join loan_onward using (loan_id, n)
                    left join team on team.id = loan_onward.team_id
                    where loan_onward_place.loan_id = loan_place.loan_id
                        and loan_onward_place.place_id = loan_place.place_id
                        and loan_onward.state = 'done'
                    order by loan_onward.n desc
                    limit 1
                ) as "handed_to?: String"
            from loan_place
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
                coalesce(
                    (
                        select coalesce(holding.name, loan_onward.outsider)
                        from loan_onward_place
                        join loan_onward using (loan_id, n)
                        left join team as holding on holding.id = loan_onward.team_id
                        where loan_onward_place.loan_id = loan_place.loan_id
                            and loan_onward_place.place_id = loan_place.place_id
                            and loan_onward.state = 'done'
                        order by loan_onward.n desc
                        limit 1
                    ),
                    team.name,
                    loan.outsider
                ) as "borrower_name!: String",
                loan.due_on as "due_on!: Day"
            from loan_place
            join loan on loan.id = loan_place.loan_id
            join place on place.id = loan_place.place_id
            left join team on team.id = loan.borrower_id
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
