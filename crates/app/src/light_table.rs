//! What lies on the light table: each frame in its scan, with what is outlined.
//!
//! Patches that are drawn on another frame are carried here first, so that they
//! can be looked at before anything is measured. No pixel is handed out: those
//! come as tiles.

use crate::carrying::{CarriedFrame, LaidPairs, Way, carry_patches};
use crate::pictures::{bounds_of, corners_of};
use crate::tablet_search::find_tablets;
use crate::{AppError, Progress};
use figures::role_words;
use notebook::read_test_folder;
use record::{Calibrator, Id, PatchRole, Scan, TestParts};
use serde_json::{Value, json};
use std::path::Path;

/// What lies on the light table, with stable keys.
#[derive(Clone, Debug)]
pub struct LightTable {
    /// `views`: each frame in its scan; `unused`: frames without a patch.
    pub json: Value,
    /// What could not be carried, and what was assumed.
    pub warnings: Vec<String>,
}

/// Lays a test folder's frames out.
///
/// # Errors
/// [`AppError`] when the folder or a scan is at fault.
pub fn light_table(dir: &Path, progress: &dyn Progress) -> Result<LightTable, AppError> {
    light_table_again(dir, &LaidPairs::default(), progress)
}

/// The same, with scans that were laid on each other already; those that were not are, and
/// are kept there.
///
/// # Errors
/// As for [`light_table`].
pub fn light_table_again(
    dir: &Path,
    pairs: &LaidPairs,
    progress: &dyn Progress,
) -> Result<LightTable, AppError> {
    let (folder, _) = find_tablets(read_test_folder(dir)?, progress)?;
    let (folder, carried) = carry_patches(folder, pairs, progress)?;
    let parts = folder.test.parts();
    let letters = letters(parts);
    let mut views = vec![];
    for scan in &parts.scans {
        let frames = parts.frames_of_scan(scan);
        let of = |frame: Option<&Id>, bounds| {
            json!({
                "scan": scan.id.as_str(),
                "frame": frame.map(Id::as_str),
                "bounds_px": bounds,
                "calibrated": !matches!(scan.calibrator, Calibrator::None),
                "outlines": outlines(parts, scan, frame, &letters, &carried.frames),
                "carried": carried.frames.iter()
                    .filter(|c| Some(&c.frame) == frame && c.scan == scan.id)
                    .map(CarriedFrame::words).collect::<Vec<_>>(),
            })
        };
        if frames.is_empty() {
            views.push((usize::MAX, of(None, None)));
        }
        for frame in &frames {
            // Several frames in one scan: each is shown by the part that its patches lie in.
            let bounds = (frames.len() > 1)
                .then(|| bounds_of(&folder, scan, frame))
                .flatten()
                .map(|(left, top, right, bottom)| {
                    let (w, h) = (0.15 * (right - left), 0.15 * (bottom - top));
                    [left - w, top - h, right + w, bottom + h]
                });
            let place = parts.frames.iter().position(|f| f.id == **frame);
            views.push((place.unwrap_or(usize::MAX), of(Some(frame), bounds)));
        }
    }
    views.sort_by_key(|(place, _)| *place);
    let shown: Vec<&Id> = parts
        .scans
        .iter()
        .flat_map(|s| parts.frames_of_scan(s))
        .collect();
    let mut warnings = folder.warnings.clone();
    warnings.extend(carried.refusals);
    Ok(LightTable {
        json: json!({
            "views": views.into_iter().map(|(_, view)| view).collect::<Vec<_>>(),
            "frames": parts.frames.iter().map(|f| f.id.as_str()).collect::<Vec<_>>(),
            "unused": parts.frames.iter().map(|f| &f.id).filter(|id| !shown.contains(id))
                .map(Id::as_str).collect::<Vec<_>>(),
            "letters": letters.iter().map(|(id, role, letter)| json!({
                "patch": id.as_str(), "letter": letter, "role": role_words(*role),
            })).collect::<Vec<_>>(),
        }),
        warnings,
    })
}

/// A letter for each name of a patch, in the order of frames and patches.
fn letters(parts: &TestParts) -> Vec<(Id, PatchRole, String)> {
    let mut named: Vec<(Id, PatchRole, String)> = vec![];
    let mut given = 0;
    for frame in &parts.frames {
        for patch in parts.patches.iter().filter(|p| p.frame == frame.id) {
            if named.iter().any(|(name, _, _)| *name == patch.name) {
                continue;
            }
            let letter = match patch.role {
                PatchRole::BaseFog => "b+f".to_owned(),
                PatchRole::TabletStep(step) => step.to_string(),
                _ => {
                    given += 1;
                    figures::letter_at(given)
                }
            };
            named.push((patch.name.clone(), patch.role, letter));
        }
    }
    named
}

fn outlines(
    parts: &TestParts,
    scan: &Scan,
    frame: Option<&Id>,
    letters: &[(Id, PatchRole, String)],
    carried: &[CarriedFrame],
) -> Vec<Value> {
    let mut out = vec![];
    for patch in parts.patches.iter().filter(|p| Some(&p.frame) == frame) {
        let Some((on, outline)) = &patch.place else {
            continue;
        };
        let Some(corners) = corners_of(outline).filter(|_| *on == scan.id) else {
            continue;
        };
        let way = carried.iter().find(|c| {
            c.frame == patch.frame
                && c.scan == scan.id
                && c.patches.iter().any(|p| p.name == patch.name)
        });
        out.push(json!({
            "patch": patch.name.as_str(),
            "role": role_words(patch.role),
            "letter": letters.iter().find(|(name, _, _)| *name == patch.name).map(|(_, _, l)| l),
            "corners_px": corners,
            "kind": if patch.role == PatchRole::BaseFog { "base_fog" } else { "patch" },
            "carried_from": way.map(|c| c.from_frame.as_str()),
            "carried_by": way.map(|c| match c.way {
                Way::Registered(_) => "registration",
                Way::Holder { .. } => "holder",
            }),
        }));
    }
    if let Calibrator::Within(strip) = &scan.calibrator {
        for (place, step) in strip.steps.iter().enumerate() {
            if let Some(corners) = step.as_ref().and_then(corners_of) {
                out.push(json!({
                    "letter": (place + 1).to_string(),
                    "tablet": strip.tablet.as_str(),
                    "corners_px": corners,
                    "kind": "tablet_step",
                }));
            }
        }
    }
    out
}
