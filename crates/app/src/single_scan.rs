//! Densities of patches, or of a step tablet, in one scan.

use crate::camera_scan;
use crate::camera_settings;
use crate::curve_file::names;
use crate::divided_light::{Divided, LightPictures, divide};
use crate::error::with_causes;
use crate::frame_found::frame_said;
use crate::light_of_scan::{line as light_line, to_json as light_json, widened};
use crate::measuring::{calibrated, outline_of, read_labels, recorded_tone, tone_words};
use crate::progress::go_on;
use crate::scan_channel::{channel_of_text, extra_words};
use crate::scan_checks::{
    POSITIVE_REFUSED, add_finding, checks_json, checks_lines, evidence_words, flare_of,
    is_positive, look_at_texture, veiled,
};
use crate::scan_reader::{decode_remedy, remedy_of, scan_file, scan_reader};
use crate::tablet_search::{FoundTablet, tablet_in};
use crate::told_file::ToldFile;
use crate::{AppError, Progress, write_file};
use negative::calibration::{StepResult, StepUse, TabletReading, calibrate};
use negative::frame_edges::find_frame;
use negative::honesty::{
    file_findings, light_findings, light_of_scan, tablet_findings_numbered, uneven_light_finding,
};
use negative::outline::{LabelImage, Outline, Rectangle, StepDirection, split_tablet};
use negative::patch::PatchStatistics;
use negative::refusal::{refused_by_clear_film, refused_by_tablet};
use negative::survey::survey;
use negative::tone::{Tone, ToneOrigin};
use negative::widening::{flags_of_readings, widen_by_findings};
use quantity::{Bound, Flag, Flags, Measured};
use record::{Id, PatchRole};
use serde_json::{Value, json};
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

/// Standard uncertainty of a tablet's density that comes without one. \[density\]
const TABLET_SD_DEFAULT: f64 = 0.01;
/// Share of pixels far from the rest that a mean leaves out without a word: dust and
/// grain leave less, a choice.
const LEFT_OUT_UNTOLD: f64 = 0.01;

/// What `measure` is asked of one scan.
#[derive(Clone, Debug, PartialEq)]
pub struct MeasureRequest {
    /// The scan.
    pub scan: PathBuf,
    /// Which image of the file, counted from 0.
    pub page: u32,
    /// The step tablet's densities, as CSV.
    pub tablet: Option<PathBuf>,
    /// Where the whole tablet lies: `X,Y,WIDTH,HEIGHT` in pixels and, unless its
    /// steps run to the right, `left`, `up` or `down`.
    pub strip: Option<String>,
    /// Patches as CSV; those with the role of a tablet step calibrate.
    pub patches: Option<PathBuf>,
    /// A picture whose values are the labels of regions.
    pub region_map: Option<PathBuf>,
    /// How code values follow light, when known: `linear`, `srgb`, `unknown` or a gamma.
    pub tone: Option<String>,
    /// Which samples: `red`, `green`, `blue`, `mean`, `infrared`, `extra:NUMBER`,
    /// `mosaic:ROW,COLUMN`.
    pub channel: Option<String>,
    /// A picture of the bare light table, whose light is divided out.
    pub flat_field: Option<PathBuf>,
    /// A picture without light, taken off both before; only with a flat field.
    pub dark_frame: Option<PathBuf>,
    /// Where to draw the scan with the tablet's steps outlined, as SVG, when the
    /// tablet had to be looked for.
    pub picture: Option<PathBuf>,
}

/// What `measure` answers for one scan.
#[derive(Clone, Debug)]
pub struct MeasuredScan {
    /// The answer with stable keys.
    pub json: Value,
    /// The answer as lines to be shown.
    pub lines: Vec<String>,
    /// Sentences that name what was assumed or not used.
    pub warnings: Vec<String>,
}

pub(crate) fn tone_of_text(text: Option<&str>) -> Result<record::Tone, AppError> {
    Ok(match text {
        None => record::Tone::AsDeclared,
        Some("linear") => record::Tone::Linear,
        Some("srgb") => record::Tone::Srgb,
        Some("unknown") => record::Tone::Unknown,
        Some(other) => match other.parse::<f64>() {
            Ok(gamma) => record::Tone::Gamma(gamma),
            Err(_) => {
                return Err(AppError::new(
                    format!("{other:?} is no tone"),
                    "say linear, srgb, unknown, or a gamma such as 2.2",
                ));
            }
        },
    })
}

