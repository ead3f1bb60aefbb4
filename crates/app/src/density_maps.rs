//! Pictures of density at every pixel of a frame; with another frame of the subject,
//! what `density_pair` makes of both.
//!
//! Begin with [`density_maps`].

use crate::carrying::{laid_scans, left_out_boxes};
use crate::density_pair::Pair;
use crate::divided_light::divide_recorded;
use crate::error::with_causes;
use crate::evaluate_folder::folder_findings;
use crate::measuring::{Measuring, measure_folder, tone_of_record};
use crate::scan_reader::{decode_remedy, recorded_scan_reader, scan_error};
use crate::{AppError, Progress, write_file};
use figures::{DensityScale, MapFigure, Mark, Sheet, density_map};
use negative::density_map::{DensityMap, DensityMapPass, PixelState};
use negative::float_tiff::float_tiff;
use negative::preview::png_of_grey;
use notebook::{TestFolder, read_test_folder};
use quantity::Stops;
use record::{Calibrator, Frame, Id, PatchRole, Response, Scan};
use serde_json::{Value, json};
use std::path::PathBuf;

/// Long side of a map when none is asked for. \[pixels\]
pub const MAP_SIDE: u32 = 1200;

/// What `map` is asked.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct MapRequest {
    /// The test folder.
    pub test: PathBuf,
    /// The frame.
    pub frame: String,
    /// Another frame of the subject.
    pub against: Option<String>,
    /// The patch whose difference becomes the zero.
    pub zero: Option<String>,
    /// Most pixels on the long side of a map.
    pub side: u32,
    /// Folder for the files; `maps` within the test folder when not named.
    pub out: Option<PathBuf>,
}

/// What `map` answers.
#[derive(Clone, Debug)]
pub struct Maps {
    /// The answer with stable keys.
    pub json: Value,
    /// The answer as lines to be shown.
    pub lines: Vec<String>,
    /// Sentences that name what was assumed or not used.
    pub warnings: Vec<String>,
}

/// One frame with its scan.
pub(crate) struct Mapped<'a> {
    pub(crate) frame: &'a Frame,
    pub(crate) scan: &'a Scan,
    pub(crate) map: DensityMap,
    pub(crate) base_plus_fog: Option<f64>,
}

/// The files that are written, and where.
pub(crate) struct Files {
    out: PathBuf,
    written: Vec<String>,
}

impl Files {
    pub(crate) fn write(&mut self, name: String, bytes: &[u8]) -> Result<(), AppError> {
        write_file(&self.out.join(&name), bytes)?;
        self.written.push(name);
        Ok(())
    }
}

/// Makes the maps of a frame and writes them.
///
/// # Errors
/// [`AppError`] when the folder or a scan is at fault, when a scan is not calibrated,
/// and when the two frames can't be laid on each other.
pub fn density_maps(request: &MapRequest, progress: &dyn Progress) -> Result<Maps, AppError> {
    let id = |text: &str| {
        Id::new(text).map_err(|e| AppError::new(e.to_string(), "name a frame as in test.toml"))
    };
    let wanted = id(&request.frame)?;
    let other = request.against.as_deref().map(id).transpose()?;
    if other.as_ref() == Some(&wanted) {
        return Err(AppError::new(
            format!("frame {wanted} is to be held against itself"),
            "name another frame of the same subject with --against",
        ));
    }
    // A frame alone needs no curve, so it needs no fit either.
    let (folder, measured, findings) = match &other {
        Some(_) => {
            let (folder, measured, findings) = folder_findings(&request.test, progress)?;
            (folder, measured, Some(findings))
        }
        None => {
            let folder = read_test_folder(&request.test)?;
            let measured = measure_folder(&folder, Default::default(), progress)?;
            (folder, measured, None)
        }
    };
    let mut files = Files {
        out: request
            .out
            .clone()
            .unwrap_or_else(|| folder.root.join("maps")),
        written: vec![],
    };
    std::fs::create_dir_all(&files.out).map_err(|e| AppError::file("making", &files.out, &e))?;
    let mut lines = vec![];
    progress.at("reading densities", 0, 1);
    let frame = mapped(&folder, &measured, &wanted, request.side)?;
    let mut json =
        json!({ "frame": wanted.as_str(), "map": draw_map(&frame, &mut files, &mut lines)? });
    if let (Some(other), Some(findings)) = (other, findings) {
        let against = mapped(&folder, &measured, &other, request.side)?;
        let map = draw_map(&against, &mut files, &mut lines)?;
        progress.at("laying the frames on each other", 0, 1);
        let pair = Pair {
            folder: &folder,
            measured: &measured,
            findings: &findings,
            registration: laid_scans(&folder, &against.scan.id, &frame.scan.id)?,
            frame: left_out(frame),
            against: left_out(against),
        };
        json["against"] = json!({ "frame": other.as_str(), "map": map });
        lines.push(format!("{}: {}", pair.names(), pair.registration_words()));
        json["registration"] = pair.registration_json();
        json["difference"] = pair.difference(request.zero.as_deref(), &mut files, &mut lines)?;
        json["joint"] = pair.joint(&mut files)?;
    }
    json["files"] = json!(files.written);
    lines.push(format!(
        "Written to {}: {}",
        files.out.display(),
        files.written.join(", ")
    ));
    let mut warnings = folder.warnings.clone();
    warnings.extend(measured.warnings.iter().cloned());
    Ok(Maps {
        json,
        lines,
        warnings,
    })
}

