//! The guide of a revision as its publisher issued it: one PDF is shown, earlier ones are kept.

use crate::app::App;
use crate::error::{AppError, NotDone};
use crate::ids::{GuidePdfId, RevisionId};
use crate::people::Viewer;
use crate::pictures::files::Arriving;
use crate::receipts::{self, Outcome, Sent};

pub use super::store::pdf::{GuidePdf, pdfs, shown_pdf};

use super::store::pdf as rows;

/// A PDF may be so large.
pub const MOST_BYTES: usize = 40 * 1024 * 1024;
const LONGEST_NAME: usize = 255;

/// Why a file is not taken as the guide.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum PdfRefused {
    #[error("choose the PDF")]
    None,
    #[error("the file has more than 40 MiB; save it with smaller pictures, or in parts")]
    TooLarge,
    #[error("this is no PDF; save or print the guide as PDF first")]
    NoPdf,
    #[error("this one is shown already")]
    Shown,
    #[error("none is shown")]
    NotShown,
}

/// How a PDF begins: its version follows (ISO 32000-1, 7.5.2).
pub const BEGINNING: &[u8] = b"%PDF-";

pub fn is_pdf(bytes: &[u8]) -> bool {
    bytes.starts_with(BEGINNING)
}

/// The last part of whatever path a browser sends, without what a header cannot carry.
fn name_of(sent: &str) -> String {
    let name: String = sent
        .rsplit(['/', '\\'])
        .next()
        .unwrap_or_default()
        .chars()
        .filter(|c| !c.is_control())
        .collect();
    let mut name = name.trim().to_owned();
    while name.len() > LONGEST_NAME {
        name.pop();
    }
    if name.is_empty() {
        "guide.pdf".into()
    } else {
        name
    }
}

/// Shows a PDF that has arrived; the one before it is kept and can be brought back.
pub async fn attach(
    app: &App,
    viewer: &Viewer,
    sent: &Sent,
    revision: RevisionId,
    name: &str,
    arrived: &Arriving,
) -> Result<Outcome, NotDone<PdfRefused>> {
    let now = app.clock.now();
    receipts::once(app, sent, Some(viewer.person), async |tx| {
        super::revision(tx, revision)
            .await?
            .ok_or(AppError::NotFound("revision"))?;
        let file = arrived.whole(tx).await?;
        if rows::shown_pdf(tx, revision)
            .await?
            .is_some_and(|shown| shown.file == file)
        {
            return Err(NotDone::Refused(PdfRefused::Shown));
        }
        rows::hide(tx, revision, viewer.person, now).await?;
        rows::insert(
            tx,
            revision,
            (GuidePdfId::new(), file, &name_of(name)),
            viewer.person,
            now,
        )
        .await?;
        Ok(page_of(revision))
    })
    .await
}

/// Shows none.
pub async fn remove(
    app: &App,
    viewer: &Viewer,
    sent: &Sent,
    revision: RevisionId,
) -> Result<Outcome, NotDone<PdfRefused>> {
    receipts::once(app, sent, Some(viewer.person), async |tx| {
        if rows::hide(tx, revision, viewer.person, app.clock.now()).await? == 0 {
            return Err(NotDone::Refused(PdfRefused::NotShown));
        }
        Ok(page_of(revision))
    })
    .await
}

/// Shows an earlier one again.
pub async fn bring_back(
    app: &App,
    viewer: &Viewer,
    sent: &Sent,
    revision: RevisionId,
    pdf: GuidePdfId,
) -> Result<Outcome, NotDone<PdfRefused>> {
    let now = app.clock.now();
    receipts::once(app, sent, Some(viewer.person), async |tx| {
        let earlier = rows::pdfs(tx, revision)
            .await?
            .into_iter()
            .find(|known| known.id == pdf)
            .ok_or(AppError::NotFound("PDF"))?;
        if earlier.removed_at.is_none() {
            return Err(NotDone::Refused(PdfRefused::Shown));
        }
        rows::hide(tx, revision, viewer.person, now).await?;
        // One more line, so that the past stays as it was.
        let again = (GuidePdfId::new(), earlier.file, earlier.name.as_str());
        rows::insert(tx, revision, again, viewer.person, now).await?;
        Ok(page_of(revision))
    })
    .await
}

fn page_of(revision: RevisionId) -> String {
    format!("/revisions/{revision}/pdf")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_pdf_is_known_by_its_beginning() {
        assert!(is_pdf(b"%PDF-1.7\n"));
        for other in [&b"%PD"[..], b"<html>%PDF-1.7", b"PK\x03\x04", b""] {
            assert!(!is_pdf(other), "{other:?}");
        }
    }

    #[test]
    fn names_are_names_of_files() {
        assert_eq!(name_of("C:\\lists\\Guide 2.pdf"), "Guide 2.pdf");
        assert_eq!(name_of("../../etc/\r\nX: y.pdf"), "X: y.pdf");
        assert_eq!(name_of("  "), "guide.pdf");
        assert!(name_of(&"é".repeat(200)).len() <= LONGEST_NAME);
    }
}
