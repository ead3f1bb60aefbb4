//! Shutter times: marked or measured, with their uncertainty in stops.
//!
//! A measured time wins over the marked one. A marked time is used with the
//! uncertainty the caller states for the shutter and carries a flag. The gain
//! of a leaf shutter at small apertures is not in here.

use core::f64::consts::LN_2;
use quantity::{Flag, Flags, Measured, QuantityError, Seconds, Stops};

/// A shutter setting with what its time was measured to be, if it was.
#[derive(Clone, Debug, PartialEq)]
pub struct ShutterTime {
    /// The time the mark stands for, as the caller reads the mark.
    pub marked: Seconds,
    /// The measured effective time with its standard uncertainty in seconds.
    pub measured: Option<Measured<Seconds>>,
}

/// The time a frame got, and how well it is known.
#[derive(Clone, Debug, PartialEq)]
pub struct EffectiveTime {
    /// Best value.
    pub time: Seconds,
    /// One standard deviation, in stops.
    pub standard_uncertainty: Stops,
    /// [`Flag::MarkedTime`] when not measured, and the flags of the measurement.
    pub flags: Flags,
}

impl ShutterTime {
    /// Gives the time to compute with.
    ///
    /// `marked_uncertainty` is the standard uncertainty stated for this
    /// shutter, in stops; it is used only when there is no measured time.
    /// The uncertainty of a measured time is u/(t·ln 2), the first order of lg2.
    ///
    /// # Errors
    /// [`QuantityError::OutOfRange`] when `marked_uncertainty` is negative.
    pub fn effective(&self, marked_uncertainty: Stops) -> Result<EffectiveTime, QuantityError> {
        if let Some(measured) = &self.measured {
            let time = measured.value();
            return Ok(EffectiveTime {
                time,
                standard_uncertainty: Stops::new(
                    measured.standard_uncertainty() / (time.to_s() * LN_2),
                )?,
                flags: measured.flags().clone(),
            });
        }
        if marked_uncertainty < Stops::ZERO {
            return Err(QuantityError::OutOfRange {
                what: "standard uncertainty of the shutter in stops",
                value: marked_uncertainty.to_stops(),
                low: 0.0,
                high: f64::MAX,
            });
        }
        Ok(EffectiveTime {
            time: self.marked,
            standard_uncertainty: marked_uncertainty,
            flags: [Flag::MarkedTime].into_iter().collect(),
        })
    }

    /// Gives how many stops more the shutter gives than its mark says, when measured.
    ///
    /// # Errors
    /// [`QuantityError`] when the ratio overflows.
    pub fn stops_over_mark(&self) -> Result<Option<Stops>, QuantityError> {
        self.measured
            .as_ref()
            .map(|measured| Stops::new(libm::log2(measured.value().to_s() / self.marked.to_s())))
            .transpose()
    }
}
