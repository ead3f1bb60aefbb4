//! Measures every scan of a test, each in one pass, and holds them against each other.

use super::calibration_used::refuse_calibrations;
use super::carried_doubt::doubt_carried;
use super::clear_film_compared::compare_clear_film;
use super::readings::readings;
use super::repeats::compare_repeats;
use super::same_files::same_files;
use super::survey::survey_scan;
use super::surveyed::Surveyed;
use crate::camera_settings::compare_settings;
use crate::carrying::{Carried, CarriedFrame};
use crate::progress::go_on;
use crate::tablet_search::TabletInScan;
use crate::{AppError, Progress};
use notebook::TestFolder;
use record::{Calibrator, Reading, Scan};

/// Everything measured in a test's scans.
pub(crate) struct Measuring {
    pub(crate) readings: Vec<Reading>,
    pub(crate) scans: Vec<Surveyed>,
    /// What was refused, as sentences.
    pub(crate) refusals: Vec<String>,
    pub(crate) warnings: Vec<String>,
    /// Patches that were drawn on another frame.
    pub(crate) carried: Vec<CarriedFrame>,
    /// Tablets whose place was not recorded.
    pub(crate) tablets: Vec<TabletInScan>,
}

/// Measures every scan of a test.
///
/// # Errors
/// [`AppError`] when a scan can't be read or measured, or the caller stops it.
pub(crate) fn measure_folder(
    folder: &TestFolder,
    carried: Carried,
    progress: &dyn Progress,
) -> Result<Measuring, AppError> {
    let parts = folder.test.parts();
    let total = parts.scans.len() as u64;
    let mut scans = vec![];
    let mut warnings = vec![];
    for (n, scan) in parts.scans.iter().enumerate() {
        go_on(progress)?;
        progress.at(&format!("measuring scan {}", scan.id), n as u64, total);
        scans.push(survey_scan(folder, scan, &mut warnings)?);
    }
    progress.at("measuring scans", total, total);
    for scan in &parts.scans {
        if let Calibrator::OtherScan(other) = &scan.calibrator
            && let Some(other) = folder.test.scan(other)
        {
            warnings.extend(light_divided_unlike(scan, other));
            warnings.extend(channels_unlike(scan, other, &scans));
        }
    }
    warnings.extend(same_files(folder, &mut scans));
    warnings.extend(compare_settings(folder, &mut scans));
    refuse_calibrations(folder, &mut scans);
    compare_clear_film(folder, &mut scans);
    compare_repeats(folder, &mut scans);
    let (mut readings, mut refusals) = readings(folder, &scans);
    doubt_carried(&carried, &scans, &mut readings);
    refusals.extend(carried.refusals);
    for scan in scans.iter_mut().filter(|s| s.calibration_refused.is_some()) {
        // Pictures are not drawn through it either.
        scan.calibration = None;
        scan.looked.calibrated = false;
    }
    Ok(Measuring {
        readings,
        scans,
        refusals,
        warnings,
        carried: carried.frames,
        tablets: vec![],
    })
}

/// Tells that a scan and the one that calibrates it have not the same light divided out.
fn light_divided_unlike(scan: &Scan, other: &Scan) -> Option<String> {
    let unlike = (&other.flat_field, &other.dark_frame) != (&scan.flat_field, &scan.dark_frame);
    unlike.then(|| {
        format!(
            "scan {} is calibrated by the tablet in scan {}, but not the same light is divided out of both: \
             name the same flat field and dark frame",
            scan.id, other.id
        )
    })
}

/// Tells that a scan and the one that calibrates it are measured in different channels.
fn channels_unlike(scan: &Scan, other: &Scan, scans: &[Surveyed]) -> Option<String> {
    let channel = |scan: &Scan| scans.iter().find(|s| s.scan == scan.id).map(|s| s.channel);
    let (own, others) = (channel(scan)?, channel(other)?);
    (own != others).then(|| {
        format!(
            "scan {} is calibrated by the tablet in scan {}, but {own} is measured in the one and {others} in \
             the other: say the same channel for both",
            scan.id, other.id
        )
    })
}
