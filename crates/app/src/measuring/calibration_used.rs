//! Which calibration a scan's patches are read through, and when none is.
//!
//! A calibration that can't be right (`negative::refusal`) is not used: what is added
//! to each scan could not make up for an error that all scans share. The scan's
//! readings are then relative to its own clear film, as without a tablet.

use super::clear_film::clear_of;
use super::surveyed::Surveyed;
use crate::scan_checks::add_finding;
use negative::calibration::Calibration;
use negative::refusal::{refused_by_clear_film, refused_by_tablet};
use negative::relative::SignalRises;
use notebook::TestFolder;
use record::{Calibrator, Scan};

/// Says which way calibrates a scan, in words.
pub(crate) fn calibrator_words(scan: &Scan) -> String {
    match &scan.calibrator {
        Calibrator::Within(strip) => format!("step tablet {} in this scan", strip.tablet),
        Calibrator::OtherScan(other) => format!("the step tablet in scan {other}, same settings"),
        Calibrator::None => "nothing: relative only".to_owned(),
    }
}

/// What a scan's signal rises with, by its tablet: a calibration that is put
/// aside still tells it, since the order of steps is known.
pub(super) fn signal_rises(scans: &[Surveyed], record: &Scan) -> SignalRises {
    tablet_scan(scans, record)
        .and_then(|source| source.calibration.as_ref())
        .map_or(SignalRises::default(), Calibration::signal_rises)
}

/// The calibration that a scan's patches are read through.
pub(super) fn calibration_of<'a>(scans: &'a [Surveyed], record: &Scan) -> Option<&'a Calibration> {
    let own = scans.iter().find(|s| s.scan == record.id)?;
    let source = tablet_scan(scans, record)?;
    if own.calibration_refused.is_some() || source.calibration_refused.is_some() {
        return None;
    }
    source.calibration.as_ref()
}

/// Puts calibrations aside that can't be right.
pub(super) fn refuse_calibrations(folder: &TestFolder, scans: &mut [Surveyed]) {
    for scan in scans.iter_mut() {
        scan.calibration_refused = scan.calibration.as_ref().and_then(refused_by_tablet);
    }
    for i in 0..scans.len() {
        let Some(record) = folder.test.scan(&scans[i].scan) else {
            continue;
        };
        let Some(calibration) = calibration_of(scans, record) else {
            continue;
        };
        let clear = clear_of(folder, &scans[i]);
        let Some(refusal) = refused_by_clear_film(calibration, &clear) else {
            continue;
        };
        let scan = &mut scans[i];
        if let Some(finding) = refusal.finding() {
            add_finding(&mut scan.findings, finding);
        }
        scan.calibration_refused = Some(refusal);
    }
}

/// The scan whose tablet calibrates a scan.
fn tablet_scan<'a>(scans: &'a [Surveyed], record: &Scan) -> Option<&'a Surveyed> {
    let id = match &record.calibrator {
        Calibrator::Within(_) => &record.id,
        Calibrator::OtherScan(other) => other,
        Calibrator::None => return None,
    };
    scans.iter().find(|s| s.scan == *id)
}

/// Says why no tablet gives the densities of a scan.
pub(super) fn refusal_words(scans: &[Surveyed], scan: &Surveyed, record: &Scan) -> String {
    if let Some(refusal) = &scan.calibration_refused {
        return refusal.to_string();
    }
    if let Calibrator::OtherScan(other) = &record.calibrator
        && let Some(source) = scans.iter().find(|s| s.scan == *other)
        && let Some(refusal) = &source.calibration_refused
    {
        return format!("in scan {other}, which calibrates it: {refusal}");
    }
    "no step tablet calibrates it".to_owned()
}
