//! Files that are sent: piece by piece onto the disk, up to a limit.
//!
//! The file lies beside the notebook, on the disk that is to keep it, under a name of
//! its own making, and is gone when it is dropped: also when the sending breaks off.
//! The name that was sent is looked at as a name only.

use crate::refusal::Refusal;
use axum::body::{Body, HttpBody as _};
use axum::http::StatusCode;
use http_body_util::BodyExt as _;
use std::io::Write as _;
use std::path::Path;
use tempfile::NamedTempFile;

/// Largest scan. A 4×5 in sheet at 4800 lines per inch, 16 bits, three colours, is
/// 4 × 5 × 4800² × 6 bytes = 2.8 GB; whole sheets at half of that are 0.7 GB. \[bytes\]
pub(crate) const MOST_SCAN_BYTES: u64 = 3 * 1024 * 1024 * 1024;
/// Largest table, log or record. \[bytes\]
pub(crate) const MOST_TEXT_BYTES: u64 = 8 * 1024 * 1024;

/// Most bytes of a test folder, all files together. \[bytes\]
pub(crate) const MOST_FOLDER_BYTES: u64 = 64 * 1024 * 1024 * 1024;

/// Writes a body to a temporary file within a folder of this program's own. One that
/// says it is too large is refused before a byte of it is written.
pub(crate) async fn received_within(
    folder: &Path,
    body: Body,
    most: u64,
) -> Result<NamedTempFile, Refusal> {
    let failed = |e: std::io::Error| {
        Refusal::new(
            StatusCode::INSUFFICIENT_STORAGE,
            format!("the file could not be kept: {e}"),
            "check the free space of the disk",
        )
    };
    if body.size_hint().lower() > most {
        return Err(too_large(most));
    }
    let mut file = NamedTempFile::with_prefix_in("filmproof-", folder).map_err(failed)?;
    let mut body = body;
    let mut size = 0_u64;
    while let Some(frame) = body.frame().await {
        let frame = frame.map_err(|e| {
            Refusal::new(
                StatusCode::BAD_REQUEST,
                format!("the file broke off: {e}"),
                "send it again",
            )
        })?;
        let Ok(bytes) = frame.into_data() else {
            continue;
        };
        size += bytes.len() as u64;
        if size > most {
            return Err(too_large(most));
        }
        file.write_all(&bytes).map_err(failed)?;
    }
    file.flush().map_err(failed)?;
    Ok(file)
}

fn too_large(most: u64) -> Refusal {
    let remedy = if most == MOST_SCAN_BYTES {
        "scan less of the bed or with fewer lines, or save one grey channel instead of three colours"
    } else {
        "send the part that is needed"
    };
    Refusal::new(
        StatusCode::PAYLOAD_TOO_LARGE,
        format!(
            "the file has more than {}, the most that is taken",
            in_words(most)
        ),
        remedy,
    )
}

/// A limit in the unit it is told in.
fn in_words(bytes: u64) -> String {
    const MB: u64 = 1024 * 1024;
    if bytes >= 1024 * MB {
        format!("{} GB", bytes / (1024 * MB))
    } else if bytes >= MB {
        format!("{} MB", bytes / MB)
    } else {
        format!("{bytes} bytes")
    }
}

/// Gives the plain name of a file that was sent, or why it is none: no folder in
/// it, no letter that some disk can't keep, nothing hidden.
pub(crate) fn plain_name(sent: &str) -> Result<&str, Refusal> {
    let fine = !sent.is_empty()
        && sent.len() <= 120
        && !sent.starts_with('.')
        && !sent.ends_with(['.', ' '])
        && !sent.contains("..")
        && sent
            .chars()
            .all(|c| c.is_alphanumeric() || " -_.()+,".contains(c));
    if fine {
        Ok(sent)
    } else {
        Err(Refusal::new(
            StatusCode::UNPROCESSABLE_ENTITY,
            "the file's name has signs that a name of a file here can't have",
            "name it with letters, digits, spaces, - and _ and send it again",
        ))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_that_lead_elsewhere_are_refused() {
        for bad in [
            "", "../a.tif", "a/b.tif", "c:\\a", ".profile", "a\0b", "a\nb", "<b>.tif", "a..b", "a.",
        ] {
            assert!(plain_name(bad).is_err(), "{bad:?}");
        }
        for good in ["scan 1.tif", "Blätter_(2).TIF", "log.json"] {
            assert!(plain_name(good).is_ok(), "{good:?}");
        }
    }
}
