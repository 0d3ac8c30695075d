//! What pages are made of beside their words: carried in the binary, fetched from nowhere else.

use axum::body::Body;
use axum::http::{HeaderMap, HeaderValue, Response, StatusCode, header};
use sha2::{Digest as _, Sha256};
use std::sync::LazyLock;

/// A file that the binary carries.
#[derive(Debug)]
pub struct Asset {
    /// Where it is.
    pub path: &'static str,
    media: &'static str,
    bytes: &'static [u8],
    version: String,
}

static ASSETS: LazyLock<Vec<Asset>> = LazyLock::new(|| {
    let files: [(&str, &str, &[u8]); 5] = [
        ("/assets/pourbook.css", "text/css; charset=utf-8", include_bytes!("../../assets/pourbook.css")),
        ("/assets/mark.svg", "image/svg+xml", include_bytes!("../../assets/mark.svg")),
        ("/assets/floor.js", "text/javascript; charset=utf-8", include_bytes!("../../assets/floor.js")),
        ("/assets/outbox.js", "text/javascript; charset=utf-8", include_bytes!("../../assets/outbox.js")),
        ("/assets/pour_day.js", "text/javascript; charset=utf-8", include_bytes!("../../assets/pour_day.js")),
    ];
    files
        .into_iter()
        .map(|(path, media, bytes)| {
            let version = Sha256::digest(bytes).iter().take(8).map(|b| format!("{b:02x}")).collect::<Vec<_>>().concat();
            Asset { path, media, bytes, version }
        })
        .collect()
});

/// All of them.
#[must_use]
pub fn all() -> &'static [Asset] {
    &ASSETS
}

/// Where one is, its version with it, so that a browser may keep it for good.
#[must_use]
pub fn address(path: &str) -> String {
    ASSETS.iter().find(|a| a.path == path).map_or_else(|| path.to_owned(), |a| format!("{path}?v={}", a.version))
}

impl Asset {
    /// As a response: not at all where the browser has it.
    pub(super) fn respond(&self, headers: &HeaderMap, query: Option<&str>) -> Response<Body> {
        let etag = format!("\"{}\"", self.version);
        let known = headers
            .get_all(header::IF_NONE_MATCH)
            .iter()
            .filter_map(|v| v.to_str().ok())
            .flat_map(|v| v.split(','))
            .any(|tag| tag.trim().trim_start_matches("W/") == etag || tag.trim() == "*");
        let mut response = Response::new(if known { Body::empty() } else { Body::from(self.bytes) });
        if known {
            *response.status_mut() = StatusCode::NOT_MODIFIED;
        }
        let named = query.is_some_and(|q| q == format!("v={}", self.version));
        let cache = if named { "public, max-age=31536000, immutable" } else { "no-cache" };
        let headers = response.headers_mut();
        headers.insert(header::CONTENT_TYPE, HeaderValue::from_static(self.media));
        headers.insert(header::CACHE_CONTROL, HeaderValue::from_static(cache));
        if let Ok(etag) = HeaderValue::from_str(&etag) {
            headers.insert(header::ETAG, etag);
        }
        response
    }
}
