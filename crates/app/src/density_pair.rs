//! What one frame of a subject got more light than another, and how their
//! densities go together, as files.

use crate::AppError;
use crate::density_maps::{Files, Mapped, drawing, marks_seen, numbers_file, reading, share};
use crate::measuring::Measuring;
use figures::{JointFields, MapFigure, Mark, Sheet, StopsScale, joint_histogram, stops_map};
use findings::Findings;
use negative::exposure_difference::{
    DevelopedMap, DifferenceState, ExposureDifference, Flat, JointHistogram, SteepCurve,
    exposure_difference,
};
use negative::preview::png_of_rgb;
use negative::registration::Registration;
use notebook::TestFolder;
use quantity::Stops;
use record::{Frame, Id, Response};
use serde_json::{Value, json};

/// Width of a field of the joint histogram.
const FIELD_DENSITY: f64 = 0.05;
/// Density up to which fields are counted.
const HIGHEST_DENSITY: f64 = 4.0;
/// Share of a picture that must be told for its median to say something.
const LEAST_TOLD: f64 = 0.01;

/// What the one curve does to a difference.
pub(crate) const ONE_CURVE: &str = "Through the one curve of the process: where the film is softer or harder behind the filter, differences come out too small or too large in proportion.";

/// Two frames that lie on each other.
pub(crate) struct Pair<'a> {
    pub(crate) folder: &'a TestFolder,
    pub(crate) measured: &'a Measuring,
    pub(crate) findings: &'a Findings,
    /// From the scan of `against` to that of `frame`.
    pub(crate) registration: Registration,
    pub(crate) frame: Mapped<'a>,
    pub(crate) against: Mapped<'a>,
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

    pub(crate) fn registration_json(&self) -> Value {
        let found = &self.registration;
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

    pub(crate) fn names(&self) -> String {
        format!(
            "Frame {} over frame {}",
            self.frame.frame.id, self.against.frame.id
        )
    }

    pub(crate) fn registration_words(&self) -> String {
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

    /// Works out the difference of exposures through the curves.
    pub(crate) fn told(&self, zero: Option<&str>) -> Result<ToldDifference, AppError> {
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
        let sorted = found.sorted();
        let enough = share(found.count(DifferenceState::Told), found.stops.len()) >= LEAST_TOLD;
        let at = |q: f64| {
            let place = (q * sorted.len() as f64) as usize;
            sorted
                .get(place.min(sorted.len().saturating_sub(1)))
                .map(|s| f64::from(*s))
                .filter(|_| enough)
        };
        Ok(ToldDifference {
            range: (at(0.05), at(0.5), at(0.95)),
            found,
            zero_patch: zero.map(str::to_owned),
            zero_stops,
            curve_range: second.range(),
        })
    }

    pub(crate) fn difference(
        &self,
        zero: Option<&str>,
        files: &mut Files,
        lines: &mut Vec<String>,
    ) -> Result<Value, AppError> {
        let told = self.told(zero)?;
        let picture = self.stops_picture(&told)?;
        let name = format!(
            "stops-{}-over-{}",
            self.frame.frame.id, self.against.frame.id
        );
        files.write(format!("{name}.svg"), picture.svg(Sheet::FILE).as_bytes())?;
        files.write(format!("{name}.png"), &picture.figure.png)?;
        let tiff = numbers_file(
            told.found.width,
            told.found.height,
            &told.found.stops,
            "exposure of one frame over another in stops; not a number where there is none",
        )?;
        files.write(format!("{name}.tif"), &tiff)?;
        lines.push(format!(
            "{}: {}; {}",
            self.names(),
            told.words(),
            told.base_words()
        ));
        lines.push(told.shares_words());
        lines.push(ONE_CURVE.to_owned());
        Ok(told.to_json())
    }

    /// Draws the difference in colours.
    pub(crate) fn stops_picture(&self, told: &ToldDifference) -> Result<StopsPicture, AppError> {
        let found = &told.found;
        let widest = [told.range.0, told.range.2]
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
        let marks = marks_seen(
            |state| told.share(state),
            [
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
            ],
        );
        let figure = MapFigure {
            title: format!("{}: {}", self.names(), told.words()),
            subtitle: format!(
                "Exposure of the first over that of the second through the fitted curve, on the pixels of scan {}. \
                 {} Frames {}.",
                self.against.scan.id,
                told.base_words(),
                self.registration_words()
            ),
            png,
            size: (found.width, found.height),
            marks,
        };
        Ok(StopsPicture { figure, scale })
    }

    /// Counts how the densities of both frames go together, in fields so wide.
    pub(crate) fn joint_counts(&self, field_density: f64) -> JointHistogram {
        let fields = (HIGHEST_DENSITY / field_density).round() as usize;
        negative::exposure_difference::joint_histogram(
            &self.against.map,
            &self.frame.map,
            &self.placement(),
            field_density,
            fields,
        )
    }

    /// Draws them; `None` where no pixel is read on both.
    pub(crate) fn joint_picture(&self, joint: &JointHistogram, sheet: Sheet) -> Option<String> {
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
        joint_histogram(&fields, sheet)
    }

    pub(crate) fn joint(&self, files: &mut Files) -> Result<Value, AppError> {
        let joint = self.joint_counts(FIELD_DENSITY);
        let (first, second) = (&self.against.frame.id, &self.frame.frame.id);
        if let Some(svg) = self.joint_picture(&joint, Sheet::FILE) {
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

/// What one frame got more light than the other, with what was taken as zero.
pub(crate) struct ToldDifference {
    found: ExposureDifference,
    /// The middle 90 % and the median, where enough can be told. \[stops\]
    range: (Option<f64>, Option<f64>, Option<f64>),
    zero_patch: Option<String>,
    zero_stops: Option<f64>,
    /// Densities that tell an exposure on the frame's curve.
    curve_range: (f64, f64),
}

impl ToldDifference {
    fn share(&self, state: DifferenceState) -> f64 {
        share(self.found.count(state), self.found.stops.len())
    }

    pub(crate) fn words(&self) -> String {
        match self.range {
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
        }
    }

    fn base_words(&self) -> String {
        match &self.zero_patch {
            Some(name) => format!("0 is the difference of patch {name}."),
            None => "0 is equal exposure on the film.".to_owned(),
        }
    }

    pub(crate) fn shares_words(&self) -> String {
        format!(
            "{:.1} % of the scan is told; {:.1} % is too thin and {:.1} % too dense for the curve or the tablet",
            100.0 * self.share(DifferenceState::Told),
            100.0 * self.share(DifferenceState::TooThin),
            100.0 * self.share(DifferenceState::TooDense),
        )
    }

    pub(crate) fn to_json(&self) -> Value {
        json!({
            "low_stops": self.range.0,
            "median_stops": self.range.1,
            "high_stops": self.range.2,
            "zero_patch": self.zero_patch,
            "zero_stops": self.zero_stops,
            "told_share": self.share(DifferenceState::Told),
            "too_thin_share": self.share(DifferenceState::TooThin),
            "too_dense_share": self.share(DifferenceState::TooDense),
            "missing_share": self.share(DifferenceState::Missing),
            "curve_low_density": self.curve_range.0,
            "curve_high_density": self.curve_range.1,
        })
    }
}

/// A picture of differences with its words.
pub(crate) struct StopsPicture {
    figure: MapFigure,
    scale: StopsScale,
}

impl StopsPicture {
    pub(crate) fn svg(&self, sheet: Sheet) -> String {
        stops_map(&self.figure, &self.scale, sheet)
    }
}
