//! Measures the scans of a test: patches to readings, with what calibrated
//! them and what the honesty checks found.
//!
//! Each scan is decoded once. Scans that hold a tablet are calibrated first,
//! since others may be calibrated by them.
//!
//! What the checks find is not only said: it widens the readings of the scan,
//! so that one scan that was tampered with can't outweigh honest ones. What one
//! scan alone shows is added in `negative::widening` and by the calibration; what
//! scans show of each other is added here to the standard uncertainty, as the
//! root of the sum of squares:
//!
//! | flag | what is added |
//! |---|---|
//! | `tablet_misfit` | the difference of clear film |
//! | `levels_changed` | the difference of clear film from the other scans, or of the camera's exposure from that of the calibrating scan |
//! | `uneven_light` | what rebate and bare light differ by from place to place (`light_of_scan`) |
//! | `scanner_flare` | what half as much veiling light again would do (`scan_checks`) |
//! | `same_file` | 0.3 in density, about what a stop does: one of the two frames is another |
//!
//! A patch that was carried from another frame (`carrying`) is as uncertain as
//! its place makes it, and flagged.
//!
//! Clear film is compared in densities where a tablet calibrates the scans: a
//! tablet that was changed along with the film makes up for it, and then
//! nothing is added. A calibration that can't be right (`negative::refusal`) is
//! not used: what is added to each scan could not make up for an error that all
//! scans share. The scan's readings are then relative to its own clear film, as
//! without a tablet.

use crate::camera_settings::compare_settings;
use crate::carrying::{Carried, CarriedFrame, Way};
use crate::divided_light::{Divided, LightPictures, divide};
use crate::error::with_causes;
use crate::light_of_scan::{Light, doubt_of};
use crate::progress::go_on;
use crate::scan_channel::{channel_of, unnamed_sample};
use crate::scan_checks::{POSITIVE_REFUSED, flare_of, is_positive, look_at_texture, veiled};
use crate::single_scan::refuse_bilevel;
use crate::tablet_search::TabletInScan;
use crate::{AppError, Progress};
use negative::calibration::{CalibratedReading, Calibration, TabletReading, calibrate};
use negative::decode::{ChannelChoice, Colour, DecodeError, DecodeLimits, ScanInfo, ScanReader};
use negative::frame_edges::find_frame;
use negative::honesty::{
    HonestyFinding, Looked, RebateReading, file_findings, light_findings, light_of_scan,
    rebates_agree, repeat_scans_agree, tablet_findings_numbered, uneven_light_finding,
};
use negative::outline::{LabelImage, Outline, OutlineError, Rectangle};
use negative::patch::{PatchError, PatchStatistics};
use negative::preview::Preview;
use negative::refusal::{
    CalibrationRefusal, clear_density, refused_by_clear_film, refused_by_tablet,
};
use negative::registration::misplacement;
use negative::relative::{RelativeReading, SignalRises, log_signal, relative_density};
use negative::survey::survey;
use negative::tone::{Tone, ToneEncoding, ToneOrigin, tone_of};
use negative::widening::{flags_of_readings, widen_by_findings};
use notebook::{HashState, TestFolder};
use quantity::{Bound, Flag, Measured};
use record::{Calibrator, Id, Patch, PatchRole, Reading, ReadingOrigin, Response, Scan};
use std::collections::BTreeMap;
use std::io::BufReader;
use std::path::Path;

/// Difference of clear film between scans that passes without doubt. \[density\]
const REBATE_TOLERANCE: f64 = 0.02;

/// Standard uncertainty of a reading that may be another frame's. \[density\]
const OTHER_FRAME: f64 = 0.3;

/// Buffer of a file being decoded, in bytes.
pub(crate) const READ_BUFFER: usize = 1 << 20;

