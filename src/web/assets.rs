//! The files of `static/`, built into the program and served under names that change with their
//! content, so that browsers may keep them for ever.

use std::collections::HashMap;
use std::sync::LazyLock;

use axum::extract::Path;
use axum::http::header::{CACHE_CONTROL, CONTENT_TYPE};
use axum::response::{IntoResponse, Response};
use rust_embed::RustEmbed;

use crate::error::AppError;

#[derive(RustEmbed)]
#[folder = "static/"]
struct Files;

/// From the name in `static/` to the address with a content mark: `site.css` to
/// `/static/site.1f3a….css`.
static ADDRESSES: LazyLock<HashMap<String, String>> = LazyLock::new(|| {
    Files::iter()
        .filter_map(|name| {
            let file = Files::get(&name)?;
            let mark: String = file
                .metadata
                .sha256_hash()
                .iter()
                .take(6)
                .map(|byte| format!("{byte:02x}"))
                .collect();
            let address = match name.rsplit_once('.') {
                Some((stem, ending)) => format!("/static/{stem}.{mark}.{ending}"),
                None => format!("/static/{name}.{mark}"),
            };
            Some((name.into_owned(), address))
        })
        .collect()
});

static NAMES: LazyLock<HashMap<&'static str, &'static str>> = LazyLock::new(|| {
    ADDRESSES
        .iter()
        .filter_map(|(name, address)| Some((address.strip_prefix("/static/")?, name.as_str())))
        .collect()
});

/// The address of a file of `static/`. An unknown name gives an address that answers 404.
pub fn address(name: &str) -> &'static str {
    ADDRESSES
        .get(name)
        .map_or("/static/missing", String::as_str)
}

/// One number for all files together: part of every page's tag.
pub fn mark() -> &'static str {
    static MARK: LazyLock<String> = LazyLock::new(|| {
        let mut addresses: Vec<&str> = ADDRESSES.values().map(String::as_str).collect();
        addresses.sort_unstable();
        crate::secret::hash(addresses.join("\n").as_bytes())
            .iter()
            .take(6)
            .map(|byte| format!("{byte:02x}"))
            .collect()
    });
    &MARK
}

/// Answers one file. The style sheets name fonts by their plain path, which is served too, for a day.
pub async fn serve(Path(path): Path<String>) -> Result<Response, AppError> {
    let (name, keep) = match NAMES.get(path.as_str()) {
        Some(name) => (*name, "public, max-age=31536000, immutable"),
        None => (path.as_str(), "public, max-age=86400"),
    };
    let file = Files::get(name).ok_or(AppError::NotFound("file"))?;
    Ok((
        [(CONTENT_TYPE, content_type(name)), (CACHE_CONTROL, keep)],
        file.data.into_owned(),
    )
        .into_response())
}

fn content_type(name: &str) -> &'static str {
    match name.rsplit_once('.').map(|(_, ending)| ending) {
        Some("css") => "text/css; charset=utf-8",
        Some("js") => "text/javascript; charset=utf-8",
        Some("svg") => "image/svg+xml",
        Some("png") => "image/png",
        Some("woff2") => "font/woff2",
        Some("txt") => "text/plain; charset=utf-8",
        _ => "application/octet-stream",
    }
}
