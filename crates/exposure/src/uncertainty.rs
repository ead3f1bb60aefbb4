//! The uncertainty of a whole chain in stops.
//!
//! Each part is one standard deviation in stops of exposure on the film, and the parts
//! are independent of each other: their squares add. What is not stated is not counted,
//! and the answer names what was. Before the reciprocity law an error of the exposure
//! asks for a longer time in the measure of the law's slope.

use crate::chain::{ChainError, ExposureAnswer};
use crate::reciprocity::ReciprocityLaw;
use quantity::{QuantityError, Seconds, Stops};

/// Where an uncertainty of the exposure comes from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum UncertainPart {
    /// The light reading, or the estimate of the light.
    Reading,
    /// The EI of the film.
    Ei,
    /// The filter factor.
    Filter,
    /// The bellows factor.
    Bellows,
    /// The aperture.
    Aperture,
    /// The reciprocity law; of the time to give, not of what the meter asks.
    Reciprocity,
    /// The shutter, or the hand.
    Time,
}

impl UncertainPart {
    /// Gives the words for it.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Reading => "reading",
            Self::Ei => "EI",
            Self::Filter => "filter",
            Self::Bellows => "bellows",
            Self::Aperture => "aperture",
            Self::Reciprocity => "reciprocity",
            Self::Time => "time",
        }
    }

    /// Tells whether it enters before the reciprocity law.
    fn before_law(self) -> bool {
        !matches!(self, Self::Reciprocity | Self::Time)
    }
}

/// The uncertainty of an exposure with the parts it was made from.
#[derive(Clone, Debug, PartialEq)]
pub struct ChainUncertainty {
    /// What was counted, one standard deviation each, in stops: of exposure for what
    /// comes before the law, of time for the law and the shutter.
    pub parts: Vec<(UncertainPart, Stops)>,
    /// d ln Tc/d ln Tm of the law at this time; 1 without one.
    pub slope: f64,
    /// One standard deviation of the time to give, in stops of time.
    pub of_time: Stops,
    /// One standard deviation of the exposure the film gets, in stops of exposure.
    pub of_exposure: Stops,
    /// The time to give, 5 % of cases lying lower.
    pub low: Seconds,
    /// The time to give, 5 % of cases lying higher.
    pub high: Seconds,
}

/// The share of cases between [`ChainUncertainty::low`] and [`ChainUncertainty::high`].
pub const COVERAGE: f64 = 0.90;
/// Standard deviations on either side that hold 90 % of a normal distribution.
const DEVIATIONS: f64 = 1.644_853_6;

/// Joins the uncertainties of a chain; `None` when nothing is stated.
///
/// # Errors
/// [`ChainError`] for a negative part, or when a number overflows.
pub fn chain_uncertainty(
    answer: &ExposureAnswer,
    law: Option<&ReciprocityLaw>,
    parts: &[(UncertainPart, Stops)],
) -> Result<Option<ChainUncertainty>, ChainError> {
    if parts.is_empty() {
        return Ok(None);
    }
    let slope = law.map_or(Ok(1.0), |law| law.slope(answer.time_after_bellows))?;
    let (mut before, mut after) = (0.0, 0.0);
    for (part, deviation) in parts {
        let stops = deviation.to_stops();
        if stops < 0.0 {
            return Err(QuantityError::OutOfRange {
                what: "a standard uncertainty in stops",
                value: stops,
                low: 0.0,
                high: f64::MAX,
            }
            .into());
        }
        if part.before_law() {
            before += stops * stops;
        } else {
            after += stops * stops;
        }
    }
    let of_time = libm::sqrt(before * slope * slope + after);
    let wanted = answer.time_corrected.to_s();
    Ok(Some(ChainUncertainty {
        parts: parts.to_vec(),
        slope,
        of_time: Stops::new(of_time)?,
        of_exposure: Stops::new(of_time / slope)?,
        low: Seconds::from_s(wanted * libm::exp2(-DEVIATIONS * of_time))?,
        high: Seconds::from_s(wanted * libm::exp2(DEVIATIONS * of_time))?,
    }))
}
