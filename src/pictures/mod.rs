//! Pictures: what a part looks like, and how a crate is packed, layer by layer.
//!
//! A picture belongs to one team, and nobody else sees it. What is kept is never what was sent: it is
//! decoded, turned upright and written anew without anything but its pixels. Pictures are of things; of a
//! picture with a person in it the bytes can be erased for good. Everything else that is done with one is
//! kept and can be undone. Slices below may keep pictures of their own subjects with [`keep`].

pub mod develop;
pub mod files;
pub mod pages;
pub mod rules;
mod store;

pub use develop::{Desk, Developed};
pub use store::{Done, Picture, acts, file_of, find, first_of_part, part_words, place_words};

use sqlx::SqliteConnection;

use crate::app::App;
use crate::clock::{Day, Instant};
use crate::db::Tx;
use crate::error::{AppError, NotDone};
use crate::ids::{PartId, PersonId, PictureId, PlaceId, TeamId};
use crate::people::Viewer;
use crate::receipts::{self, Outcome, Sent};
use crate::web::upload::File;
use rules::{Act, Caption, NotTaken, Refused, Said, Wrongs};

/// What a picture shows.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Of {
    Part(PartId),
    Place(PlaceId),
    /// Something that a table of another slice names.
    Other,
}

impl Of {
    fn ids(self) -> (Option<PartId>, Option<PlaceId>) {
        match self {
            Of::Part(part) => (Some(part), None),
            Of::Place(place) => (None, Some(place)),
            Of::Other => (None, None),
        }
    }

    fn path(self) -> String {
        match self {
            Of::Part(part) => format!("/parts/{part}#pictures"),
            Of::Place(place) => format!("/places/{place}#pictures"),
            Of::Other => "/".into(),
        }
    }
}

impl Picture {
    pub fn of(&self) -> Of {
        match (self.part, self.place) {
            (Some(part), _) => Of::Part(part),
            (None, Some(place)) => Of::Place(place),
            (None, None) => Of::Other,
        }
    }
}

/// A picture as the page of its subject shows it.
#[derive(Debug, Clone)]
pub struct Shown {
    pub id: PictureId,
    pub words: String,
    pub taken_on: Day,
    pub layer: Option<i64>,
    pub is_removed: bool,
    pub thumb_width: i64,
    pub thumb_height: i64,
    pub width: i64,
    pub height: i64,
}

impl Shown {
    /// Which layer it shows, where it shows one.
    pub fn layer_words(&self) -> Option<String> {
        self.layer.map(layer_words)
    }

    /// Half the pixels, so that it is sharp on a phone.
    pub fn half_width(&self) -> i64 {
        (self.thumb_width / 2).max(1)
    }

    pub fn half_height(&self) -> i64 {
        (self.thumb_height / 2).max(1)
    }
}

/// All pictures of a part or a place that somebody may see.
#[derive(Debug, Clone, Default)]
pub struct Gallery {
    pub shown: Vec<Shown>,
    pub removed: Vec<Shown>,
}

impl Gallery {
    fn of(all: Vec<Shown>) -> Self {
        let (removed, shown) = all.into_iter().partition(|one| one.is_removed);
        Self { shown, removed }
    }

    pub fn is_empty(&self) -> bool {
        self.shown.is_empty() && self.removed.is_empty()
    }
}

/// The pictures of a part that the viewer's teams have; a coordinator sees those of all teams.
pub async fn of_part(
    db: &mut SqliteConnection,
    part: PartId,
    viewer: &Viewer,
) -> sqlx::Result<Gallery> {
    store::of_part(db, part, viewer.person, viewer.is_coordinator())
        .await
        .map(Gallery::of)
}

/// The pictures of a place: of the whole first, then layer by layer. Whoever sees the place sees them.
pub async fn of_place(db: &mut SqliteConnection, place: PlaceId) -> sqlx::Result<Gallery> {
    store::of_place(db, place).await.map(Gallery::of)
}

