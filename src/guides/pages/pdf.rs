//! The guide's PDF of a revision: the page about it, sending one, and downloading it.

use askama::Template;
use axum::extract::multipart::Field;
use axum::extract::{Multipart, State};
use axum::http::header::{ETAG, IF_NONE_MATCH};
use axum::http::{HeaderMap, HeaderValue, StatusCode};
use axum::response::{IntoResponse, Response};

use super::guide::may_keep;
use crate::app::App;
use crate::error::{AppError, NotDone};
use crate::guides::pdf::{self, GuidePdf, MOST_BYTES, PdfRefused};
use crate::guides::{self, Guide, Revision};
use crate::ids::{FormId, GuidePdfId, RevisionId};
use crate::people::{Viewer, shown_name};
use crate::pictures::files::Arriving;
use crate::pictures::pages::{file_headers, streamed};
use crate::receipts::{Outcome, Sent};
use crate::secret;
use crate::web::extract::{Form, Nothing, Path};
use crate::web::flash;
use crate::web::form::{self, Wrong};
use crate::web::frame::Frame;
use crate::web::page::{self, Page};
use crate::web::upload;

/// What a body of the form may hold.
pub(super) const BODY_BYTES: usize = MOST_BYTES + 1024 * 1024;

/// An earlier or present PDF, in words.
struct Line {
    pdf: GuidePdf,
    form_id: FormId,
    /// "added by Ama, 4 Mar 2027, 18:00; taken away by …".
    words: String,
}

#[derive(Template)]
#[template(path = "guides/pdf.html")]
struct PdfPage {
    frame: Frame,
    send_form: FormId,
    remove_form: FormId,
    may_keep: bool,
    guide: Guide,
    revision: Revision,
    shown: Option<Line>,
    earlier: Vec<Line>,
    wrongs: Vec<Wrong>,
}

impl PdfPage {
    fn wrong(&self, field: &str) -> Option<&str> {
        form::at(&self.wrongs, field)
    }

    fn error(&self) -> &'static str {
        form::title_prefix(&self.wrongs)
    }
}

impl Line {
    fn size(&self) -> String {
        let kib = (self.pdf.size + 1023) / 1024;
        if kib < 1024 {
            format!("{kib} KiB")
        } else {
            format!("{}.{} MiB", kib / 1024, kib % 1024 * 10 / 1024)
        }
    }
}

async fn pdf_page(
    app: &App,
    viewer: &Viewer,
    frame: Frame,
    revision: RevisionId,
    wrongs: Vec<Wrong>,
) -> Result<PdfPage, AppError> {
    let mut db = app.db.read().await?;
    let revision = guides::revision(&mut db, revision)
        .await?
        .ok_or(AppError::NotFound("revision"))?;
    let guide = guides::guide(&mut db, revision.guide)
        .await?
        .ok_or(AppError::NotFound("guide"))?;
    let all = pdf::pdfs(&mut db, revision.id).await?;
    let (shown, earlier): (Vec<_>, Vec<_>) = all
        .into_iter()
        .map(|pdf| Line {
            form_id: frame.form_id(),
            words: words(&pdf, viewer.zone()),
            pdf,
        })
        .partition(|line| line.pdf.removed_at.is_none());
    Ok(PdfPage {
        send_form: frame.form_id(),
        remove_form: frame.form_id(),
        frame,
        may_keep: may_keep(viewer),
        guide,
        revision,
        shown: shown.into_iter().next(),
        earlier,
        wrongs,
    })
}

fn words(pdf: &GuidePdf, zone: &str) -> String {
    let mut words = format!(
        "added by {}, {}",
        shown_name(&pdf.added_by),
        pdf.added_at.words(zone)
    );
    if let (Some(by), Some(at)) = (&pdf.removed_by, pdf.removed_at) {
        words.push_str(&format!(
            "; taken away by {}, {}",
            shown_name(by),
            at.words(zone)
        ));
    }
    words
}

pub(super) async fn show(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(revision): Path<RevisionId>,
) -> Result<Response, AppError> {
    let page = pdf_page(&app, &viewer, frame, revision, Vec::new()).await?;
    Ok(Page(page).into_response())
}

pub(super) async fn send(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(revision): Path<RevisionId>,
    parts: Multipart,
) -> Result<Response, AppError> {
    let mut arriving = None;
    let received = receive(&app, parts, &frame.path, &mut arriving).await;
    let done = match (received, &arriving) {
        (Ok(Received { sent, name, .. }), Some(whole)) => {
            pdf::attach(&app, &viewer, &sent, revision, &name, whole).await
        }
        (Ok(_), None) => Err(NotDone::Refused(PdfRefused::None)),
        (Err(not_done), _) => Err(not_done),
    };
    if let Some(arriving) = arriving {
        arriving.give_up(&app).await?;
    }
    answer(&app, &viewer, frame, revision, done, "The guide is kept.").await
}

struct Received {
    sent: Sent,
    name: String,
}

