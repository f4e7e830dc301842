//! Reading a form that brings files: its fields, its files up to a size, and the id it carried.

use axum::extract::Multipart;
use axum::extract::multipart::Field;

use crate::error::AppError;
use crate::receipts::Sent;
use crate::secret;

/// More parts than any form of ours has.
const MOST_PARTS: usize = 20;
const LONGEST_TEXT: usize = 64 * 1024;

/// A file of a form.
pub struct File {
    pub field: String,
    /// Empty when it is larger than was asked for.
    pub bytes: Vec<u8>,
    pub is_too_large: bool,
}

/// A form with files, as it arrived.
pub struct Upload {
    pub sent: Sent,
    pub files: Vec<File>,
    texts: Vec<(String, String)>,
}

impl Upload {
    /// What was typed into a field; empty if it was not sent.
    pub fn text(&self, name: &str) -> &str {
        self.texts
            .iter()
            .find(|(field, _)| field == name)
            .map_or("", |(_, text)| text)
    }
}

/// Reads the whole form. A file above `largest` bytes is read to its end without being kept, so that the
/// person can be answered on the form. Files that were not chosen are left out.
pub async fn read(mut parts: Multipart, path: &str, largest: usize) -> Result<Upload, AppError> {
    let mut texts = Vec::new();
    let mut files = Vec::new();
    let mut read = 0;
    while let Some(mut part) = parts.next_field().await.map_err(broke_off)? {
        read += 1;
        if read > MOST_PARTS {
            return Err(AppError::BadRequest("The form has too many parts.".into()));
        }
        let field = part.name().unwrap_or_default().to_owned();
        if part.file_name().is_some() {
            let (bytes, is_too_large) = keep(&mut part, largest).await?;
            if is_too_large || !bytes.is_empty() {
                files.push(File {
                    field,
                    bytes,
                    is_too_large,
                });
            }
        } else {
            texts.push((field, text(&mut part).await?));
        }
    }
    let mut signed = path.as_bytes().to_vec();
    for (name, bytes) in texts
        .iter()
        .map(|(name, text)| (name, text.as_bytes()))
        .chain(
            files
                .iter()
                .map(|file| (&file.field, file.bytes.as_slice())),
        )
    {
        signed.extend(name.len().to_be_bytes());
        signed.extend(name.as_bytes());
        signed.extend(secret::hash(bytes));
    }
    let id = texts
        .iter()
        .find(|(name, _)| name == "form_id")
        .and_then(|(_, id)| id.parse().ok())
        .ok_or_else(without_number)?;
    let sent = Sent {
        id,
        hash: secret::hash(&signed),
    };
    Ok(Upload { sent, files, texts })
}

/// A typed field of a form that is read part by part.
pub async fn text(part: &mut Field<'_>) -> Result<String, AppError> {
    let (bytes, is_too_long) = keep(part, LONGEST_TEXT).await?;
    if is_too_long {
        return Err(AppError::BadRequest("What was typed is too long.".into()));
    }
    String::from_utf8(bytes)
        .map_err(|_| AppError::BadRequest("What was typed is not readable text.".into()))
}

async fn keep(part: &mut Field<'_>, largest: usize) -> Result<(Vec<u8>, bool), AppError> {
    let mut bytes = Vec::new();
    let mut is_too_large = false;
    while let Some(more) = part.chunk().await.map_err(broke_off)? {
        is_too_large |= bytes.len() + more.len() > largest;
        if is_too_large {
            bytes = Vec::new();
        } else {
            bytes.extend_from_slice(&more);
        }
    }
    Ok((bytes, is_too_large))
}

/// What a form is told that did not come to its end.
pub fn broke_off<E>(_: E) -> AppError {
    AppError::BadRequest(
        "What you sent did not arrive whole, or is far too large. Nothing was kept; go back and send it \
         again."
            .into(),
    )
}

/// What a form is told that lacks its id.
pub fn without_number() -> AppError {
    AppError::BadRequest(
        "The form came without its number. Open the page anew and send it again.".into(),
    )
}
