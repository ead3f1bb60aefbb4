//! Pictures of density at every pixel of a frame, of what it got more or less
//! light than another frame of the subject, and of how their densities go together.
//!
//! Begin with [`density_maps`].

use crate::carrying::{laid_scans, left_out_boxes};
use crate::error::with_causes;
use crate::evaluate_folder::folder_findings;
use crate::measuring::{Measuring, READ_BUFFER, decode_remedy, measure_folder, scan_error};
use crate::{AppError, Progress, write_file};
use figures::{
    DensityScale, JointFields, MapFigure, Mark, Sheet, StopsScale, density_map, joint_histogram,
    stops_map,
};
use findings::Findings;
use negative::decode::{DecodeLimits, ScanReader};
use negative::density_map::{DensityMap, DensityMapPass, PixelState};
use negative::exposure_difference::{
    DevelopedMap, DifferenceState, ExposureDifference, Flat, JointHistogram, SteepCurve,
    exposure_difference,
};
use negative::float_tiff::float_tiff;
use negative::preview::{png_of_grey, png_of_rgb};
use negative::registration::Registration;
use notebook::{TestFolder, read_test_folder};
use quantity::Stops;
use record::{Calibrator, Frame, Id, PatchRole, Response, Scan};
use serde_json::{Value, json};
use std::io::BufReader;
use std::path::PathBuf;

/// Long side of a map when none is asked for. \[pixels\]
pub const MAP_SIDE: u32 = 1200;
/// Fields of the joint histogram: their width and how many to density 4.
const FIELD_DENSITY: f64 = 0.05;
const FIELDS: usize = 80;
/// Share of a picture that must be told for its median to say something.
const LEAST_TOLD: f64 = 0.01;

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
struct Mapped<'a> {
    frame: &'a Frame,
    scan: &'a Scan,
    map: DensityMap,
    base_plus_fog: Option<f64>,
}

struct Files {
    out: PathBuf,
    written: Vec<String>,
}

