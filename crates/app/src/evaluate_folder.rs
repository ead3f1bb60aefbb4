//! The main job: a test folder to findings and report.

use crate::camera_scan;
use crate::camera_settings;
use crate::carrying::{CarriedFrame, LaidPairs, Way, carry_patches};
use crate::divided_light::Divided;
use crate::error::with_causes;
use crate::json::{findings_json, tails_json};
use crate::light_of_scan;
use crate::measuring::{Measuring, calibrator_words, measure_folder, tone_words};
use crate::output::{FIGURES, FINDINGS_JSON, READINGS_CSV, REPORT_HTML, write_results};
use crate::pictures::pictures;
use crate::progress::go_on;
use crate::report_maps::report_maps;
use crate::scan_checks::{checks_json, checks_told, evidence_words};
use crate::tablet_search::{TabletInScan, find_tablets};
use crate::{AppError, Progress, VERSION};
use findings::{Assumptions, EvaluateError, Findings, VerdictCriteria, evaluate};
use notebook::{TestFolder, read_test_folder};
use quantity::{Bound, Flags};
use report::{FlagEvidence, ReportInput, ScanSummary};
use serde_json::Value;
use std::path::{Path, PathBuf};

/// What the main job gives.
#[derive(Clone, Debug)]
pub struct Evaluated {
    /// The findings.
    pub findings: Findings,
    /// The findings with stable keys.
    pub json: Value,
    /// The folder of results: report, figures, findings, readings.
    pub out: PathBuf,
    /// The report.
    pub report: PathBuf,
    /// Sentences that name what was assumed, refused or not used.
    pub warnings: Vec<String>,
    /// What was refused.
    pub refusals: Vec<String>,
    /// A sentence for each scan that should be looked at.
    pub scan_lines: Vec<String>,
    /// Parts of the report, for pages that show them one by one.
    pub fragments: report::Fragments,
}

/// Folder of results within a test folder, when none is named.
const RESULTS: &str = "results";

