//! Writing a packing slip: makes its boxes and bags, and says what each should hold.

use std::collections::HashMap;

use crate::app::App;
use crate::db::Tx;
use crate::error::{AppError, NotDone};
use crate::ids::{FormId, PersonId, PlaceId};
use crate::kits::rules::slip::Plan;
use crate::kits::{Kit, store};
use crate::ledger::{self, Document, Entry, NotAppended, PlaceMove};
use crate::people::Viewer;
use crate::places::{self, Kind, NewPlace, Place};
use crate::receipts::{self, Outcome, Sent};
use crate::text::fold;

/// Why a slip was not written.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum PackRefused {
    #[error(
        "Counting has begun in this kit's bags, so its packing slip stays as it is. Correct the bags \
         by a further count."
    )]
    Started,
    #[error("No row of the slip could be understood, so there is nothing to make.")]
    Nothing,
    #[error("{0}")]
    Ledger(String),
}

/// Writes the slip of a kit. Boxes and bags that the kit has already, by name, stay: their codes may be
/// printed. Bags that are no longer on the slip stay, too, and are expected to hold nothing.
pub async fn pack(
    app: &App,
    viewer: &Viewer,
    sent: &Sent,
    kit: &Kit,
    plan: &Plan,
) -> Result<Outcome, NotDone<PackRefused>> {
    receipts::once(app, sent, Some(viewer.person), async |tx| {
        if plan.bags.is_empty() {
            return Err(NotDone::Refused(PackRefused::Nothing));
        }
        if store::started(tx, kit.id).await? {
            return Err(NotDone::Refused(PackRefused::Started));
        }
        write(app, tx, viewer.person, kit, plan).await?;
        Ok(format!("/kits/{}", kit.id))
    })
    .await
}

async fn write(
    app: &App,
    tx: &mut Tx,
    actor: PersonId,
    kit: &Kit,
    plan: &Plan,
) -> Result<(), NotDone<PackRefused>> {
    let known: HashMap<(Kind, String), Place> = places::in_kit(tx, kit.id)
        .await?
        .into_iter()
        .map(|place| ((place.kind, fold(&place.name)), place))
        .collect();
    let mut boxes: HashMap<String, PlaceId> = HashMap::new();
    for name in &plan.boxes {
        let folded = fold(name);
        let id = match known.get(&(Kind::Box, folded.clone())) {
            Some(place) => place.id,
            None => make(app, tx, actor, kit, Kind::Box, name, None).await?,
        };
        boxes.insert(folded, id);
    }
    store::clear_lines(tx, kit.id).await?;
    let mut carried = Vec::new();
    for bag in &plan.bags {
        let parent = bag
            .bag_box
            .as_ref()
            .and_then(|name| boxes.get(&fold(name)).copied());
        let id = match known.get(&(Kind::Bag, fold(&bag.name))) {
            Some(place) => {
                // A slip that names no box says nothing about where the bag stands.
                if parent.is_some() && place.parent != parent {
                    carried.push(PlaceMove {
                        place: place.id,
                        from: place.parent,
                        to: parent,
                    });
                }
                place.id
            }
            None => make(app, tx, actor, kit, Kind::Bag, &bag.name, parent).await?,
        };
        for (position, (part, quantity)) in (0..).zip(&bag.lines) {
            store::insert_line(tx, id, *part, *quantity, position).await?;
        }
    }
    if !carried.is_empty() {
        let mut entry = Entry::new(FormId::new(), "packed by the slip", actor, app.clock.now());
        entry.document = Some(Document::Kit(kit.id));
        entry.carried = carried;
        ledger::append(tx, &entry).await.map_err(refused)?;
    }
    Ok(())
}

async fn make(
    app: &App,
    tx: &mut Tx,
    actor: PersonId,
    kit: &Kit,
    kind: Kind,
    name: &str,
    parent: Option<PlaceId>,
) -> Result<PlaceId, NotDone<PackRefused>> {
    let new = NewPlace {
        id: PlaceId::new(),
        kind,
        team: kit.team,
        kit: Some(kit.id),
        name: name.to_owned(),
        make: String::new(),
        tare_g: None,
        parent,
        usual_parent: parent,
        note: String::new(),
    };
    places::make(app, tx, actor, &new)
        .await
        .map_err(|not_done| match not_done {
            NotDone::Failed(error) => NotDone::Failed(error),
            NotDone::Refused(error) => refused(error),
        })
}

fn refused(error: NotAppended) -> NotDone<PackRefused> {
    match error {
        NotAppended::Sqlx(error) => NotDone::Failed(AppError::Sqlx(error)),
        other => NotDone::Refused(PackRefused::Ledger(other.to_string())),
    }
}
