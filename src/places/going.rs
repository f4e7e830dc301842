//! Moving pieces from place to place, and carrying places: one ledger entry each.

use std::collections::BTreeMap;

use sqlx::SqliteConnection;

use super::rules::Wrong;
use super::rules::making;
use super::rules::moving::{self, There};
use super::seals::not_sealed;
use super::{Pieces, Place, known, may_change, refused, store};
use crate::app::App;
use crate::code::Code;
use crate::codes::{self, CodeKind};
use crate::db::Tx;
use crate::error::NotDone;
use crate::ids::PlaceId;
use crate::ledger::{self, Document, Entry, Move, NotAppended, PlaceMove, Stand};
use crate::people::Viewer;
use crate::receipts::{self, Outcome, Sent};

/// Where something is to go: a place of the list, or a code that was typed or scanned, which wins.
#[derive(Debug, Clone, Default)]
pub struct Target {
    pub to: String,
    pub code: String,
}

/// "Nowhere yet" as a value of the list.
pub const NOWHERE: &str = "nowhere";

/// The place a target means; `None` is "nowhere yet".
async fn aim(
    db: &mut SqliteConnection,
    target: &Target,
) -> Result<Option<Place>, NotDone<Vec<Wrong>>> {
    let typed = target.code.trim();
    if !typed.is_empty() {
        let code =
            Code::parse(typed).map_err(|why| refused(Wrong::new("code", why.to_string())))?;
        let place = match codes::find(db, &code).await? {
            Some((CodeKind::Place, id)) => store::find(db, PlaceId(id)).await?,
            Some(_) | None => None,
        };
        let wrong = || Wrong::new("code", format!("{code} is not on a crate, bag or place"));
        return place.map(Some).ok_or_else(|| refused(wrong()));
    }
    if target.to == NOWHERE {
        return Ok(None);
    }
    let wrong = || Wrong::new("to", "choose where it goes, or type a code");
    let id: PlaceId = target.to.parse().map_err(|_| refused(wrong()))?;
    let place = store::find(db, id).await?;
    place.map(Some).ok_or_else(|| refused(wrong()))
}

/// The field a refusal of the target belongs to.
fn at_target(target: &Target, mut wrong: Wrong) -> Wrong {
    if wrong.field == "to" && !target.code.trim().is_empty() {
        wrong.field = "code".into();
    }
    wrong
}

/// Moves pieces from a place to another: one entry.
pub async fn move_pieces(
    app: &App,
    viewer: &Viewer,
    sent: &Sent,
    from: PlaceId,
    typed: &BTreeMap<String, String>,
    target: &Target,
) -> Result<Outcome, NotDone<Vec<Wrong>>> {
    receipts::once(app, sent, Some(viewer.person), async |tx| {
        let from = known(tx, from).await?;
        not_lent(tx, &from, "").await.map_err(refused_or_failed)?;
        let sealed = not_sealed(tx, Some(from.id), "").await;
        sealed.map_err(refused_or_failed)?;
        let pieces = store::pieces(tx, from.id, false).await?;
        let there: Vec<There> = pieces.iter().map(Pieces::there).collect();
        let going = moving::chosen(&there, typed);
        let to = match aim(tx, target).await {
            Ok(to) => check_receiver(&from, to).map_err(|wrong| vec![at_target(target, wrong)]),
            Err(NotDone::Refused(wrongs)) => Err(wrongs),
            Err(NotDone::Failed(error)) => return Err(error.into()),
        };
        let (going, to) = match (going, to) {
            (Ok(going), Ok(to)) => (going, to),
            (going, to) => {
                let mut wrongs = going.err().unwrap_or_default();
                wrongs.extend(to.err().unwrap_or_default());
                return Err(NotDone::Refused(wrongs));
            }
        };
        let lent = not_lent(tx, &to, "to").await.map_err(refused_or_failed);
        lent.map_err(|not_done| at_the_target(target, not_done))?;
        let sealed = not_sealed(tx, Some(to.id), "to").await;
        let sealed = sealed.map_err(refused_or_failed);
        sealed.map_err(|not_done| at_the_target(target, not_done))?;
        let mut entry = Entry::new(sent.id, "pieces moved", viewer.person, app.clock.now());
        entry.document = Some(Document::Place(from.id));
        entry.moves = going
            .iter()
            .map(|(key, qty)| Move {
                part: key.part,
                qty: *qty,
                from: Stand {
                    kit: key.kit,
                    place: from.id,
                    state: key.state,
                },
                to: Stand {
                    kit: key.kit,
                    place: to.id,
                    state: key.state,
                },
            })
            .collect();
        let seq = append(tx, &entry).await?;
        Ok(format!("/entries/{seq}"))
    })
    .await
}

