//! Pictures of what broke. A report is kept whatever becomes of its picture, which can be added later.

use super::rules::telling::PICTURES;
use super::{Slip, slip, store};
use crate::app::App;
use crate::clock::Day;
use crate::db::Tx;
use crate::error::{AppError, NotDone};
use crate::ids::{DamageId, FormId, PersonId};
use crate::people::Viewer;
use crate::pictures::rules::{Caption, NotTaken};
use crate::pictures::{self, Developed, NewPicture, Of};
use crate::receipts::{self, Outcome, Sent};
use crate::web::upload::Files;

/// Pictures that people without an account may send to one team in a day.
const STRANGERS_A_DAY: i64 = 40;

/// What became of the picture of a form.
pub enum Photo {
    /// None was taken or chosen.
    None,
    Developed(Box<Developed>),
    /// Why it cannot be kept.
    Refused(String),
}

impl Photo {
    /// Makes of what a form brought what is kept of it.
    pub async fn develop(app: &App, files: Files) -> Result<Self, AppError> {
        let refused = |why: &str| Ok(Photo::Refused(why.to_owned()));
        let bytes = match files {
            Files::BrokeOff => return refused("it did not arrive whole, or is far too large"),
            Files::NoRoom => return refused("several pictures came at once; send it again"),
            Files::Came(files) => match pictures::only(files) {
                Ok(bytes) => bytes,
                Err(NotTaken::None) => return Ok(Photo::None),
                Err(why) => return refused(&why.to_string()),
            },
        };
        match app.pictures.develop(bytes).await {
            Ok(developed) => Ok(Photo::Developed(Box::new(developed))),
            Err(NotDone::Refused(why)) => refused(&why.to_string()),
            Err(NotDone::Failed(AppError::Busy(_))) => {
                refused("several pictures came at once; send it again")
            }
            Err(NotDone::Failed(error)) => Err(error),
        }
    }

    /// Whether somebody meant to send one.
    pub fn came(&self) -> bool {
        !matches!(self, Photo::None)
    }
}

/// Keeps the picture that came with a report which is recorded already; answers why not, if not. The same
/// form sent again brings no second one.
pub async fn keep(
    app: &App,
    form: FormId,
    report: DamageId,
    by: Option<PersonId>,
    today: Day,
    photo: Photo,
) -> Result<Option<String>, AppError> {
    let developed = match photo {
        Photo::None => return Ok(None),
        Photo::Refused(why) => return Ok(Some(why)),
        Photo::Developed(developed) => developed,
    };
    let mut tx = app.db.begin_write().await?;
    if store::came_with(&mut tx, form).await?.is_some() {
        return Ok(None);
    }
    let slip = slip(&mut tx, report).await?;
    if let Some(why) = too_many(app, &mut tx, &slip, by).await? {
        return Ok(Some(why));
    }
    insert(app, &mut tx, form, &slip, by, today, &developed).await?;
    tx.commit().await?;
    Ok(None)
}

/// Adds a picture to a report afterwards.
pub async fn add(
    app: &App,
    viewer: &Viewer,
    sent: &Sent,
    report: DamageId,
    photo: Photo,
) -> Result<Outcome, NotDone<String>> {
    receipts::once(app, sent, Some(viewer.person), async |tx| {
        let slip = slip(tx, report).await?;
        let developed = match photo {
            Photo::None => return Err(NotDone::Refused(NotTaken::None.to_string())),
            Photo::Refused(why) => return Err(NotDone::Refused(why)),
            Photo::Developed(developed) => developed,
        };
        let by = Some(viewer.person);
        if let Some(why) = too_many(app, tx, &slip, by).await? {
            return Err(NotDone::Refused(why));
        }
        insert(app, tx, sent.id, &slip, by, viewer.today(app), &developed).await?;
        Ok(format!("/damage/{report}"))
    })
    .await
}

async fn too_many(
    app: &App,
    tx: &mut Tx,
    slip: &Slip,
    by: Option<PersonId>,
) -> Result<Option<String>, AppError> {
    let (team, now) = (slip.report.team, app.clock.now());
    if store::pictures(tx, slip.report.id).await?.len() >= PICTURES {
        return Ok(Some(format!("{PICTURES} pictures of it are enough")));
    }
    let by_strangers = store::strangers_pictures(tx, team, now.plus_days(-1)).await?;
    let is_enough = pictures::is_enough(tx, team, now).await?
        || (by.is_none() && by_strangers >= STRANGERS_A_DAY);
    Ok(is_enough.then(|| "too many pictures were sent to this team today".to_owned()))
}

async fn insert(
    app: &App,
    tx: &mut Tx,
    form: FormId,
    slip: &Slip,
    by: Option<PersonId>,
    today: Day,
    developed: &Developed,
) -> sqlx::Result<()> {
    let new = NewPicture {
        of: Of::Other,
        team: slip.report.team,
        caption: Caption {
            words: slip.headline(),
            taken_on: today,
            layer: None,
        },
        by,
    };
    let picture = pictures::keep(tx, &new, developed, app.clock.now()).await?;
    store::add_picture(tx, slip.report.id, picture, form).await
}
