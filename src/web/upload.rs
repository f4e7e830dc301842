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
    let sent = sent(path, &texts, &files)?;
    Ok(Upload { sent, files, texts })
}

/// The id that a form carried, and a hash of what it said and where it was sent.
fn sent(path: &str, texts: &[(String, String)], files: &[File]) -> Result<Sent, AppError> {
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
    Ok(Sent {
        id,
        hash: secret::hash(&signed),
    })
}

/// The last field before the files of a form whose words count without them.
pub const WRITTEN: &str = "written";

/// What became of the files of a form whose words count without them.
pub enum Files {
    Came(Vec<File>),
    BrokeOff,
    /// Too many were in memory already.
    NoRoom,
}

/// A form whose words count without its files.
pub struct Words<P> {
    /// Its hash is of the words alone: sent again with a whole file, it is still the same form.
    pub sent: Sent,
    pub files: Files,
    /// The room that the files take up, for as long as they are needed.
    pub room: Option<P>,
    texts: Vec<(String, String)>,
}

impl<P> Words<P> {
    /// What was typed into a field; empty if it was not sent.
    pub fn text(&self, name: &str) -> &str {
        self.texts
            .iter()
            .find(|(field, _)| field == name)
            .map_or("", |(_, text)| text)
    }
}

/// Reads a form whose words stand before its files: once the field [`WRITTEN`] has come, what was written
/// counts, even if the files break off or there is no room for them. Room is asked for at the first file.
pub async fn read_words_first<P>(
    mut parts: Multipart,
    path: &str,
    largest: usize,
    room: impl Future<Output = Result<P, AppError>>,
) -> Result<Words<P>, AppError> {
    let mut texts: Vec<(String, String)> = Vec::new();
    let mut files = Files::Came(Vec::new());
    let mut room = Some(room);
    let mut held = None;
    let mut read = 0;
    loop {
        let is_written = texts.iter().any(|(name, _)| name == WRITTEN);
        let mut part = match parts.next_field().await {
            Ok(Some(part)) => part,
            Ok(None) => break,
            Err(_) if is_written => {
                files = Files::BrokeOff;
                break;
            }
            Err(error) => return Err(broke_off(error)),
        };
        read += 1;
        if read > MOST_PARTS {
            return Err(AppError::BadRequest("The form has too many parts.".into()));
        }
        let field = part.name().unwrap_or_default().to_owned();
        if part.file_name().is_none() {
            texts.push((field, text(&mut part).await?));
            continue;
        }
        if !is_written {
            return Err(AppError::BadRequest(
                "The form came with its file before its words. Open the page anew and send it again."
                    .into(),
            ));
        }
        // An empty file field means that none was chosen; it takes up nothing.
        let first = match first_bytes(&mut part).await {
            Ok(Some(first)) => first,
            Ok(None) => continue,
            Err(_) => {
                files = Files::BrokeOff;
                break;
            }
        };
        if let Some(room) = room.take() {
            held = match room.await {
                Ok(room) => Some(room),
                Err(AppError::Busy(_)) => {
                    files = Files::NoRoom;
                    None
                }
                Err(error) => return Err(error),
            };
        }
        let most = if held.is_some() { largest } else { 0 };
        match keep_after(first, &mut part, most).await {
            Ok((bytes, is_too_large)) => {
                if let Files::Came(files) = &mut files {
                    files.push(File {
                        field,
                        bytes,
                        is_too_large,
                    });
                }
            }
            Err(_) => {
                files = Files::BrokeOff;
                break;
            }
        }
    }
    let sent = sent(path, &texts, &[])?;
    Ok(Words {
        sent,
        files,
        room: held,
        texts,
    })
}

/// The beginning of a file; `None` where it has no bytes at all.
async fn first_bytes(part: &mut Field<'_>) -> Result<Option<Vec<u8>>, AppError> {
    while let Some(bytes) = part.chunk().await.map_err(broke_off)? {
        if !bytes.is_empty() {
            return Ok(Some(bytes.to_vec()));
        }
    }
    Ok(None)
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
    keep_after(Vec::new(), part, largest).await
}

/// The same where the beginning was read already.
async fn keep_after(
    mut bytes: Vec<u8>,
    part: &mut Field<'_>,
    largest: usize,
) -> Result<(Vec<u8>, bool), AppError> {
    let mut is_too_large = bytes.len() > largest;
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
