//! The stretches of a loan, and laying what lacks to one of them.

use std::collections::HashMap;

use sqlx::SqliteConnection;

use super::onward::out;
use super::rules::back::{Difference, Kind, Out};
use super::rules::saying::short;
use super::rules::stretches::{Began, Handed, Stretch, Went, stretches, told_by_counts};
use super::saying::Speaker;
use super::sheet_back::BackPlace;
use super::store::{self, Side};
use super::{Loan, refused};
use crate::app::App;
use crate::error::{AppError, NotDone};
use crate::ids::{KitId, LoanId, PartId, PlaceId};
use crate::people::Viewer;
use crate::receipts::{self, Outcome, Sent};
use crate::web::form::Wrong;

/// The stretches of a loan: who had which crates from when to when.
pub async fn hands(
    db: &mut SqliteConnection,
    loan: &Loan,
    counted: &str,
) -> sqlx::Result<Vec<Stretch>> {
    let Some(left_at) = store::left_at(db, loan.id).await? else {
        return Ok(Vec::new());
    };
    let went: Vec<Went> = store::places(db, loan.id)
        .await?
        .into_iter()
        .filter(|place| !place.is_owed())
        .map(|place| Went {
            place: place.place,
            name: place.name,
            back_at: place.back_at,
        })
        .collect();
    let handed = handed(db, loan.id).await?;
    Ok(stretches(
        (&loan.borrower_name, left_at, counted),
        &went,
        &handed,
    ))
}

/// What was handed on.
pub async fn handed(db: &mut SqliteConnection, loan: LoanId) -> sqlx::Result<Vec<Handed>> {
    let places = store::onward_places(db, loan).await?;
    let all = store::onwards(db, loan).await?;
    Ok(all
        .into_iter()
        .filter_map(|one| {
            Some(Handed {
                at: one.handed_at?,
                n: one.n,
                count: if one.counted {
                    "counted as it was handed on".into()
                } else {
                    format!("not counted: {}", one.not_counted)
                },
                to: one.to,
                places: places
                    .iter()
                    .filter(|(n, _)| *n == one.n)
                    .map(|(_, place)| *place)
                    .collect(),
            })
        })
        .collect())
}

/// In whose time each missing line came to lack, where the counts tell it.
///
/// Where it left without a count, the books alone say what was in it. They count as a count if the borrower said that
/// all of it was there, or if the first count afterwards found the same.
pub(super) async fn told(
    db: &mut SqliteConnection,
    loan: &Loan,
    counted: &[(&BackPlace, Out)],
    differences: &[Difference],
) -> sqlx::Result<HashMap<(PlaceId, PartId, KitId), i64>> {
    let is_sure = loan.counted.is_some() || loan.confirmed_at.is_some();
    let loan = loan.id;
    let handed = handed(db, loan).await?;
    let mut told = HashMap::new();
    if handed.is_empty() {
        return Ok(told);
    }
    let lines = store::onward_lines(db, loan).await?;
    let left = store::left_lines(db, loan).await?;
    for one in differences.iter().filter(|one| one.kind == Kind::Missing) {
        let key = (one.place, one.part, one.kit);
        let Some((root, _)) = counted
            .iter()
            .find(|(_, out)| (out.place, out.part, out.kit) == key)
        else {
            continue;
        };
        let is_loose = root.place.is_loose();
        let held: i64 = left
            .iter()
            .filter(|line| (line.part, line.kit) == (one.part, one.kit))
            .filter(|line| line.loose == is_loose && (is_loose || line.place == one.place))
            .map(|line| line.qty)
            .sum();
        let mut began = vec![Began {
            n: 0,
            held: Some(held),
        }];
        for hand in handed
            .iter()
            .filter(|hand| hand.places.contains(&root.place.place))
        {
            let counted = lines
                .iter()
                .find(|line| line.n == hand.n && (line.place, line.part, line.kit) == key);
            began.push(Began {
                n: hand.n,
                held: counted.map(|line| line.qty),
            });
        }
        let first_count = began[1..].iter().find_map(|one| one.held);
        if !is_sure && first_count != Some(held) {
            continue;
        }
        if let Some(n) = told_by_counts(&began, held - one.qty) {
            told.insert(key, n);
        }
    }
    Ok(told)
}

/// The keeper lays a difference to a stretch, in words.
pub async fn lay(
    app: &App,
    viewer: &Viewer,
    sent: &Sent,
    (loan, line): (LoanId, i64),
    stretch: &str,
    words: &str,
) -> Result<Outcome, NotDone<Vec<Wrong>>> {
    receipts::once(app, sent, Some(viewer.person), async |tx| {
        let loan = out(tx, loan).await?;
        let difference = store::difference(tx, loan.id, line)
            .await?
            .ok_or(AppError::NotFound("difference"))?;
        let hands = hands(tx, &loan, "").await?;
        let (field, at_words) = (format!("laid-{line}"), format!("laid_words-{line}"));
        let found = stretch.parse::<i64>().ok();
        let Some(hand) = hands.iter().find(|hand| Some(hand.n) == found) else {
            return Err(refused(&field, "choose who had it then"));
        };
        let words = short(words, &at_words).map_err(NotDone::Refused)?;
        if words.is_empty() {
            return Err(refused(&at_words, "say in a word what tells it"));
        }
        store::lay(tx, (loan.id, line), hand.n, "keeper", &words).await?;
        let told = format!("{} {}: {}", difference.qty, difference.part_name, hand.who);
        let lender = Speaker::member(viewer, Side::Lender, loan.id);
        let words = format!("{told}, {words}");
        lender.note(app, tx, loan.id, "laid to", &words).await?;
        Ok(format!("/loans/{}", loan.id))
    })
    .await
}