/// Reads the map of a frame from its scan.
pub(crate) fn mapped<'a>(
    folder: &'a TestFolder,
    measured: &Measuring,
    id: &Id,
    side: u32,
) -> Result<Mapped<'a>, AppError> {
    let parts = folder.test.parts();
    let Some(frame) = parts.frames.iter().find(|f| f.id == *id) else {
        let all: Vec<&str> = parts.frames.iter().map(|f| f.id.as_str()).collect();
        return Err(AppError::new(
            format!("the test has no frame {id}"),
            format!("name one of {}", all.join(", ")),
        ));
    };
    let scan = parts
        .patches
        .iter()
        .filter(|p| p.frame == *id)
        .find_map(|p| p.place.as_ref().map(|(scan, _)| scan))
        .and_then(|scan| folder.test.scan(scan))
        .ok_or_else(|| {
            AppError::new(
                format!("frame {id} has no patch in a scan, so its scan is not known"),
                "outline a patch of it in patches.csv",
            )
        })?;
    let from = match &scan.calibrator {
        Calibrator::OtherScan(other) => other,
        _ => &scan.id,
    };
    let of = |id: &Id| measured.scans.iter().find(|s| s.scan == *id);
    let calibration = of(from).and_then(|s| s.calibration.as_ref());
    let (Some(calibration), Some(surveyed), Response::Density) =
        (calibration, of(&scan.id), scan.response)
    else {
        return Err(AppError::new(
            format!("scan {} has no calibration in density that holds", scan.id),
            "scan a step tablet beside the negative; `filmproof evaluate` says what is wrong with this one",
        ));
    };
    let fail = |e: &dyn std::error::Error| scan_error(scan, e, decode_remedy());
    let mut reader = recorded_scan_reader(folder, scan)?;
    let info = reader.info().clone();
    let tone = tone_of_record(scan, &info, surveyed.channel)?;
    // The codes that were calibrated, a flat field divided out.
    let (tone, _) = divide_recorded(folder, scan, &mut reader, surveyed.channel, tone)?;
    let mut pass = DensityMapPass::new(info.width, info.height, &tone, calibration, side);
    reader
        .for_each_row(surveyed.channel, |row| pass.take(&row))
        .map_err(|e| fail(&e))?;
    let base_plus_fog = parts
        .patches
        .iter()
        .filter(|p| p.frame == *id && p.role == PatchRole::BaseFog)
        .find_map(|p| reading(folder, measured, id, &p.name));
    Ok(Mapped {
        frame,
        scan,
        map: pass.finish(),
        base_plus_fog,
    })
}

/// The value of a reading, measured or written.
pub(crate) fn reading(
    folder: &TestFolder,
    measured: &Measuring,
    frame: &Id,
    patch: &Id,
) -> Option<f64> {
    let written = &folder.test.parts().readings;
    measured
        .readings
        .iter()
        .chain(written)
        .find(|r| r.frame == *frame && r.patch == *patch)
        .map(|r| r.value.value())
}

