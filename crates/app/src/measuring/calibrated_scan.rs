//! One scan of a test with the densities of its code values, as a viewer wants it.

use super::calibration_used::{calibration_of, refuse_calibrations};
use super::survey::survey_scan;
use super::surveyed::Surveyed;
use crate::AppError;
use notebook::TestFolder;
use record::{Calibrator, Response, Scan};

/// What one scan shows, with the density of each of its code values when the
/// test has a calibration for it that holds; patches that are to be carried are
/// left out.
pub(crate) fn calibrated_scan(
    folder: &TestFolder,
    record: &Scan,
    warnings: &mut Vec<String>,
) -> Result<(Surveyed, Option<Vec<f32>>), AppError> {
    let mut scans = vec![survey_scan(folder, record, warnings)?];
    if let Calibrator::OtherScan(other) = &record.calibrator
        && let Some(other) = folder.test.scan(other)
    {
        scans.push(survey_scan(folder, other, warnings)?);
    }
    refuse_calibrations(folder, &mut scans);
    let tone = &scans[0].tone;
    let densities = calibration_of(&scans, record)
        .filter(|_| record.response == Response::Density)
        .map(|calibration| {
            let signals = tone.table().into_iter();
            signals
                .map(|signal| calibration.shown_density(signal) as f32)
                .collect()
        });
    Ok((scans.swap_remove(0), densities))
}
