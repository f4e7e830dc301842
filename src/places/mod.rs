//! Places: what pieces are kept in and where that stands.
//!
//! - Stores, shelves, vans and venues are at the top; crates, boxes, bags, trays and heaps stand in them
//!   and in each other. A heap is a table top.
//! - Carrying a crate is one ledger entry; its contents go along.
//! - Every place has a code from the moment it is made. It is put away, never deleted, and only when
//!   nothing is in it.
//! - Crew make and carry what is carried; stores, shelves, vans and venues are the keeper's.

mod going;
pub mod pages;
pub mod rules;
mod seals;
mod store;

pub use going::{NOWHERE, Target, carry, move_pieces};
pub use seals::{SealOf, open, seal, seal_of, sealed_words, take_back_seal};
pub use store::{
    Holding, Kind, NewPlace, Pieces, Place, below, find, holdings, in_kit, loads, of_team, pieces,
    set_put_away, set_with_borrower, way,
};

use sqlx::SqliteConnection;

use crate::app::App;
use crate::codes::{self, CodeKind};
use crate::db::Tx;
use crate::error::{AppError, NotDone};
use crate::ids::{FormId, KitId, PersonId, PlaceId, TeamId};
use crate::ledger::{self, Document, Entry, NotAppended, PlaceMove};
use crate::people::Viewer;
use crate::receipts::{self, Outcome, Sent};
use crate::{kits, people};
use rules::making::{self, Typed};
use rules::moving::{self, There};
use rules::words::{self, Ways};
use rules::{Wrong, tree};

/// Makes a place, gives it a code, and stands it in its parent by a ledger entry.
pub async fn make(
    app: &App,
    tx: &mut Tx,
    actor: PersonId,
    new: &NewPlace,
) -> Result<PlaceId, NotDone<NotAppended>> {
    make_as(app, tx, FormId::new(), actor, new).await
}

/// The same with the id that the form carried.
async fn make_as(
    app: &App,
    tx: &mut Tx,
    id: FormId,
    actor: PersonId,
    new: &NewPlace,
) -> Result<PlaceId, NotDone<NotAppended>> {
    let now = app.clock.now();
    store::insert(tx, new, now).await?;
    codes::give(tx, CodeKind::Place, new.id.0, now).await?;
    if new.parent.is_some() {
        let mut entry = Entry::new(id, "stood somewhere", actor, now);
        entry.document = Some(Document::Place(new.id));
        entry.carried = vec![PlaceMove {
            place: new.id,
            from: None,
            to: new.parent,
        }];
        ledger::append(tx, &entry)
            .await
            .map_err(|refused| match refused {
                NotAppended::Sqlx(error) => NotDone::Failed(AppError::Sqlx(error)),
                other => NotDone::Refused(other),
            })?;
    }
    Ok(new.id)
}

/// Places with all that they stand in.
pub async fn ways(db: &mut SqliteConnection, places: &[PlaceId]) -> sqlx::Result<Ways> {
    Ok(Ways::new(store::around(db, places).await?))
}

/// A place that somebody asks for.
pub struct Asked {
    pub kind: Kind,
    pub team: TeamId,
    pub kit: Option<KitId>,
    pub typed: Typed,
    pub parent: Option<PlaceId>,
    pub usual_parent: Option<PlaceId>,
}

/// Makes a place for the viewer. The result shows on `then`, or on the place's own page.
pub async fn add(
    app: &App,
    viewer: &Viewer,
    sent: &Sent,
    asked: &Asked,
    then: Option<String>,
) -> Result<Outcome, NotDone<Vec<Wrong>>> {
    receipts::once(app, sent, Some(viewer.person), async |tx| {
        let new = check_new(tx, viewer, asked).await?;
        stand_new(app, tx, sent.id, viewer.person, &new).await?;
        Ok(then
            .clone()
            .unwrap_or_else(|| format!("/places/{}", new.id)))
    })
    .await
}

/// Makes a bag of a kit on which nobody wrote what it is. `then` is the page that shows it.
pub async fn add_unlabelled(
    app: &App,
    viewer: &Viewer,
    sent: &Sent,
    kit: KitId,
    then: &str,
) -> Result<Outcome, NotDone<Vec<Wrong>>> {
    receipts::once(app, sent, Some(viewer.person), async |tx| {
        let names = store::bag_names(tx, kit).await?;
        let team = kits::find(tx, kit)
            .await?
            .ok_or(AppError::NotFound("kit"))?
            .team;
        let asked = Asked {
            kind: Kind::Bag,
            team,
            kit: Some(kit),
            typed: Typed {
                name: making::unlabelled(&names),
                ..Typed::default()
            },
            parent: None,
            usual_parent: None,
        };
        let new = check_new(tx, viewer, &asked).await?;
        stand_new(app, tx, sent.id, viewer.person, &new).await?;
        Ok(then.to_owned())
    })
    .await
}

