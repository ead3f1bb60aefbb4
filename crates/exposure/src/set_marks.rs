//! What is set on lens and shutter: the marks nearest to a computed exposure, each
//! with what it leaves over. Nothing computed is ever rounded to a mark.

use crate::chain::{
    ChainError, ExposureAnswer, ExposureRequest, Step, StepKind, joined, stops_between,
};
use crate::nearest_mark::{SeriesPlace, nearest_aperture, nearest_shutter};
use crate::number_text::{format_aperture, format_time};
use crate::series::{ApertureMark, MarkReading, ShutterMark};
use quantity::{FNumber, QuantityError, Seconds, Stops};

/// The aperture to compute with, and where it comes from.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum ApertureSetting {
    /// The exact f-number.
    Exact(FNumber),
    /// A mark on the lens, read as the caller says.
    Mark {
        /// The mark.
        mark: ApertureMark,
        /// How its number is taken.
        reading: MarkReading,
    },
}

impl ApertureSetting {
    /// Gives the f-number that is computed with.
    #[must_use]
    pub fn aperture(self) -> FNumber {
        match self {
            Self::Exact(aperture) => aperture,
            Self::Mark { mark, reading } => mark.aperture(reading),
        }
    }

    /// Says what was assumed about the mark, if there is one.
    pub(crate) fn assumption(self) -> Option<String> {
        match self {
            Self::Exact(_) => None,
            Self::Mark { mark, reading } => Some(format!(
                "{} computed as {}: {}",
                mark.label(),
                format_aperture(mark.aperture(reading)),
                reading.sentence()
            )),
        }
    }
}

/// The marks that can be set.
#[derive(Clone, Debug, PartialEq)]
pub struct AvailableMarks {
    /// Shutter marks; empty when the time is free, as with a timer.
    pub times: Vec<ShutterMark>,
    /// How the shutter marks are read.
    pub time_reading: MarkReading,
    /// Aperture marks; empty when no aperture is to be proposed.
    pub apertures: Vec<ApertureMark>,
    /// How the aperture marks are read.
    pub aperture_reading: MarkReading,
}

/// The shutter mark nearest to the corrected time.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MarkedShutter {
    /// The mark.
    pub mark: ShutterMark,
    /// The time it stands for under the reading asked for.
    pub time: Seconds,
    /// lg2 of the marked time over the time wanted.
    pub residual_of_time: Stops,
    /// What the film makes of it, through the reciprocity law; the same as
    /// `residual_of_time` when no law is given or the law does not bite; `None`
    /// when the law refuses the marked time.
    pub residual: Option<Stops>,
    /// Whether the marks reach the time.
    pub place: SeriesPlace,
}

/// The aperture mark that fits the shutter mark best.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MarkedAperture {
    /// The mark.
    pub mark: ApertureMark,
    /// The f-number it stands for under the reading asked for.
    pub aperture: FNumber,
    /// The exact f-number wanted at the marked time.
    pub wanted: FNumber,
    /// Stops of effective exposure that mark and shutter mark together give over
    /// the wanted exposure.
    pub residual: Stops,
    /// Whether the marks reach the aperture wanted.
    pub place: SeriesPlace,
}

/// Looks for the marks and adds their steps.
pub(crate) fn set_marks(
    request: &ExposureRequest,
    available: &AvailableMarks,
    answer: &mut ExposureAnswer,
) -> Result<(), ChainError> {
    let wanted = answer.time_corrected;
    let Some(nearest) = nearest_shutter(wanted, &available.times, available.time_reading) else {
        return Ok(());
    };
    let marked_time = nearest.mark.time(available.time_reading);
    // What the marked time is worth to the film, against what it should be worth.
    let (worth, refusal) = match &request.reciprocity {
        Some(law) => match law.effective(marked_time, request.outside_law) {
            Ok(worth) => {
                answer.flags.extend(&worth.flags);
                (Some(worth.time), None)
            }
            // The corrected time stands; only what the mark leaves over is unknown.
            Err(refusal) => (None, Some(refusal.to_string())),
        },
        None => (Some(marked_time), None),
    };
    let residual = worth
        .map(|worth| stops_between(answer.time_after_bellows, worth))
        .transpose()?;
    answer.shutter = Some(MarkedShutter {
        mark: nearest.mark,
        time: marked_time,
        residual_of_time: nearest.residual,
        residual,
        place: nearest.place,
    });
    answer.steps.push(Step {
        kind: StepKind::ShutterMark,
        detail: format!(
            "{} for {}{}",
            nearest.mark.label(),
            format_time(wanted),
            end_of_series(nearest.place)
        ),
        time: marked_time,
        stops: nearest.residual,
        residual,
        assumption: joined(nearest.mark.basis(available.time_reading), refusal),
    });

    let Some(worth) = worth else {
        return Ok(());
    };
    let aperture_wanted = aperture_for_time(answer.aperture, answer.time_after_bellows, worth)?;
    let Some(nearest) = nearest_aperture(
        aperture_wanted,
        &available.apertures,
        available.aperture_reading,
    ) else {
        return Ok(());
    };
    answer.aperture_at_shutter = Some(MarkedAperture {
        mark: nearest.mark,
        aperture: nearest.mark.aperture(available.aperture_reading),
        wanted: aperture_wanted,
        residual: nearest.residual,
        place: nearest.place,
    });
    answer.steps.push(Step {
        kind: StepKind::ApertureMark,
        detail: format!(
            "{} for {} at {}{}",
            nearest.mark.label(),
            format_aperture(aperture_wanted),
            format_time(marked_time),
            end_of_series(nearest.place)
        ),
        time: marked_time,
        stops: Stops::ZERO,
        residual: Some(nearest.residual),
        assumption: Some(available.aperture_reading.sentence().to_owned()),
    });
    Ok(())
}

fn end_of_series(place: SeriesPlace) -> &'static str {
    match place {
        SeriesPlace::Within => "",
        SeriesPlace::BeyondEnd => " (the end of the marks)",
    }
}

/// Gives the aperture that gives at one time what another aperture gives at another time.
///
/// N' = N·√(t'/t). Both times are effective ones: where a film loses speed, put
/// in what each time is worth.
///
/// # Errors
/// [`QuantityError`] when the f-number overflows or vanishes.
pub fn aperture_for_time(
    aperture: FNumber,
    at: Seconds,
    instead: Seconds,
) -> Result<FNumber, QuantityError> {
    FNumber::from_ratio(aperture.to_ratio() * libm::sqrt(instead.to_s() / at.to_s()))
}