impl Files {
    fn write(&mut self, name: String, bytes: &[u8]) -> Result<(), AppError> {
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
        json["registration"] = pair.registration_json(&mut lines);
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
fn mapped<'a>(
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
    let fail =
        |e: &dyn std::error::Error| scan_error(scan.id.as_str(), &scan.file, e, decode_remedy());
    let mut reader = ScanReader::open(
        BufReader::with_capacity(READ_BUFFER, folder.open_scan(scan)?),
        scan.page as usize,
        &DecodeLimits::default(),
    )
    .map_err(|e| fail(&e))?;
    let (width, height) = (reader.info().width, reader.info().height);
    let mut pass = DensityMapPass::new(width, height, &surveyed.tone, calibration, side);
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
fn reading(folder: &TestFolder, measured: &Measuring, frame: &Id, patch: &Id) -> Option<f64> {
    let written = &folder.test.parts().readings;
    measured
        .readings
        .iter()
        .chain(written)
        .find(|r| r.frame == *frame && r.patch == *patch)
        .map(|r| r.value.value())
}

/// The same without tablet and border, which belong to no frame.
fn left_out(mut of: Mapped<'_>) -> Mapped<'_> {
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

fn share(count: usize, of: usize) -> f64 {
    count as f64 / of.max(1) as f64
}

fn drawing(scan: &Id) -> impl Fn(negative::preview::PreviewError) -> AppError {
    move |e| {
        AppError::new(
            format!("drawing scan {scan}: {}", with_causes(&e)),
            "ask for a smaller map with --side",
        )
    }
}

fn numbers_file(
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

fn draw_map(
    of: &Mapped<'_>,
    files: &mut Files,
    lines: &mut Vec<String>,
) -> Result<Value, AppError> {
    let map = &of.map;
    let id = &of.frame.id;
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
    let all = map.density.len();
    let part = |state| share(map.count(state), all);
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
    let range = at(0.05).zip(at(0.95));
    let words = range.map_or("no density can be read".to_owned(), |(low, high)| {
        format!("density {low:.2} to {high:.2} (middle 90 %)")
    });
    let figure = MapFigure {
        title: format!("Frame {id}: {words}"),
        subtitle: format!(
            "Gross density at every pixel; each is the mean transmittance of {0} × {0} pixels of scan {1}. \
             {2} × {3} pixels.",
            map.box_side, of.scan.id, map.width, map.height
        ),
        png: &png,
        size: (map.width, map.height),
        marks: [
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
        ]
        .into_iter()
        .map(|(mark, words, state)| (mark, words, part(state)))
        .filter(|(_, _, share)| *share > 0.0)
        .collect(),
    };
    let name = format!("density-{id}");
    files.write(
        format!("{name}.svg"),
        density_map(&figure, &scale, Sheet::FILE).as_bytes(),
    )?;
    files.write(format!("{name}.png"), &png)?;
    let tiff = numbers_file(
        map.width,
        map.height,
        &map.density,
        "gross density; not a number where there is none",
    )?;
    files.write(format!("{name}.tif"), &tiff)?;
    lines.push(format!(
        "Frame {id}: {words}, {:.1} % of the scan read",
        100.0 * part(PixelState::Read)
    ));
    Ok(json!({
        "scan": of.scan.id.as_str(),
        "width_px": map.width,
        "height_px": map.height,
        "box_side_px": map.box_side,
        "low_density": range.map(|r| r.0),
        "median_density": at(0.5),
        "high_density": range.map(|r| r.1),
        "read_share": part(PixelState::Read),
        "thinner_share": part(PixelState::Thinner),
        "denser_share": part(PixelState::Denser),
        "clipped_share": part(PixelState::Clipped),
    }))
}

/// Two frames that lie on each other.
struct Pair<'a> {
    folder: &'a TestFolder,
    measured: &'a Measuring,
    findings: &'a Findings,
    /// From the scan of `against` to that of `frame`.
    registration: Registration,
    frame: Mapped<'a>,
    against: Mapped<'a>,
}

impl Pair<'_> {
    fn placement(&self) -> negative::registration::Placement {
        let part = |of: &Mapped<'_>| 1.0 / f64::from(of.map.box_side);
        self.registration
            .placement()
            .scaled(part(&self.against), part(&self.frame))
    }

    fn uncertainty_px(&self) -> f64 {
        let side = f64::from(self.against.map.box_side);
        let middle = (
            0.5 * side * f64::from(self.against.map.width),
            0.5 * side * f64::from(self.against.map.height),
        );
        self.registration.uncertainty_px(middle)
    }

    fn registration_json(&self, lines: &mut Vec<String>) -> Value {
        let found = &self.registration;
        lines.push(format!("{}: {}", self.names(), self.registration_words()));
        json!({
            "agreement": found.agreement,
            "above_chance_sd": found.above_chance,
            "blocks_agreeing": found.blocks_agreeing,
            "blocks": found.blocks,
            "scatter_px": found.scatter_px,
            "uncertainty_px": self.uncertainty_px(),
            "tilted": found.tilted,
        })
    }

    fn names(&self) -> String {
        format!(
            "Frame {} over frame {}",
            self.frame.frame.id, self.against.frame.id
        )
    }

    fn registration_words(&self) -> String {
        format!(
            "laid on each other to {:.1} pixels of the scan, agreement {:.2}, {} of {} blocks follow",
            self.uncertainty_px(),
            self.registration.agreement,
            self.registration.blocks_agreeing,
            self.registration.blocks
        )
    }

    /// The steep part of a frame's curve.
    fn curve(&self, frame: &Frame) -> Result<SteepCurve, AppError> {
        self.findings
            .curves
            .iter()
            .find(|c| {
                c.film == frame.film
                    && c.process == frame.process
                    && c.response == Response::Density
            })
            .and_then(|c| {
                let points: Vec<(f64, f64)> =
                    c.samples.iter().map(|s| (s.log_h, s.value)).collect();
                SteepCurve::of_points(&points)
            })
            .ok_or_else(|| {
                AppError::new(
                    format!("frame {} has no fitted curve with a steep part", frame.id),
                    "add a tablet sheet or a bracket of its process to the test",
                )
            })
    }

    /// How much more light a patch got on the frame than on the other. \[stops\]
    fn of_patch(&self, name: &str, curves: (&SteepCurve, &SteepCurve)) -> Result<f64, AppError> {
        let patch = Id::new(name).map_err(|e| {
            AppError::new(
                e.to_string(),
                "name a patch that both frames have with --zero",
            )
        })?;
        let log_h = |of: &Mapped<'_>, curve: &SteepCurve| {
            let id = &of.frame.id;
            let density = reading(self.folder, self.measured, id, &patch).ok_or_else(|| {
                AppError::new(
                    format!("frame {id} has no reading of patch {patch}"),
                    "name a patch that both frames have with --zero",
                )
            })?;
            curve.log_h(density).map_err(|flat| {
                let end = match flat {
                    Flat::Toe => "on the toe",
                    Flat::Shoulder => "on the shoulder",
                };
                AppError::new(
                    format!("patch {patch} of frame {id}, density {density:.2}, lies {end}, where a density tells no exposure"),
                    "name another patch with --zero, or leave it away",
                )
            })
        };
        let to = log_h(&self.frame, curves.1)?;
        Ok((to - log_h(&self.against, curves.0)?) / core::f64::consts::LOG10_2)
    }

    fn difference(
        &self,
        zero: Option<&str>,
        files: &mut Files,
        lines: &mut Vec<String>,
    ) -> Result<Value, AppError> {
        let (first, second) = (
            self.curve(self.against.frame)?,
            self.curve(self.frame.frame)?,
        );
        let mut found = exposure_difference(
            DevelopedMap {
                map: &self.against.map,
                curve: &first,
            },
            DevelopedMap {
                map: &self.frame.map,
                curve: &second,
            },
            &self.placement(),
        );
        let zero_stops = zero
            .map(|name| self.of_patch(name, (&first, &second)))
            .transpose()?;
        if let Some(stops) = zero_stops {
            let stops = Stops::new(stops).map_err(|e| AppError::new(e.to_string(), ""))?;
            found = found.from_zero_at(stops);
        }
        let all = found.stops.len();
        let part = |state| share(found.count(state), all);
        let sorted = found.sorted();
        let at = |q: f64| {
            let place = (q * sorted.len() as f64) as usize;
            sorted
                .get(place.min(sorted.len().saturating_sub(1)))
                .map(|s| f64::from(*s))
                .filter(|_| part(DifferenceState::Told) >= LEAST_TOLD)
        };
        let range = (at(0.05), at(0.5), at(0.95));
        let words = match range {
            (Some(low), Some(middle), Some(high)) => {
                let words = |stops| figures::shown::signed(stops, 1);
                format!(
                    "{} to {} stops (middle 90 %), median {}",
                    words(low),
                    words(high),
                    words(middle)
                )
            }
            _ => "too little of the two can be read for a difference".to_owned(),
        };
        let base = match zero {
            Some(name) => format!("0 is the difference of patch {name}."),
            None => "0 is equal exposure on the film.".to_owned(),
        };
        let title = format!("{}: {words}", self.names());
        self.draw_difference(&found, &range, &title, &base, files)?;
        lines.push(format!("{}: {words}; {base}", self.names()));
        lines.push(format!(
            "{:.1} % of the scan is told; {:.1} % is too thin and {:.1} % too dense for the curve or the tablet",
            100.0 * part(DifferenceState::Told),
            100.0 * part(DifferenceState::TooThin),
            100.0 * part(DifferenceState::TooDense),
        ));
        lines.push(
            "Through the one curve of the process: where the film is softer or harder behind the filter, differences come out too small or too large in proportion.".to_owned(),
        );
        let (low, high) = second.range();
        Ok(json!({
            "low_stops": range.0,
            "median_stops": range.1,
            "high_stops": range.2,
            "zero_patch": zero,
            "zero_stops": zero_stops,
            "told_share": part(DifferenceState::Told),
            "too_thin_share": part(DifferenceState::TooThin),
            "too_dense_share": part(DifferenceState::TooDense),
            "missing_share": part(DifferenceState::Missing),
            "curve_low_density": low,
            "curve_high_density": high,
        }))
    }

    fn draw_difference(
        &self,
        found: &ExposureDifference,
        range: &(Option<f64>, Option<f64>, Option<f64>),
        title: &str,
        base: &str,
        files: &mut Files,
    ) -> Result<(), AppError> {
        let widest = [range.0, range.2]
            .into_iter()
            .flatten()
            .map(f64::abs)
            .fold(1.0, f64::max);
        let scale = StopsScale::holding(widest);
        let pixels: Vec<[u8; 3]> = (found.stops.iter().zip(&found.state).enumerate())
            .map(|(place, (stops, state))| {
                let (x, y) = (place as u32 % found.width, place as u32 / found.width);
                match state {
                    DifferenceState::Told => scale.colour(f64::from(*stops)),
                    DifferenceState::TooThin => [Mark::Thin.pixel(x, y); 3],
                    DifferenceState::TooDense => [Mark::Dense.pixel(x, y); 3],
                    DifferenceState::Missing => [Mark::LeftOut.pixel(x, y); 3],
                }
            })
            .collect();
        let png = png_of_rgb(found.width, found.height, &pixels)
            .map_err(drawing(&self.against.scan.id))?;
        let all = found.stops.len();
        let figure = MapFigure {
            title: title.to_owned(),
            subtitle: format!(
                "Exposure of the first over that of the second through the fitted curve, on the pixels of scan {}. \
                 {base} Frames {}.",
                self.against.scan.id,
                self.registration_words()
            ),
            png: &png,
            size: (found.width, found.height),
            marks: [
                (
                    Mark::Thin,
                    "one of the two too thin: toe, or beyond the tablet",
                    DifferenceState::TooThin,
                ),
                (
                    Mark::Dense,
                    "one of the two too dense: shoulder, or beyond the tablet",
                    DifferenceState::TooDense,
                ),
                (
                    Mark::LeftOut,
                    "left out: tablet, border, clipped, not on the other frame",
                    DifferenceState::Missing,
                ),
            ]
            .into_iter()
            .map(|(mark, words, state)| (mark, words, share(found.count(state), all)))
            .filter(|(_, _, share)| *share > 0.0)
            .collect(),
        };
        let name = format!(
            "stops-{}-over-{}",
            self.frame.frame.id, self.against.frame.id
        );
        files.write(
            format!("{name}.svg"),
            stops_map(&figure, &scale, Sheet::FILE).as_bytes(),
        )?;
        files.write(format!("{name}.png"), &png)?;
        let tiff = numbers_file(
            found.width,
            found.height,
            &found.stops,
            "exposure of one frame over another in stops; not a number where there is none",
        )?;
        files.write(format!("{name}.tif"), &tiff)
    }

    fn joint(&self, files: &mut Files) -> Result<Value, AppError> {
        let joint: JointHistogram = negative::exposure_difference::joint_histogram(
            &self.against.map,
            &self.frame.map,
            &self.placement(),
            FIELD_DENSITY,
            FIELDS,
        );
        let (first, second) = (&self.against.frame.id, &self.frame.frame.id);
        let fields = JointFields {
            title: format!("Densities of frame {second} where frame {first} has its own"),
            subtitle: format!(
                "{} pixels of one subject that are read on both frames. Frames {}.",
                joint.pixels,
                self.registration_words()
            ),
            first: format!("gross density on frame {first}"),
            second: format!("gross density on frame {second}"),
            step: joint.step,
            side: joint.side,
            counts: &joint.counts,
        };
        if let Some(svg) = joint_histogram(&fields, Sheet::FILE) {
            let name = format!("densities-{second}-by-{first}");
            files.write(format!("{name}.svg"), svg.as_bytes())?;
            let mut table = format!("density_{first},density_{second},pixels\n");
            for (place, count) in joint.counts.iter().enumerate().filter(|(_, c)| **c > 0) {
                let middle = |field: usize| (field as f64 + 0.5) * joint.step;
                table.push_str(&format!(
                    "{:.3},{:.3},{count}\n",
                    middle(place % joint.side),
                    middle(place / joint.side)
                ));
            }
            files.write(format!("{name}.csv"), table.as_bytes())?;
        }
        Ok(json!({ "field_density": joint.step, "pixels": joint.pixels }))
    }
}