pub fn layer_words(layer: i64) -> String {
    match layer {
        1 => "Layer 1, at the bottom".into(),
        _ => format!("Layer {layer}"),
    }
}

/// The one picture that a form brought, taken or chosen.
pub fn only(files: Vec<File>) -> Result<Vec<u8>, NotTaken> {
    let mut pictures = files
        .into_iter()
        .filter(|file| file.field == "take" || file.field == "choose");
    let picture = pictures.next().ok_or(NotTaken::None)?;
    if pictures.next().is_some() {
        return Err(NotTaken::Two);
    }
    if picture.is_too_large {
        return Err(NotTaken::TooManyBytes);
    }
    Ok(picture.bytes)
}

/// A picture to be kept.
#[derive(Debug, Clone)]
pub struct NewPicture {
    pub of: Of,
    pub team: TeamId,
    pub caption: Caption,
    /// `None` for somebody without an account.
    pub by: Option<PersonId>,
}

/// Keeps a picture within a write of its subject's slice.
pub async fn keep(
    tx: &mut Tx,
    new: &NewPicture,
    developed: &Developed,
    now: Instant,
) -> sqlx::Result<PictureId> {
    let large = files::keep(tx, &developed.large, now).await?;
    let thumb = files::keep(tx, &developed.thumb, now).await?;
    let (_, last) = store::positions(tx, new.team, new.of).await?;
    let picture = PictureId::new();
    store::insert(tx, picture, new, [large, thumb], last + 1, now).await?;
    store::note(tx, picture, Act::Added, new.by, now).await?;
    Ok(picture)
}

/// Whether a team has added as many pictures as it may in a day.
pub async fn is_enough(tx: &mut Tx, team: TeamId, now: Instant) -> sqlx::Result<bool> {
    Ok(store::added_since(tx, team, now.plus_days(-1)).await? >= rules::MOST_A_DAY)
}

/// Adds a picture of a part or a place; `instead_of` one that is shown, which is then hidden.
pub async fn add(
    app: &App,
    viewer: &Viewer,
    sent: &Sent,
    new: &NewPicture,
    developed: &Developed,
    instead_of: Option<PictureId>,
) -> Result<Outcome, NotDone<Wrongs>> {
    let now = app.clock.now();
    receipts::once(app, sent, Some(viewer.person), async |tx| {
        let whose = match new.of {
            Of::Part(part) => store::part_words(tx, part)
                .await?
                .map(|_| new.team)
                .ok_or(AppError::NotFound("part"))?,
            Of::Place(place) => {
                store::place_words(tx, place)
                    .await?
                    .ok_or(AppError::NotFound("place"))?
                    .1
            }
            Of::Other => new.team,
        };
        if whose != new.team || viewer.role_in(new.team).is_none() {
            return Err(NotDone::Refused(vec![("team", Refused::NoTeam)]));
        }
        if is_enough(tx, new.team, now).await? {
            return Err(NotDone::Refused(vec![("", Refused::Enough)]));
        }
        let picture = keep(tx, new, developed, now).await?;
        if let Some(old) = instead_of {
            let old = store::find(tx, old)
                .await?
                .filter(|old| old.is_shown() && old.of() == new.of && old.team == new.team)
                .ok_or_else(|| NotDone::Refused(vec![("instead_of", Refused::NotShown)]))?;
            store::hide(tx, old.id, Some(now), Some(picture)).await?;
            store::note(tx, old.id, Act::Replaced, Some(viewer.person), now).await?;
        }
        Ok(new.of.path())
    })
    .await
}

