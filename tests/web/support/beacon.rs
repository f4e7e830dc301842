//! A small invented kit for tests: a beacon with posts and plates. 8 kinds of part, 3 assemblies, one part
//! in two of them.

use fieldstow::guides::need::Basis;
use fieldstow::guides::{self, NewChild, NewGuide, NewLine, NewList, NewPart, NewRevision};
use fieldstow::ids::{GuideId, KitId, PartId, PersonId, PlaceId, RevisionId, SizeId, TeamId};
use fieldstow::kits::{self, NewKit};
use fieldstow::places::{self, Kind, NewPlace};

use super::World;

/// The published list. Full: 4 posts, 2 long plates, 2 short plates, 20 pegs (8 in the beacon, 12 in
/// the gates), 1 lamp, 1 amber and 1 white shade, 6 straps for all gates together.
pub struct Beacon {
    pub guide: GuideId,
    pub revision: RevisionId,
    pub half: SizeId,
    pub full: SizeId,
}

impl World {
    pub async fn beacon(&self) -> Beacon {
        let mut tx = self.app.db.begin_write().await.unwrap();
        let guide = GuideId::new();
        let new = NewGuide {
            id: guide,
            season: None,
            name: "Ridge Beacon",
            maker: "",
        };
        guides::add_guide(&mut tx, new).await.unwrap();
        let half = guides::add_size(&mut tx, guide, "half").await.unwrap();
        let full = guides::add_size(&mut tx, guide, "full").await.unwrap();
        let revision = RevisionId::new();
        let issued_on = "2027-01-09".parse().unwrap();
        let new = NewRevision {
            id: revision,
            guide,
            label: "1.0",
            issued_on,
        };
        guides::add_revision(&mut tx, new).await.unwrap();
        guides::write_list(&mut tx, revision, &list(half, full))
            .await
            .unwrap();
        tx.commit().await.unwrap();
        Beacon {
            guide,
            revision,
            half,
            full,
        }
    }

    /// A full beacon kit of a team, with its bags: nothing counted yet.
    pub async fn kit(
        &self,
        beacon: &Beacon,
        actor: PersonId,
        team: TeamId,
        name: &str,
        bags: &[&str],
    ) -> (KitId, Vec<PlaceId>) {
        let mut tx = self.app.db.begin_write().await.unwrap();
        let new = NewKit {
            id: KitId::new(),
            team,
            name: name.into(),
            checked_against: Some((beacon.revision, beacon.full)),
            supplier: "Kolm Works".into(),
            serial: "KW-0042".into(),
            purchase_reference: "P-77".into(),
            brought_in: false,
            received_on: Some("2027-03-03".parse().unwrap()),
            report_by: Some("2027-03-17".parse().unwrap()),
            note: String::new(),
        };
        let kit = kits::add(&self.app, &mut tx, &new).await.unwrap();
        let mut places = Vec::new();
        for bag in bags {
            let new = NewPlace {
                id: PlaceId::new(),
                kind: Kind::Bag,
                team,
                kit: Some(kit),
                name: (*bag).into(),
                make: String::new(),
                tare_g: None,
                parent: None,
                usual_parent: None,
                note: String::new(),
            };
            places.push(places::make(&self.app, &mut tx, actor, &new).await.unwrap());
        }
        tx.commit().await.unwrap();
        (kit, places)
    }

    /// The part with this name.
    pub async fn part(&self, name: &str) -> PartId {
        let mut db = self.app.db.read().await.unwrap();
        sqlx::query_scalar::<_, PartId>("select id from part where name = $1")
            .bind(name)
            .fetch_one(&mut *db)
            .await
            .unwrap()
    }
}

fn list(half: SizeId, full: SizeId) -> NewList {
    let part = |number: &str, name: &str, colour: &str| NewPart {
        number: number.into(),
        name: name.into(),
        colour: colour.into(),
        ..NewPart::default()
    };
    let parts = vec![
        part("B-1", "Post", "grey"),
        part("B-2", "Plate, long", "white"),
        part("B-3", "Plate, short", "white"),
        part("B-4", "Peg", "black"),
        part("B-5", "Lamp", ""),
        part("B-6", "Shade", "amber"),
        part("B-6", "Shade", "white"),
        part("B-7", "Strap", "red"),
    ];
    let line = |assembly: Option<&str>, child: NewChild, half_qty: u32, full_qty: u32| NewLine {
        assembly: assembly.map(str::to_owned),
        child,
        basis: Basis::Each,
        quantities: vec![(half, half_qty), (full, full_qty)],
        source_line: None,
    };
    let gate = |name: &str| NewChild::Assembly(name.into());
    let mut lines = vec![
        line(None, gate("Beacon"), 1, 1),
        line(None, gate("Gate"), 1, 2),
        line(Some("Beacon"), gate("Lantern"), 1, 1),
        line(Some("Beacon"), NewChild::Part(0), 4, 4),
        line(Some("Beacon"), NewChild::Part(3), 8, 8),
        line(Some("Lantern"), NewChild::Part(4), 1, 1),
        line(Some("Lantern"), NewChild::Part(5), 1, 1),
        line(Some("Lantern"), NewChild::Part(6), 1, 1),
        line(Some("Gate"), NewChild::Part(1), 1, 1),
        line(Some("Gate"), NewChild::Part(2), 1, 1),
        line(Some("Gate"), NewChild::Part(3), 6, 6),
        line(Some("Gate"), NewChild::Part(7), 3, 6),
    ];
    if let Some(straps) = lines.last_mut() {
        straps.basis = Basis::All;
    }
    NewList { parts, lines }
}