/// A scan after its one pass.
pub(crate) struct Surveyed {
    pub(crate) scan: Id,
    pub(crate) info: ScanInfo,
    pub(crate) channel: ChannelChoice,
    pub(crate) tone: Tone,
    pub(crate) sha256: String,
    /// Statistics of each patch, by frame and name.
    pub(crate) patches: Vec<((Id, Id), PatchStatistics)>,
    pub(crate) calibration: Option<Calibration>,
    pub(crate) preview: Preview,
    pub(crate) findings: Vec<HonestyFinding>,
    /// What the checks had to go on.
    pub(crate) looked: Looked,
    pub(crate) repeat: Option<String>,
    /// How uneven the light is by what the scan shows of it.
    pub(crate) light: Option<Light>,
    /// Light that was divided out.
    pub(crate) divided: Option<Divided>,
    /// Why the calibration is not used for this scan's patches.
    calibration_refused: Option<CalibrationRefusal>,
    /// Standard uncertainty that is added to each reading. \[density\]
    pub(crate) doubt: f64,
}

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

/// Turns an outline of the records into one of the negative room.
pub(crate) fn outline_of(outline: &record::Outline) -> Result<Outline, String> {
    Ok(match outline {
        record::Outline::Rectangle {
            x,
            y,
            width,
            height,
        } => Outline::Rectangle(Rectangle {
            x: f64::from(*x),
            y: f64::from(*y),
            width: f64::from(*width),
            height: f64::from(*height),
        }),
        record::Outline::Polygon(corners) => Outline::Polygon(corners.clone()),
        record::Outline::Region(label) => Outline::Region {
            label: u8::try_from(*label)
                .map_err(|_| format!("region {label} is over 255, the largest label of a map"))?,
        },
        record::Outline::CarriedFrom(frame) => {
            return Err(format!("the outline is to be carried from frame {frame}"));
        }
    })
}

/// The tone by the record, else by the file; a tone recorded as unknown stays so.
pub(crate) fn recorded_tone(
    recorded: record::Tone,
    info: &ScanInfo,
    channel: ChannelChoice,
) -> Result<Tone, String> {
    let encoding = match recorded {
        record::Tone::AsDeclared | record::Tone::Unknown => None,
        record::Tone::Linear => Some(ToneEncoding::Linear),
        record::Tone::Gamma(gamma) => Some(ToneEncoding::gamma(gamma).map_err(|e| e.to_string())?),
        record::Tone::Srgb => Some(ToneEncoding::Srgb),
    };
    let mut tone = tone_of(info, encoding.as_ref(), channel);
    if recorded == record::Tone::Unknown {
        tone.encoding = ToneEncoding::Unknown;
        tone.origin = ToneOrigin::Record;
    }
    Ok(tone)
}

/// Says which tone was used and who says so.
pub(crate) fn tone_words(tone: &Tone) -> String {
    let by = match tone.origin {
        ToneOrigin::Record => "by the record",
        ToneOrigin::IccProfile => "by the file's ICC profile",
        ToneOrigin::PngChunk => "by the PNG file's own chunk",
        ToneOrigin::RawSensor => "by the raw file's black and white levels",
        ToneOrigin::TransferFunction => "by the TIFF file's transfer function",
        ToneOrigin::Nowhere => "neither file nor record says",
    };
    format!("{}, {by}", tone.encoding.describe())
}

pub(crate) fn scan_error(
    scan: &str,
    file: &str,
    error: &dyn std::error::Error,
    remedy: &str,
) -> AppError {
    AppError::new(
        format!("scan {scan} ({file}): {}", with_causes(error)),
        remedy,
    )
}

