//! Clear film in a scan: base+fog patches and frames that were not exposed.

use super::surveyed::Surveyed;
use negative::patch::PatchStatistics;
use notebook::TestFolder;
use record::{FrameRole, Id, PatchRole};

/// Clear film of a scan after its pass.
pub(super) fn clear_of<'a>(folder: &TestFolder, scan: &'a Surveyed) -> Vec<&'a PatchStatistics> {
    clear_patches(folder, &scan.patches)
}

/// The same of patches alone.
pub(super) fn clear_patches<'a>(
    folder: &TestFolder,
    patches: &'a [((Id, Id), PatchStatistics)],
) -> Vec<&'a PatchStatistics> {
    patches
        .iter()
        .filter(|((frame, patch), _)| {
            folder
                .test
                .patch(frame, patch)
                .is_some_and(|p| p.role == PatchRole::BaseFog)
                || folder
                    .test
                    .frame(frame)
                    .is_some_and(|f| f.role == FrameRole::Unexposed)
        })
        .map(|(_, statistics)| statistics)
        .collect()
}