/// Reads the form; the file goes into the database piece by piece while it comes.
async fn receive(
    app: &App,
    mut parts: Multipart,
    path: &str,
    arriving: &mut Option<Arriving>,
) -> Result<Received, NotDone<PdfRefused>> {
    let mut id = None;
    let mut name = String::new();
    let mut refused = None;
    while let Some(mut part) = parts.next_field().await.map_err(upload::broke_off)? {
        match part.name() {
            Some("form_id") => id = upload::text(&mut part).await?.parse().ok(),
            Some("file") if arriving.is_none() && refused.is_none() => {
                name = part.file_name().unwrap_or_default().to_owned();
                refused = take(app, &mut part, arriving).await?;
            }
            _ => {}
        }
    }
    if let Some(refused) = refused {
        return Err(NotDone::Refused(refused));
    }
    let id = id.ok_or_else(upload::without_number)?;
    let mut signed = path.as_bytes().to_vec();
    signed.push(0);
    signed.extend(name.as_bytes());
    signed.push(0);
    signed.extend(arriving.as_ref().map(Arriving::hash).unwrap_or_default());
    Ok(Received {
        sent: Sent {
            id,
            hash: secret::hash(&signed),
        },
        name,
    })
}

/// Takes a file in, or answers why not. What is refused is read to its end all the same, so that the person
/// is answered on the form.
async fn take(
    app: &App,
    part: &mut Field<'_>,
    arriving: &mut Option<Arriving>,
) -> Result<Option<PdfRefused>, AppError> {
    let mut refused = None;
    // What is to be written next; the first few bytes may come one by one.
    let mut next = Vec::new();
    while let Some(bytes) = part.chunk().await.map_err(upload::broke_off)? {
        if refused.is_some() {
            continue;
        }
        let file = match arriving.as_mut() {
            Some(file) => {
                next = bytes.to_vec();
                file
            }
            None => {
                next.extend_from_slice(&bytes);
                if next.len() < pdf::BEGINNING.len() {
                    continue;
                }
                if !pdf::is_pdf(&next) {
                    refused = Some(PdfRefused::NoPdf);
                    continue;
                }
                arriving.insert(Arriving::begin(app).await?)
            }
        };
        if file.size() + next.len() > MOST_BYTES {
            refused = Some(PdfRefused::TooLarge);
            continue;
        }
        file.take(app, &next).await?;
    }
    let is_too_short = arriving.is_none() && refused.is_none() && !next.is_empty();
    Ok(refused.or(is_too_short.then_some(PdfRefused::NoPdf)))
}

pub(super) async fn remove(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(revision): Path<RevisionId>,
    form: Form<Nothing>,
) -> Result<Response, AppError> {
    let done = pdf::remove(&app, &viewer, &form.sent, revision).await;
    let told = "Taken away. It can be brought back.";
    answer(&app, &viewer, frame, revision, done, told).await
}

pub(super) async fn bring_back(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path((revision, pdf)): Path<(RevisionId, GuidePdfId)>,
    form: Form<Nothing>,
) -> Result<Response, AppError> {
    let done = pdf::bring_back(&app, &viewer, &form.sent, revision, pdf).await;
    answer(&app, &viewer, frame, revision, done, "Brought back.").await
}

async fn answer(
    app: &App,
    viewer: &Viewer,
    frame: Frame,
    revision: RevisionId,
    done: Result<Outcome, NotDone<PdfRefused>>,
    told: &str,
) -> Result<Response, AppError> {
    match done {
        Ok(outcome) => Ok(flash::told(&outcome, told, viewer.zone())),
        Err(NotDone::Failed(error)) => Err(error),
        Err(NotDone::Refused(refused)) => {
            let field = match refused {
                PdfRefused::None | PdfRefused::TooLarge | PdfRefused::NoPdf => "file",
                PdfRefused::Shown | PdfRefused::NotShown => "",
            };
            let wrongs = vec![Wrong::at(field, refused)];
            let page = pdf_page(app, viewer, frame, revision, wrongs).await?;
            Ok(page::again(page))
        }
    }
}

/// Always an attachment: a PDF may hold script, and is never opened inside our pages.
pub(super) async fn download(
    State(app): State<App>,
    asked: HeaderMap,
    Path(revision): Path<RevisionId>,
) -> Result<Response, AppError> {
    let mut db = app.db.read().await?;
    let pdf = pdf::shown_pdf(&mut db, revision)
        .await?
        .ok_or(AppError::NotFound("PDF"))?;
    drop(db);
    let disposition = attachment(&pdf.name);
    let keep = HeaderValue::from_static("private, no-cache");
    let headers = file_headers("application/pdf", &disposition, &pdf.sha256, keep)?;
    if asked.get(IF_NONE_MATCH) == headers.get(ETAG) {
        return Ok((StatusCode::NOT_MODIFIED, headers).into_response());
    }
    Ok((headers, streamed(&app, pdf.file, pdf.size)).into_response())
}

/// The name twice (RFC 6266): plain for old programs, and whole, in the encoding of RFC 8187.
fn attachment(name: &str) -> String {
    let plain: String = name
        .chars()
        .map(|c| match c {
            'a'..='z' | 'A'..='Z' | '0'..='9' | ' ' | '-' | '_' | '.' => c,
            _ => '_',
        })
        .collect();
    let whole: String = name
        .bytes()
        .map(|byte| match byte {
            b'a'..=b'z' | b'A'..=b'Z' | b'0'..=b'9' | b'-' | b'_' | b'.' => {
                char::from(byte).to_string()
            }
            _ => format!("%{byte:02X}"),
        })
        .collect();
    format!("attachment; filename=\"{plain}\"; filename*=UTF-8''{whole}")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_name_cannot_leave_its_header() {
        assert_eq!(
            attachment("a\"; é.pdf"),
            "attachment; filename=\"a__ _.pdf\"; filename*=UTF-8''a%22%3B%20%C3%A9.pdf"
        );
    }
}