/// Reads a picture whose values are labels, of the size of its scan.
///
/// What the header tells is asked before a row is decoded, so that a wrong file
/// costs nothing.
pub(crate) fn read_labels(
    path: &Path,
    shown: &str,
    (width, height): (u32, u32),
) -> Result<(u32, u32, Vec<u8>), AppError> {
    let remedy =
        "give an 8-bit grey PNG or TIFF of the scan's size, whose values are region numbers";
    let file = std::fs::File::open(path).map_err(|e| AppError::file("opening", path, &e))?;
    let fail = |e: &dyn std::error::Error| {
        AppError::new(format!("region map {shown}: {}", with_causes(e)), remedy)
    };
    let mut reader = ScanReader::open(
        BufReader::with_capacity(READ_BUFFER, file),
        0,
        &DecodeLimits::default(),
    )
    .map_err(|e| fail(&e))?;
    let info = reader.info();
    let refuse = |fault: String, remedy: &str| {
        Err(AppError::new(format!("region map {shown} {fault}"), remedy))
    };
    if (info.width, info.height) != (width, height) {
        return refuse(
            format!(
                "has {} × {} pixels, but its scan has {width} × {height}",
                info.width, info.height
            ),
            "draw the map over the scan itself, and save it without cropping or scaling",
        );
    }
    if info.flags.contains(Flag::Lossy) {
        return refuse(
            format!(
                "is a {} file compressed with loss, which changes region numbers",
                info.format
            ),
            "draw the map anew and save it as 8-bit grey PNG or TIFF; saving this file again in another format does not \
             bring the numbers back",
        );
    }
    if info.colour != Colour::Grey {
        return refuse(
            format!(
                "has {}, but region numbers are values of grey",
                match info.colour {
                    Colour::Mosaic => "a mosaic of colours",
                    _ => "red, green and blue",
                }
            ),
            "save the map as 8-bit grey PNG or TIFF, whose values are region numbers",
        );
    }
    if info.bits > 8 {
        return refuse(
            format!("has {} bits, but labels have 8", info.bits),
            "save the map with 8 bits to the pixel, without rescaling its values",
        );
    }
    let mut labels = Vec::with_capacity(width as usize * height as usize);
    reader
        .for_each_row(ChannelChoice::Grey, |row| {
            for i in 0..row.codes.len() {
                // At most 8 bits, checked above; a missing sample is no region.
                labels.push(row.codes.at(i).map_or(0, |c| c.min(255) as u8));
            }
        })
        .map_err(|e| fail(&e))?;
    Ok((width, height, labels))
}

/// Measures every scan of a test.
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
            && (&other.flat_field, &other.dark_frame) != (&scan.flat_field, &scan.dark_frame)
        {
            warnings.push(format!(
                "scan {} is calibrated by the tablet in scan {}, but not the same light is divided out of both: \
                 name the same flat field and dark frame",
                scan.id, other.id
            ));
        }
        if let Calibrator::OtherScan(other) = &scan.calibrator {
            let channel = |id: &Id| scans.iter().find(|s| s.scan == *id).map(|s| s.channel);
            if let (Some(own), Some(others)) = (channel(&scan.id), channel(other))
                && own != others
            {
                warnings.push(format!(
                    "scan {} is calibrated by the tablet in scan {other}, but {own} is measured in the one and {others} in \
                     the other: say the same channel for both",
                    scan.id
                ));
            }
        }
    }
    warnings.extend(same_files(folder, &mut scans));
    warnings.extend(compare_settings(folder, &mut scans));
    refuse_calibrations(folder, &mut scans);
    compare_rebates(folder, &mut scans);
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

/// Flags the readings of carried patches, and makes them as uncertain as their
/// place makes them.
fn doubt_carried(carried: &Carried, scans: &[Surveyed], readings: &mut [Reading]) {
    for frame in &carried.frames {
        let flag = match frame.way {
            Way::Registered(_) => Flag::PatchCarried,
            Way::Holder { .. } => Flag::PatchByHolder,
        };
        for patch in &frame.patches {
            let here = |r: &&mut Reading| r.frame == frame.frame && r.patch == patch.name;
            let statistics = scans
                .iter()
                .filter(|s| s.scan == frame.scan)
                .flat_map(|s| &s.patches)
                .find(|((f, name), _)| *f == frame.frame && *name == patch.name);
            if let (Some(reading), Some((_, statistics))) =
                (readings.iter_mut().find(here), statistics)
            {
                let doubt = misplacement(statistics, &patch.outline, patch.uncertainty_px);
                let value = &reading.value;
                reading.value =
                    Measured::new(value.value(), value.standard_uncertainty().hypot(doubt))
                        .flagged_all(value.flags())
                        .flagged(flag);
            }
        }
    }
}

