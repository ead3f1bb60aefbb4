//! One scan of a test in one pass: patches, tablet, small picture, and what the
//! checks find in it alone.

use super::clear_film::clear_patches;
use super::outlined::{Outlined, numbered_steps};
use super::recorded_tone::tone_of_record;
use super::region_map::read_labels;
use super::surveyed::Surveyed;
use crate::AppError;
use crate::divided_light::divide_recorded;
use crate::error::with_causes;
use crate::light_of_scan::{Light, doubt_of};
use crate::scan_channel::{channel_of_record, unnamed_sample};
use crate::scan_checks::{add_finding, look_at_texture};
use crate::scan_reader::{decode_remedy, recorded_scan_reader, scan_error};
use crate::single_scan::refuse_bilevel;
use negative::calibration::{Calibration, TabletReading, calibrate};
use negative::decode::{DecodeError, ScanInfo};
use negative::frame_edges::find_frame;
use negative::honesty::{
    HonestyFinding, Looked, file_findings, light_findings, light_of_scan, tablet_findings_numbered,
    uneven_light_finding,
};
use negative::outline::{LabelImage, OutlineError};
use negative::patch::{PatchError, PatchStatistics};
use negative::survey::{Survey, survey};
use negative::tone::Tone;
use negative::widening::widen_by_findings;
use notebook::{HashState, TestFolder};
use quantity::Flag;
use record::{Id, Response, Scan, TabletStrip};

/// Measures one scan and looks it over.
///
/// # Errors
/// [`AppError`] when its files can't be read, an outline leads nowhere, or the tablet in
/// it doesn't calibrate.
pub(super) fn survey_scan(
    folder: &TestFolder,
    scan: &Scan,
    warnings: &mut Vec<String>,
) -> Result<Surveyed, AppError> {
    let sha256 = checked_hash(folder, scan, warnings)?;
    let named = |words: String| format!("scan {} ({}): {words}", scan.id, scan.file);
    let mut reader = recorded_scan_reader(folder, scan)?;
    let info = reader.info().clone();
    refuse_bilevel(&info).map_err(|e| AppError::new(named(e), decode_remedy()))?;
    warnings.extend(info.remarks.iter().cloned().map(named));
    let channel = channel_of_record(scan, &reader)?;
    warnings.extend(unnamed_sample(&info, channel).map(named));
    let tone = tone_of_record(scan, &info, channel)?;
    let (tone, divided) = divide_recorded(folder, scan, &mut reader, channel, tone)?;
    let labels = match &scan.region_map {
        Some(map) => Some(read_labels(
            &folder.scan_path(map)?,
            map,
            (info.width, info.height),
        )?),
        None => None,
    };
    let labels = labels.as_ref().map(|(width, height, labels)| LabelImage {
        width: *width,
        height: *height,
        labels,
    });
    let outlined = Outlined::of(folder, scan)?;
    let outlines = &outlined.outlines;
    let mut measured = survey(&mut reader, channel, &tone, outlines, labels, None)
        .map_err(|e| not_measured(scan, &outlined.names, &e))?;
    if let Some(divided) = &divided {
        divided.add_uncertainty(&mut measured.patches, outlines);
        // Levels are checked where they were set: in the stored codes.
        measured.histogram = divided.histogram.clone();
    }

    let stored = divided
        .as_ref()
        .map_or((&info, &tone), |d| (&d.info, &d.tone));
    let (mut findings, mut looked) = look_at_file(scan, stored, &measured, &outlined);
    looked.tone_known = tone.encoding.is_known();
    let mut statistics = std::mem::take(&mut measured.patches);
    widen_by_findings(&mut statistics, &findings);
    let mut statistics = statistics.into_iter();
    let patches: Vec<((Id, Id), PatchStatistics)> = outlined
        .patches
        .iter()
        .cloned()
        .zip(statistics.by_ref())
        .collect();
    let calibration = match outlined.strip {
        Some(strip) => Some(calibrate_by(
            folder,
            scan,
            strip,
            statistics,
            &mut findings,
        )?),
        None => None,
    };
    looked.calibrated = calibration.is_some();
    let mut light = None;
    if scan.response != Response::LogSignal {
        let clear = clear_patches(folder, &patches);
        looked.clear_film = !clear.is_empty();
        // A flat field changes the codes, so the stored histogram is no measure of
        // the patches then.
        let clear = if divided.is_some() { &[] } else { &clear[..] };
        let calibration = calibration.as_ref();
        let seen = look_at_light(&measured, &tone, calibration, clear, &mut findings);
        looked.light = seen.is_ok();
        light = Some(seen);
    }
    Ok(Surveyed {
        scan: scan.id.clone(),
        info,
        channel,
        tone,
        sha256,
        patches,
        calibration,
        preview: measured.preview,
        findings,
        looked,
        repeat: None,
        doubt: light.as_ref().map_or(0.0, doubt_of),
        light,
        divided,
        calibration_refused: None,
    })
}

