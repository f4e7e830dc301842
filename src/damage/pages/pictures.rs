//! Adding a picture to a report afterwards.

use axum::extract::{Multipart, State};
use axum::response::Response;

use super::slip::slip_page;
use crate::app::App;
use crate::damage::photo::{self, Photo};
use crate::error::{AppError, NotDone};
use crate::ids::DamageId;
use crate::people::Viewer;
use crate::pictures::rules::MOST_BYTES;
use crate::web::extract::Path;
use crate::web::flash;
use crate::web::form::Wrong;
use crate::web::frame::Frame;
use crate::web::page;
use crate::web::upload::{self, Files};

pub(super) async fn add(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(id): Path<DamageId>,
    parts: Multipart,
) -> Result<Response, AppError> {
    // Taken before the body is read: what waits outside costs no memory.
    let room = app.pictures.room().await?;
    let upload = upload::read(parts, &frame.path, MOST_BYTES).await?;
    let photo = Photo::develop(&app, Files::Came(upload.files)).await?;
    drop(room);
    match photo::add(&app, &viewer, &upload.sent, id, photo).await {
        Ok(outcome) => Ok(flash::told(&outcome, "Picture added.", viewer.zone())),
        Err(NotDone::Failed(error)) => Err(error),
        Err(NotDone::Refused(why)) => {
            let mut db = app.db.read().await?;
            let mut page = slip_page(&app, &mut db, &viewer, frame, id).await?;
            page.wrongs = vec![Wrong::at("take", why)];
            Ok(page::again(page))
        }
    }
}