/// Divides the light that a scan's record names out of it; gives the tone of
/// its codes from then on.
pub(crate) fn divide_recorded(
    folder: &TestFolder,
    scan: &Scan,
    reader: &mut ScanReader<impl std::io::Read + std::io::Seek>,
    channel: ChannelChoice,
    tone: Tone,
) -> Result<(Tone, Option<Divided>), AppError> {
    let Some(flat_field) = &scan.flat_field else {
        return Ok((tone, None));
    };
    let flat_field = folder.scan_path(flat_field)?;
    let dark_frame = match &scan.dark_frame {
        Some(path) => Some(folder.scan_path(path)?),
        None => None,
    };
    let pictures = LightPictures {
        flat_field: &flat_field,
        dark_frame: dark_frame.as_deref(),
    };
    let (tone, divided) =
        divide(reader, channel, &tone, scan.tone, pictures).map_err(|mut e| {
            e.problem = format!("scan {} ({}): {}", scan.id, scan.file, e.problem);
            e
        })?;
    Ok((tone, Some(divided)))
}

fn survey_scan(
    folder: &TestFolder,
    scan: &Scan,
    warnings: &mut Vec<String>,
) -> Result<Surveyed, AppError> {
    let id = scan.id.as_str();
    let sha256 = match folder.hash_state(scan)? {
        HashState::Same => scan.sha256.clone().unwrap_or_default(),
        HashState::NotRecorded { found } => found,
        HashState::Changed { recorded, found } => {
            warnings.push(format!(
                "scan {id} ({}): the file is not the one that was recorded: sha256 {found}, recorded {recorded}",
                scan.file
            ));
            found
        }
    };
    let file = folder.open_scan(scan)?;
    let mut reader = ScanReader::open(
        BufReader::with_capacity(READ_BUFFER, file),
        scan.page as usize,
        &DecodeLimits::default(),
    )
    .map_err(|e| scan_error(id, &scan.file, &e, decode_remedy()))?;
    let info = reader.info().clone();
    refuse_bilevel(&info)
        .map_err(|e| AppError::new(format!("scan {id} ({}): {e}", scan.file), decode_remedy()))?;
    warnings.extend(
        info.remarks
            .iter()
            .map(|remark| format!("scan {id} ({}): {remark}", scan.file)),
    );
    let channel = channel_of(scan.channel, &reader).map_err(|mut e| {
        e.problem = format!("scan {id} ({}): {}", scan.file, e.problem);
        e
    })?;
    warnings.extend(
        unnamed_sample(&info, channel).map(|words| format!("scan {id} ({}): {words}", scan.file)),
    );
    let tone = recorded_tone(scan.tone, &info, channel).map_err(|e| {
        AppError::new(
            format!("scan {id} ({}): {e}", scan.file),
            "mend the tone in test.toml",
        )
    })?;
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

    let patches: Vec<&Patch> = folder
        .test
        .parts()
        .patches
        .iter()
        .filter(|p| {
            p.place.as_ref().is_some_and(|(on, outline)| {
                *on == scan.id && !matches!(outline, record::Outline::CarriedFrom(_))
            })
        })
        .collect();
    let mut names: Vec<String> = vec![];
    let mut outlines: Vec<Outline> = vec![];
    let mut add = |name: String, outline: &record::Outline| -> Result<(), AppError> {
        let outline = outline_of(outline).map_err(|e| {
            AppError::new(
                format!("scan {id}, {name}: {e}"),
                "number the regions from 1 to 255",
            )
        })?;
        names.push(name);
        outlines.push(outline);
        Ok(())
    };
    for patch in &patches {
        if let Some((_, outline)) = &patch.place {
            add(
                format!("patch {} of frame {}", patch.name, patch.frame),
                outline,
            )?;
        }
    }
    let placed = patches.iter().filter(|p| p.place.is_some()).count();
    let strip = match &scan.calibrator {
        // A strip without outlines was looked for and not found.
        Calibrator::Within(strip) if !strip.steps.is_empty() => Some(strip),
        _ => None,
    };
    if let Some(strip) = strip {
        for (i, outline) in strip.steps.iter().enumerate() {
            if let Some(outline) = outline {
                add(
                    format!("step {} of tablet {}", i + 1, strip.tablet),
                    outline,
                )?;
            }
        }
    }
    let mut measured =
        survey(&mut reader, channel, &tone, &outlines, labels, None).map_err(|e| {
            let named = match &e {
                PatchError::Outline(
                    OutlineError::OutsidePicture { index, .. }
                    | OutlineError::NoArea { index, .. }
                    | OutlineError::NoPixel { index },
                ) => names.get(*index).cloned(),
                _ => None,
            };
            let remedy = match (&e, &named) {
                (PatchError::Decode(DecodeError::NoSuchChannel { .. }), _) => {
                    "mend the scan's channel in test.toml, or leave it out".to_owned()
                }
                (PatchError::Decode(_), _) => decode_remedy().to_owned(),
                (_, Some(name)) => {
                    format!("mend the outline of {name}; pixels count from the top left corner")
                }
                _ => "mend the outlines; pixels count from the top left corner".to_owned(),
            };
            let mut error = scan_error(id, &scan.file, &e, &remedy);
            if let Some(name) = named {
                error.problem = format!("scan {id} ({}), {name}: {}", scan.file, with_causes(&e));
            }
            error
        })?;

    if let Some(divided) = &divided {
        divided.add_uncertainty(&mut measured.patches, &outlines);
        // Levels are checked where they were set: in the stored codes.
        measured.histogram = divided.histogram.clone();
    }
    let stored = divided
        .as_ref()
        .map_or((&info, &tone), |d| (&d.info, &d.tone));
    let mut findings = file_findings(stored.0, stored.1, &measured.histogram);
    if scan.response == Response::LogSignal {
        // Camera frames: black and white ends are part of the series, each patch
        // tells for itself.
        findings.retain(|f| f.flag != Flag::Clipped);
    }
    let mut looked = if scan.response == Response::LogSignal {
        Looked::default()
    } else {
        look_at_texture(
            stored.0,
            &measured.texture,
            &outlines[placed..],
            &mut findings,
        )
    };
    looked.patches_clipped = measured.patches.iter().any(PatchStatistics::clipped);
    looked.tone_known = tone.encoding.is_known();
    let mut measured_patches = measured.patches;
    widen_by_findings(&mut measured_patches, &findings);
    let mut statistics = measured_patches.into_iter();
    let patches: Vec<((Id, Id), PatchStatistics)> = patches
        .iter()
        .map(|p| (p.frame.clone(), p.name.clone()))
        .zip(statistics.by_ref())
        .collect();
    let calibration = match strip {
        None => None,
        Some(strip) => {
            let Some(tablet) = folder.test.tablet(&strip.tablet) else {
                unreachable!("an assembled test records the tablet of each strip");
            };
            let readings: Vec<TabletReading> = strip
                .steps
                .iter()
                .zip(&tablet.steps)
                .filter(|(outline, _)| outline.is_some())
                .map(|(_, density)| density.clone())
                .zip(statistics.by_ref())
                .map(|(density, statistics)| TabletReading {
                    statistics,
                    density,
                })
                .collect();
            let calibration = calibrate(&readings).map_err(|e| {
                scan_error(
                    id,
                    &scan.file,
                    &e,
                    "check the outlines and the order of the tablet's steps, or rescan with the exposure locked and a linear 16-bit tone",
                )
            })?;
            let numbers: Vec<usize> = (1..)
                .zip(&strip.steps)
                .filter(|(_, outline)| outline.is_some())
                .map(|(number, _)| number)
                .take(readings.len())
                .collect();
            for finding in tablet_findings_numbered(&calibration, &numbers) {
                add_finding(&mut findings, finding);
            }
            Some(calibration)
        }
    };
    looked.calibrated = calibration.is_some();
    if scan.response != Response::LogSignal {
        // A flat field changes the codes, so the stored histogram is no measure of
        // the patches then.
        let clear = clear_patches(folder, &patches);
        looked.clear_film = !clear.is_empty();
        let clear = if divided.is_some() { &[] } else { &clear[..] };
        for finding in light_findings(calibration.as_ref(), &tone, &measured.histogram, clear) {
            add_finding(&mut findings, finding);
        }
    }
    let light = (scan.response != Response::LogSignal).then(|| {
        let frame = find_frame(&measured.preview);
        light_of_scan(&measured.preview, &frame, calibration.as_ref())
    });
    looked.light = matches!(light, Some(Ok(_)));
    if let Some(Ok(light)) = &light {
        findings.extend(uneven_light_finding(light));
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

pub(crate) fn decode_remedy() -> &'static str {
    "save the scan again as uncompressed 16-bit grey or RGB TIFF (a camera's raw file as uncompressed DNG), or copy the file again if it was cut short"
}

fn role_of(folder: &TestFolder, frame: &Id, patch: &Id) -> Option<PatchRole> {
    folder.test.patch(frame, patch).map(|p| p.role)
}

/// The signal of clear film in a scan, from its base+fog patches.
fn clear_of<'a>(folder: &TestFolder, scan: &'a Surveyed) -> Vec<&'a PatchStatistics> {
    clear_patches(folder, &scan.patches)
}

