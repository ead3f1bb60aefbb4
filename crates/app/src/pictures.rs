//! Pictures for the report: the negatives at one fixed scale, and the figure of
//! a curve that came from a file.

use crate::AppError;
use crate::carrying::CarriedFrame;
use crate::curve_file::CurveRequest;
use crate::error::with_causes;
use crate::measuring::{Measuring, Surveyed};
use figures::{DensityScale, PatchLetters, Sheet};
use findings::{
    CurveFinding, CurveSample, Findings, FrameFinding, PatchFinding, Verdict, VerdictCriteria,
};
use negative::preview::{Preview, RenderScale, png_of_grey, render_at_fixed_scale};
use notebook::TestFolder;
use quantity::{Density, Flag, Flags, LogExposure, Measured, Stops};
use record::{Calibrator, FrameRole, Id, Outline, PatchRole, Response, Scan};
use report::{FramePicture, OutlineKind, PictureOutline};
use sensitometry::{CharacteristicCurve, ExposureScale, SpeedAndContrast};

/// Long side of a picture in the report, in pixels.
const PICTURE_SIDE: u32 = 640;
/// Gross density that a lifted row brings the densest frame's middle to.
const EASY_TO_SEE: f64 = 0.5;
/// Fewest stops that make a second row worth its room.
const WORTH_LIFTING: f64 = 2.0;

/// The pictures of a report, and their scales.
pub(crate) struct Pictures {
    pub(crate) plain: Vec<FramePicture>,
    pub(crate) lifted: Vec<FramePicture>,
    pub(crate) scale: Option<DensityScale>,
    pub(crate) lifted_scale: Option<DensityScale>,
}

/// Renders the frames of a test, all at one scale.
///
/// When any scan is not calibrated the scale is relative for all: white is the
/// end of the code scale.
pub(crate) fn pictures(
    folder: &TestFolder,
    measured: &Measuring,
    findings: &Findings,
) -> Result<Pictures, AppError> {
    let parts = folder.test.parts();
    let calibration_of = |scan: &Scan| {
        let from = match &scan.calibrator {
            Calibrator::Within(_) => &scan.id,
            Calibrator::OtherScan(other) => other,
            Calibrator::None => return None,
        };
        measured
            .scans
            .iter()
            .find(|s| s.scan == *from)?
            .calibration
            .as_ref()
    };
    let absolute = parts
        .scans
        .iter()
        .all(|s| s.response == Response::Density && calibration_of(s).is_some());
    let lift_stops = lift_stops(findings);
    let lift = Stops::new(lift_stops).map_err(|e| AppError::new(e.to_string(), ""))?;
    let clear = Density::gross(0.0).map_err(|e| AppError::new(e.to_string(), ""))?;
    let dense = lift_stops >= WORTH_LIFTING;
    let mut plain = vec![];
    let mut lifted = vec![];
    for surveyed in &measured.scans {
        let Some(scan) = parts.scans.iter().find(|s| s.id == surveyed.scan) else {
            continue;
        };
        let scale = match calibration_of(scan) {
            Some(calibration) if absolute => RenderScale::Calibrated { calibration, clear },
            _ => RenderScale::Relative { clear_signal: 1.0 },
        };
        let fail = |e: negative::preview::PreviewError| {
            AppError::new(
                format!("drawing scan {}: {}", scan.id, with_causes(&e)),
                "check the scan's tone and outlines",
            )
        };
        let mut frames: Vec<&Id> = vec![];
        for ((frame, _), _) in &surveyed.patches {
            if !frames.contains(&frame) {
                frames.push(frame);
            }
        }
        for frame in &frames {
            let part = Part::of(folder, scan, surveyed, frame, frames.len() > 1);
            let draw = |lift| -> Result<FramePicture, AppError> {
                let pixels = render_at_fixed_scale(&part.preview, scale, lift).map_err(fail)?;
                let png =
                    png_of_grey(part.preview.width, part.preview.height, &pixels).map_err(fail)?;
                Ok(FramePicture {
                    frame: (*frame).clone(),
                    scan: scan.id.clone(),
                    png,
                    width: part.preview.width,
                    height: part.preview.height,
                    outlines: part.outlines(folder, scan, frame),
                    carried: measured
                        .carried
                        .iter()
                        .filter(|c| c.frame == **frame && c.scan == scan.id)
                        .map(CarriedFrame::words)
                        .collect(),
                })
            };
            plain.push(draw(Stops::ZERO)?);
            if dense && absolute {
                lifted.push(draw(lift)?);
            }
        }
    }
    // Frames in the order of the records, whatever the order of the scans.
    let order = |p: &FramePicture| parts.frames.iter().position(|f| f.id == p.frame);
    plain.sort_by_key(order);
    lifted.sort_by_key(order);
    let base = findings
        .curves
        .iter()
        .find_map(|c| c.base_plus_fog.as_ref())
        .map(|b| b.value().to_density());
    let scale = |lifted_by| DensityScale {
        white_density: 0.0,
        base_plus_fog: base.filter(|_| absolute),
        lifted_by,
        absolute,
    };
    Ok(Pictures {
        scale: (!plain.is_empty()).then(|| scale(Stops::ZERO)),
        lifted_scale: (!lifted.is_empty()).then(|| scale(lift)),
        plain,
        lifted,
    })
}

