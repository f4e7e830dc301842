//! Whether a kit is free for some days: against loans that are agreed or out, and against events.

use sqlx::SqliteConnection;

use super::availability::{self, Around, Granted, Kind, NotFree, Opening, Stay, Taken};
use super::rules::words::State;
use super::{Loan, refused, store};
use crate::app::App;
use crate::clock::Day;
use crate::db::Tx;
use crate::error::NotDone;
use crate::events;
use crate::ids::{LoanId, TeamId};
use crate::kits::Kit;
use crate::people::Viewer;
use crate::receipts::{self, Outcome, Sent};
use crate::reckon::days::moved;
use crate::web::form::Wrong;

/// What somebody wants of a kit.
#[derive(Debug, Clone, Copy)]
pub struct Wanted<'a> {
    pub out_on: Day,
    pub due_on: Day,
    /// The loan itself, which is not in its own way.
    pub loan: Option<LoanId>,
    /// All of the kit. Some crates can go while others are with somebody else.
    pub whole: bool,
    pub today: Day,
    /// The lender's side asks, and may be told who else has it.
    pub by_lender: bool,
    /// Why it is lent all the same; blank where nobody says so.
    pub despite: &'a str,
}

/// What takes the kit away, with the days the lending team needs around it.
pub async fn taken(
    db: &mut SqliteConnection,
    kit: &Kit,
    wanted: Wanted<'_>,
) -> sqlx::Result<Vec<Taken<()>>> {
    let around = around(db, kit.team).await?;
    let mut taken = Vec::new();
    for loan in store::of_kit(db, kit.id).await? {
        let is_in_the_way = match loan.state {
            State::Agreed => true,
            State::Out => loan.still_out > 0 && (loan.whole_kit || wanted.whole),
            _ => false,
        };
        if is_in_the_way && Some(loan.id) != wanted.loan {
            taken.extend(of_loan(&loan, around, wanted));
        }
    }
    // An event has no days of counting around it: its own days are what the plan says.
    let from = moved(wanted.out_on, -400).unwrap_or(wanted.out_on);
    for event in events::of_kit(db, kit.id, from).await? {
        if let Ok(stay) = Stay::new(event.first_on, Some(event.last_on), Around::default()) {
            taken.push(Taken {
                id: (),
                kind: Kind::Event,
                name: event.event_name,
                stay,
            });
        }
    }
    Ok(taken)
}

fn of_loan(loan: &Loan, around: Around, wanted: Wanted<'_>) -> Option<Taken<()>> {
    let stay = Stay::new(loan.out_on, Some(loan.due_on), around).ok()?;
    // What should be back and is not is not free today.
    let stay = if loan.is_overdue(wanted.today) {
        stay.not_back_on(wanted.today).ok()?
    } else {
        stay
    };
    let name = if wanted.by_lender {
        loan.borrower_name.clone()
    } else {
        "somebody else".into()
    };
    Some(Taken {
        id: (),
        kind: Kind::Loan,
        name,
        stay,
    })
}

/// The days a team needs around a loan.
pub async fn around(db: &mut SqliteConnection, team: TeamId) -> sqlx::Result<Around> {
    let (before, after) = store::days_around(db, team).await?;
    Ok(Around {
        counting_out: u32::try_from(before).unwrap_or(0),
        counting_back: u32::try_from(after).unwrap_or(0),
        ..Around::default()
    })
}

/// Grants the days, or refuses them with what is in the way and the first free days. Gives the reason that is
/// to be kept, blank where nothing was in the way.
pub async fn granted(
    tx: &mut Tx,
    kit: &Kit,
    wanted: Wanted<'_>,
    field: &str,
) -> Result<String, NotDone<Vec<Wrong>>> {
    if wanted.despite.chars().count() > 500 {
        return Err(refused("despite", "a reason has at most 500 characters"));
    }
    let stay = wished(tx, kit, wanted)
        .await?
        .map_err(|text| refused("due_on", text))?;
    let taken = taken(tx, kit, wanted).await?;
    let despite = wanted.despite.trim();
    let reason = (!despite.is_empty()).then_some(despite);
    match availability::decide(stay, &taken, reason) {
        Ok(Granted::Free) => Ok(String::new()),
        Ok(Granted::Overridden { reason, .. }) => Ok(reason),
        Err(not_free) => Err(refused(field, not_free.to_string())),
    }
}

async fn wished(
    db: &mut SqliteConnection,
    kit: &Kit,
    wanted: Wanted<'_>,
) -> sqlx::Result<Result<Stay, String>> {
    let around = around(db, kit.team).await?;
    Ok(Stay::new(wanted.out_on, Some(wanted.due_on), around).map_err(|error| error.to_string()))
}

/// The first days from those wanted on that are free, where those are not.
pub async fn instead(
    db: &mut SqliteConnection,
    kit: &Kit,
    wanted: Wanted<'_>,
) -> sqlx::Result<Option<Opening>> {
    let Ok(stay) = wished(db, kit, wanted).await? else {
        return Ok(None);
    };
    let taken = taken(db, kit, wanted).await?;
    Ok(match availability::decide(stay, &taken, None) {
        Err(NotFree::Conflict { first_free, .. }) => first_free,
        _ => None,
    })
}

/// Changes how many days a team needs around a loan.
pub async fn change_around(
    app: &App,
    viewer: &Viewer,
    sent: &Sent,
    team: TeamId,
    before: &str,
    after: &str,
) -> Result<Outcome, NotDone<Vec<Wrong>>> {
    receipts::once(app, sent, Some(viewer.person), async |tx| {
        let mut wrongs = Vec::new();
        let mut read = |field: &str, typed: &str| match typed.trim().parse::<i64>() {
            Ok(days @ 0..=60) => days,
            _ => {
                wrongs.push(Wrong::at(field, "a whole number of days, from 0 to 60"));
                0
            }
        };
        let (before, after) = (read("before", before), read("after", after));
        if !wrongs.is_empty() {
            return Err(NotDone::Refused(wrongs));
        }
        store::set_days_around(tx, team, before, after).await?;
        Ok("/lend".to_owned())
    })
    .await
}