async fn check_new(
    tx: &mut Tx,
    viewer: &Viewer,
    asked: &Asked,
) -> Result<NewPlace, NotDone<Vec<Wrong>>> {
    if !making::may_make(asked.kind, viewer.role_in(asked.team)) {
        return Err(refused(Wrong::new(
            "kind",
            format!("a {} is for the team's keeper to make", asked.kind.word()),
        )));
    }
    let others = store::names(tx, asked.kind, asked.team, asked.kit, None).await?;
    let mut wrongs = Vec::new();
    if let Some(kit) = asked.kit {
        let kit = kits::find(tx, kit).await?;
        if kit.is_none_or(|kit| kit.team != asked.team) {
            wrongs.push(Wrong::new("kit", "this kit belongs to another team"));
        }
    }
    for (field, holder) in [("parent", asked.parent), ("usual", asked.usual_parent)] {
        if let Some(wrong) = check_holder(tx, asked.team, asked.kind, field, holder).await? {
            wrongs.push(wrong);
        }
    }
    match making::read(&asked.typed, &others) {
        Ok(kept) if wrongs.is_empty() => Ok(NewPlace {
            id: PlaceId::new(),
            kind: asked.kind,
            team: asked.team,
            kit: asked.kit,
            name: kept.name,
            make: kept.make,
            tare_g: kept.tare_g,
            parent: asked.parent,
            usual_parent: asked.usual_parent,
            note: kept.note,
        }),
        Ok(_) => Err(NotDone::Refused(wrongs)),
        Err(more) => {
            wrongs.splice(0..0, more);
            Err(NotDone::Refused(wrongs))
        }
    }
}

/// Why a place of a team cannot stand in `holder`, if it cannot.
async fn check_holder(
    db: &mut SqliteConnection,
    team: TeamId,
    kind: Kind,
    field: &str,
    holder: Option<PlaceId>,
) -> sqlx::Result<Option<Wrong>> {
    let Some(holder) = holder else {
        return Ok(None);
    };
    let text = match store::find(db, holder).await? {
        Some(holder) if holder.team != team => {
            format!("{} belongs to another team", holder.name)
        }
        Some(holder) if holder.put_away => format!("{} was put away", holder.name),
        Some(holder) if !making::may_stand_in(kind, holder.kind) => {
            format!(
                "a {} does not go into a {}",
                kind.word(),
                holder.kind.word()
            )
        }
        Some(_) => return Ok(None),
        None => "choose a place of the list".into(),
    };
    Ok(Some(Wrong::new(field, text)))
}

async fn stand_new(
    app: &App,
    tx: &mut Tx,
    id: FormId,
    actor: PersonId,
    new: &NewPlace,
) -> Result<(), NotDone<Vec<Wrong>>> {
    make_as(app, tx, id, actor, new)
        .await
        .map(|_| ())
        .map_err(|not_done| match not_done {
            NotDone::Refused(why) => refused(Wrong::new("parent", why.to_string())),
            NotDone::Failed(error) => NotDone::Failed(error),
        })
}

fn refused(wrong: Wrong) -> NotDone<Vec<Wrong>> {
    NotDone::Refused(vec![wrong])
}

/// Why a place was not changed.
pub enum ChangeRefused {
    Wrong(Vec<Wrong>),
    /// Somebody else changed it meanwhile.
    Meanwhile,
}

/// Changes what is written about a place.
pub async fn change(
    app: &App,
    viewer: &Viewer,
    sent: &Sent,
    place: PlaceId,
    version: i64,
    typed: &Typed,
    usual_parent: Option<PlaceId>,
) -> Result<Outcome, NotDone<ChangeRefused>> {
    let refuse = |wrongs| NotDone::Refused(ChangeRefused::Wrong(wrongs));
    receipts::once(app, sent, Some(viewer.person), async |tx| {
        let now = known(tx, place).await?;
        may_change(viewer, &now).map_err(|wrong| refuse(vec![wrong]))?;
        if now.version != version {
            return Err(NotDone::Refused(ChangeRefused::Meanwhile));
        }
        let others = store::names(tx, now.kind, now.team, now.kit, Some(place)).await?;
        let kept = making::read(typed, &others).map_err(refuse)?;
        if usual_parent == Some(place) {
            return Err(refuse(vec![Wrong::new(
                "usual",
                "it cannot stand in itself",
            )]));
        }
        if let Some(wrong) = check_holder(tx, now.team, now.kind, "usual", usual_parent).await? {
            return Err(refuse(vec![wrong]));
        }
        store::update(tx, place, version, &kept, usual_parent).await?;
        Ok(format!("/places/{place}"))
    })
    .await
}

