//! From an EI to what is set on lens and shutter.
//!
//! Times of a second or more are counted and set to the tenth; below, the
//! nearest whole-stop mark is taken, and what it leaves over is told.

use super::request::{PlanError, PlanRequest};
use core::f64::consts::LOG2_10;
use exposure::{
    ApertureSetting, Bellows, ChainError, ExposureRequest, LightReading, MarkReading, OutsideLaw,
    ReciprocityLaw, StepSize, exposure_answer, nearest_shutter, shutter_marks,
};
use quantity::{ExposureIndex, FNumber, Seconds};
use record::PlannedTime;

/// From here on times are counted. \[s\]
const COUNTED_FROM_S: f64 = 1.0;

/// What is set for one frame.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Setting {
    pub(super) ei: ExposureIndex,
    pub(super) aperture: FNumber,
    pub(super) time: PlannedTime,
    /// Exposure that the mark gives over what was asked for. \[stops\]
    pub(super) left_over_stops: f64,
}

/// What the times of a frame follow from, EI and aperture apart.
#[derive(Clone, Copy, Debug)]
pub(super) struct Chain<'a> {
    pub(super) reading: LightReading,
    pub(super) bellows: Option<Bellows>,
    /// The law with its text.
    pub(super) law: Option<(&'a str, &'a ReciprocityLaw)>,
}

impl<'a> Chain<'a> {
    fn of(request: &'a PlanRequest) -> Self {
        Self {
            reading: LightReading::Ev100(request.ev100),
            bellows: None,
            law: request.law.as_ref().map(|(text, law)| (text.as_str(), law)),
        }
    }

    /// The metered and the corrected time of an EI at an aperture.
    fn times(self, ei: ExposureIndex, aperture: FNumber) -> Result<(Seconds, Seconds), ChainError> {
        let answer = exposure_answer(&ExposureRequest {
            reading: self.reading,
            ei,
            aperture: ApertureSetting::Exact(aperture),
            filters: vec![],
            bellows: self.bellows,
            reciprocity: self.law.map(|(_, law)| law.clone()),
            outside_law: OutsideLaw::Refuse,
            available: None,
        })?;
        Ok((answer.time_after_bellows, answer.time_corrected))
    }

    /// What is set for an EI at an aperture.
    pub(super) fn set(self, ei: ExposureIndex, aperture: FNumber) -> Result<Setting, ChainError> {
        let (metered, corrected) = self.times(ei, aperture)?;
        let wanted_s = corrected.to_s();
        let marked_s = if wanted_s >= 10.0 {
            libm::round(wanted_s)
        } else if wanted_s >= COUNTED_FROM_S {
            libm::round(10.0 * wanted_s) / 10.0
        } else {
            nearest_shutter(
                corrected,
                &shutter_marks(StepSize::Full),
                MarkReading::Literal,
            )
            .map_or(wanted_s, |found| {
                found.mark.time(MarkReading::Literal).to_s()
            })
        };
        Ok(Setting {
            ei,
            aperture,
            left_over_stops: libm::log2(marked_s / wanted_s),
            time: PlannedTime {
                marked: Seconds::from_s(marked_s)?,
                metered: Some(metered),
                corrected: self.law.map(|_| corrected),
                law: self.law.map(|(text, _)| text.to_owned()),
            },
        })
    }
}

fn times(
    request: &PlanRequest,
    ei: ExposureIndex,
    aperture: FNumber,
) -> Result<(Seconds, Seconds), ChainError> {
    Chain::of(request).times(ei, aperture)
}

fn set(request: &PlanRequest, ei: ExposureIndex, aperture: FNumber) -> Result<Setting, ChainError> {
    Chain::of(request).set(ei, aperture)
}

/// Sets a frame at the preferred aperture, opened as far as the longest time
/// asks; `None` when no mark is wide enough.
pub(super) fn at_preferred_aperture(request: &PlanRequest, ei: ExposureIndex) -> Option<Setting> {
    opened(request, ei)
        .into_iter()
        .find(|s| s.time.marked.to_s() <= request.longest.to_s())
}

/// What is set at the preferred aperture and at each wider mark, in this order; where
/// the preferred one asks for a time that the shutter has not, the first smaller mark
/// that doesn't.
fn opened(request: &PlanRequest, ei: ExposureIndex) -> Vec<Setting> {
    let preferred = request.apertures.first().map_or(0.0, |a| a.to_ratio());
    let slow_enough = |s: &Setting| s.time.marked.to_s() >= request.shortest.to_s() * (1.0 - 1e-9);
    let first = (request.apertures.first()).and_then(|a| set(request, ei, *a).ok());
    if first.is_some_and(|s| !slow_enough(&s)) {
        let mut smaller: Vec<FNumber> = (request.apertures.iter().copied())
            .filter(|a| a.to_ratio() > preferred)
            .collect();
        smaller.sort_by(|a, b| a.to_ratio().total_cmp(&b.to_ratio()));
        return (smaller.into_iter())
            .filter_map(|aperture| set(request, ei, aperture).ok())
            .find(slow_enough)
            .into_iter()
            .collect();
    }
    let mut marks: Vec<FNumber> = request
        .apertures
        .iter()
        .copied()
        .filter(|a| a.to_ratio() <= preferred)
        .collect();
    marks.sort_by(|a, b| b.to_ratio().total_cmp(&a.to_ratio()));
    marks
        .into_iter()
        .filter_map(|aperture| set(request, ei, aperture).ok())
        .collect()
}