/// Says why a scan of black and white only is not measured against a tablet.
pub(crate) fn refuse_bilevel(info: &negative::decode::ScanInfo) -> Result<(), String> {
    if info.flags.contains(Flag::Bilevel) {
        return Err(
            "the file holds black and white only (1 bit), so no density can be read from it"
                .to_owned(),
        );
    }
    Ok(())
}

/// Measures one scan.
///
/// Without patches the whole picture is one patch, `whole`. With a tablet, the
/// patches named as its steps calibrate; a calibrated patch has a density, any
/// other only a relative value.
///
/// # Errors
/// [`AppError`] when a file can't be read or the tablet doesn't calibrate.
pub fn measure_scan(
    request: &MeasureRequest,
    progress: &dyn Progress,
) -> Result<MeasuredScan, AppError> {
    let shown = request.scan.display().to_string();
    if request.scan.is_dir() {
        return Err(AppError::new(
            format!("{shown} is a folder"),
            "name the scan itself; a test folder is evaluated with `filmproof evaluate`",
        ));
    }
    let fail = |e: &dyn std::error::Error, remedy: &str| {
        AppError::new(format!("{shown}: {}", with_causes(e)), remedy)
    };
    let mut warnings = vec![];
    let file = scan_file(&request.scan)?;
    let mut reader = scan_reader(
        ToldFile::new(file, format!("reading {shown}"), progress),
        request.page,
    )
    .map_err(|e| fail(&e, remedy_of(&e)))?;
    let info = reader.info().clone();
    let channel = channel_of_text(request.channel.as_deref(), &reader)?;
    warnings.extend(info.remarks.iter().cloned());
    if request.tablet.is_some() {
        refuse_bilevel(&info)
            .map_err(|e| AppError::new(format!("{shown}: {e}"), decode_remedy()))?;
    }
    let recorded = tone_of_text(request.tone.as_deref())?;
    let stored_tone = recorded_tone(recorded, &info, channel)
        .map_err(|e| AppError::new(e, "give a gamma between 0.1 and 10"))?;
    let (tone, divided) = match (&request.flat_field, &request.dark_frame) {
        (Some(flat_field), dark_frame) => {
            let pictures = LightPictures {
                flat_field,
                dark_frame: dark_frame.as_deref(),
            };
            let (tone, divided) = divide(&mut reader, channel, &stored_tone, recorded, pictures)?;
            (tone, Some(divided))
        }
        (None, Some(_)) => {
            return Err(AppError::new(
                "a dark frame is given, but no flat field",
                "give the picture of the bare light table with --flat-field",
            ));
        }
        (None, None) => (stored_tone.clone(), None),
    };

    let mut patches: Vec<(Id, Outline, Option<PatchRole>)> = vec![];
    match &request.patches {
        Some(path) => {
            let rows = notebook::read_patches_csv(path)?;
            warnings.extend(rows.warnings);
            for patch in rows.rows {
                let outline = outline_of(&patch.outline).map_err(|e| {
                    AppError::new(
                        format!("{}: {e}", path.display()),
                        "number the regions from 1 to 255",
                    )
                })?;
                patches.push((patch.name, outline, patch.role));
            }
        }
        None => {
            let whole = Id::new("whole").map_err(|e| AppError::new(e.to_string(), ""))?;
            let all = Outline::Rectangle(Rectangle::of_picture(info.width, info.height));
            patches.push((whole, all, None));
        }
    }
    let tablet = match &request.tablet {
        Some(path) => Some(tablet_of_file(path, &mut warnings)?),
        None => None,
    };
    match (&request.strip, &tablet) {
        (None, _) => {}
        (Some(_), None) => {
            return Err(AppError::new(
                "a strip is given, but no tablet",
                "give the tablet's table with --tablet",
            ));
        }
        (Some(text), Some(tablet)) => {
            let (around, direction) = strip_of_text(text)?;
            if request.patches.is_none() {
                patches.clear();
            }
            for (i, outline) in split_tablet(around, tablet.len(), direction)
                .into_iter()
                .enumerate()
            {
                let step = i as u32 + 1;
                let name = Id::new(&format!("step-{step}"))
                    .map_err(|e| AppError::new(e.to_string(), ""))?;
                patches.push((name, outline, Some(PatchRole::TabletStep(step))));
            }
        }
    }
    let has_steps = patches
        .iter()
        .any(|(name, _, role)| step_number(name, *role).is_some());
    let found = match &tablet {
        // What is outlined always goes before what is found.
        Some(table) if !has_steps => {
            let densities: Vec<f64> = table.iter().map(|d| d.value().to_density()).collect();
            let found = tablet_in(&mut reader, channel, &tone, &densities, &shown, progress)?;
            if request.patches.is_none() {
                patches.clear();
            }
            for step in found.steps.iter().filter(|s| !s.by_pitch) {
                let name = Id::new(&format!("step-{}", step.number))
                    .map_err(|e| AppError::new(e.to_string(), ""))?;
                let outline = Outline::Polygon(step.inner_px.clone());
                patches.push((name, outline, Some(PatchRole::TabletStep(step.number))));
            }
            Some(found)
        }
        _ => None,
    };
    for (i, (name, _, _)) in patches.iter().enumerate() {
        if patches[..i].iter().any(|(other, _, _)| other == name) {
            return Err(AppError::new(
                format!("two patches are named {name}"),
                "rename one of the two",
            ));
        }
    }
    let map = match &request.region_map {
        Some(path) if request.patches.is_none() => {
            return Err(AppError::new(
                format!(
                    "{} is a map of regions, but no patch names one",
                    path.display()
                ),
                "name the regions in the column region of --patches",
            ));
        }
        Some(path) => Some(read_labels(
            path,
            &path.display().to_string(),
            (info.width, info.height),
        )?),
        None => None,
    };
    let labels = map.as_ref().map(|(width, height, labels)| LabelImage {
        width: *width,
        height: *height,
        labels,
    });
    let outlines: Vec<Outline> = patches.iter().map(|(_, o, _)| o.clone()).collect();
    let mut measured =
        survey(&mut reader, channel, &tone, &outlines, labels, None).map_err(|e| {
            if let Err(stopped) = go_on(progress) {
                return stopped;
            }
            let remedy = match e {
                negative::patch::PatchError::Decode(ref e) => remedy_of(e),
                negative::patch::PatchError::Outline(_) => {
                    "mend the outlines; pixels count from the top left corner"
                }
            };
            fail(&e, remedy)
        })?;
    if let Some(divided) = &divided {
        divided.add_uncertainty(&mut measured.patches, &outlines);
        // Levels are checked where they were set: in the stored codes.
        measured.histogram = divided.histogram.clone();
    }

    let mut findings = file_findings(&info, &stored_tone, &measured.histogram);
    let steps: Vec<Outline> = patches
        .iter()
        .filter(|(name, _, role)| step_number(name, *role).is_some())
        .map(|(_, outline, _)| outline.clone())
        .collect();
    let mut looked = look_at_texture(&info, &measured.texture, &steps, &mut findings);
    looked.patches_clipped = (request.patches.is_some() || request.strip.is_some())
        && measured.patches.iter().any(PatchStatistics::clipped);
    looked.tone_known = tone.encoding.is_known();
    widen_by_findings(&mut measured.patches, &findings);
    // Patches that are steps of the tablet: what the calibration made of them.
    let mut step_of: BTreeMap<usize, (u32, StepResult)> = BTreeMap::new();
    let calibration = match (&tablet, &request.tablet) {
        (Some(tablet), Some(path)) => {
            let mut steps: Vec<(u32, usize)> = patches
                .iter()
                .enumerate()
                .filter_map(|(i, (name, _, role))| Some((step_number(name, *role)?, i)))
                .collect();
            steps.sort_unstable();
            let mut readings = vec![];
            for &(k, place) in &steps {
                let Some(density) = (k as usize).checked_sub(1).and_then(|i| tablet.get(i)) else {
                    return Err(AppError::new(
                        format!(
                            "patch step-{k}: the tablet {} has {} steps",
                            path.display(),
                            tablet.len()
                        ),
                        "number the steps from 1 in the order of the tablet's table",
                    ));
                };
                readings.push(TabletReading {
                    statistics: measured.patches[place].clone(),
                    density: density.clone(),
                });
            }
            let calibration = calibrate(&readings).map_err(|e| {
                fail(
                    &e,
                    "check the outlines and the order of the steps, or rescan with the exposure locked and a linear 16-bit tone",
                )
            })?;
            let numbers: Vec<usize> = steps.iter().map(|(number, _)| *number as usize).collect();
            for finding in tablet_findings_numbered(&calibration, &numbers) {
                add_finding(&mut findings, finding);
            }
            step_of = steps
                .iter()
                .zip(calibration.steps())
                .map(|(&(number, place), result)| (place, (number, *result)))
                .collect();
            Some(calibration)
        }
        _ => None,
    };
    let clear: Vec<&PatchStatistics> = patches
        .iter()
        .zip(&measured.patches)
        .filter(|((_, _, role), _)| *role == Some(PatchRole::BaseFog))
        .map(|(_, statistics)| statistics)
        .collect();
    let refused = calibration
        .as_ref()
        .and_then(|c| refused_by_tablet(c).or_else(|| refused_by_clear_film(c, &clear)));
    if let Some(finding) = refused.and_then(|refusal| refusal.finding()) {
        add_finding(&mut findings, finding);
    }
    looked.clear_film = !clear.is_empty();
    let clear_seen = if divided.is_some() { &[] } else { &clear[..] };
    for finding in light_findings(calibration.as_ref(), &tone, &measured.histogram, clear_seen) {
        add_finding(&mut findings, finding);
    }
    let calibration = calibration.filter(|_| refused.is_none());
    let frame = find_frame(&measured.preview);
    let light = light_of_scan(&measured.preview, &frame, calibration.as_ref());
    looked.light = light.is_ok();
    findings.extend(light.as_ref().ok().and_then(uneven_light_finding));
    looked.calibrated = calibration.is_some();
    let flare = flare_of(calibration.as_ref(), &tone);
    let scan_wide = flags_of_readings(&findings);

    let tone_said = tone_said(&stored_tone, request.tone.is_some());
    let mut lines = vec![format!(
        "{shown}: {} × {} px, {} bits, {}; channel {channel}; tone {}",
        info.width,
        info.height,
        info.bits,
        format!("{:?}", info.colour).to_lowercase(),
        tone_said
    )];
    lines.extend(camera_scan::line(&info, channel));
    lines.extend(camera_settings::line(info.camera.as_ref()));
    let extra = extra_words(&info.extra_samples);
    if !extra.is_empty() {
        lines.push(format!(
            "  samples beside the colours, kept apart: {}",
            extra.join(", ")
        ));
    }
    lines.extend(divided.as_ref().map(Divided::line));
    let (frame_line, frame) = frame_said(&frame, measured.preview.tone_known);
    lines.push(frame_line);
    lines.push(light_line(&light));
    if let Some(found) = &found {
        lines.push(found.words());
        lines.push(match &request.picture {
            Some(path) => {
                write_file(path, found.picture.as_bytes())?;
                format!(
                    "look whether its outlines are in place: {}; if not, say where it lies with --strip",
                    path.display()
                )
            }
            None => "look whether its outlines are in place: --picture FILE.svg draws them; if not, say where it lies with --strip".to_owned(),
        });
    }
    let mut rows = vec![];
    for (place, ((name, _, _), statistics)) in patches.iter().zip(&measured.patches).enumerate() {
        let (density, limit) = match &calibration {
            Some(calibration) => {
                let (value, limit) = calibrated(&calibration.density(statistics));
                (Some(widened(veiled(value, flare.as_ref()), &light)), limit)
            }
            None => (None, None),
        };
        let mut flags = density
            .as_ref()
            .map_or_else(|| statistics.flags.clone(), |d| d.flags().clone());
        flags.extend(&scan_wide);
        if calibration.is_none() {
            flags.insert(Flag::Uncalibrated);
        }
        let step = step_of.get(&place);
        let value = match step {
            Some((number, result)) => step_value(*number, result),
            None => patch_value(statistics, density.as_ref(), limit, info.bits),
        };
        lines.push(patch_line(name, &value, statistics, &flags));
        let table = step.map(|(_, result)| result.tablet.to_density());
        rows.push(json!({
            "name": name.as_str(),
            "density": density.as_ref().map(Measured::value),
            "density_sd": density.as_ref().filter(|_| limit.is_none()).map(Measured::standard_uncertainty),
            "bound": match limit {
                None => Value::Null,
                Some(Bound::AtLeast) => json!("at_least"),
                Some(Bound::AtMost) => json!("at_most"),
            },
            "tablet_step": step.map(|(number, _)| number),
            "table_density": table,
            // As the calibration reads the step without knowing its own density.
            "density_left_out": step
                .and_then(|(_, result)| Some(result.tablet.to_density() - result.leave_one_out?)),
            "mean_code": statistics.mean_code,
            "median_code": statistics.median_code,
            "code_spread": statistics.code_spread,
            "signal": statistics.signal,
            "signal_sd": statistics.signal_uncertainty,
            "pixels": statistics.pixels,
            "rejected_share": statistics.rejected_share,
            "at_zero_share": statistics.at_zero_share,
            "at_max_share": statistics.at_max_share,
            "flags": names(&flags),
        }));
    }
    match refused {
        Some(refusal) => lines.push(format!(
            "no absolute density: the calibration is refused, because {refusal}"
        )),
        None if calibration.is_none() => lines.push(
            "no absolute density: no step tablet calibrates this scan (see --tablet)".to_owned(),
        ),
        None => {}
    }
    lines.extend(checks_lines(&findings, looked));
    for finding in &findings {
        let words = evidence_words(finding, looked);
        lines.push(format!("{}: {words}", finding.flag.name()));
    }
    if calibration.is_none() && is_positive(&findings) {
        lines.push(format!("refused: {POSITIVE_REFUSED}"));
    }
    for remark in &tone.remarks {
        warnings.push(remark.clone());
    }
    let calibration_json = calibration.as_ref().map(|c| {
        let (low, high) = c.range();
        lines.push(format!(
            "calibration: residual {:.3} density, valid from {:.2} to {:.2}",
            c.residual_sd(),
            low.to_density(),
            high.to_density()
        ));
        json!({
            "residual_sd": c.residual_sd(),
            "low_density": low.to_density(),
            "high_density": high.to_density(),
            "steps": c.steps().iter().map(|s| json!({
                "use": format!("{:?}", s.step_use).to_lowercase(),
                "density": s.tablet.to_density(),
                "residual": s.residual,
                "leave_one_out": s.leave_one_out,
            })).collect::<Vec<_>>(),
        })
    });
    let mut scan_flags: Flags = findings.iter().map(|f| f.flag).collect();
    scan_flags.extend(&info.flags);
    let json = json!({
        "file": shown,
        "patches": rows,
        "calibration": calibration_json,
        "frame": frame,
        "light": light_json(&light),
        "tablet_found": found.as_ref().map(FoundTablet::to_json),
        "calibration_refused": refused.map(|refusal| refusal.to_string()),
        "scan": {
            "width_px": info.width,
            "height_px": info.height,
            "bits": info.bits,
            "page": info.page,
            "pages": info.page_count,
            "channel": channel.to_string(),
            "sensor": camera_scan::json(&info, channel),
            "camera": camera_settings::json(info.camera.as_ref()),
            "extra_samples": extra,
            "flat_field": divided.as_ref().map(Divided::json),
            "tone": tone_said,
            "code_low": measured.histogram.counts.iter().position(|c| *c > 0),
            "code_high": measured.histogram.counts.iter().rposition(|c| *c > 0),
            "flags": names(&scan_flags),
            "evidence": findings.iter().map(|f| f.evidence.clone()).collect::<Vec<_>>(),
            "checks": checks_json(&findings, looked),
        },
        "warnings": warnings,
    });
    Ok(MeasuredScan {
        json,
        lines,
        warnings,
    })
}

