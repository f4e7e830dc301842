//! A crate as strangers know it: as much of it as its team shows.

use std::collections::HashMap;

use askama::Template;
use axum::extract::State;
use axum::http::header::{ETAG, IF_NONE_MATCH};
use axum::http::{HeaderMap, HeaderValue, StatusCode};
use axum::response::{IntoResponse, Response};
use sqlx::SqliteConnection;

use crate::app::App;
use crate::code::Code;
use crate::codes::CodeKind;
use crate::damage::shown::{self, Shows};
use crate::damage::store::{self, PartPicture};
use crate::error::AppError;
use crate::find::pages::{Asker, look_up};
use crate::ids::{PartId, PlaceId};
use crate::lent::{self, Phone};
use crate::loans;
use crate::passes::Helper;
use crate::people::Viewer;
use crate::pictures::{self, files, pages::file_headers};
use crate::places::rules::mass;
use crate::places::rules::words::{named, sentence};
use crate::places::{self, Place};
use crate::web::extract::Path;
use crate::web::frame::Frame;
use crate::web::page::Page;
use crate::{kits, people};

/// The rows of a crate may take so many bytes: the page stays below 50 kB, whatever is inside.
const ROOM: usize = 40_000;
/// What a row takes besides its words, with a picture.
const ROW: usize = 260;

/// A kind of part in the crate.
pub(super) struct Inside {
    /// What a form sends to mean it.
    pub key: String,
    pub words: String,
    pub pieces: i64,
    pub picture: Option<PartPicture>,
}

/// The crate as strangers know it.
pub(super) struct Known {
    pub place: Place,
    pub team: String,
    pub kit: Option<String>,
    pub inside: Vec<Inside>,
    /// Kinds of part for which there was no room.
    pub more: usize,
    /// What can happen when it is lifted, and who lifts it.
    pub lift: Option<(String, String)>,
}

impl Known {
    pub fn title(&self) -> String {
        sentence(&named(&self.place))
    }

    /// Whether a pass is for the kits of this crate's team.
    pub fn is_helped_by(&self, helper: &Helper) -> bool {
        helper.pass.team == self.place.team
    }
}

/// The place that bears a code. The outer error is ours, the inner one an answer for the person.
async fn place_of(
    app: &App,
    asker: &Asker,
    code: &str,
) -> Result<Result<(Code, Place), Response>, AppError> {
    let (code, place) = match look_up(app, asker, code).await? {
        Ok((code, CodeKind::Place, id)) => (code, PlaceId(id)),
        Ok(_) => return Err(AppError::NotFound("crate")),
        Err(miss) => return Ok(Err(miss)),
    };
    let mut db = app.db.read().await?;
    let place = places::find(&mut db, place)
        .await?
        .ok_or(AppError::NotFound("crate"))?;
    Ok(Ok((code, place)))
}

/// Whoever asks, with what their phone bears and the account they may have.
#[derive(Default)]
pub(super) struct Bearer {
    /// A helper pass that was opened on it.
    pub helper: Option<Helper>,
    /// A loan whose link was opened on it.
    pub phone: Option<Phone>,
    pub viewer: Option<Viewer>,
}

/// How much somebody sees of a crate: a helper with a pass of its team, and whoever has it on loan, always what is
/// inside.
async fn shows(db: &mut SqliteConnection, place: &Place, who: &Bearer) -> sqlx::Result<Shows> {
    let shows = shown::shows(db, place.team).await?;
    if shows != Shows::Off {
        return Ok(shows);
    }
    let is_helped = who
        .helper
        .as_ref()
        .is_some_and(|helper| helper.pass.team == place.team);
    let is_lent = match &who.phone {
        Some(phone) => lent::has(db, phone, place.id).await?,
        None => false,
    };
    let has_it = match &who.viewer {
        Some(viewer) => loans::has_it(db, viewer, place.id).await?.is_some(),
        None => false,
    };
    Ok(if is_helped || is_lent || has_it {
        Shows::Names
    } else {
        Shows::Off
    })
}

#[derive(Template)]
#[template(path = "damage/crew.html")]
struct CrewPage {
    frame: Frame,
    place: Place,
}

