//! Beside the books: lamps with numbers of their own, and last season's kit that stands on its floor.

use anyhow::Context;

use super::fill::{Story, id_in, unrefused};
use super::kept::Kits;
use super::store;
use super::world::{self, BEXEL, KETTLEHORN, MARUNA, Minutes, OLD_NEEDLE};
use crate::fields::{self, rules::Typed as FieldTyped};
use crate::ids::PieceId;
use crate::kits::{self, NewKit};
use crate::numbered::{self, rules::Typed};
use crate::places;

/// The lamps: serial number, what it is called, the bag it was seen in.
const LAMPS: [(&str, &str, Option<&str>); 2] = [
    ("KL-2207", "the bright one", Some("Bag 1")),
    ("KL-2214", "", None),
];

pub(super) async fn stand(story: &Story, made: &Kits) -> anyhow::Result<()> {
    number_lamps(story, made).await?;
    put_together(story, made).await
}

async fn number_lamps(story: &Story, made: &Kits) -> anyhow::Result<()> {
    story.go_to(Minutes(-100));
    let kit = made.id(KETTLEHORN)?;
    let viewer = story.viewer(BEXEL)?;
    let mut db = story.app.db.read().await?;
    let bags = places::in_kit(&mut db, kit).await?;
    let lamp = store::with_number(&mut db, "N-506").await?;
    drop(db);
    anyhow::ensure!(lamp.len() == 1, "the lamps are one part");
    for (serial, name, bag) in LAMPS {
        let typed = Typed {
            name: name.into(),
            serial: serial.into(),
            note: String::new(),
        };
        let sent = story.sent();
        let added = numbered::add(&story.app, viewer, &sent, kit, "N-506", &typed).await;
        let piece: PieceId = id_in(unrefused(added)?.location())?;
        let Some(bag) = bag else { continue };
        let place = bags
            .iter()
            .find(|place| place.name == bag)
            .with_context(|| format!("no {bag}"))?;
        let seen = (Some(place.id), "seen", "works");
        let sent = story.sent();
        let then = format!("/numbered/{piece}");
        unrefused(numbered::see(&story.app, viewer, &sent, piece, seen, &then).await)?;
    }
    Ok(())
}

/// The league's old kit stands on tiles that were given to it, which are on no list.
async fn put_together(story: &Story, made: &Kits) -> anyhow::Result<()> {
    let team = story.team(world::LEAGUE)?;
    let floor = NewKit {
        id: crate::ids::KitId::new(),
        team,
        name: "Grey floor".into(),
        checked_against: None,
        supplier: String::new(),
        serial: String::new(),
        purchase_reference: String::new(),
        brought_in: true,
        received_on: None,
        report_by: None,
        note: "Thirty-six tiles and the rim, given by the hall.".into(),
    };
    let mut tx = story.app.db.begin_write().await?;
    let floor = kits::add(&story.app, &mut tx, &floor).await?;
    tx.commit().await?;
    let typed = FieldTyped {
        name: "Practice field".into(),
        note: "The rim goes down first.".into(),
        kits: vec![made.id(OLD_NEEDLE)?, floor],
    };
    let viewer = story.viewer(MARUNA)?;
    let sent = story.sent();
    unrefused(fields::add(&story.app, viewer, &sent, team, &typed).await)?;
    Ok(())
}