/// Sets a frame at the preferred aperture, opened so far that its time stays within a
/// second; at the widest mark where even that needs more. `None` when the longest
/// time is not enough.
pub(super) fn within_a_second(request: &PlanRequest, ei: ExposureIndex) -> Option<Setting> {
    let mut widest = None;
    let most_s = request.longest.to_s().min(COUNTED_FROM_S);
    for setting in opened(request, ei) {
        if setting.time.marked.to_s() <= most_s {
            return Some(setting);
        }
        widest = Some(setting);
    }
    widest.filter(|s| s.time.marked.to_s() <= request.longest.to_s())
}

/// Sets a frame at one time by the aperture mark that comes nearest; `None` when
/// none comes within half a stop and a little.
pub(super) fn at_time(request: &PlanRequest, ei: ExposureIndex, time: Seconds) -> Option<Setting> {
    if time.to_s() > request.longest.to_s() {
        return None;
    }
    let mut best: Option<Setting> = None;
    for &aperture in &request.apertures {
        let Ok((metered, corrected)) = times(request, ei, aperture) else {
            continue;
        };
        let left_over_stops = libm::log2(time.to_s() / corrected.to_s());
        let nearer = best
            .as_ref()
            .is_none_or(|b| left_over_stops.abs() < b.left_over_stops.abs());
        if left_over_stops.abs() <= 0.55 && nearer {
            best = Some(Setting {
                ei,
                aperture,
                left_over_stops,
                time: PlannedTime {
                    marked: time,
                    metered: Some(metered),
                    corrected: request.law.as_ref().map(|_| corrected),
                    law: request.law.as_ref().map(|(text, _)| text.clone()),
                },
            });
        }
    }
    best
}

/// Says why an unfiltered frame or the middle of the bracket can't be exposed.
pub(super) fn no_setting(request: &PlanRequest, ei: ExposureIndex) -> PlanError {
    let smallest =
        (request.apertures.iter().copied()).max_by(|a, b| a.to_ratio().total_cmp(&b.to_ratio()));
    if let Some(smallest) = smallest
        && at_preferred_aperture(request, request.box_speed).is_none()
        && let Ok(found) = set(request, request.box_speed, smallest)
        && found.time.marked.to_s() < request.shortest.to_s()
    {
        return PlanError::TooShort {
            ei: request.box_speed.to_arithmetic(),
            needed: found.time.marked,
            smallest,
            shortest: request.shortest,
        };
    }
    too_long(request, ei)
}

/// Says why the middle of the bracket can't be exposed.
fn too_long(request: &PlanRequest, ei: ExposureIndex) -> PlanError {
    let Some(widest) = request
        .apertures
        .iter()
        .copied()
        .min_by(|a, b| a.to_ratio().total_cmp(&b.to_ratio()))
    else {
        return PlanError::NoAperture;
    };
    let (_, needed) = match times(request, ei, widest) {
        Ok(found) => found,
        Err(error) => return error.into(),
    };
    // Down from the widest mark by halves of a stop; no lens opens past f/1.
    let would_do = (1..=24_u32)
        .filter_map(|k| {
            FNumber::from_ratio(widest.to_ratio() / libm::exp2(0.25 * f64::from(k))).ok()
        })
        .take_while(|a| a.to_ratio() >= 1.0)
        .find(|a| times(request, ei, *a).is_ok_and(|(_, t)| t.to_s() <= request.longest.to_s()));
    let (mut low, mut high) = (ei.to_arithmetic(), ei.to_arithmetic() * libm::exp2(16.0));
    for _ in 0..60 {
        let middle = libm::sqrt(low * high);
        let fits = ExposureIndex::from_arithmetic(middle)
            .ok()
            .and_then(|ei| times(request, ei, widest).ok())
            .is_some_and(|(_, t)| t.to_s() <= request.longest.to_s());
        if fits {
            high = middle;
        } else {
            low = middle;
        }
    }
    PlanError::TooLong {
        ei: ei.to_arithmetic(),
        needed,
        widest,
        longest: request.longest,
        would_do,
        ei_that_fits: high,
    }
}

/// Moves an EI by stops of exposure: more exposure is a lower EI.
pub(super) fn more_exposed(ei: ExposureIndex, stops: f64) -> Result<ExposureIndex, PlanError> {
    if stops == 0.0 {
        return Ok(ei);
    }
    let log = libm::log10(ei.to_arithmetic()) - stops / LOG2_10;
    Ok(ExposureIndex::from_arithmetic(libm::pow(10.0, log))?)
}