/// Whole stops by which all frames are lifted together, so that the middle of
/// the densest one can be seen.
fn lift_stops(findings: &Findings) -> f64 {
    findings
        .frames
        .iter()
        .filter_map(|frame| {
            let mut densities: Vec<f64> = frame
                .patches
                .iter()
                .filter(|p| !matches!(p.role, PatchRole::BaseFog | PatchRole::TabletStep(_)))
                .map(|p| p.reading.value())
                .collect();
            densities.sort_by(f64::total_cmp);
            densities.get(densities.len() / 2).copied()
        })
        .map(|middle| ((middle - EASY_TO_SEE) / std::f64::consts::LOG10_2).floor())
        .fold(0.0, f64::max)
}

/// The part of a scan that shows one frame.
struct Part {
    preview: Preview,
}

impl Part {
    fn of(
        folder: &TestFolder,
        scan: &Scan,
        surveyed: &Surveyed,
        frame: &Id,
        several: bool,
    ) -> Self {
        let whole = &surveyed.preview;
        let cropped = if several {
            bounds_of(folder, scan, frame)
                .and_then(|(left, top, right, bottom)| {
                    let side = f64::from(whole.box_side);
                    let (w, h) = (right - left, bottom - top);
                    let at = |v: f64, first: u32, count: u32| {
                        (((v - f64::from(first)) / side).max(0.0) as u32).min(count)
                    };
                    let x = at(left - 0.1 * w, whole.left, whole.width);
                    let y = at(top - 0.1 * h, whole.top, whole.height);
                    let x2 = at(right + 0.1 * w + side, whole.left, whole.width);
                    let y2 = at(bottom + 0.1 * h + side, whole.top, whole.height);
                    (x2 > x + 1 && y2 > y + 1).then(|| crop(whole, x, y, x2 - x, y2 - y))
                })
                .unwrap_or_else(|| whole.clone())
        } else {
            whole.clone()
        };
        let long = cropped.width.max(cropped.height);
        let by = long.div_ceil(PICTURE_SIDE).max(1);
        Self {
            preview: smaller(&cropped, by),
        }
    }

