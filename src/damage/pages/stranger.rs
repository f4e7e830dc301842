//! What a crate or bag tells people without an account, and what they can tell the team.
//!
//! No names of people, no prices, no borrowers. Nothing they tell moves a piece.

use askama::Template;
use axum::Extension;
use axum::extract::{Multipart, State};
use axum::response::{IntoResponse, Response};

use super::known::{Bearer, Known, known};
use super::tell::{self, happened, usables};
use super::wrongs_of;
use crate::app::App;
use crate::damage::photo::{self, Photo};
use crate::damage::rules::telling::{Typed, What};
use crate::damage::{self, AboutTyped, Credit};
use crate::error::{AppError, NotDone};
use crate::find::pages::Asker;
use crate::ids::FormId;
use crate::lent::{self, Phone};
use crate::loans::{self, HasIt};
use crate::passes::Helper;
use crate::people::Viewer;
use crate::pictures::rules::MOST_BYTES;
use crate::web::extract::Path;
use crate::web::form::{self, Choice, Wrong};
use crate::web::frame::Frame;
use crate::web::page::{self, Page};
use crate::web::upload::{self, Files, Words};

#[derive(Template)]
#[template(path = "damage/inside.html")]
pub(super) struct InsidePage {
    frame: Frame,
    known: Known,
}

/// What a request may bring along: a pass or a loan link on its phone, or an account.
type Bears = (
    Option<Extension<Helper>>,
    Option<Extension<Phone>>,
    Option<Extension<Viewer>>,
);

fn bearer((helper, phone, viewer): Bears) -> Bearer {
    Bearer {
        helper: helper.map(|Extension(helper)| helper),
        phone: phone.map(|Extension(phone)| phone),
        viewer: viewer.map(|Extension(viewer)| viewer),
    }
}

/// Whose name a report bears.
enum Teller {
    /// With the link of the loan that the crate is out on.
    Borrower(Phone),
    /// A member of the team that has it on loan.
    Team(HasIt, Viewer),
    Helper(Helper),
    /// Whoever writes a first name, or none.
    Anybody,
}

impl Teller {
    async fn of(app: &App, bearer: Bearer, known: &Known) -> Result<Self, AppError> {
        let mut db = app.db.read().await?;
        if let Some(phone) = bearer.phone
            && lent::has(&mut db, &phone, known.place.id).await?
        {
            return Ok(Self::Borrower(phone));
        }
        if let Some(viewer) = bearer.viewer
            && let Some(has_it) = loans::has_it(&mut db, &viewer, known.place.id).await?
        {
            return Ok(Self::Team(has_it, viewer));
        }
        let helper = bearer.helper.filter(|helper| known.is_helped_by(helper));
        Ok(helper.map_or(Self::Anybody, Self::Helper))
    }

    fn credit(&self) -> Credit<'_> {
        match self {
            Self::Borrower(phone) => Credit::Borrower(phone),
            Self::Team(has_it, viewer) => Credit::Team(has_it, viewer),
            Self::Helper(helper) => Credit::Helper(helper),
            Self::Anybody => Credit::Anybody,
        }
    }
}

pub(super) async fn inside(
    State(app): State<App>,
    frame: Frame,
    asker: Asker,
    bears: Bears,
    Path(code): Path<String>,
) -> Result<Response, AppError> {
    let bearer = bearer(bears);
    Ok(match known(&app, &frame, &asker, &bearer, &code).await? {
        Ok(known) => Page(InsidePage { frame, known }).into_response(),
        Err(instead) => instead,
    })
}

#[derive(Template)]
#[template(path = "damage/stranger.html")]
pub(super) struct StrangerPage {
    frame: Frame,
    form_id: FormId,
    known: Known,
    teller: Teller,
    fields: StrangerForm,
    wrongs: Vec<Wrong>,
}

impl StrangerPage {
    fn wrong(&self, field: &str) -> Option<&str> {
        form::at(&self.wrongs, field)
    }

    fn error(&self) -> &'static str {
        form::title_prefix(&self.wrongs)
    }

    fn whats(&self) -> Vec<Choice> {
        let chosen = What::from_word(&self.fields.what).unwrap_or(What::Broken);
        What::ALL
            .into_iter()
            .map(|what| {
                let text = match what {
                    What::Lost => "Something is missing",
                    What::Found => "I found a piece",
                    what => what.sentence(),
                };
                Choice::new(what.word(), text, what == chosen)
            })
            .collect()
    }

    fn parts(&self) -> Vec<Choice> {
        let chosen = &self.fields.stand;
        let mut all = vec![Choice::one_of("", "I do not know", chosen)];
        all.extend(
            self.known
                .inside
                .iter()
                .map(|part| Choice::one_of(&part.key, &part.words, chosen)),
        );
        all
    }

    fn usables(&self) -> Vec<Choice> {
        usables(&self.fields.usable)
    }

    fn happened(&self) -> Vec<Choice> {
        happened(&self.fields.happened)
    }
}