/// Looks a crate up by its code; where its team shows nothing, the answer is to find the crew.
pub(super) async fn known(
    app: &App,
    frame: &Frame,
    asker: &Asker,
    who: &Bearer,
    code: &str,
) -> Result<Result<Known, Response>, AppError> {
    let place = match place_of(app, asker, code).await? {
        Ok((_, place)) => place,
        Err(miss) => return Ok(Err(miss)),
    };
    let mut db = app.db.read().await?;
    let shows = shows(&mut db, &place, who).await?;
    if shows == Shows::Off {
        let frame = frame.clone();
        return Ok(Err(Page(CrewPage { frame, place }).into_response()));
    }
    let kit = match place.kit {
        Some(kit) => kits::find(&mut db, kit).await?.map(|kit| kit.name),
        None => None,
    };
    let (inside, more) = inside_of(&mut db, &place, shows).await?;
    let mass = places::mass(&mut db, &place).await?;
    Ok(Ok(Known {
        team: people::team_name(&mut db, place.team).await?,
        kit,
        inside,
        more,
        lift: mass::caution(place.kind, &mass),
        place,
    }))
}

/// What lies in it and in all that stands in it, by kind of part, as far as there is room; and how many kinds
/// there are besides.
async fn inside_of(
    db: &mut SqliteConnection,
    place: &Place,
    shows: Shows,
) -> sqlx::Result<(Vec<Inside>, usize)> {
    let mut all: Vec<Inside> = Vec::new();
    if !place.kind.is_carried() {
        return Ok((all, 0));
    }
    let mut pictures: HashMap<PartId, PartPicture> = HashMap::new();
    if shows == Shows::Pictures {
        for picture in store::part_pictures(db, place.team).await? {
            pictures.entry(picture.part).or_insert(picture);
        }
    }
    let mut at: HashMap<PartId, usize> = HashMap::new();
    for pieces in places::pieces(db, place.id, true).await? {
        match at.get(&pieces.part) {
            Some(&known) => all[known].pieces += pieces.qty,
            None => {
                at.insert(pieces.part, all.len());
                all.push(Inside {
                    key: format!("{}.{}.{}", pieces.part, pieces.kit, pieces.place),
                    words: pieces.part_words(),
                    pieces: pieces.qty,
                    picture: pictures.remove(&pieces.part),
                });
            }
        }
    }
    let mut taken = 0;
    let shown = all
        .iter()
        .take_while(|part| {
            taken += ROW + on_page(&part.words);
            taken <= ROOM
        })
        .count();
    let more = all.len() - shown;
    all.truncate(shown);
    Ok((all, more))
}

/// How many bytes a text takes on a page at most, where some characters are written out.
fn on_page(text: &str) -> usize {
    text.chars()
        .map(|letter| match letter {
            '&' | '<' | '>' | '"' | '\'' => 6,
            other => other.len_utf8(),
        })
        .sum()
}

/// The small picture of a part in a crate, for as long as the team shows it.
pub(super) async fn picture(
    State(app): State<App>,
    headers: HeaderMap,
    asker: Asker,
    Path((code, part)): Path<(String, PartId)>,
) -> Result<Response, AppError> {
    let place = match place_of(&app, &asker, &code).await? {
        Ok((_, place)) => place,
        Err(miss) => return Ok(miss),
    };
    let mut db = app.db.read().await?;
    let none = || AppError::NotFound("picture");
    // Pictures show to everybody or to nobody, whatever the phone bears.
    if shows(&mut db, &place, &Bearer::default()).await? != Shows::Pictures {
        return Err(none());
    }
    let inside = match place.kind.is_carried() {
        true => places::pieces(&mut db, place.id, true).await?,
        false => Vec::new(),
    };
    if !inside.iter().any(|pieces| pieces.part == part) {
        return Err(none());
    }
    let picture = pictures::first_of_part(&mut db, part, place.team)
        .await?
        .ok_or_else(none)?;
    let (file, sha256) = pictures::file_of(&mut db, picture.id, true)
        .await?
        .ok_or_else(none)?;
    // The team may stop showing it, so it is asked for again each time.
    let keep = HeaderValue::from_static("private, no-cache");
    let told = file_headers(
        "image/jpeg",
        "inline; filename=\"picture.jpg\"",
        &sha256,
        keep,
    )?;
    if headers.get(IF_NONE_MATCH) == told.get(ETAG) {
        return Ok((StatusCode::NOT_MODIFIED, told).into_response());
    }
    let bytes = files::read(&mut db, file).await?;
    Ok((told, bytes).into_response())
}

#[cfg(test)]
mod tests {
    use super::on_page;

    #[test]
    fn what_is_written_out_takes_its_room() {
        assert_eq!(on_page("Peg"), 3);
        assert_eq!(on_page("ü & <b>"), 2 + 1 + 6 + 1 + 6 + 1 + 6);
    }
}
