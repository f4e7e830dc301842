//! Guides: what a kit of a season must hold, as the published parts list says it.
//!
//! - A **guide** belongs to a season, or to none (a list of one's own: tools, perimeter). It comes in
//!   dated **revisions**; the newest is the one issued last. A revision's parts list is frozen
//!   (*sealed*) once a kit is checked against it.
//! - A guide defines **sizes**: half, full, or others.
//! - `need` adds a parts list up through its assemblies. Its result is kept in the table `need`,
//!   written in the same transaction as the list, because nearly every page asks for it.
//! - `import` reads a parts list out of a file or a pasted table, and writes one back.
//! - `compare` says what a revision changes, for a list and for a kit that was counted before.
//! - `netting` says what must still be got or built, and when, with what is on hand at each level.
//!
//! `need`, `netting`, `compare` and `import` are pure: they know no database, no clock and no pages.

pub mod compare;
pub mod exports;
pub mod import;
pub mod imports;
mod list;
pub mod need;
pub mod netting;
pub mod outline;
pub mod pages;
pub mod pdf;
pub mod rules;
mod store;

pub use list::{ListRefused, NewChild, NewLine, NewList, NewPart, write_list};
pub use store::{
    AssemblyName, Guide, ListedPart, NewGuide, NewRevision, Revision, Size, add_guide,
    add_revision, add_size, assemblies, assembly_names, guide, guides, list_rows, listed_parts,
    need_of, revision, revisions, seal, sizes,
};

use crate::app::App;
use crate::clock::Day;
use crate::error::{AppError, NotDone};
use crate::ids::{GuideId, RevisionId, SeasonId};
use crate::people::Viewer;
use crate::receipts::{self, Outcome, Sent};
use rules::GuideRefused;

/// A guide as a form asks for it.
pub struct GuideWanted {
    pub season: Option<SeasonId>,
    pub name: String,
    pub maker: String,
    /// "half, full".
    pub sizes: String,
    pub label: String,
    pub issued_on: Day,
}

/// Which field of a form a refusal belongs to.
pub type AtField<R> = (&'static str, R);

/// Adds a guide with its sizes and its first revision, whose list is still empty.
pub async fn publish(
    app: &App,
    viewer: &Viewer,
    sent: &Sent,
    wanted: &GuideWanted,
) -> Result<Outcome, NotDone<AtField<GuideRefused>>> {
    receipts::once(app, sent, Some(viewer.person), async |tx| {
        let at = |field: &'static str| move |refused| NotDone::Refused((field, refused));
        let names = store::guide_names(tx).await?;
        let name = rules::name(&wanted.name, 120, &names).map_err(at("name"))?;
        let sizes = rules::sizes(&wanted.sizes).map_err(at("sizes"))?;
        let label = rules::name(&wanted.label, 60, &[]).map_err(at("label"))?;
        let maker = crate::text::tidy(&wanted.maker);
        if maker.chars().count() > 120 {
            return Err(at("maker")(GuideRefused::LongName(120)));
        }

        let guide = GuideId::new();
        let new = NewGuide {
            id: guide,
            season: wanted.season,
            name: &name,
            maker: &maker,
        };
        store::add_guide(tx, new).await?;
        for size in &sizes {
            store::add_size(tx, guide, size).await?;
        }
        let id = RevisionId::new();
        let issued_on = wanted.issued_on;
        store::add_revision(
            tx,
            NewRevision {
                id,
                guide,
                label: &label,
                issued_on,
            },
        )
        .await?;
        Ok(format!("/revisions/{id}"))
    })
    .await
}

/// Adds a revision to a guide; its list begins as a copy of another revision's, or empty.
pub async fn revise(
    app: &App,
    viewer: &Viewer,
    sent: &Sent,
    guide: GuideId,
    label: &str,
    issued_on: Day,
    copy_of: Option<RevisionId>,
) -> Result<Outcome, NotDone<AtField<GuideRefused>>> {
    receipts::once(app, sent, Some(viewer.person), async |tx| {
        store::guide(tx, guide)
            .await?
            .ok_or(AppError::NotFound("guide"))?;
        let labels: Vec<String> = store::revisions(tx, guide)
            .await?
            .into_iter()
            .map(|found| found.label)
            .collect();
        let label = rules::name(label, 60, &labels)
            .map_err(|refused| NotDone::Refused(("label", refused)))?;
        let id = RevisionId::new();
        store::add_revision(
            tx,
            NewRevision {
                id,
                guide,
                label: &label,
                issued_on,
            },
        )
        .await?;
        if let Some(other) = copy_of {
            store::copy_list(tx, other, id).await?;
        }
        Ok(format!("/revisions/{id}"))
    })
    .await
}

/// Adds a size to a guide.
pub async fn enlarge(
    app: &App,
    viewer: &Viewer,
    sent: &Sent,
    guide: GuideId,
    name: &str,
) -> Result<Outcome, NotDone<AtField<GuideRefused>>> {
    receipts::once(app, sent, Some(viewer.person), async |tx| {
        store::guide(tx, guide)
            .await?
            .ok_or(AppError::NotFound("guide"))?;
        let others: Vec<String> = store::sizes(tx, guide)
            .await?
            .into_iter()
            .map(|size| size.name)
            .collect();
        let name = rules::name(name, 60, &others)
            .map_err(|refused| NotDone::Refused(("size", refused)))?;
        store::add_size(tx, guide, &name).await?;
        Ok(format!("/guides/{guide}"))
    })
    .await
}