fn clear_patches<'a>(
    folder: &TestFolder,
    patches: &'a [((Id, Id), PatchStatistics)],
) -> Vec<&'a PatchStatistics> {
    patches
        .iter()
        .filter(|((frame, patch), _)| {
            role_of(folder, frame, patch) == Some(PatchRole::BaseFog)
                || folder
                    .test
                    .frame(frame)
                    .is_some_and(|f| f.role == record::FrameRole::Unexposed)
        })
        .map(|(_, statistics)| statistics)
        .collect()
}

/// Names scans that are the same picture to the last bit.
fn same_files(folder: &TestFolder, scans: &mut [Surveyed]) -> Vec<String> {
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

/// The scan whose tablet calibrates a scan.
fn tablet_scan<'a>(scans: &'a [Surveyed], record: &Scan) -> Option<&'a Surveyed> {
    let id = match &record.calibrator {
        Calibrator::Within(_) => &record.id,
        Calibrator::OtherScan(other) => other,
        Calibrator::None => return None,
    };
    scans.iter().find(|s| s.scan == *id)
}

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

/// What a scan's signal rises with, by its tablet: a calibration that is put
/// aside still tells it, since the order of steps is known.
fn signal_rises(scans: &[Surveyed], record: &Scan) -> SignalRises {
    tablet_scan(scans, record)
        .and_then(|source| source.calibration.as_ref())
        .map_or(SignalRises::default(), Calibration::signal_rises)
}