/// The tone and who says so; here no record is at hand.
fn tone_said(tone: &Tone, asked: bool) -> String {
    match tone.origin {
        ToneOrigin::Record if asked => format!("{}, by --tone", tone.encoding.describe()),
        ToneOrigin::Nowhere => format!(
            "{}, the file does not say (see --tone)",
            tone.encoding.describe()
        ),
        _ => tone_words(tone),
    }
}

/// A step of the tablet: its density by the table, and what the other steps read it as.
fn step_value(number: u32, result: &StepResult) -> String {
    let table = result.tablet.to_density();
    let read = match (result.step_use, result.leave_one_out) {
        (_, Some(off)) => format!("{:.3} as the other steps read it", table - off),
        (StepUse::Used, None) => "an end of the calibration, read by no other step".to_owned(),
        (StepUse::Clipped, None) => "not used: clipped".to_owned(),
        (StepUse::NoSignal, None) => "not used: no signal".to_owned(),
        (StepUse::NotToldApart, None) => "not used: cannot be told from the next step".to_owned(),
        (StepUse::OutOfOrder, None) => "not used: out of order".to_owned(),
    };
    format!("tablet step {number}: {table:.3} by its table, {read}")
}

fn patch_value(
    statistics: &PatchStatistics,
    density: Option<&Measured<f64>>,
    limit: Option<Bound>,
    bits: u8,
) -> String {
    match (density, limit) {
        // A tenth of a code is something in 8 bits and nothing in 16.
        (None, _) if bits > 8 => format!("mean code {:.0}", statistics.mean_code),
        (None, _) => format!("mean code {:.1}", statistics.mean_code),
        (Some(d), None) => format!("density {:.3} ± {:.3}", d.value(), d.standard_uncertainty()),
        (Some(d), Some(Bound::AtLeast)) => format!("density at least {:.2}", d.value()),
        (Some(d), Some(Bound::AtMost)) => format!("density at most {:.2}", d.value()),
    }
}

