//! Makes the invented kits with their boxes and bags, and the stores, shelves and crates.

use std::collections::HashMap;

use anyhow::Context;

use super::fill::{Story, unrefused};
use super::lists::Revisions;
use super::world::places::{self as world_places, Kind as WorldKind};
use super::world::{self, Minutes};
use crate::clock::Day;
use crate::guides;
use crate::ids::{KitId, PlaceId};
use crate::kits::{self, NewKit, rules::slip};
use crate::places::{self, Kind, NewPlace};

/// The kits by name.
pub(super) struct Kits(HashMap<&'static str, KitId>);

impl Kits {
    pub fn id(&self, name: &str) -> anyhow::Result<KitId> {
        self.0
            .get(name)
            .copied()
            .with_context(|| format!("no kit {name}"))
    }
}

/// Stores, shelves, vans, venues and crates by name.
pub(super) type Places = HashMap<&'static str, PlaceId>;

/// Who keeps a team's kits.
pub(super) fn keeper_of(team: &str) -> anyhow::Result<&'static str> {
    world::PEOPLE
        .iter()
        .find(|person| {
            person.team == team
                && matches!(person.role, world::Role::Keeper | world::Role::Coordinator)
        })
        .map(|person| person.name)
        .with_context(|| format!("nobody keeps the kits of {team}"))
}

pub(super) async fn make_places(story: &Story) -> anyhow::Result<Places> {
    story.go_to(Minutes(-391 * 24 * 60));
    let mut made = Places::new();
    for place in world_places::PLACES {
        let kind = match place.kind {
            WorldKind::Store => Kind::Store,
            WorldKind::Shelf => Kind::Shelf,
            WorldKind::Heap => Kind::Heap,
            WorldKind::Van => Kind::Van,
            WorldKind::Venue => Kind::Venue,
        };
        let parent = place.parent.and_then(|parent| made.get(parent).copied());
        let new = NewPlace {
            parent,
            ..empty(story, kind, place.team, place.name)?
        };
        make(story, &new, place.team, &mut made, place.name).await?;
    }
    for krate in world_places::CRATES {
        let stands = world_places::PLACES
            .iter()
            .find(|place| place.name == krate.usual_place)
            .context("a crate's usual place")?;
        let new = NewPlace {
            make: krate.make.name.into(),
            tare_g: Some(krate.make.tare_g.into()),
            parent: made.get(krate.usual_place).copied(),
            usual_parent: made.get(krate.usual_place).copied(),
            ..empty(story, Kind::Crate, stands.team, krate.name)?
        };
        make(story, &new, stands.team, &mut made, krate.name).await?;
    }
    Ok(made)
}

fn empty(story: &Story, kind: Kind, team: &'static str, name: &str) -> anyhow::Result<NewPlace> {
    Ok(NewPlace {
        id: PlaceId::new(),
        kind,
        team: story.team(team)?,
        kit: None,
        name: name.into(),
        make: String::new(),
        tare_g: None,
        parent: None,
        usual_parent: None,
        note: String::new(),
    })
}

async fn make(
    story: &Story,
    new: &NewPlace,
    team: &str,
    made: &mut Places,
    name: &'static str,
) -> anyhow::Result<()> {
    let actor = story.viewer(keeper_of(team)?)?.person;
    let mut tx = story.app.db.begin_write().await?;
    unrefused(places::make(&story.app, &mut tx, actor, new).await)?;
    tx.commit().await?;
    made.insert(name, new.id);
    Ok(())
}

pub(super) async fn make_kits(story: &Story, revisions: &Revisions) -> anyhow::Result<Kits> {
    let day = |days: world::Days| Day(days.date(story.today().0));
    let mut made = HashMap::new();
    // The oldest first, so that lists show the newest on top.
    let mut kits: Vec<&world::Kit> = world::KITS.iter().collect();
    kits.sort_by_key(|kit| kit.received);
    for kit in kits {
        story.go_to(Minutes((kit.received.0 * 24 * 60).min(-180)));
        let revision = *revisions
            .get(&(kit.season, kit.revision))
            .context("a kit's revision")?;
        let mut db = story.app.db.read().await?;
        let guide = guides::revision(&mut db, revision)
            .await?
            .context("a kit's revision")?
            .guide;
        let size = guides::sizes(&mut db, guide)
            .await?
            .into_iter()
            .find(|size| size.name == kit.size)
            .context("a kit's size")?
            .id;
        drop(db);
        let new = NewKit {
            id: KitId::new(),
            team: story.team(kit.team)?,
            name: kit.name.into(),
            checked_against: Some((revision, size)),
            supplier: world::SUPPLIER.into(),
            serial: kit.serial.into(),
            purchase_reference: kit.purchase.into(),
            brought_in: false,
            received_on: Some(day(kit.received)),
            report_by: kit.report_by.map(day),
            note: String::new(),
        };
        let mut tx = story.app.db.begin_write().await?;
        kits::add(&story.app, &mut tx, &new).await?;
        tx.commit().await?;
        made.insert(kit.name, new.id);
        if let Some(text) = kit.slip {
            pack(story, new.id, kit.team, text).await?;
        }
    }
    Ok(Kits(made))
}

/// Writes a kit's packing slip: its boxes and bags come into being.
async fn pack(story: &Story, kit: KitId, team: &str, text: &str) -> anyhow::Result<()> {
    let mut db = story.app.db.read().await?;
    let found = kits::find(&mut db, kit).await?.context("a kit just made")?;
    let known = kits::listed(&mut db, kit).await?;
    drop(db);
    let read = slip::read(text).map_err(|sentence| anyhow::anyhow!(sentence))?;
    let plan = slip::check(read, &known);
    anyhow::ensure!(
        plan.doubts.is_empty(),
        "the slip is in doubt: {:?}",
        plan.doubts
    );
    anyhow::ensure!(
        plan.differences.is_empty(),
        "the slip differs: {:?}",
        plan.differences
    );
    let viewer = story.viewer(keeper_of(team)?)?;
    unrefused(kits::pack(&story.app, viewer, &story.sent(), &found, &plan).await)?;
    Ok(())
}

/// Closes a crate with a numbered seal.
pub(super) async fn seal(story: &Story, places: &Places) -> anyhow::Result<()> {
    let (name, number, by) = world_places::SEALED;
    let id = places
        .get(name)
        .with_context(|| format!("no crate {name}"))?;
    let viewer = story.viewer(by)?;
    let sent = story.sent();
    unrefused(crate::places::seal(&story.app, viewer, &sent, *id, number).await)?;
    Ok(())
}