    /// The outlines of a frame in pixels of the picture.
    fn outlines(&self, folder: &TestFolder, scan: &Scan, frame: &Id) -> Vec<PictureOutline> {
        let p = &self.preview;
        let to_picture = |(x, y): (f64, f64)| {
            (
                (x - f64::from(p.left)) / f64::from(p.box_side),
                (y - f64::from(p.top)) / f64::from(p.box_side),
            )
        };
        let mut outlines = vec![];
        for patch in &folder.test.parts().patches {
            if patch.frame != *frame {
                continue;
            }
            let Some((on, outline)) = &patch.place else {
                continue;
            };
            let Some(corners) = corners_of(outline) else {
                continue;
            };
            if *on != scan.id {
                continue;
            }
            let kind = match patch.role {
                PatchRole::BaseFog => OutlineKind::BasePlusFog,
                _ => OutlineKind::Patch(patch.name.clone()),
            };
            outlines.push(PictureOutline {
                kind,
                corners: corners.into_iter().map(to_picture).collect(),
            });
        }
        if let Calibrator::Within(strip) = &scan.calibrator {
            for (i, outline) in strip.steps.iter().enumerate() {
                if let Some(corners) = outline.as_ref().and_then(corners_of) {
                    outlines.push(PictureOutline {
                        kind: OutlineKind::TabletStep(i as u32 + 1),
                        corners: corners.into_iter().map(to_picture).collect(),
                    });
                }
            }
        }
        outlines.retain(|o| {
            o.corners.iter().all(|(x, y)| {
                (-1.0..=f64::from(p.width) + 1.0).contains(x)
                    && (-1.0..=f64::from(p.height) + 1.0).contains(y)
            })
        });
        outlines
    }
}

pub(crate) fn corners_of(outline: &Outline) -> Option<Vec<(f64, f64)>> {
    match outline {
        Outline::Rectangle {
            x,
            y,
            width,
            height,
        } => {
            let (x, y) = (f64::from(*x), f64::from(*y));
            let (w, h) = (f64::from(*width), f64::from(*height));
            Some(vec![(x, y), (x + w, y), (x + w, y + h), (x, y + h)])
        }
        Outline::Polygon(corners) => Some(corners.clone()),
        Outline::Region(_) | Outline::CarriedFrom(_) => None,
    }
}

pub(crate) fn bounds_of(
    folder: &TestFolder,
    scan: &Scan,
    frame: &Id,
) -> Option<(f64, f64, f64, f64)> {
    folder
        .test
        .parts()
        .patches
        .iter()
        .filter(|p| p.frame == *frame)
        .filter_map(|p| match &p.place {
            Some((on, outline)) if *on == scan.id => corners_of(outline),
            _ => None,
        })
        .flatten()
        .fold(None, |b, (x, y)| {
            Some(match b {
                None => (x, y, x, y),
                Some((l, t, r, bo)) => (
                    f64::min(l, x),
                    f64::min(t, y),
                    f64::max(r, x),
                    f64::max(bo, y),
                ),
            })
        })
}

fn crop(p: &Preview, x: u32, y: u32, width: u32, height: u32) -> Preview {
    let mut signal = Vec::with_capacity(width as usize * height as usize);
    for row in y..y + height {
        let from = row as usize * p.width as usize + x as usize;
        signal.extend_from_slice(&p.signal[from..from + width as usize]);
    }
    Preview {
        width,
        height,
        left: p.left + x * p.box_side,
        top: p.top + y * p.box_side,
        box_side: p.box_side,
        signal,
        tone_known: p.tone_known,
    }
}

/// Means of `by` × `by` pixels; signals are light, so the mean is a
/// densitometer's.
pub(crate) fn smaller(p: &Preview, by: u32) -> Preview {
    if by == 1 {
        return p.clone();
    }
    let (width, height) = ((p.width / by).max(1), (p.height / by).max(1));
    let mut signal = Vec::with_capacity(width as usize * height as usize);
    for y in 0..height {
        for x in 0..width {
            let mut sum = 0.0_f32;
            let mut count = 0.0_f32;
            for dy in 0..by {
                for dx in 0..by {
                    let (sx, sy) = (x * by + dx, y * by + dy);
                    if sx < p.width && sy < p.height {
                        sum += p.signal[sy as usize * p.width as usize + sx as usize];
                        count += 1.0;
                    }
                }
            }
            signal.push(sum / count);
        }
    }
    Preview {
        width,
        height,
        box_side: p.box_side * by,
        signal,
        ..*p
    }
}