/// Puts an empty place away.
pub async fn put_away(
    app: &App,
    viewer: &Viewer,
    sent: &Sent,
    place: PlaceId,
) -> Result<Outcome, NotDone<Wrong>> {
    receipts::once(app, sent, Some(viewer.person), async |tx| {
        let now = known(tx, place).await?;
        may_change(viewer, &now).map_err(NotDone::Refused)?;
        let holds = store::holds(tx, place).await?;
        making::put_away(holds).map_err(NotDone::Refused)?;
        store::set_put_away(tx, place, Some(app.clock.now())).await?;
        Ok(format!("/places/{place}"))
    })
    .await
}

/// Brings back a place that was put away.
pub async fn bring_back(
    app: &App,
    viewer: &Viewer,
    sent: &Sent,
    place: PlaceId,
) -> Result<Outcome, NotDone<Wrong>> {
    receipts::once(app, sent, Some(viewer.person), async |tx| {
        let now = known(tx, place).await?;
        may_change(viewer, &now).map_err(NotDone::Refused)?;
        if let Some(parent) = now.parent {
            let parent = known(tx, parent).await?;
            if parent.put_away {
                let text = format!("bring {} back first: it stood in there", parent.name);
                return Err(NotDone::Refused(Wrong::new("", text)));
            }
        }
        let others = store::names(tx, now.kind, now.team, now.kit, Some(place)).await?;
        if others.contains(&now.name) {
            let text = format!("there is another {} now; rename that one first", now.name);
            return Err(NotDone::Refused(Wrong::new("", text)));
        }
        store::set_put_away(tx, place, None).await?;
        Ok(format!("/places/{place}"))
    })
    .await
}

async fn known<R>(tx: &mut Tx, place: PlaceId) -> Result<Place, NotDone<R>> {
    let found = store::find(tx, place).await?;
    Ok(found.ok_or(AppError::NotFound("place"))?)
}

fn may_change(viewer: &Viewer, place: &Place) -> Result<(), Wrong> {
    if making::may_make(place.kind, viewer.role_in(place.team)) {
        Ok(())
    } else {
        let text = format!("a {} is for the team's keeper to change", place.kind.word());
        Err(Wrong::new("", text))
    }
}

impl Pieces {
    /// The line of a form that moves them.
    pub fn there(&self) -> There {
        There {
            key: moving::Key {
                part: self.part,
                kit: self.kit,
                state: self.state,
            },
            qty: self.qty,
        }
    }

    /// "Peg, black (B-4)".
    pub fn part_words(&self) -> String {
        words::part(&self.name, &self.colour, &self.number)
    }

    /// "4 Mar 2027, 18:04 by Ama", or "not counted here yet".
    pub fn counted_words(&self, zone: &str) -> String {
        match self.counted_at {
            Some(at) => format!(
                "{} by {}",
                at.words(zone),
                people::shown_name(self.counted_by.as_deref().unwrap_or_default())
            ),
            None => "not counted here yet".into(),
        }
    }
}

/// What a place weighs with all that is in it, as far as that is known.
pub async fn mass(db: &mut SqliteConnection, place: &Place) -> sqlx::Result<rules::mass::Mass> {
    let pieces = store::pieces(db, place.id, true).await?;
    let below = store::below(db, place.id).await?;
    let empties = below.iter().chain([place]);
    Ok(rules::mass::weigh(
        empties.map(|place| (place.kind, place.tare_g)),
        pieces.iter().map(|line| (line.part, line.qty, line.mass_g)),
    ))
}

/// The places of a team in the order of what stands in what.
pub async fn tree_of(db: &mut SqliteConnection, team: TeamId) -> sqlx::Result<Vec<tree::Node>> {
    Ok(tree::below(&store::of_team(db, team).await?, None))
}

impl Holding {
    /// "8 pieces of 3 kinds", or what the packing slip says of a bag that is not counted yet.
    pub fn words(&self) -> String {
        match (self.pieces, self.lines_on_the_slip) {
            (0, 0) => "empty".into(),
            (0, 1) => "nothing counted in it yet; the packing slip has 1 line".into(),
            (0, lines) => format!("nothing counted in it yet; the packing slip has {lines} lines"),
            (1, _) => "1 piece".into(),
            (pieces, _) if self.kinds == 1 => format!("{pieces} pieces of 1 kind"),
            (pieces, _) => format!("{pieces} pieces of {} kinds", self.kinds),
        }
    }
}