/// Says better what a picture shows, unless somebody else did since `version` was shown.
pub async fn describe(
    app: &App,
    viewer: &Viewer,
    sent: &Sent,
    picture: PictureId,
    version: i64,
    said: &Said,
) -> Result<Outcome, NotDone<Wrongs>> {
    act(
        app,
        viewer,
        sent,
        picture,
        Act::Described,
        async |tx, now| {
            let mut caption = rules::caption(said, viewer.today(app)).map_err(NotDone::Refused)?;
            if now.version != version {
                return Err(NotDone::Refused(vec![("", Refused::ChangedMeanwhile)]));
            }
            if now.place.is_none() {
                caption.layer = None;
            }
            Ok(store::describe(tx, picture, &caption).await?)
        },
    )
    .await
}

/// Shows a picture before the others of the same part, or of the same layer.
pub async fn put_first(
    app: &App,
    viewer: &Viewer,
    sent: &Sent,
    picture: PictureId,
) -> Result<Outcome, NotDone<Wrongs>> {
    act(
        app,
        viewer,
        sent,
        picture,
        Act::PutFirst,
        async |tx, now| {
            let (first, _) = store::positions(tx, now.team, now.of()).await?;
            Ok(store::put_at(tx, picture, first - 1).await?)
        },
    )
    .await
}

/// Hides a picture. It can be brought back.
pub async fn remove(
    app: &App,
    viewer: &Viewer,
    sent: &Sent,
    picture: PictureId,
) -> Result<Outcome, NotDone<Wrongs>> {
    let at = app.clock.now();
    act(app, viewer, sent, picture, Act::Removed, async |tx, now| {
        if !now.is_shown() {
            return Err(NotDone::Refused(vec![("", Refused::NotShown)]));
        }
        Ok(store::hide(tx, picture, Some(at), None).await?)
    })
    .await
}

/// Shows a removed picture again, and hides the one that took its place, if it is shown.
pub async fn bring_back(
    app: &App,
    viewer: &Viewer,
    sent: &Sent,
    picture: PictureId,
) -> Result<Outcome, NotDone<Wrongs>> {
    let at = app.clock.now();
    act(
        app,
        viewer,
        sent,
        picture,
        Act::BroughtBack,
        async |tx, now| {
            store::hide(tx, picture, None, None).await?;
            if let Some(newer) = now.replaced_by
                && let Some(newer) = store::find(tx, newer).await?
                && newer.is_shown()
            {
                store::hide(tx, newer.id, Some(at), Some(picture)).await?;
                store::note(tx, newer.id, Act::Replaced, Some(viewer.person), at).await?;
            }
            Ok(())
        },
    )
    .await
}

/// Takes the bytes of a removed picture away for good, for somebody who is seen in it.
pub async fn erase(
    app: &App,
    viewer: &Viewer,
    sent: &Sent,
    picture: PictureId,
) -> Result<Outcome, NotDone<Wrongs>> {
    let at = app.clock.now();
    let outcome = act(app, viewer, sent, picture, Act::Erased, async |tx, now| {
        if now.is_shown() {
            return Err(NotDone::Refused(vec![("", Refused::StillShown)]));
        }
        store::blank(tx, picture, at).await?;
        Ok(files::erase(tx, [now.large, now.thumb], at).await?)
    })
    .await?;
    // What was written is in the log as well, until that begins anew.
    app.db.empty_log().await.map_err(AppError::from)?;
    Ok(outcome)
}

/// Does something with a picture that was not erased, and notes it.
async fn act(
    app: &App,
    viewer: &Viewer,
    sent: &Sent,
    picture: PictureId,
    act: Act,
    what: impl AsyncFnOnce(&mut Tx, &Picture) -> Result<(), NotDone<Wrongs>>,
) -> Result<Outcome, NotDone<Wrongs>> {
    receipts::once(app, sent, Some(viewer.person), async |tx| {
        let now = store::find(tx, picture)
            .await?
            .ok_or(AppError::NotFound("picture"))?;
        if now.erased_at.is_some() {
            return Err(NotDone::Refused(vec![("", Refused::Erased)]));
        }
        what(tx, &now).await?;
        store::note(tx, picture, act, Some(viewer.person), app.clock.now()).await?;
        Ok(format!("/pictures/{picture}"))
    })
    .await
}