fn patch_line(name: &Id, value: &str, statistics: &PatchStatistics, flags: &Flags) -> String {
    let words = names(flags).join(", ");
    let left_out = if statistics.rejected_share > LEFT_OUT_UNTOLD {
        format!(
            " without the {:.1} % far from the rest",
            100.0 * statistics.rejected_share
        )
    } else {
        String::new()
    };
    format!(
        "  {:<16} {value}, {} px{left_out}{}",
        name.as_str(),
        statistics.pixels,
        if words.is_empty() {
            String::new()
        } else {
            format!(" [{words}]")
        }
    )
}

/// Reads where a tablet lies.
fn strip_of_text(text: &str) -> Result<(Rectangle, StepDirection), AppError> {
    let wrong = || {
        AppError::new(
            format!("{text:?} is no place of a strip"),
            "write X,Y,WIDTH,HEIGHT in pixels and, unless the steps run to the right, left, up or down: 40,900,1050,60,left",
        )
    };
    let parts: Vec<&str> = text.split(',').map(str::trim).collect();
    let (numbers, direction) = match parts.as_slice() {
        [a, b, c, d] => ([a, b, c, d], StepDirection::LeftToRight),
        [a, b, c, d, word] => (
            [a, b, c, d],
            match *word {
                "right" => StepDirection::LeftToRight,
                "left" => StepDirection::RightToLeft,
                "down" => StepDirection::TopToBottom,
                "up" => StepDirection::BottomToTop,
                _ => return Err(wrong()),
            },
        ),
        _ => return Err(wrong()),
    };
    let mut values = [0.0_f64; 4];
    for (value, text) in values.iter_mut().zip(numbers) {
        *value = text.parse().map_err(|_| wrong())?;
    }
    let [x, y, width, height] = values;
    Ok((
        Rectangle {
            x,
            y,
            width,
            height,
        },
        direction,
    ))
}

/// The step a patch stands for: by its role, else by a name such as `step-7`.
fn step_number(name: &Id, role: Option<PatchRole>) -> Option<u32> {
    if let Some(PatchRole::TabletStep(step)) = role {
        return Some(step);
    }
    name.as_str()
        .strip_prefix("step")?
        .trim_start_matches(['-', '_', '.'])
        .parse()
        .ok()
}

fn tablet_of_file(
    path: &Path,
    warnings: &mut Vec<String>,
) -> Result<Vec<Measured<quantity::Density>>, AppError> {
    let rows = notebook::read_tablet_csv(path)?;
    warnings.extend(rows.warnings);
    if rows.rows.iter().any(|r| r.density_sd.is_none()) {
        warnings.push(format!(
            "{}: steps without density_sd were given {TABLET_SD_DEFAULT} density",
            path.display()
        ));
    }
    Ok(rows
        .rows
        .iter()
        .map(|r| Measured::new(r.density, r.density_sd.unwrap_or(TABLET_SD_DEFAULT)))
        .collect())
}
