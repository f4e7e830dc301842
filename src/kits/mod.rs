//! Kits: pieces that belong together and to one team.
//!
//! - A kit that is checked against a parts list names a revision and a size; a **spares box** names
//!   neither and has no need.
//! - What a kit has and lacks is its **statement** (`rules::Line`): one query, one pure function, used by
//!   every page that tells it. With the places of each part beside it, it is the kit's `accounts`.
//! - Naming a revision seals it.
//! - The **packing slip** says which bag of which box holds what. It is a plan, never stock.
//! - What the list names and nobody counts is only looked at (`looks`): it has no balance and is in no statement.
//! - Kits are put away, never deleted.

pub mod cost;
pub mod build;
pub mod building;
pub mod letter;
pub mod looks;
mod pack;
pub mod pages;
pub mod pooling;
mod promised;
pub mod rules;
pub mod season_end;
mod store;

pub use pack::{PackRefused, pack};
pub use promised::asked;
pub use store::{
    Arrival, AskedLine, Kit, LastCount, NewKit, arrival, find, last_count, may_hold, of_team,
};

use std::collections::{HashMap, HashSet};

use sqlx::SqliteConnection;

use crate::app::App;
use crate::codes::{self, CodeKind};
use crate::db::Tx;
use crate::error::{AppError, NotDone};
use crate::guides;
use crate::ids::{KitId, PartId, RevisionId, SizeId, TeamId};
use crate::people::Viewer;
use crate::receipts::{self, Outcome, Sent};
use rules::details::{self, Typed, Wrong};
use rules::slip::Known;
use rules::{Account, Line, Spot};

/// Adds a kit, gives it a code, and seals the revision it is checked against.
pub async fn add(app: &App, tx: &mut Tx, new: &NewKit) -> sqlx::Result<KitId> {
    let now = app.clock.now();
    store::insert(tx, new, now).await?;
    codes::give(tx, CodeKind::Kit, new.id.0, now).await?;
    if let Some((revision, _)) = new.checked_against {
        guides::seal(tx, revision, now).await?;
    }
    Ok(new.id)
}

/// A parts list and size that a kit can be checked against.
#[derive(Debug, Clone)]
pub struct Offer {
    pub revision: RevisionId,
    pub size: SizeId,
    /// "Ridge Beacon, revision 1.0 of 9 Jan 2027: full".
    pub text: String,
}

/// Every parts list in every size: the guides of the newest season first, of each its newest revision
/// first.
pub async fn offers(db: &mut SqliteConnection) -> sqlx::Result<Vec<Offer>> {
    let mut offers = Vec::new();
    for guide in guides::guides(db).await? {
        let sizes = guides::sizes(db, guide.id).await?;
        for revision in guides::revisions(db, guide.id).await? {
            for size in &sizes {
                offers.push(Offer {
                    revision: revision.id,
                    size: size.id,
                    text: format!(
                        "{}, revision {} of {}: {}",
                        guide.name,
                        revision.label,
                        revision.issued_on.words(),
                        size.name
                    ),
                });
            }
        }
    }
    Ok(offers)
}

fn pairs(offers: &[Offer]) -> Vec<(RevisionId, SizeId)> {
    offers
        .iter()
        .map(|offer| (offer.revision, offer.size))
        .collect()
}

/// Adds a kit that somebody described in a form.
pub async fn begin(
    app: &App,
    viewer: &Viewer,
    sent: &Sent,
    team: TeamId,
    typed: &Typed,
) -> Result<Outcome, NotDone<Vec<Wrong>>> {
    if !viewer.keeps(team) {
        return Err(NotDone::Failed(AppError::Forbidden(
            "Only the team's keeper and deputies add kits to it.".into(),
        )));
    }
    receipts::once(app, sent, Some(viewer.person), async |tx| {
        let others = store::names_of_others(tx, team, None).await?;
        let offered = pairs(&offers(tx).await?);
        let details = details::read(typed, &others, &offered).map_err(NotDone::Refused)?;
        let new = NewKit {
            id: KitId::new(),
            team,
            name: details.name,
            checked_against: details.checked_against,
            supplier: details.supplier,
            serial: details.serial,
            purchase_reference: details.purchase_reference,
            brought_in: details.brought_in,
            received_on: details.received_on,
            report_by: details.report_by,
            note: details.note,
        };
        let kit = add(app, tx, &new).await?;
        Ok(format!("/kits/{kit}"))
    })
    .await
}