/// The calibration that a scan's patches are read through.
fn calibration_of<'a>(scans: &'a [Surveyed], record: &Scan) -> Option<&'a Calibration> {
    let own = scans.iter().find(|s| s.scan == record.id)?;
    let source = tablet_scan(scans, record)?;
    if own.calibration_refused.is_some() || source.calibration_refused.is_some() {
        return None;
    }
    source.calibration.as_ref()
}

/// Puts calibrations aside that can't be right.
fn refuse_calibrations(folder: &TestFolder, scans: &mut [Surveyed]) {
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

/// Adds a finding, joined to one of the same flag.
pub(crate) fn add_finding(findings: &mut Vec<HonestyFinding>, finding: HonestyFinding) {
    match findings.iter_mut().find(|f| f.flag == finding.flag) {
        Some(first) => {
            first.evidence += "; ";
            first.evidence += &finding.evidence;
        }
        None => findings.push(finding),
    }
}

/// What one scan shows of the clear film of a group.
struct GroupClear {
    scan: usize,
    name: String,
    patches: Vec<PatchStatistics>,
    /// By the scan's calibration, with its standard uncertainty.
    density: Option<(f64, f64)>,
}

/// Compares clear film between scans of one device, channel, film and process.
fn compare_rebates(folder: &TestFolder, scans: &mut [Surveyed]) {
    let mut groups: BTreeMap<String, Vec<GroupClear>> = BTreeMap::new();
    for (i, scan) in scans.iter().enumerate() {
        let Some(record) = folder.test.scan(&scan.scan) else {
            continue;
        };
        let mut films: BTreeMap<String, Vec<&PatchStatistics>> = BTreeMap::new();
        for ((frame, patch), statistics) in &scan.patches {
            if role_of(folder, frame, patch) != Some(PatchRole::BaseFog) {
                continue;
            }
            let Some(frame) = folder.test.frame(frame) else {
                continue;
            };
            let key = format!(
                "{:?} {:?} {} {} {}",
                record.device, record.settings, scan.channel, frame.film, frame.process
            );
            films.entry(key).or_default().push(statistics);
        }
        for (key, patches) in films {
            let density = if record.response == Response::Density {
                calibration_of(scans, record).and_then(|c| clear_density(c, &patches))
            } else {
                None
            };
            groups.entry(key).or_default().push(GroupClear {
                scan: i,
                name: scan.scan.to_string(),
                patches: patches.into_iter().cloned().collect(),
                density,
            });
        }
    }
    for group in groups.values() {
        let readings: Vec<RebateReading<'_>> = group
            .iter()
            .flat_map(|clear| {
                clear.patches.iter().map(|statistics| RebateReading {
                    name: &clear.name,
                    statistics,
                })
            })
            .collect();
        let changed = rebates_agree(&readings, REBATE_TOLERANCE).changed;
        if group.iter().any(|clear| clear.scan != group[0].scan) {
            for clear in group {
                scans[clear.scan].looked.other_scans = true;
            }
        }
        for clear in group {
            let change = changed.iter().find(|c| c.name == clear.name);
            let by_density = clear
                .density
                .and_then(|own| density_difference(own, clear.scan, group));
            // A tablet that was changed along with the film makes up for it.
            let doubt = match (change, by_density) {
                (_, Some(difference)) => difference.beyond().unwrap_or(0.0),
                (Some(change), None) => change.difference.abs(),
                (None, None) => 0.0,
            };
            let scan = &mut scans[clear.scan];
            scan.doubt = scan.doubt.max(doubt);
            let consequence = if doubt > 0.0 {
                format!("; {doubt:.3} is added to the uncertainty of its readings")
            } else {
                "; the tablet in it was changed alike and makes up for it".to_owned()
            };
            match (change, by_density) {
                (Some(change), _) => {
                    let mut finding = change.finding.clone();
                    finding.evidence += &consequence;
                    add_finding(&mut scan.findings, finding);
                }
                (None, Some(difference)) if doubt > 0.0 => {
                    let evidence = format!(
                        "clear film reads a density of {:.3} here and {:.3} in the other scans, though its code values agree: \
                         this scan's calibration differs{consequence}",
                        difference.own, difference.others
                    );
                    add_finding(
                        &mut scan.findings,
                        HonestyFinding::new(Flag::TabletMisfit, evidence),
                    );
                }
                (None, _) => {}
            }
        }
    }
}

/// Clear film of one scan against that of the others. \[density\]
#[derive(Clone, Copy)]
struct DensityDifference {
    own: f64,
    others: f64,
    allowed: f64,
}

impl DensityDifference {
    /// The difference, when it is more than would pass.
    fn beyond(self) -> Option<f64> {
        let difference = (self.own - self.others).abs();
        (difference > self.allowed).then_some(difference)
    }
}

fn density_difference(
    own: (f64, f64),
    scan: usize,
    group: &[GroupClear],
) -> Option<DensityDifference> {
    let mut others: Vec<f64> = group
        .iter()
        .filter(|c| c.scan != scan)
        .filter_map(|c| c.density.map(|d| d.0))
        .collect();
    others.sort_by(f64::total_cmp);
    let middle = others.len() / 2;
    let usual = match others.len() {
        0 => return None,
        n if n % 2 == 1 => others[middle],
        _ => (others[middle - 1] + others[middle]) / 2.0,
    };
    Some(DensityDifference {
        own: own.0,
        others: usual,
        // The tablet's own uncertainty is common to all scans of it.
        allowed: REBATE_TOLERANCE,
    })
}

fn compare_repeats(folder: &TestFolder, scans: &mut [Surveyed]) {
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

/// A reason, and the scans (name and file) that it holds for.
type Refused = (String, Vec<(String, String)>);

/// Notes a reason for a scan, once.
fn refuse(refusals: &mut Vec<Refused>, reason: String, name: &(String, String)) {
    match refusals.iter_mut().find(|(known, _)| *known == reason) {
        Some((_, names)) if names.contains(name) => {}
        Some((_, names)) => names.push(name.clone()),
        None => refusals.push((reason, vec![name.clone()])),
    }
}

/// Turns statistics into readings.
fn readings(folder: &TestFolder, scans: &[Surveyed]) -> (Vec<Reading>, Vec<String>) {
    let parts = folder.test.parts();
    let mut readings = vec![];
    let mut refusals: Vec<Refused> = vec![];
    for scan in scans {
        let Some(record) = parts.scans.iter().find(|s| s.id == scan.scan) else {
            continue;
        };
        let calibration = calibration_of(scans, record);
        let mut flags = flags_of_readings(&scan.findings);
        let clear = clear_of(folder, scan);
        let rises = signal_rises(scans, record);
        let name = (scan.scan.to_string(), record.file.clone());
        if record.response == Response::Density && calibration.is_none() && !scan.patches.is_empty()
        {
            flags.insert(Flag::Uncalibrated);
            let reason = format!(
                "absolute density is refused, because {}{}; its readings are relative to {}",
                refusal_words(scans, scan, record),
                if scan.tone.encoding.is_known() {
                    ""
                } else {
                    " and neither file nor record says how code values follow light"
                },
                if clear.is_empty() {
                    "the end of the code scale"
                } else {
                    "its own clear film"
                },
            );
            refuse(&mut refusals, reason, &name);
        }
        let positive = calibration.is_none()
            && record.response != Response::LogSignal
            && rises == SignalRises::WithLight
            && is_positive(&scan.findings);
        if positive {
            refuse(&mut refusals, POSITIVE_REFUSED.to_owned(), &name);
            continue;
        }
        let flare = flare_of(calibration, &scan.tone);
        for ((frame, patch), statistics) in &scan.patches {
            let (response, value, limit) = match (record.response, calibration) {
                (Response::LogSignal, _) => {
                    let RelativeReading { value, limit } = log_signal(statistics);
                    (Response::LogSignal, value, limit)
                }
                (Response::Density, Some(calibration)) => {
                    let (value, limit) = calibrated(&calibration.density(statistics));
                    (Response::Density, veiled(value, flare.as_ref()), limit)
                }
                (Response::Density | Response::RelativeDensity, _) => {
                    match relative_density(statistics, &clear, rises) {
                        Ok(RelativeReading { value, limit }) => (
                            Response::RelativeDensity,
                            Measured::new(value.value().to_density(), value.standard_uncertainty())
                                .flagged_all(value.flags()),
                            limit,
                        ),
                        Err(error) => {
                            let reason = format!(
                                "its patches have no reading, because {error}; mend the outlines of its base_fog patches"
                            );
                            refuse(&mut refusals, reason, &name);
                            continue;
                        }
                    }
                }
            };
            readings.push(Reading {
                frame: frame.clone(),
                patch: patch.clone(),
                response,
                value: Measured::new(
                    value.value(),
                    value.standard_uncertainty().hypot(scan.doubt),
                )
                .flagged_all(value.flags())
                .flagged_all(&flags),
                limit,
                origin: ReadingOrigin::Scan(scan.scan.clone()),
            });
        }
    }
    let refusals = refusals
        .into_iter()
        .map(|(reason, names)| match &names[..] {
            [(name, file)] => format!("scan {name} ({file}): {reason}"),
            _ => {
                let names: Vec<&str> = names.iter().map(|(name, _)| name.as_str()).collect();
                format!(
                    "each of the {} scans {}: {reason}",
                    names.len(),
                    names.join(", ")
                )
            }
        })
        .collect();
    (readings, refusals)
}

/// Says why no tablet gives the densities of a scan.
fn refusal_words(scans: &[Surveyed], scan: &Surveyed, record: &Scan) -> String {
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

/// A calibrated reading as number and limit.
pub(crate) fn calibrated(reading: &CalibratedReading) -> (Measured<f64>, Option<Bound>) {
    match reading {
        CalibratedReading::Density(density) => (
            Measured::new(density.value().to_density(), density.standard_uncertainty())
                .flagged_all(density.flags()),
            None,
        ),
        CalibratedReading::Limit {
            bound,
            density,
            flags,
        } => (
            Measured::new(density.to_density(), 0.0).flagged_all(flags),
            Some(*bound),
        ),
    }
}

/// Says which way calibrates a scan, in words.
pub(crate) fn calibrator_words(scan: &Scan) -> String {
    match &scan.calibrator {
        Calibrator::Within(strip) => format!("step tablet {} in this scan", strip.tablet),
        Calibrator::OtherScan(other) => format!("the step tablet in scan {other}, same settings"),
        Calibrator::None => "nothing: relative only".to_owned(),
    }
}
