//! The one place where pictures are decoded.
//!
//! A picture from outside may be anything. Its header is asked for its size before a pixel is decoded; it is
//! turned upright by its orientation mark, made smaller, laid on white, and written anew as a JPEG. What
//! else was in the file (where and when it was taken, by which phone, for whom) is left behind. One is
//! decoded at a time, away from the threads that answer requests, and few are held in memory at once.

use std::io::Cursor;
use std::sync::Arc;
use std::time::Duration;

use image::codecs::jpeg::JpegEncoder;
use image::metadata::Orientation;
use image::{DynamicImage, ImageDecoder, ImageError, ImageFormat, ImageReader, Limits, RgbImage};
use tokio::sync::{OwnedSemaphorePermit, Semaphore};
use tokio::time::timeout;

use super::rules::{self, Declared, Format, LARGE, MOST_MEMORY, NotTaken, THUMB};
use crate::error::{AppError, NotDone};

const QUALITY: u8 = 82;
/// Uploads held in memory at once.
const HELD: usize = 3;
const PATIENCE: Duration = Duration::from_secs(20);

/// A JPEG of ours.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Jpeg {
    pub bytes: Vec<u8>,
    pub width: u32,
    pub height: u32,
}

/// What is kept of a picture.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Developed {
    pub large: Jpeg,
    pub thumb: Jpeg,
}

/// Sees to it that few pictures are in memory at once.
pub struct Desk {
    held: Arc<Semaphore>,
    /// Of those held, as many as come from people without an account.
    outside: Arc<Semaphore>,
    decoding: Arc<Semaphore>,
}

impl Default for Desk {
    fn default() -> Self {
        Self {
            held: Arc::new(Semaphore::new(HELD)),
            outside: Arc::new(Semaphore::new(1)),
            decoding: Arc::new(Semaphore::new(1)),
        }
    }
}

impl Desk {
    /// Room for one upload. Taken before its body is read, held until it is stored.
    pub async fn room(&self) -> Result<OwnedSemaphorePermit, AppError> {
        wait(&self.held).await
    }

    /// The same for somebody without an account: one at a time, so that nobody's slow line keeps those who
    /// work here from adding pictures.
    pub async fn room_outside(&self) -> Result<[OwnedSemaphorePermit; 2], AppError> {
        let one = wait(&self.outside).await?;
        Ok([one, wait(&self.held).await?])
    }

    /// Makes of a picture from outside what is kept of it.
    pub async fn develop(&self, bytes: Vec<u8>) -> Result<Developed, NotDone<NotTaken>> {
        let turn = wait(&self.decoding).await?;
        let developing = tokio::task::spawn_blocking(move || {
            // Held until the work is done, also when the person has hung up.
            let _turn = turn;
            develop(&bytes)
        });
        match developing.await {
            Ok(result) => result.map_err(NotDone::Refused),
            Err(stopped) => {
                tracing::warn!(%stopped, "a picture could not be decoded");
                Err(NotDone::Refused(NotTaken::Damaged))
            }
        }
    }
}

async fn wait(places: &Arc<Semaphore>) -> Result<OwnedSemaphorePermit, AppError> {
    match timeout(PATIENCE, Arc::clone(places).acquire_owned()).await {
        Ok(Ok(permit)) => Ok(permit),
        _ => Err(AppError::Busy(
            "Several pictures are being worked on. Wait a moment, then send the form again: it is recorded \
             once, however often it is sent."
                .into(),
        )),
    }
}

/// The same, here and now. `Desk::develop` is the way for requests.
pub fn develop(bytes: &[u8]) -> Result<Developed, NotTaken> {
    if bytes.len() > rules::MOST_BYTES {
        return Err(NotTaken::TooManyBytes);
    }
    let format = rules::format_of(bytes)?;
    let mut copies = 1;
    if format == Format::Jpeg {
        let shape = rules::jpeg_shape(bytes);
        if !shape.is_whole {
            return Err(NotTaken::Damaged);
        }
        if shape.is_progressive {
            copies = 3;
        }
    }
    let mut reader = ImageReader::with_format(
        Cursor::new(bytes),
        match format {
            Format::Jpeg => ImageFormat::Jpeg,
            Format::Png => ImageFormat::Png,
            Format::WebP => ImageFormat::WebP,
        },
    );
    let mut limits = Limits::default();
    limits.max_alloc = Some(MOST_MEMORY);
    reader.limits(limits);
    let mut decoder = reader.into_decoder().map_err(why)?;
    let (width, height) = decoder.dimensions();
    rules::fits(Declared {
        width,
        height,
        decoded: decoder.total_bytes(),
        copies,
    })?;
    // A mark that cannot be read is no reason to refuse the picture.
    let orientation = decoder.orientation().unwrap_or(Orientation::NoTransforms);
    let decoded = DynamicImage::from_decoder(decoder).map_err(why)?;
    let mut large = on_white(scaled(decoded, LARGE));
    large.apply_orientation(orientation);
    let thumb = written(&scaled(large.clone(), THUMB).into_rgb8())?;
    Ok(Developed {
        large: written(&large.into_rgb8())?,
        thumb,
    })
}

/// What a decoder says, as far as the person can do something about it.
fn why(error: ImageError) -> NotTaken {
    match error {
        ImageError::Limits(_) => NotTaken::TooMuchMemory,
        _ => NotTaken::Damaged,
    }
}

/// Made to fit into a square, never larger than it was.
fn scaled(picture: DynamicImage, side: u32) -> DynamicImage {
    if picture.width().max(picture.height()) <= side {
        return picture;
    }
    picture.thumbnail(side, side)
}

/// JPEG knows no transparency.
fn on_white(picture: DynamicImage) -> DynamicImage {
    if !picture.color().has_alpha() {
        return picture.into_rgb8().into();
    }
    let clear = picture.into_rgba8();
    let mut opaque = RgbImage::new(clear.width(), clear.height());
    for (to, from) in opaque.pixels_mut().zip(clear.pixels()) {
        let [colours @ .., alpha] = from.0;
        let alpha = u32::from(alpha);
        to.0 = colours.map(|colour| {
            let mixed = u32::from(colour) * alpha + 255 * (255 - alpha);
            // At most 255, as a mean of two that are.
            (mixed / 255) as u8
        });
    }
    opaque.into()
}

fn written(picture: &RgbImage) -> Result<Jpeg, NotTaken> {
    let mut bytes = Vec::new();
    JpegEncoder::new_with_quality(&mut bytes, QUALITY)
        .encode_image(picture)
        .map_err(|_| NotTaken::Damaged)?;
    Ok(Jpeg {
        bytes,
        width: picture.width(),
        height: picture.height(),
    })
}