/// Why the details of a kit were not changed.
#[derive(Debug)]
pub enum ChangeRefused {
    Wrong(Vec<Wrong>),
    /// Somebody else changed them in the meantime.
    Changed,
}

/// Changes what is written on a kit, unless somebody else did since it was read at `version`.
pub async fn change(
    app: &App,
    viewer: &Viewer,
    sent: &Sent,
    kit: KitId,
    version: i64,
    typed: &Typed,
) -> Result<Outcome, NotDone<ChangeRefused>> {
    receipts::once(app, sent, Some(viewer.person), async |tx| {
        let found = find(tx, kit).await?.ok_or(AppError::NotFound("kit"))?;
        if found.version != version {
            return Err(NotDone::Refused(ChangeRefused::Changed));
        }
        let others = store::names_of_others(tx, found.team, Some(kit)).await?;
        let before = found.revision.zip(found.size);
        // A kit that was counted keeps the list it was counted against.
        let mut typed = typed.clone();
        let offered = if store::counted_before(tx, kit).await? {
            typed.checked = details::choice(before);
            before.into_iter().collect()
        } else {
            pairs(&offers(tx).await?)
        };
        let details = details::read(&typed, &others, &offered)
            .map_err(|wrongs| NotDone::Refused(ChangeRefused::Wrong(wrongs)))?;
        store::update(tx, kit, version, &details).await?;
        if let Some((revision, _)) = details.checked_against {
            guides::seal(tx, revision, app.clock.now()).await?;
        }
        Ok(format!("/kits/{kit}"))
    })
    .await
}

/// Why a kit was not put away.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum PutAwayRefused {
    #[error("A count of this kit is open. Close it first, then put the kit away.")]
    CountOpen,
}

/// Puts a kit away, or brings it back.
pub async fn put_away(
    app: &App,
    viewer: &Viewer,
    sent: &Sent,
    kit: KitId,
    away: bool,
) -> Result<Outcome, NotDone<PutAwayRefused>> {
    receipts::once(app, sent, Some(viewer.person), async |tx| {
        if away && arrival(tx, kit).await?.open.is_some() {
            return Err(NotDone::Refused(PutAwayRefused::CountOpen));
        }
        store::set_put_away(tx, kit, away.then(|| app.clock.now())).await?;
        Ok(format!("/kits/{kit}"))
    })
    .await
}

/// The statement of a kit: every part it needs or has, in the order of its list, then the others.
pub async fn statement(db: &mut SqliteConnection, kit: KitId) -> sqlx::Result<Vec<Line>> {
    let on_order = promised::on_order(db, kit).await?;
    store::lines(db, kit, &on_order).await
}

/// The parts that a kit's list names or that are in it, what is only looked at included: what a packing slip is
/// compared with.
pub async fn listed(db: &mut SqliteConnection, kit: KitId) -> sqlx::Result<Vec<Known>> {
    let counted = statement(db, kit).await?.into_iter().map(|line| Known {
        part: line.part,
        number: line.number,
        name: line.name,
        colour: line.colour,
        need: line.facts.need,
    });
    let looked_at = looks::looked_at(db, kit)
        .await?
        .into_iter()
        .map(|part| Known {
            part: part.part,
            number: part.number,
            name: part.name,
            colour: part.colour,
            need: part.need,
        });
    Ok(counted.chain(looked_at).collect())
}

/// The parts of which other kits of the team have some over.
pub async fn spared_elsewhere(
    db: &mut SqliteConnection,
    kit: KitId,
) -> sqlx::Result<HashSet<PartId>> {
    let overs = store::overs_elsewhere(db, kit).await?;
    Ok(overs.into_iter().map(|(_, _, part, _)| part).collect())
}

/// The statement of a kit with the places of each part.
pub async fn accounts(db: &mut SqliteConnection, kit: KitId) -> sqlx::Result<Vec<Account>> {
    let lines = statement(db, kit).await?;
    let mut spots: HashMap<PartId, Vec<Spot>> = HashMap::new();
    for spot in store::spots(db, kit).await? {
        spots.entry(spot.part).or_default().push(spot);
    }
    Ok(lines
        .into_iter()
        .map(|line| Account {
            spots: spots.remove(&line.part).unwrap_or_default(),
            line,
        })
        .collect())
}
