//! The rebate that was found in a scan, kept as clear film of the frame it shows.

use super::{KeepError, OpenTest};
use crate::AppError;
use notebook::{Documents, PatchRow};
use record::PatchRole;

/// Name of the patch.
const REBATE: &str = "rebate";

impl OpenTest {
    /// The test's files with these corners in a scan as clear film (base+fog) of the frame
    /// that the scan shows, and what was done, in words. The patch is outlined as by hand.
    ///
    /// # Errors
    /// [`KeepError`] when there is no such scan, it shows no frame or several, or clear
    /// film of the frame is outlined in it already.
    pub fn with_rebate(
        &self,
        scan: &str,
        corners_px: &[(f64, f64)],
    ) -> Result<(Documents, String), KeepError> {
        let parts = &self.checked.parts;
        let Some(record) = parts.scans.iter().find(|s| s.id.as_str() == scan) else {
            return Err(AppError::new(
                format!("the test has no scan {scan:?}"),
                "load the page again",
            )
            .into());
        };
        let frames = parts.frames_of_scan(record);
        let [frame] = frames.as_slice() else {
            return Err(AppError::new(
                match frames.len() {
                    0 => format!("scan {scan} shows no frame yet"),
                    n => format!("scan {scan} shows {n} frames, and a rebate belongs to one"),
                },
                "say which frame the scan shows, or outline the clear film by hand",
            )
            .into());
        };
        let here = |on: &record::Id| on.as_str() == scan;
        let taken = parts.patches.iter().find(|patch| {
            let clear = patch.role == PatchRole::BaseFog;
            let outlined = patch.place.as_ref().is_some_and(|(on, _)| here(on));
            patch.frame == **frame && (patch.name.as_str() == REBATE || clear && outlined)
        });
        if let Some(patch) = taken {
            return Err(AppError::new(
                format!("frame {frame} has the patch {} already", patch.name),
                "take it out first, or leave it as it is",
            )
            .into());
        }
        let corners: Vec<String> = corners_px
            .iter()
            .map(|(x, y)| format!("{x:.1} {y:.1}"))
            .collect();
        let row = PatchRow {
            frame: frame.to_string(),
            patch: REBATE.to_owned(),
            role: "base_fog".to_owned(),
            scan: scan.to_owned(),
            polygon_px: corners.join("; "),
            ..PatchRow::default()
        };
        let what = format!("rebate found in scan {scan}, looked at and kept for frame {frame}");
        Ok((self.with_patches(&[row], &[])?, what))
    }
}