/// The checksum of a scan's file; warns when it is not the recorded one.
fn checked_hash(
    folder: &TestFolder,
    scan: &Scan,
    warnings: &mut Vec<String>,
) -> Result<String, AppError> {
    Ok(match folder.hash_state(scan)? {
        HashState::Same => scan.sha256.clone().unwrap_or_default(),
        HashState::NotRecorded { found } => found,
        HashState::Changed { recorded, found } => {
            warnings.push(format!(
                "scan {} ({}): the file is not the one that was recorded: sha256 {found}, recorded {recorded}",
                scan.id, scan.file
            ));
            found
        }
    })
}

/// Says which outline or what else kept a scan from being measured.
fn not_measured(scan: &Scan, names: &[String], error: &PatchError) -> AppError {
    let named = match error {
        PatchError::Outline(
            OutlineError::OutsidePicture { index, .. }
            | OutlineError::NoArea { index, .. }
            | OutlineError::NoPixel { index },
        ) => names.get(*index),
        _ => None,
    };
    let remedy = match (error, named) {
        (PatchError::Decode(DecodeError::NoSuchChannel { .. }), _) => {
            "mend the scan's channel in test.toml, or leave it out".to_owned()
        }
        (PatchError::Decode(_), _) => decode_remedy().to_owned(),
        (_, Some(name)) => {
            format!("mend the outline of {name}; pixels count from the top left corner")
        }
        _ => "mend the outlines; pixels count from the top left corner".to_owned(),
    };
    match named {
        Some(name) => AppError::new(
            format!(
                "scan {} ({}), {name}: {}",
                scan.id,
                scan.file,
                with_causes(error)
            ),
            remedy,
        ),
        None => scan_error(scan, error, &remedy),
    }
}

/// What file, levels and texture show, and what there was to look at; `stored` is the
/// scan before any light was divided out.
fn look_at_file(
    scan: &Scan,
    stored: (&ScanInfo, &Tone),
    measured: &Survey,
    outlined: &Outlined<'_>,
) -> (Vec<HonestyFinding>, Looked) {
    let mut findings = file_findings(stored.0, stored.1, &measured.histogram);
    let mut looked = if scan.response == Response::LogSignal {
        // Camera frames: black and white ends are part of the series, each patch
        // tells for itself.
        findings.retain(|f| f.flag != Flag::Clipped);
        Looked::default()
    } else {
        look_at_texture(stored.0, &measured.texture, outlined.steps(), &mut findings)
    };
    looked.patches_clipped = measured.patches.iter().any(PatchStatistics::clipped);
    (findings, looked)
}

/// Calibrates a scan by the tablet in it, and adds what the tablet's steps tell.
fn calibrate_by(
    folder: &TestFolder,
    scan: &Scan,
    strip: &TabletStrip,
    statistics: impl Iterator<Item = PatchStatistics>,
    findings: &mut Vec<HonestyFinding>,
) -> Result<Calibration, AppError> {
    let Some(tablet) = folder.test.tablet(&strip.tablet) else {
        unreachable!("an assembled test records the tablet of each strip");
    };
    let (numbers, readings): (Vec<usize>, Vec<TabletReading>) = numbered_steps(strip)
        .filter_map(|(number, _)| Some((number, tablet.steps.get(number - 1)?.clone())))
        .zip(statistics)
        .map(|((number, density), statistics)| {
            (
                number,
                TabletReading {
                    statistics,
                    density,
                },
            )
        })
        .unzip();
    let calibration = calibrate(&readings).map_err(|e| {
        scan_error(
            scan,
            &e,
            "check the outlines and the order of the tablet's steps, or rescan with the exposure locked and a linear 16-bit tone",
        )
    })?;
    for finding in tablet_findings_numbered(&calibration, &numbers) {
        add_finding(findings, finding);
    }
    Ok(calibration)
}

/// What tablet and clear film show of veiling light and turned signals, and how uneven
/// the light is.
fn look_at_light(
    measured: &Survey,
    tone: &Tone,
    calibration: Option<&Calibration>,
    clear: &[&PatchStatistics],
    findings: &mut Vec<HonestyFinding>,
) -> Light {
    for finding in light_findings(calibration, tone, &measured.histogram, clear) {
        add_finding(findings, finding);
    }
    let frame = find_frame(&measured.preview);
    let light = light_of_scan(&measured.preview, &frame, calibration);
    if let Ok(light) = &light {
        findings.extend(uneven_light_finding(light));
    }
    light
}
