//! How a camera was set for each scan, and what follows when scans of one test
//! were not made alike.
//!
//! A tablet in the same frame makes up for another exposure. One in another frame
//! does not: densities are then off by log10 of the ratio of the exposures, which
//! is told as [`Flag::LevelsChanged`] and added to their uncertainty. Series that
//! are read as signals have exposures of their own in the record and are let alone.

use crate::measuring::Surveyed;
use crate::scan_checks::add_finding;
use exposure::{format_aperture, format_time};
use negative::decode::{CameraSettings, SettingsDifference};
use negative::honesty::HonestyFinding;
use notebook::TestFolder;
use quantity::{FNumber, Flag, Seconds};
use record::{Calibrator, Response};
use serde_json::{Value, json};

/// Difference that passes: less than a tenth of a stop, where cameras are set in
/// thirds. \[log10 of codes\]
const ALLOWED: f64 = 0.02;

/// The settings on one line; none where the file tells nothing.
pub(crate) fn line(settings: Option<&CameraSettings>) -> Option<String> {
    settings.map(|s| format!("camera set to {}", words(s)))
}

fn words(settings: &CameraSettings) -> String {
    let time = settings.time_s.and_then(|t| Seconds::from_s(t).ok());
    let aperture = settings.aperture.and_then(|n| FNumber::from_ratio(n).ok());
    let parts: Vec<String> = [
        time.map(format_time),
        aperture.map(format_aperture),
        settings.sensitivity.map(|s| format!("ISO {s:.0}")),
        settings.taken.as_ref().map(|taken| format!("on {taken}")),
    ]
    .into_iter()
    .flatten()
    .collect();
    parts.join(", ")
}

/// The same with stable keys; null where the file tells nothing.
pub(crate) fn json(settings: Option<&CameraSettings>) -> Value {
    settings.map_or(Value::Null, |s| {
        json!({
            "time_s": s.time_s,
            "aperture_f": s.aperture,
            "iso": s.sensitivity,
            "taken": s.taken,
        })
    })
}

/// Says by how much a difference raises densities or lowers them.
fn off_words(difference: SettingsDifference) -> String {
    let off = difference.log10;
    format!(
        "{:.2} too {} ({:+.1} stop{})",
        off.abs(),
        if off > 0.0 { "thin" } else { "dense" },
        off / core::f64::consts::LOG10_2,
        if difference.whole {
            ""
        } else {
            ", by what the files tell: not all of aperture and sensitivity is recorded"
        }
    )
}

/// Compares how the camera was set for the scans of a test; gives warnings, and
/// widens scans that the tablet of another exposure calibrates.
pub(crate) fn compare_settings(folder: &TestFolder, scans: &mut [Surveyed]) -> Vec<String> {
    let is_density = |scan: &Surveyed| {
        let record = folder.test.scan(&scan.scan);
        record.is_some_and(|r| r.response != Response::LogSignal)
    };
    let told: Vec<(usize, CameraSettings)> = scans
        .iter()
        .enumerate()
        .filter(|(_, scan)| is_density(scan))
        .filter_map(|(i, scan)| Some((i, scan.info.camera.clone()?)))
        .filter(|(_, settings)| settings.time_s.is_some())
        .collect();
    let differs = |own: &CameraSettings, other: &CameraSettings| {
        own.raised_over(other).filter(|d| d.log10.abs() > ALLOWED)
    };
    for (i, own) in &told {
        let Some(record) = folder.test.scan(&scans[*i].scan) else {
            continue;
        };
        let Calibrator::OtherScan(other) = &record.calibrator else {
            continue;
        };
        let Some(difference) = told
            .iter()
            .find(|(k, _)| scans[*k].scan == *other)
            .and_then(|(_, others)| Some((others, differs(own, others)?)))
        else {
            continue;
        };
        let evidence = format!(
            "the camera was set to {} here and to {} in scan {other}, whose tablet calibrates it: densities read {}; \
             that is added to their uncertainty",
            words(own),
            words(difference.0),
            off_words(difference.1)
        );
        let scan = &mut scans[*i];
        scan.doubt = scan.doubt.max(difference.1.log10.abs());
        add_finding(
            &mut scan.findings,
            HonestyFinding::new(Flag::LevelsChanged, evidence),
        );
    }
    let Some((first, usual)) = told.first() else {
        return vec![];
    };
    let others: Vec<String> = told
        .iter()
        .filter_map(|(i, own)| {
            let difference = differs(own, usual)?;
            Some(format!(
                "{} to {}: by the same codes it reads {}",
                scans[*i].scan,
                words(own),
                off_words(difference)
            ))
        })
        .collect();
    if others.is_empty() {
        return vec![];
    }
    vec![format!(
        "the scans were made with different camera exposures: in scan {} the camera was set to {}, in {}. A tablet in the same \
         scan makes up for it, one in another scan does not: lock time, aperture and sensitivity",
        scans[*first].scan,
        words(usual),
        others.join("; in ")
    )]
}
