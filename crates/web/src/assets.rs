//! Style, scripts and fonts, inside the program.
//!
//! All lie under one folder whose name is made from their contents, so a browser
//! may keep them for a year and never shows an old one. Modules find each other
//! by relative names.

use crate::refusal::Refusal;
use axum::extract::Path;
use axum::http::{HeaderValue, header};
use axum::response::{IntoResponse, Response};
use sha2::{Digest, Sha256};
use std::sync::LazyLock;

struct Asset {
    name: &'static str,
    kind: &'static str,
    bytes: &'static [u8],
}

const SCRIPT: &str = "text/javascript; charset=utf-8";
const STYLE: &str = "text/css; charset=utf-8";

macro_rules! asset {
    ($name:literal, $kind:expr) => {
        Asset {
            name: $name,
            kind: $kind,
            bytes: include_bytes!(concat!("../served/", $name)),
        }
    };
}

static ASSETS: &[Asset] = &[
    Asset {
        name: "report.css",
        kind: STYLE,
        bytes: app::shown::style::SHEET.as_bytes(),
    },
    asset!("pages.css", STYLE),
    asset!("icon.svg", "image/svg+xml"),
    asset!("more-light.svg", "image/svg+xml"),
    asset!("more-dark.svg", "image/svg+xml"),
    asset!("edge-found.svg", "image/svg+xml"),
    asset!("rebate-found.svg", "image/svg+xml"),
    Asset {
        name: "regular.woff2",
        kind: "font/woff2",
        bytes: app::shown::style::REGULAR,
    },
    Asset {
        name: "semibold.woff2",
        kind: "font/woff2",
        bytes: app::shown::style::SEMIBOLD,
    },
    asset!("ask.js", SCRIPT),
    asset!("grid.js", SCRIPT),
    asset!("merge.js", SCRIPT),
    asset!("pasted.js", SCRIPT),
    asset!("drafts.js", SCRIPT),
    asset!("light.js", SCRIPT),
    asset!("view.js", SCRIPT),
    asset!("found.js", SCRIPT),
    asset!("negatives.js", SCRIPT),
    asset!("tablet.js", SCRIPT),
    asset!("job.js", SCRIPT),
    asset!("tests.js", SCRIPT),
    asset!("folder.js", SCRIPT),
    asset!("files.js", SCRIPT),
    asset!("curves.js", SCRIPT),
    asset!("report.js", SCRIPT),
    asset!("trace.js", SCRIPT),
    asset!("question.js", SCRIPT),
];

/// The name of the folder: the first hex digits of a hash of all names and contents.
static FOLDER: LazyLock<String> = LazyLock::new(|| {
    let mut hash = Sha256::new();
    for asset in ASSETS {
        hash.update(asset.name);
        hash.update(asset.bytes);
    }
    hash.finalize()
        .iter()
        .take(8)
        .map(|b| format!("{b:02x}"))
        .collect()
});

/// Gives the address of an asset.
pub(crate) fn address(name: &str) -> String {
    format!("/assets/{}/{name}", *FOLDER)
}

/// Hands out one asset.
pub(crate) async fn asset(Path((folder, name)): Path<(String, String)>) -> Response {
    let found = ASSETS
        .iter()
        .find(|a| a.name == name)
        .filter(|_| folder == *FOLDER);
    match found {
        Some(asset) => (
            [
                (header::CONTENT_TYPE, HeaderValue::from_static(asset.kind)),
                (
                    header::CACHE_CONTROL,
                    HeaderValue::from_static("public, max-age=31536000, immutable"),
                ),
            ],
            asset.bytes,
        )
            .into_response(),
        None => Refusal::not_found("there is no such file").into_response(),
    }
}