/// Evaluates a test folder and writes the report.
///
/// `out` is the folder of results; `results` within the test folder when not
/// named. `made_on` is the day to be printed on the report, if any.
///
/// # Errors
/// [`AppError`] when the folder, a scan or the readings are at fault; then
/// nothing is written.
pub fn evaluate_folder(
    dir: &Path,
    out: Option<&Path>,
    made_on: Option<String>,
    progress: &dyn Progress,
) -> Result<Evaluated, AppError> {
    let (folder, measured, findings) = folder_findings(dir, progress)?;
    let mut json = findings_json(&findings);
    let tails = findings::tails(&findings, &folder.test);
    go_on(progress)?;
    progress.at("drawing", 0, 1);
    let word = shell_word(dir);
    let (pictures, maps) = std::thread::scope(|scope| {
        let maps = scope.spawn(|| report_maps(&folder, &measured, &findings, &word));
        let pictures = pictures(&folder, &measured, &findings);
        (pictures, maps.join())
    });
    let pictures = pictures?;
    let maps = maps.map_err(|_| AppError::new("drawing the maps broke off", ""))?;
    go_on(progress)?;
    let mut warnings = folder.warnings.clone();
    warnings.extend(measured.warnings.iter().cloned());
    let scans = scan_summaries(&folder, &measured);
    if let Value::Object(object) = &mut json {
        object.insert("red_end".to_owned(), tails_json(&tails));
        object.insert("maps".to_owned(), maps.json);
        object.insert("scans".to_owned(), scans_json(&scans, &measured));
        object.insert("carried".to_owned(), carried_json(&measured.carried));
        object.insert(
            "tablets_found".to_owned(),
            measured.tablets.iter().map(TabletInScan::to_json).collect(),
        );
        object.insert(
            "refusals".to_owned(),
            Value::from(measured.refusals.clone()),
        );
        object.insert("warnings".to_owned(), Value::from(warnings.clone()));
    }
    let mut scan_lines = scan_lines(&scans);
    for surveyed in &measured.scans {
        if let Some(divided) = &surveyed.divided {
            scan_lines.push(format!("{}: {}", surveyed.scan, divided.line()));
        }
    }
    scan_lines.extend(
        measured
            .carried
            .iter()
            .map(|c| format!("frame {}: {}", c.frame, c.words())),
    );
    scan_lines.extend(measured.tablets.iter().map(TabletInScan::words));
    if let Some(first) = measured.tablets.first() {
        scan_lines.push(format!(
            "look whether the outlines of what was found are in place ({FIGURES}/{} in the results, one for each scan); \
             if not, say where the tablet lies with `cells` or `steps` of the scan's strip in test.toml",
            first.picture_name()
        ));
    }
    let input = ReportInput {
        test: &folder.test,
        findings: &findings,
        tails: tails.clone(),
        pictures: pictures.plain,
        lifted_pictures: pictures.lifted,
        scale: pictures.scale,
        lifted_scale: pictures.lifted_scale,
        maps: maps.told,
        scans,
        refusals: measured.refusals.clone(),
        recompute: vec![format!("filmproof evaluate {}", shell_word(dir))],
        version: VERSION.to_owned(),
        made_on,
    };
    let html = report::html(&input);
    let fragments = report::fragments(&input);
    let mut files = vec![
        (REPORT_HTML.to_owned(), html.into_bytes()),
        (
            FINDINGS_JSON.to_owned(),
            serde_json::to_vec_pretty(&json)
                .map_err(|e| AppError::new(format!("writing the findings failed: {e}"), ""))?,
        ),
        (READINGS_CSV.to_owned(), readings_csv(&findings)?),
    ];
    files.extend(
        figures::named_figures(&findings)
            .into_iter()
            .map(|f| (format!("{FIGURES}/{}.svg", f.name), f.svg.into_bytes())),
    );
    files.extend(measured.tablets.iter().map(|t| {
        let name = format!("{FIGURES}/{}", t.picture_name());
        (name, t.found.picture.clone().into_bytes())
    }));
    files.extend(tails.iter().filter_map(|tail| {
        let svg = figures::red_end(tail, figures::Sheet::FILE)?;
        let name = format!("{FIGURES}/red-end-{}-{}.svg", tail.film, tail.light);
        Some((name, svg.into_bytes()))
    }));
    let out = out.map_or_else(|| folder.root.join(RESULTS), Path::to_path_buf);
    go_on(progress)?;
    progress.at("writing the report", 0, 1);
    write_results(&out, &files)?;
    Ok(Evaluated {
        findings,
        json,
        report: out.join(REPORT_HTML),
        out,
        warnings,
        refusals: measured.refusals,
        scan_lines,
        fragments,
    })
}

/// Reads and measures a test folder and fits it; nothing is written.
pub(crate) fn folder_findings(
    dir: &Path,
    progress: &dyn Progress,
) -> Result<(TestFolder, Measuring, Findings), AppError> {
    progress.at("reading the records", 0, 1);
    let (folder, tablets) = find_tablets(read_test_folder(dir)?, progress)?;
    if let Some(refused) = tablets.refused.into_iter().next() {
        return Err(refused);
    }
    let (folder, carried) = carry_patches(folder, &LaidPairs::default(), progress)?;
    let mut measured = measure_folder(&folder, carried, progress)?;
    measured.tablets = tablets.found;
    let parts = folder.test.parts();
    let mut readings = parts.readings.clone();
    for reading in &measured.readings {
        if let Some(written) = parts
            .readings
            .iter()
            .find(|r| r.frame == reading.frame && r.patch == reading.patch)
        {
            return Err(AppError::new(
                format!(
                    "patch {} of frame {} is measured in a scan and also written in readings.csv ({})",
                    reading.patch,
                    reading.frame,
                    written.value.value()
                ),
                "keep one of the two: take the row out of readings.csv, or the outline out of patches.csv",
            ));
        }
        readings.push(reading.clone());
    }
    if readings.is_empty() {
        return Err(AppError::new(
            format!(
                "{}: the test has no reading and no outlined patch",
                dir.display()
            ),
            "outline patches in patches.csv, or write densities into readings.csv; `filmproof demo DIR` shows both",
        ));
    }
    go_on(progress)?;
    progress.at("fitting curve, factors and frame errors", 0, 1);
    let findings = evaluate(
        &folder.test,
        &readings,
        &Assumptions::COMMON_PRACTICE,
        &VerdictCriteria::COMMON_PRACTICE,
    )
    .map_err(|e| {
        AppError::new(
            format!("{}: {}", dir.display(), with_causes(&e)),
            match e {
                EvaluateError::AllBlank { .. } => "check holders, shutter, lens cap and developer; then expose an unfiltered anchor at the box speed, and a filtered frame with at least four stops more than the longest of these",
                EvaluateError::Exposure(_) | EvaluateError::Estimate(_) => {
                    "mend the record named; `filmproof schema` lists every key"
                }
            },
        )
    })?;
    Ok((folder, measured, findings))
}

