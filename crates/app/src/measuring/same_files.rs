//! Scans of a test that are one file.

use super::surveyed::Surveyed;
use negative::honesty::HonestyFinding;
use notebook::TestFolder;
use quantity::Flag;

/// Standard uncertainty of a reading that may be another frame's: about what a stop
/// does. \[density\]
const OTHER_FRAME: f64 = 0.3;

/// Names scans that are the same picture to the last bit, and doubts their readings.
pub(super) fn same_files(folder: &TestFolder, scans: &mut [Surveyed]) -> Vec<String> {
    let mut warnings = vec![];
    for second in 1..scans.len() {
        let same = |first: &usize| {
            let (a, b) = (&scans[*first], &scans[second]);
            a.sha256 == b.sha256 && a.info.page == b.info.page && a.channel == b.channel
        };
        let Some(first) = (0..second).find(same) else {
            continue;
        };
        let file = |scan: usize| {
            let record = folder.test.scan(&scans[scan].scan);
            record.map_or("", |record| record.file.as_str())
        };
        let (a, b) = (scans[first].scan.clone(), scans[second].scan.clone());
        if file(first) == file(second) {
            warnings.push(format!(
                "scans {a} and {b} are one and the same picture ({}); if their frames are different negatives, name the right file",
                file(first)
            ));
            continue;
        }
        warnings.push(format!(
            "scans {a} ({}) and {b} ({}) are identical files: one was copied over the other, and at least one of their frames \
             shows the wrong negative",
            file(first),
            file(second)
        ));
        for (scan, other) in [(first, &b), (second, &a)] {
            let scan = &mut scans[scan];
            if scan.findings.iter().any(|f| f.flag == Flag::SameFile) {
                continue;
            }
            scan.doubt = scan.doubt.max(OTHER_FRAME);
            scan.findings.push(HonestyFinding::new(
                Flag::SameFile,
                format!(
                    "its file and that of {other} are identical; {OTHER_FRAME:.1} is added to the uncertainty of its readings"
                ),
            ));
        }
    }
    warnings
}