/// The same without tablet and border, which belong to no frame.
pub(crate) fn left_out(mut of: Mapped<'_>) -> Mapped<'_> {
    let side = f64::from(of.map.box_side);
    let size = (
        f64::from(of.map.width) * side,
        f64::from(of.map.height) * side,
    );
    for rectangle in left_out_boxes(of.scan, size) {
        of.map.leave_out(rectangle);
    }
    of
}

pub(crate) fn share(count: usize, of: usize) -> f64 {
    count as f64 / of.max(1) as f64
}

pub(crate) fn drawing(scan: &Id) -> impl Fn(negative::preview::PreviewError) -> AppError {
    move |e| {
        AppError::new(
            format!("drawing scan {scan}: {}", with_causes(&e)),
            "ask for a smaller map with --side",
        )
    }
}

pub(crate) fn numbers_file(
    width: u32,
    height: u32,
    values: &[f32],
    description: &str,
) -> Result<Vec<u8>, AppError> {
    float_tiff(width, height, values, description).ok_or_else(|| {
        AppError::new(
            format!("a map of {width} × {height} pixels is too large for a TIFF file"),
            "ask for a smaller map with --side",
        )
    })
}

/// A picture of densities with its words.
pub(crate) struct DensityPicture {
    figure: MapFigure,
    scale: DensityScale,
    /// The middle 90 % and the median.
    range: Option<(f64, f64)>,
    median: Option<f64>,
}

impl DensityPicture {
    pub(crate) fn of(of: &Mapped<'_>) -> Result<Self, AppError> {
        let map = &of.map;
        let scale = DensityScale {
            white_density: 0.0,
            base_plus_fog: of.base_plus_fog,
            lifted_by: Stops::ZERO,
            absolute: true,
        };
        let pixels: Vec<u8> = (map.density.iter().zip(&map.state).enumerate())
            .map(|(place, (density, state))| {
                let (x, y) = (place as u32 % map.width, place as u32 / map.width);
                match state {
                    PixelState::Read => scale.grey(f64::from(*density)),
                    PixelState::Thinner => Mark::Thin.pixel(x, y),
                    PixelState::Denser => Mark::Dense.pixel(x, y),
                    PixelState::Clipped => Mark::Clipped.pixel(x, y),
                    PixelState::LeftOut => Mark::LeftOut.pixel(x, y),
                }
            })
            .collect();
        let png = png_of_grey(map.width, map.height, &pixels).map_err(drawing(&of.scan.id))?;
        let mut sorted: Vec<f32> = map
            .density
            .iter()
            .copied()
            .filter(|d| d.is_finite())
            .collect();
        sorted.sort_by(f32::total_cmp);
        let at = |q: f64| {
            let place = (q * sorted.len() as f64) as usize;
            sorted
                .get(place.min(sorted.len().saturating_sub(1)))
                .map(|d| f64::from(*d))
        };
        let marks = marks_seen(
            |state| part(map, state),
            [
                (
                    Mark::Thin,
                    "thinner than the tablet's lightest step",
                    PixelState::Thinner,
                ),
                (
                    Mark::Dense,
                    "denser than the tablet's darkest step",
                    PixelState::Denser,
                ),
                (Mark::Clipped, "clipped in the scan", PixelState::Clipped),
            ],
        );
        let range = at(0.05).zip(at(0.95));
        let figure = MapFigure {
            title: format!("Frame {}: {}", of.frame.id, range_words(range)),
            subtitle: format!(
                "Gross density at every pixel; each is the mean transmittance of {0} × {0} pixels of scan {1}. \
                 {2} × {3} pixels.",
                map.box_side, of.scan.id, map.width, map.height
            ),
            png,
            size: (map.width, map.height),
            marks,
        };
        Ok(Self {
            figure,
            scale,
            range,
            median: at(0.5),
        })
    }

    pub(crate) fn svg(&self, sheet: Sheet) -> String {
        density_map(&self.figure, &self.scale, sheet)
    }
}

fn range_words(range: Option<(f64, f64)>) -> String {
    range.map_or("no density can be read".to_owned(), |(low, high)| {
        format!("density {low:.2} to {high:.2} (middle 90 %)")
    })
}

/// Marks that occur in a picture, what each means, and its share of the pixels.
pub(crate) fn marks_seen<S>(
    share: impl Fn(S) -> f64,
    marks: [(Mark, &'static str, S); 3],
) -> Vec<(Mark, &'static str, f64)> {
    marks
        .into_iter()
        .map(|(mark, words, state)| (mark, words, share(state)))
        .filter(|(_, _, share)| *share > 0.0)
        .collect()
}

fn part(map: &DensityMap, state: PixelState) -> f64 {
    share(map.count(state), map.density.len())
}

fn draw_map(
    of: &Mapped<'_>,
    files: &mut Files,
    lines: &mut Vec<String>,
) -> Result<Value, AppError> {
    let map = &of.map;
    let id = &of.frame.id;
    let picture = DensityPicture::of(of)?;
    let name = format!("density-{id}");
    files.write(format!("{name}.svg"), picture.svg(Sheet::FILE).as_bytes())?;
    files.write(format!("{name}.png"), &picture.figure.png)?;
    let tiff = numbers_file(
        map.width,
        map.height,
        &map.density,
        "gross density; not a number where there is none",
    )?;
    files.write(format!("{name}.tif"), &tiff)?;
    let part = |state| part(map, state);
    lines.push(format!(
        "Frame {id}: {}, {:.1} % of the scan read",
        range_words(picture.range),
        100.0 * part(PixelState::Read)
    ));
    Ok(json!({
        "scan": of.scan.id.as_str(),
        "width_px": map.width,
        "height_px": map.height,
        "box_side_px": map.box_side,
        "low_density": picture.range.map(|r| r.0),
        "median_density": picture.median,
        "high_density": picture.range.map(|r| r.1),
        "read_share": part(PixelState::Read),
        "thinner_share": part(PixelState::Thinner),
        "denser_share": part(PixelState::Denser),
        "clipped_share": part(PixelState::Clipped),
    }))
}
