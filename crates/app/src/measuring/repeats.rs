//! Repeated scans of one frame: whether they show the same.

use super::surveyed::Surveyed;
use crate::error::with_causes;
use negative::honesty::repeat_scans_agree;
use notebook::TestFolder;
use record::Id;

/// Compares each scan that repeats another with it.
pub(super) fn compare_repeats(folder: &TestFolder, scans: &mut [Surveyed]) {
    for scan in &folder.test.parts().scans {
        let Some(first) = &scan.repeat_of else {
            continue;
        };
        let place = |id: &Id| scans.iter().position(|s| s.scan == *id);
        let (Some(a), Some(b)) = (place(first), place(&scan.id)) else {
            continue;
        };
        let words = match repeat_scans_agree(&scans[a].preview, &scans[b].preview) {
            Ok(comparison) => format!(
                "{} scan {first}: {}",
                if comparison.equal {
                    "equal to"
                } else {
                    "differs from"
                },
                comparison.evidence
            ),
            Err(error) => format!(
                "can't be compared with scan {first}: {}",
                with_causes(&error)
            ),
        };
        scans[b].repeat = Some(words);
    }
}
