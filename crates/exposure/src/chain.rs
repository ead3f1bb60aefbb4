//! The exposure chain: reading → EI → filters → bellows → reciprocity, and back.
//!
//! [`exposure_answer`] computes the time to set, step by step, each with what it
//! was based on. Reciprocity comes last, because the failure belongs to the
//! light that reaches the film. Marks are looked for after that, and what they
//! leave over is shown; nothing computed is ever rounded to a mark.
//!
//! [`crate::film_exposure()`] goes the other way for a frame that was made: from its
//! actual time to the exposure its mid-tone got.
//!
//! Forward: t = N²·100/(2^EV100·S); × F of each filter; × B of the bellows; then
//! Tc of the reciprocity law.
//! Back: H = q·L·t_eff/(N²·B), L = 2^EV100·K/100, t_eff the metered time that the
//! actual time was worth.

use crate::bellows::{Bellows, BellowsBasis};
use crate::filter::stops_in_published_thirds;
use crate::light_reading::LightReading;
use crate::meter::metered_time;
use crate::number_text::{format_aperture, significant};
use crate::reciprocity::{OutsideLaw, ReciprocityLaw};
use crate::reciprocity_error::ReciprocityError;
use crate::set_marks::{ApertureSetting, AvailableMarks, MarkedAperture, MarkedShutter, set_marks};
use quantity::{
    Ev100, ExposureIndex, FNumber, FilterFactor, Flag, Flags, QuantityError, Seconds, Stops,
};

/// Above this time, in seconds, an answer without a reciprocity law is flagged.
///
/// Source: film makers' sheets that start their corrections above 1 s (common practice).
pub const RECIPROCITY_ASKED_ABOVE_S: f64 = 1.0;

/// Above this time, in seconds, a computed exposure is refused: almost six days.
///
/// No published reciprocity table comes near it, and a slip of the pen does.
pub const LONGEST_EXPOSURE_S: f64 = 5e5;

/// Why a chain could not be computed.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum ChainError {
    /// The law refuses this time: give another law, or ask for extrapolation.
    #[error(transparent)]
    Reciprocity(#[from] ReciprocityError),
    /// Check reading, EI, aperture and factors: no exposure in a camera takes so long.
    #[error(
        "a time of {} s ({:.0} days) is no exposure; times up to {LONGEST_EXPOSURE_S} s are worked out",
        significant(*time_s, 3),
        time_s / 86_400.0
    )]
    TooLong {
        /// The time found.
        time_s: f64,
    },
    /// A number has no meaning.
    #[error(transparent)]
    Quantity(#[from] QuantityError),
}

/// What an exposure is to be computed from.
#[derive(Clone, Debug, PartialEq)]
pub struct ExposureRequest {
    /// The light, read without the filters.
    pub reading: LightReading,
    /// Exposure index of the film without filter.
    pub ei: ExposureIndex,
    /// The aperture to be used.
    pub aperture: ApertureSetting,
    /// The filters in front of the lens; their factors multiply.
    pub filters: Vec<FilterFactor>,
    /// Bellows extension; `None` is a subject at infinity.
    pub bellows: Option<Bellows>,
    /// The film's reciprocity law, if one is known.
    pub reciprocity: Option<ReciprocityLaw>,
    /// What to do when the time lies outside the law.
    pub outside_law: OutsideLaw,
    /// Marks to round to, if asked for.
    pub available: Option<AvailableMarks>,
}

/// What a step of the chain does.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum StepKind {
    /// Reading, EI and aperture to the metered time.
    Meter,
    /// One filter.
    Filter,
    /// Bellows extension.
    Bellows,
    /// Reciprocity law.
    Reciprocity,
    /// The nearest shutter mark.
    ShutterMark,
    /// The nearest aperture mark at that shutter mark.
    ApertureMark,
}

impl StepKind {
    /// Gives the name of the step.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Meter => "meter",
            Self::Filter => "filter",
            Self::Bellows => "bellows",
            Self::Reciprocity => "reciprocity",
            Self::ShutterMark => "shutter mark",
            Self::ApertureMark => "aperture mark",
        }
    }
}

/// One step of the chain.
#[derive(Clone, Debug, PartialEq)]
pub struct Step {
    /// What the step does.
    pub kind: StepKind,
    /// What it used, in words and numbers.
    pub detail: String,
    /// The time after the step, unrounded.
    pub time: Seconds,
    /// What the step added to the time, in stops of time.
    pub stops: Stops,
    /// What rounding to a mark leaves over, in stops of effective exposure;
    /// positive is too much. `None` when nothing was rounded.
    pub residual: Option<Stops>,
    /// What was assumed, if anything.
    pub assumption: Option<String>,
}

/// The computed exposure with every step.
#[derive(Clone, Debug, PartialEq)]
pub struct ExposureAnswer {
    /// The reading as EV at ISO 100.
    pub ev100: Ev100,
    /// The f-number computed with.
    pub aperture: FNumber,
    /// Metered time at the EI, without filter.
    pub time_metered: Seconds,
    /// After the filters.
    pub time_after_filter: Seconds,
    /// After the bellows extension.
    pub time_after_bellows: Seconds,
    /// After reciprocity: the time to give.
    pub time_corrected: Seconds,
    /// lg2 of the time to give over the metered time.
    pub stops_over_meter: Stops,
    /// The steps in order.
    pub steps: Vec<Step>,
    /// The nearest shutter mark, when marks were given.
    pub shutter: Option<MarkedShutter>,
    /// The nearest aperture mark at that shutter mark, when marks were given and
    /// the reciprocity law reaches the marked time.
    pub aperture_at_shutter: Option<MarkedAperture>,
    /// What a reader must know.
    pub flags: Flags,
}