/// Whether pieces can go from one place to another.
fn check_receiver(from: &Place, to: Option<Place>) -> Result<Place, Wrong> {
    let Some(to) = to else {
        return Err(Wrong::new(
            "to",
            "pieces have to be somewhere; choose where they go",
        ));
    };
    if to.id == from.id {
        return Err(Wrong::new(
            "to",
            "they are there already; choose another place",
        ));
    }
    if to.team != from.team {
        return Err(Wrong::new(
            "to",
            format!("{} belongs to another team", to.name),
        ));
    }
    if to.put_away {
        return Err(Wrong::new(
            "to",
            format!("{} was put away; bring it back first", to.name),
        ));
    }
    Ok(to)
}

/// Carries a crate, bag or other place to another, with all that is in it: one entry.
pub async fn carry(
    app: &App,
    viewer: &Viewer,
    sent: &Sent,
    place: PlaceId,
    target: &Target,
) -> Result<Outcome, NotDone<Vec<Wrong>>> {
    receipts::once(app, sent, Some(viewer.person), async |tx| {
        let place = known(tx, place).await?;
        may_change(viewer, &place).map_err(refused)?;
        not_lent(tx, &place, "").await.map_err(refused_or_failed)?;
        // A sealed crate is carried as it is; nothing is carried out of one.
        let sealed = not_sealed(tx, place.parent, "").await;
        sealed.map_err(refused_or_failed)?;
        let to = aim(tx, target).await?;
        if let Some(to) = &to {
            let lent = not_lent(tx, to, "to").await.map_err(refused_or_failed);
            lent.map_err(|not_done| at_the_target(target, not_done))?;
            let sealed = not_sealed(tx, Some(to.id), "to").await;
            let sealed = sealed.map_err(refused_or_failed);
            sealed.map_err(|not_done| at_the_target(target, not_done))?;
        }
        let below = store::below(tx, place.id).await?;
        making::carry(&place, to.as_ref(), &below)
            .map_err(|wrong| refused(at_target(target, wrong)))?;
        let mut entry = Entry::new(sent.id, "carried", viewer.person, app.clock.now());
        entry.document = Some(Document::Place(place.id));
        entry.carried = vec![PlaceMove {
            place: place.id,
            from: place.parent,
            to: to.map(|to| to.id),
        }];
        let seq = append(tx, &entry).await?;
        Ok(format!("/entries/{seq}"))
    })
    .await
}

/// What is with a borrower is handed out and counted back by its loan alone.
async fn not_lent(
    db: &mut SqliteConnection,
    place: &Place,
    field: &'static str,
) -> Result<(), NotDone<Wrong>> {
    let way = store::way(db, place.id).await?;
    match way.iter().find(|step| step.with_borrower) {
        None => Ok(()),
        Some(borrower) => {
            let text = format!(
                "{} is lent: it is with {}; count it back first",
                place.name, borrower.name
            );
            Err(NotDone::Refused(Wrong::new(field, text)))
        }
    }
}

fn refused_or_failed(not_done: NotDone<Wrong>) -> NotDone<Vec<Wrong>> {
    match not_done {
        NotDone::Refused(wrong) => refused(wrong),
        NotDone::Failed(error) => NotDone::Failed(error),
    }
}

fn at_the_target(target: &Target, not_done: NotDone<Vec<Wrong>>) -> NotDone<Vec<Wrong>> {
    match not_done {
        NotDone::Refused(wrongs) => NotDone::Refused(
            wrongs
                .into_iter()
                .map(|wrong| at_target(target, wrong))
                .collect(),
        ),
        failed => failed,
    }
}

async fn append(tx: &mut Tx, entry: &Entry) -> Result<ledger::Seq, NotDone<Vec<Wrong>>> {
    ledger::append(tx, entry).await.map_err(|why| match why {
        NotAppended::Sqlx(error) => NotDone::Failed(error.into()),
        other => refused(Wrong::new("", other.to_string())),
    })
}