/// The figure of a curve from a file, drawn like those of a test.
pub(crate) fn curve_figure(
    curve: &CharacteristicCurve,
    speed: &SpeedAndContrast,
    request: &CurveRequest,
) -> Option<String> {
    const SAMPLES: usize = 121;
    let stem = request.file.file_stem()?.to_string_lossy();
    let clean: String = stem
        .chars()
        .map(|c| {
            if c.is_alphanumeric() || c == '-' || c == '_' {
                c
            } else {
                '-'
            }
        })
        .take(40)
        .collect();
    let id = Id::new(&clean).or_else(|_| Id::new("curve")).ok()?;
    let process = Id::new("this-file").ok()?;
    let (low, high) = (curve.range().0.to_log10(), curve.range().1.to_log10());
    let samples = (0..SAMPLES)
        .filter_map(|k| {
            let x = low + (high - low) * k as f64 / (SAMPLES - 1) as f64;
            let d = curve.density_at(LogExposure::from_log10(x).ok()?).ok()?;
            Some(CurveSample {
                log_h: x,
                value: d.value().to_density(),
                standard_uncertainty: d.standard_uncertainty(),
            })
        })
        .collect();
    let gamma = speed.gamma.as_ref().ok();
    let finding = CurveFinding {
        film: id.clone(),
        process: process.clone(),
        response: Response::Density,
        absolute_exposure: curve.exposure_scale() == ExposureScale::LuxSeconds,
        // A limit is no line to draw.
        base_plus_fog: Some(curve.base_plus_fog().clone())
            .filter(|b| !b.flags().contains(Flag::BaseFromLowestReading)),
        samples,
        gradient: gamma.map_or_else(
            || Measured::new(0.0, 0.0),
            |g| Measured::new(g.value().to_density_per_log_h(), g.standard_uncertainty()),
        ),
        speed_point: speed.speed_point.clone().ok(),
        point_n: speed
            .point_n
            .as_ref()
            .ok()
            .map(|n| (n.log_h.value(), n.density.value())),
        criteria: vec![],
        residual_rms: curve.residual_sd(),
        reading_count: curve.readings().len(),
        flags: curve.flags().clone(),
    };
    let patches = curve
        .readings()
        .iter()
        .enumerate()
        .filter_map(|(i, r)| {
            let step = r.reading.step.unwrap_or(i as u32 + 1);
            Some(PatchFinding {
                patch: Id::new(&format!("step-{step}")).ok()?,
                role: PatchRole::TabletStep(step),
                reading: Measured::new(r.reading.density.value().to_density(), r.reading_sd)
                    .flagged_all(&r.flags),
                limit: None,
                net: Some(
                    r.reading
                        .density
                        .value()
                        .net_over(curve.base_plus_fog().value()),
                ),
                log_h: Some(r.reading.log_h),
            })
        })
        .collect();
    let frame = FrameFinding {
        frame: id.clone(),
        film: id.clone(),
        process,
        filters: vec![],
        light: None,
        role: FrameRole::TabletSheet,
        holder: None,
        exposure: "as listed".to_owned(),
        verdict: Verdict::Control,
        reason: String::new(),
        stops_missing: None,
        stops_missing_bound: None,
        exposure_error: None,
        effective_ei: None,
        patches,
        flags: Flags::none(),
    };
    let findings = Findings {
        title: stem.to_string(),
        invented: false,
        method: curve.method().name().to_owned(),
        coverage: findings::Assumptions::COMMON_PRACTICE.coverage,
        curves: vec![finding],
        bracket_curves: vec![],
        frames: vec![frame],
        factors: vec![],
        speeds: vec![],
        wood_effect: vec![],
        causes: vec![],
        cannot_tell: vec![],
        assumptions: vec![],
        readings: vec![],
        criteria: VerdictCriteria::COMMON_PRACTICE,
        flags: Flags::none(),
        notes: vec![],
    };
    let letters = PatchLetters::of(&findings);
    figures::characteristic_curve(&findings, &findings.curves[0], &letters, Sheet::FILE)
}