/// Two assumptions of one step.
pub(crate) fn joined(first: Option<String>, second: Option<String>) -> Option<String> {
    match (first, second) {
        (Some(first), Some(second)) => Some(format!("{first}; {second}")),
        (first, second) => first.or(second),
    }
}

/// lg2(to/from) of two times.
pub(crate) fn stops_between(from: Seconds, to: Seconds) -> Result<Stops, QuantityError> {
    Stops::new(libm::log2(to.to_s() / from.to_s()))
}

/// Computes an exposure from a light reading.
///
/// # Errors
/// [`ChainError`] when the reciprocity law refuses the time, or a number overflows.
pub fn exposure_answer(request: &ExposureRequest) -> Result<ExposureAnswer, ChainError> {
    let mut steps = Vec::new();
    let mut flags = Flags::none();
    let aperture = request.aperture.aperture();

    let ev100 = request.reading.to_ev100()?;
    let time_metered = metered_time(ev100, request.ei, aperture)?;
    steps.push(Step {
        kind: StepKind::Meter,
        detail: format!(
            "{}, EI {}, {}",
            request.reading.detail(ev100),
            significant(request.ei.to_arithmetic(), 4),
            format_aperture(aperture)
        ),
        time: time_metered,
        stops: Stops::ZERO,
        residual: None,
        assumption: joined(request.reading.assumption(), request.aperture.assumption()),
    });
    if matches!(request.reading, LightReading::Estimated(_)) {
        flags.insert(Flag::EstimatedLight);
    }

    let mut time = time_metered;
    for filter in &request.filters {
        time = Seconds::from_s(time.to_s() * filter.to_ratio())?;
        steps.push(Step {
            kind: StepKind::Filter,
            detail: format!(
                "factor {} ({} stops to the nearest third)",
                significant(filter.to_ratio(), 4),
                stops_in_published_thirds(*filter)
            ),
            time,
            stops: Stops::from_factor(*filter),
            residual: None,
            assumption: Some("the light was read without the filter".to_owned()),
        });
    }
    let time_after_filter = time;

    let time_after_bellows = if let Some(bellows) = &request.bellows {
        let time = Seconds::from_s(time_after_filter.to_s() * bellows.to_ratio())?;
        steps.push(bellows_step(bellows, time)?);
        time
    } else {
        steps.push(Step {
            kind: StepKind::Bellows,
            detail: "no bellows extension".to_owned(),
            time: time_after_filter,
            stops: Stops::ZERO,
            residual: None,
            assumption: Some("the subject is far away".to_owned()),
        });
        time_after_filter
    };

    let time_corrected = if let Some(law) = &request.reciprocity {
        let corrected = law.corrected(time_after_bellows, request.outside_law)?;
        let assumption = if corrected.flags.contains(Flag::Extrapolated) {
            Some("the law is carried on outside the range in which it holds".to_owned())
        } else if law.range() == (None, None) && corrected.stops > Stops::ZERO {
            Some("the law states no range and is taken to hold at this time".to_owned())
        } else {
            None
        };
        flags.extend(&corrected.flags);
        steps.push(Step {
            kind: StepKind::Reciprocity,
            detail: law.description(),
            time: corrected.time,
            stops: corrected.stops,
            residual: None,
            assumption,
        });
        corrected.time
    } else {
        let assumption = if time_after_bellows.to_s() > RECIPROCITY_ASKED_ABOVE_S {
            flags.insert(Flag::NoReciprocityLaw);
            "the film loses no speed, which few films keep to above 1 s: without the film's law the time to give is probably longer by an unknown amount"
        } else {
            "the film loses no speed at this time"
        };
        steps.push(Step {
            kind: StepKind::Reciprocity,
            detail: "no reciprocity law given".to_owned(),
            time: time_after_bellows,
            stops: Stops::ZERO,
            residual: None,
            assumption: Some(assumption.to_owned()),
        });
        time_after_bellows
    };

    if time_corrected.to_s() > LONGEST_EXPOSURE_S {
        return Err(ChainError::TooLong {
            time_s: time_corrected.to_s(),
        });
    }
    let mut answer = ExposureAnswer {
        ev100,
        aperture,
        time_metered,
        time_after_filter,
        time_after_bellows,
        time_corrected,
        stops_over_meter: stops_between(time_metered, time_corrected)?,
        steps,
        shutter: None,
        aperture_at_shutter: None,
        flags,
    };
    if let Some(available) = &request.available {
        set_marks(request, available, &mut answer)?;
    }
    Ok(answer)
}

fn bellows_step(bellows: &Bellows, time: Seconds) -> Result<Step, QuantityError> {
    let from = match bellows.basis() {
        BellowsBasis::Magnification => {
            format!("magnification {:.4}", bellows.magnification().to_ratio())
        }
        BellowsBasis::Draw { draw, focal_length } => format!(
            "draw {} mm at focal length {} mm",
            draw.to_mm(),
            focal_length.to_mm()
        ),
        BellowsBasis::Extension {
            extension,
            focal_length,
        } => format!(
            "extended {} mm beyond infinity at focal length {} mm",
            extension.to_mm(),
            focal_length.to_mm()
        ),
    };
    Ok(Step {
        kind: StepKind::Bellows,
        detail: format!(
            "{from}, pupil ratio {}: factor {:.4}",
            bellows.pupil_ratio().to_ratio(),
            bellows.to_ratio()
        ),
        time,
        stops: bellows.to_stops()?,
        residual: None,
        assumption: None,
    })
}