#[derive(Default)]
pub(super) struct StrangerForm {
    what: String,
    stand: String,
    qty: String,
    usable: String,
    happened: String,
    note: String,
    reporter: String,
}

pub(super) async fn ask(
    State(app): State<App>,
    frame: Frame,
    asker: Asker,
    bears: Bears,
    Path(code): Path<String>,
) -> Result<Response, AppError> {
    let bearer = bearer(bears);
    Ok(match known(&app, &frame, &asker, &bearer, &code).await? {
        Ok(known) => Page(StrangerPage {
            teller: Teller::of(&app, bearer, &known).await?,
            form_id: frame.form_id(),
            frame,
            known,
            fields: StrangerForm::default(),
            wrongs: Vec::new(),
        })
        .into_response(),
        Err(instead) => instead,
    })
}

impl StrangerForm {
    fn of<P>(words: &Words<P>) -> Self {
        let text = |name| words.text(name).to_owned();
        Self {
            what: text("what"),
            stand: text("stand"),
            qty: text("qty"),
            usable: text("usable"),
            happened: text("happened"),
            note: text("note"),
            reporter: text("reporter"),
        }
    }

    fn typed(&self) -> Typed {
        Typed {
            what: self.what.clone(),
            qty: self.qty.clone(),
            usable: self.usable.clone(),
            happened: self.happened.clone(),
            note: self.note.clone(),
            reporter: self.reporter.clone(),
            ..Typed::default()
        }
    }
}

pub(super) async fn tell(
    State(app): State<App>,
    frame: Frame,
    asker: Asker,
    bears: Bears,
    Path(code): Path<String>,
    parts: Multipart,
) -> Result<Response, AppError> {
    let bearer = bearer(bears);
    let known = match known(&app, &frame, &asker, &bearer, &code).await? {
        Ok(known) => known,
        Err(instead) => return Ok(instead),
    };
    // Each report counts as a miss, so that nobody can flood a team with them.
    app.misses.note(&asker.0, app.clock.now());
    let desk = app.pictures.clone();
    let room = desk.room_outside();
    let mut words = upload::read_words_first(parts, &frame.path, MOST_BYTES, room).await?;
    let files = std::mem::replace(&mut words.files, Files::Came(Vec::new()));
    let photo = Photo::develop(&app, files).await?;
    let (sent, fields) = (words.sent, StrangerForm::of(&words));
    let had_picture = photo.came();
    let about = AboutTyped {
        stand: fields.stand.clone(),
        has_picture: had_picture,
        ..AboutTyped::default()
    };
    let teller = Teller::of(&app, bearer, &known).await?;
    let typed = fields.typed();
    let credit = teller.credit();
    let done =
        damage::tell_without_account(&app, &sent, &known.place, &typed, &about, credit).await;
    match done {
        Ok((outcome, report)) => {
            let today = app.clock.now().day("UTC");
            let lacks = photo::keep(&app, sent.id, report, None, today, photo).await?;
            Ok(tell::recorded(&outcome, "Told to the team.", lacks, "UTC"))
        }
        Err(NotDone::Failed(error)) => Err(error),
        Err(NotDone::Refused(refused)) => {
            let mut wrongs = wrongs_of(refused);
            if had_picture {
                wrongs.push(Wrong::at("take", tell::FORGOT));
            }
            Ok(page::again(StrangerPage {
                form_id: frame.form_id(),
                frame,
                known,
                teller,
                fields,
                wrongs,
            }))
        }
    }
}

#[derive(Template)]
#[template(path = "damage/thanks.html")]
pub(super) struct ThanksPage {
    frame: Frame,
    known: Known,
}

pub(super) async fn thanks(
    State(app): State<App>,
    frame: Frame,
    asker: Asker,
    bears: Bears,
    Path(code): Path<String>,
) -> Result<Response, AppError> {
    let bearer = bearer(bears);
    Ok(match known(&app, &frame, &asker, &bearer, &code).await? {
        Ok(known) => Page(ThanksPage { frame, known }).into_response(),
        Err(instead) => instead,
    })
}