/// A path as one word of a command line.
fn shell_word(path: &Path) -> String {
    let text = path
        .file_name()
        .map_or_else(|| path.to_string_lossy(), |n| n.to_string_lossy());
    if text
        .chars()
        .all(|c| c.is_alphanumeric() || "-_./".contains(c))
    {
        text.into_owned()
    } else {
        format!("'{}'", text.replace('\'', "'\\''"))
    }
}

fn scan_summaries(folder: &TestFolder, measured: &Measuring) -> Vec<ScanSummary> {
    measured
        .scans
        .iter()
        .filter_map(|s| {
            let record = folder.test.scan(&s.scan)?;
            let calibration = s.calibration.as_ref();
            Some(ScanSummary {
                scan: s.scan.clone(),
                file: record.file.clone(),
                sha256: s.sha256.clone(),
                width: s.info.width,
                height: s.info.height,
                bits: u32::from(s.info.bits),
                tone: match &s.divided {
                    Some(divided) => format!(
                        "{}; the light table's light divided out",
                        tone_words(&divided.tone)
                    ),
                    None => tone_words(&s.tone),
                },
                channel: s.channel.to_string(),
                calibrator: calibrator_words(record),
                residual_sd: calibration.map(negative::calibration::Calibration::residual_sd),
                valid_density: calibration.map(|c| {
                    let (low, high) = c.range();
                    (low.to_density(), high.to_density())
                }),
                flags: s
                    .findings
                    .iter()
                    .map(|f| FlagEvidence {
                        flag: f.flag,
                        evidence: evidence_words(f, s.looked),
                    })
                    .collect(),
                repeat: s.repeat.clone(),
                checks: checks_told(&s.findings, s.looked),
            })
        })
        .collect()
}

fn scans_json(scans: &[ScanSummary], measured: &Measuring) -> Value {
    scans
        .iter()
        .map(|s| {
            let surveyed = measured.scans.iter().find(|m| m.scan == s.scan);
            let checks = surveyed.map(|m| checks_json(&m.findings, m.looked));
            serde_json::json!({
                "name": s.scan.as_str(),
                "checks": checks,
                "file": s.file,
                "sha256": s.sha256,
                "width_px": s.width,
                "height_px": s.height,
                "bits": s.bits,
                "tone": s.tone,
                "channel": s.channel,
                "sensor": surveyed.map(|m| camera_scan::json(&m.info, m.channel)),
                "camera": surveyed.map(|m| camera_settings::json(m.info.camera.as_ref())),
                "light": surveyed.and_then(|m| m.light.as_ref()).map(light_of_scan::to_json),
                "flat_field": surveyed.and_then(|m| m.divided.as_ref()).map(Divided::json),
                "calibrated_by": s.calibrator,
                "residual_sd_density": s.residual_sd,
                "low_density": s.valid_density.map(|v| v.0),
                "high_density": s.valid_density.map(|v| v.1),
                "flags": s.flags.iter().map(|f| f.flag.name()).collect::<Vec<_>>(),
                "evidence": s.flags.iter().map(|f| f.evidence.as_str()).collect::<Vec<_>>(),
                "repeat": s.repeat,
            })
        })
        .collect()
}

