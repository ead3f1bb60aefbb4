//! Files that are sent: piece by piece onto the disk, up to a limit.
//!
//! The file lies in the system's folder for temporary files under a name of
//! its own making, and is gone when it is dropped. The name that was sent is
//! looked at as a name only.

use crate::refusal::Refusal;
use axum::body::Body;
use axum::http::StatusCode;
use http_body_util::BodyExt as _;
use std::io::Write as _;
use tempfile::NamedTempFile;

/// Largest scan. A 4×5 in sheet at 4800 lines per inch, 16 bits, three colours, is
/// 4 × 5 × 4800² × 6 bytes = 2.8 GB; whole sheets at half of that are 0.7 GB. \[bytes\]
pub(crate) const MOST_SCAN_BYTES: u64 = 3 * 1024 * 1024 * 1024;
/// Largest table, log or record. \[bytes\]
pub(crate) const MOST_TEXT_BYTES: u64 = 8 * 1024 * 1024;

/// Writes a body to a temporary file.
pub(crate) async fn received(body: Body, most: u64) -> Result<NamedTempFile, Refusal> {
    let failed = |e: std::io::Error| {
        Refusal::new(
            StatusCode::INSUFFICIENT_STORAGE,
            format!("the file could not be kept: {e}"),
            "check the free space of the disk",
        )
    };
    let mut file = NamedTempFile::with_prefix("filmproof-").map_err(failed)?;
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
            return Err(Refusal::new(
                StatusCode::PAYLOAD_TOO_LARGE,
                format!("the file has more than {most} bytes"),
                "send a smaller one",
            ));
        }
        file.write_all(&bytes).map_err(failed)?;
    }
    file.flush().map_err(failed)?;
    Ok(file)
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
