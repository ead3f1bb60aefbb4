//! Which frame a scan shows, told or changed.
//!
//! Patches outlined in the scan go with it: their outlines say where something lies in
//! the scan, whatever frame it shows. Where the other frame has a scan of its own, the two
//! scans change frames. Readings written down for a frame stay with the frame.

use super::{KeepError, OpenTest};
use crate::AppError;
use notebook::{Documents, PatchRow, RecordRow, patch_rows, with_patch_rows, with_scan_frame};
use record::{Id, Scan};

/// A scan, the frame it showed and the frame it is given.
struct Move<'a> {
    scan: &'a Id,
    from: Option<&'a str>,
    to: &'a str,
}

impl OpenTest {
    /// The test's files with a scan given to a frame, and what was done, in words.
    ///
    /// # Errors
    /// [`KeepError`] when there is no such scan or frame, the scan shows several frames or
    /// that one already, or a patch would stand twice on a frame.
    pub fn with_scan_given(
        &self,
        scan: &str,
        frame: &str,
    ) -> Result<(Documents, String), KeepError> {
        let parts = &self.checked.parts;
        let known = parts.frames.iter().any(|f| f.id.as_str() == frame);
        let of = parts.scans.iter().find(|s| s.id.as_str() == scan);
        let (Some(of), true) = (of, known) else {
            let what = if known {
                ("scan", scan)
            } else {
                ("frame", frame)
            };
            return Err(not_there(what).into());
        };
        let from = self.only_frame(of)?;
        if from == Some(frame) && (of.frame.is_some() || of.id.as_str() == frame) {
            return Err(AppError::new(
                format!("scan {scan} shows frame {frame} already"),
                "choose another frame",
            )
            .into());
        }
        let mut moves = vec![Move {
            scan: &of.id,
            from,
            to: frame,
        }];
        if let Some(from) = from
            && from != frame
        {
            let mut others = parts.scans.iter().filter(|s| s.id != of.id);
            let shows = |s: &&Scan| {
                let shown = parts.frames_of_scan(s);
                shown.iter().any(|id| id.as_str() == frame)
            };
            if let Some(other) = others.find(shows) {
                self.only_frame(other)?;
                moves.push(Move {
                    scan: &other.id,
                    from: Some(frame),
                    to: from,
                });
            }
        }
        let mut text = self.documents.record_text().unwrap_or_default().to_owned();
        for given in &moves {
            text = with_scan_frame(&text, given.scan.as_str(), Some(given.to))?;
        }
        let documents = self.with_text("test.toml", Some(&text))?;
        let words: Vec<String> = moves
            .iter()
            .map(|given| format!("scan {} given to frame {}", given.scan, given.to))
            .collect();
        Ok((with_patches_moved(&documents, &moves)?, words.join(", ")))
    }

    /// The one frame that a scan shows, if any.
    fn only_frame(&self, scan: &Scan) -> Result<Option<&str>, AppError> {
        match self.checked.parts.frames_of_scan(scan).as_slice() {
            [] => Ok(None),
            [one] => Ok(Some(one.as_str())),
            several => {
                let names: Vec<&str> = several.iter().map(|id| id.as_str()).collect();
                Err(AppError::new(
                    format!(
                        "scan {} shows several frames by the patches in it: {}",
                        scan.id,
                        names.join(", ")
                    ),
                    "outline the patches of each frame where it lies",
                ))
            }
        }
    }

    /// A record in which frames were typed anew, with the scans that name one following
    /// it to its new name; a scan of a frame that was taken out names none.
    ///
    /// # Errors
    /// [`KeepError`] when the text is no record.
    pub fn with_scans_following_frames(
        &self,
        text: &str,
        rows: &[RecordRow],
    ) -> Result<String, KeepError> {
        let parts = &self.checked.parts;
        let mut text = text.to_owned();
        for scan in &parts.scans {
            let Some(named) = &scan.frame else { continue };
            let place = parts.frames.iter().position(|f| f.id == *named);
            let row = rows.iter().find(|row| place.is_some() && row.was == place);
            let now = row.and_then(|row| row.cells.get("id")).map(String::as_str);
            if now != Some(named.as_str()) {
                text = with_scan_frame(&text, scan.id.as_str(), now)?;
            }
        }
        Ok(text)
    }
}

fn not_there((what, name): (&str, &str)) -> AppError {
    let name: String = name.chars().take(64).collect();
    AppError::new(
        format!("the test has no {what} {name:?}"),
        "load the page again",
    )
}

/// Moves the patches of scans to the frames that the scans are given; a patch that was
/// carried from one of them follows it.
fn with_patches_moved(documents: &Documents, moves: &[Move<'_>]) -> Result<Documents, KeepError> {
    let rows = patch_rows(documents)?;
    let moved = |row: &PatchRow| {
        let given = moves.iter().find(|m| m.scan.as_str() == row.scan)?;
        (given.from == Some(row.frame.as_str())).then_some(given.to)
    };
    // Where the patch of a frame is now.
    let now = |frame: &str, patch: &str| {
        let row = rows.iter().find(|r| r.frame == frame && r.patch == patch);
        row.and_then(moved).unwrap_or(frame).to_owned()
    };
    let mut changed: Vec<PatchRow> = vec![];
    let mut left: Vec<(String, String)> = vec![];
    for row in &rows {
        let new = PatchRow {
            frame: moved(row).unwrap_or(&row.frame).to_owned(),
            carried_from: if row.carried_from.is_empty() {
                String::new()
            } else {
                now(&row.carried_from, &row.patch)
            },
            ..row.clone()
        };
        if new != *row {
            left.push((row.frame.clone(), row.patch.clone()));
            changed.push(new);
        }
    }
    let same = |a: &PatchRow, b: &PatchRow| a.frame == b.frame && a.patch == b.patch;
    let stays = |row: &&PatchRow| !left.iter().any(|(f, p)| *f == row.frame && *p == row.patch);
    for row in &changed {
        if rows.iter().filter(stays).any(|other| same(row, other)) {
            return Err(AppError::new(
                format!(
                    "frame {} has a patch {} in another scan",
                    row.frame, row.patch
                ),
                "take one of the two patches out first",
            )
            .into());
        }
    }
    Ok(with_patch_rows(documents, &changed, &left)?)
}