/// Carried patches with the quality of their registration.
fn carried_json(carried: &[CarriedFrame]) -> Value {
    carried
        .iter()
        .map(|c| {
            let quality = match &c.way {
                Way::Registered(q) => Some(q),
                Way::Holder { .. } => None,
            };
            serde_json::json!({
                "frame": c.frame.as_str(),
                "scan": c.scan.as_str(),
                "from_frame": c.from_frame.as_str(),
                "from_scan": c.from_scan.as_str(),
                "by": if quality.is_some() { "registration" } else { "holder" },
                "reason": match &c.way {
                    Way::Registered(_) => None,
                    Way::Holder { reason } => Some(reason.as_str()),
                },
                "agreement": quality.map(|q| q.agreement),
                "above_chance_sd": quality.map(|q| q.above_chance),
                "blocks_agreeing": quality.map(|q| q.blocks_agreeing),
                "blocks": quality.map(|q| q.blocks),
                "scatter_px": quality.map(|q| q.scatter_px),
                "shift_right_px": quality.map(|q| q.shift_px.0),
                "shift_down_px": quality.map(|q| q.shift_px.1),
                "rotation_degrees": quality.map(|q| q.rotation_degrees),
                "scale": quality.map(|q| q.scale),
                "patches": c.patches.iter().map(|p| serde_json::json!({
                    "patch": p.name.as_str(),
                    "uncertainty_px": p.uncertainty_px,
                    "corners_px": match &p.outline {
                        negative::outline::Outline::Polygon(corners) => corners
                            .iter()
                            .map(|(x, y)| serde_json::json!([x, y]))
                            .collect(),
                        _ => Value::Null,
                    },
                })).collect::<Vec<_>>(),
            })
        })
        .collect()
}

/// Every reading as it was used, for whoever computes again.
fn readings_csv(findings: &Findings) -> Result<Vec<u8>, AppError> {
    let mut table = csv::Writer::from_writer(vec![]);
    let mut write = |cells: [&str; 11]| {
        table
            .write_record(cells)
            .map_err(|e| AppError::new(format!("writing the readings failed: {e}"), ""))
    };
    write([
        "frame",
        "patch",
        "response",
        "value",
        "value_sd",
        "limit",
        "fitted",
        "allowed_sd",
        "weight",
        "origin",
        "flags",
    ])?;
    for r in &findings.readings {
        let density = |d: f64| format!("{d:.5}");
        write([
            r.frame.as_str(),
            r.patch.as_str(),
            crate::json::response_word(r.response),
            &density(r.value.value()),
            &density(r.value.standard_uncertainty()),
            match r.limit {
                None => "",
                Some(Bound::AtLeast) => "at_least",
                Some(Bound::AtMost) => "at_most",
            },
            &r.fitted.map_or_else(String::new, density),
            &density(r.allowed),
            &format!("{:.3}", r.weight),
            &r.origin,
            &flag_words(r.value.flags()),
        ])?;
    }
    table
        .into_inner()
        .map_err(|e| AppError::new(format!("writing the readings failed: {e}"), ""))
}

fn flag_words(flags: &Flags) -> String {
    flags
        .iter()
        .map(quantity::Flag::name)
        .collect::<Vec<_>>()
        .join(" ")
}

/// A sentence for each scan that a reader should look at.
fn scan_lines(scans: &[ScanSummary]) -> Vec<String> {
    let mut lines = vec![];
    let mut told: Vec<quantity::Flag> = vec![];
    for scan in scans {
        for flag in &scan.flags {
            if told.contains(&flag.flag) {
                continue;
            }
            told.push(flag.flag);
            // Scans with the same flag share a sentence; the report has each evidence.
            let with: Vec<&str> = scans
                .iter()
                .filter(|s| s.flags.iter().any(|f| f.flag == flag.flag))
                .map(|s| s.scan.as_str())
                .collect();
            let first = if with.len() > 1 { "the first: " } else { "" };
            lines.push(format!(
                "{}: {} ({first}{})",
                with.join(", "),
                flag.flag.meaning(),
                flag.evidence
            ));
        }
        if let Some(repeat) = &scan.repeat {
            lines.push(format!("{}: {repeat}", scan.scan));
        }
    }
    lines
}
