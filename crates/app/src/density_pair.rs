//! What one frame of a subject got more light than another, and how their
//! densities go together, as files.

use crate::AppError;
use crate::density_maps::{Files, Mapped, drawing, numbers_file, reading, share};
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

/// Fields of the joint histogram: their width and how many to density 4.
const FIELD_DENSITY: f64 = 0.05;
const FIELDS: usize = 80;
/// Share of a picture that must be told for its median to say something.
const LEAST_TOLD: f64 = 0.01;

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

    pub(crate) fn registration_json(&self, lines: &mut Vec<String>) -> Value {
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

    pub(crate) fn difference(
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

    pub(crate) fn joint(&self, files: &mut Files) -> Result<Value, AppError> {
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
