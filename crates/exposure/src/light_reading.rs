//! What a chain starts from: a reading of the light, with what makes it an EV.

use crate::meter::{
    IncidentConstant, ReflectedConstant, ev100_from_illuminance, ev100_from_luminance,
};
use crate::sunny_rule::SkyEstimate;
use quantity::{Ev100, Illuminance, Luminance, QuantityError, Stops};

/// A reading of one target, as a spot meter takes it, with the constant it needs.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum TargetReading {
    /// The exposure value at ISO 100, as the meter shows it.
    Ev100(Ev100),
    /// Light coming from the target, with the meter constant K.
    Luminance {
        /// The reading.
        luminance: Luminance,
        /// The meter's K.
        constant: ReflectedConstant,
    },
}

impl From<TargetReading> for LightReading {
    fn from(reading: TargetReading) -> Self {
        match reading {
            TargetReading::Ev100(ev) => Self::Ev100(ev),
            TargetReading::Luminance {
                luminance,
                constant,
            } => Self::Luminance {
                luminance,
                constant,
            },
        }
    }
}

/// A reading of the light, with the constant it needs.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum LightReading {
    /// The exposure value at ISO 100, as the meter shows it.
    Ev100(Ev100),
    /// Light falling on the subject, with the meter constant C.
    Illuminance {
        /// The reading.
        illuminance: Illuminance,
        /// The meter's C.
        constant: IncidentConstant,
    },
    /// Light coming from the subject, with the meter constant K.
    Luminance {
        /// The reading.
        luminance: Luminance,
        /// The meter's K.
        constant: ReflectedConstant,
    },
    /// A target that is not to come out as the mid-tone.
    Placed {
        /// The reading of the target.
        target: TargetReading,
        /// Where it is to lie, in stops from the mid-tone; +2 is zone VII.
        above_mid_tone: Stops,
    },
    /// No reading: the sunny rule's estimate for a sky.
    Estimated(SkyEstimate),
}

impl LightReading {
    /// Gives the reading as EV at ISO 100.
    ///
    /// # Errors
    /// [`QuantityError`] when the light lies outside the range of [`Ev100`].
    pub fn to_ev100(self) -> Result<Ev100, QuantityError> {
        match self {
            Self::Ev100(ev) => Ok(ev),
            Self::Illuminance {
                illuminance,
                constant,
            } => ev100_from_illuminance(illuminance, constant),
            Self::Luminance {
                luminance,
                constant,
            } => ev100_from_luminance(luminance, constant),
            Self::Placed {
                target,
                above_mid_tone,
            } => Ev100::from_ev(Self::from(target).to_ev100()?.to_ev() - above_mid_tone.to_stops()),
            Self::Estimated(estimate) => Ok(estimate.ev100),
        }
    }

    /// Says what rests on an assumption in the reading, if anything does.
    pub(crate) fn assumption(self) -> Option<String> {
        match self {
            Self::Estimated(estimate) => Some(format!(
                "no meter: {}, give or take {:.1} stops ({})",
                estimate.sky.words(),
                estimate.standard_uncertainty.to_stops(),
                estimate.source
            )),
            _ => None,
        }
    }

    /// Says what was read, with the constant used.
    pub(crate) fn detail(self, ev: Ev100) -> String {
        match self {
            Self::Ev100(ev) => format!("EV {:.2} at ISO 100", ev.to_ev()),
            Self::Illuminance {
                illuminance,
                constant,
            } => format!(
                "{} lux with C = {}: EV {:.2} at ISO 100",
                illuminance.to_lux(),
                constant.to_c(),
                ev.to_ev()
            ),
            Self::Luminance {
                luminance,
                constant,
            } => format!(
                "{} cd/m2 with K = {}: EV {:.2} at ISO 100",
                luminance.to_cd_per_m2(),
                constant.to_k(),
                ev.to_ev()
            ),
            Self::Placed {
                target,
                above_mid_tone,
            } => {
                let shown = match target {
                    TargetReading::Ev100(read) => format!("EV {:.2} at ISO 100", read.to_ev()),
                    TargetReading::Luminance {
                        luminance,
                        constant,
                    } => format!(
                        "{} cd/m2 with K = {}",
                        luminance.to_cd_per_m2(),
                        constant.to_k()
                    ),
                };
                format!(
                    "target read as {shown}, placed {} from the mid-tone: EV {:.2} at ISO 100",
                    stops_in_words(above_mid_tone),
                    ev.to_ev()
                )
            }
            Self::Estimated(estimate) => format!(
                "estimated for {}: EV {:.2} at ISO 100",
                estimate.sky.words(),
                ev.to_ev()
            ),
        }
    }
}

/// A signed number of stops with its unit: `+2 stops`, `-1 stop`.
fn stops_in_words(stops: Stops) -> String {
    let number = stops.to_stops();
    let unit = if number.abs() == 1.0 { "stop" } else { "stops" };
    format!("{number:+} {unit}")
}
