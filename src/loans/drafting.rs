//! Counting what goes before it goes: the form of a loan waits until that count is closed.

use std::collections::BTreeMap;

use super::lending::nobody_has;
use super::offering::{Chosen, Going, going, offer};
use super::store;
use super::{refused, store::Draft};
use crate::app::App;
use crate::counts::rules::close::Purpose;
use crate::counts::{self, OpenRefused};
use crate::db::Tx;
use crate::error::{AppError, NotDone};
use crate::ids::{CountId, DraftId, KitId, PlaceId};
use crate::kits;
use crate::people::Viewer;
use crate::places;
use crate::receipts::{self, Outcome, Sent};
use crate::web::form::Wrong;

/// Opens a count of what is to go, and keeps the form as it was typed until then. Nothing else of it is checked yet.
pub async fn count_first(
    app: &App,
    viewer: &Viewer,
    sent: &Sent,
    kit: KitId,
    fields: &BTreeMap<String, String>,
    chosen: &Chosen,
) -> Result<Outcome, NotDone<Vec<Wrong>>> {
    receipts::once(app, sent, Some(viewer.person), async |tx| {
        let kit = kits::find(tx, kit)
            .await?
            .ok_or(AppError::NotFound("kit"))?;
        let offer = offer(tx, &kit).await?;
        let going = going(&offer, chosen).map_err(NotDone::Refused)?;
        nobody_has(tx, &going).await?;
        let only: Vec<PlaceId> = going.places().collect();
        let only = (!going.whole_kit).then_some(only.as_slice());
        let purpose = Some(Purpose::Recount);
        let count = counts::open_in(app, tx, viewer, kit.id, purpose, only)
            .await
            .map_err(|not_done| match not_done {
                NotDone::Failed(error) => NotDone::Failed(error),
                NotDone::Refused(OpenRefused::OpenAlready(_)) => refused(
                    "counted",
                    "it is being counted now: close that count first, then it is the last one",
                ),
                NotDone::Refused(why) => refused("counted", why),
            })?;
        let draft = DraftId::new();
        let path = format!("/kits/{}/lend?draft={draft}", kit.id);
        counts::set_goes_on(tx, count, &path).await?;
        let fields = serde_json::to_string(fields)
            .map_err(|error| AppError::from(anyhow::Error::new(error)))?;
        let now = app.clock.now();
        store::add_draft(tx, draft, (kit.id, viewer.person, count), &fields, now).await?;
        Ok(format!("/counts/{count}"))
    })
    .await
}

/// The fields of a form that waits, and its count, if that is closed.
pub async fn draft(
    db: &mut sqlx::SqliteConnection,
    kit: KitId,
    draft: DraftId,
) -> Result<Option<(BTreeMap<String, String>, Option<CountId>)>, AppError> {
    let Some(Draft {
        fields,
        count,
        is_closed,
    }) = store::draft(db, kit, draft).await?
    else {
        return Ok(None);
    };
    let fields = serde_json::from_str(&fields).map_err(anyhow::Error::new)?;
    Ok(Some((fields, is_closed.then_some(count))))
}

/// Refuses to say "as last closed" of what that count did not go over.
pub(super) async fn was_counted(
    tx: &mut Tx,
    count: CountId,
    going: &Going,
) -> Result<(), NotDone<Vec<Wrong>>> {
    let left_out = counts::left_out(tx, count).await?;
    if left_out.is_empty() {
        return Ok(());
    }
    let mut leaves: Vec<PlaceId> = going.places().collect();
    for krate in &going.crates {
        let below = places::below(tx, krate.id).await?;
        leaves.extend(below.into_iter().map(|place| place.id));
    }
    let names: Vec<&str> = left_out
        .iter()
        .filter(|one| leaves.contains(&one.place))
        .map(|one| one.name.as_str())
        .collect();
    if names.is_empty() {
        return Ok(());
    }
    let text = format!(
        "the last count did not go over {}: count it now, or say why it is not counted",
        names.join(", ")
    );
    Err(refused("counted", text))
}
