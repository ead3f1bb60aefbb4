//! Shutter times: marked or measured, with their uncertainty in stops.
//!
//! A measured time wins over the marked one. A marked time is used with the
//! uncertainty the caller states for the shutter and carries a flag. The gain
//! of a leaf shutter at small apertures is a table that is handed in
//! ([`SmallApertureGain`]): its blades uncover a small aperture early and cover it
//! late, so that the time is longer than at full aperture.

use crate::series::{ActualBasis, MarkReading, ShutterMark};
use core::f64::consts::LN_2;
use quantity::{FNumber, Flag, Flags, Measured, QuantityError, Seconds, Stops};

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

/// What a leaf shutter gives more than its marks say once the aperture is small.
#[derive(Clone, Debug, PartialEq)]
pub struct SmallApertureGain {
    /// The widest aperture for which the rows hold.
    pub from_aperture: FNumber,
    /// Marked times with the stops given over the mark. Other marks are left alone.
    pub rows: Vec<(Seconds, Stops)>,
    /// Where the table is from.
    pub source: String,
}

impl SmallApertureGain {
    /// Gives the table of common practice: from f/16, 1/125 s +1/3, 1/250 s +2/3,
    /// 1/500 s +1 stop.
    ///
    /// It is a choice to pick, not a default. Source: a handbook's table, quoted in a
    /// forum of large-format photographers (common practice).
    ///
    /// # Errors
    /// [`QuantityError`] never; kept so that no number goes unchecked.
    pub fn common_practice() -> Result<Self, QuantityError> {
        let rows = [(125.0, 1.0 / 3.0), (250.0, 2.0 / 3.0), (500.0, 1.0)]
            .into_iter()
            .map(|(part, stops)| Ok((Seconds::from_s(1.0 / part)?, Stops::new(stops)?)))
            .collect::<Result<Vec<_>, QuantityError>>()?;
        Ok(Self {
            from_aperture: FNumber::from_ratio(16.0)?,
            rows,
            source: "a handbook's table, common practice".to_owned(),
        })
    }

    /// Gives the stops over the mark at an aperture; zero where the table says nothing.
    #[must_use]
    pub fn gain(&self, mark: ShutterMark, aperture: FNumber) -> Stops {
        // 1e-3: f/16 typed with three digits is f/16.
        if aperture.to_ratio() < self.from_aperture.to_ratio() * (1.0 - 1e-3) {
            return Stops::ZERO;
        }
        self.rows
            .iter()
            .find(|(marked, _)| mark.is_marked(*marked))
            .map_or(Stops::ZERO, |(_, gain)| *gain)
    }

    /// Gives the mark with its gain at an aperture. A measured mark is left alone:
    /// what was measured needs no table.
    ///
    /// # Errors
    /// [`QuantityError`] when the time overflows.
    pub fn applied(
        &self,
        mark: ShutterMark,
        aperture: FNumber,
        reading: MarkReading,
    ) -> Result<ShutterMark, QuantityError> {
        let gain = self.gain(mark, aperture);
        if gain == Stops::ZERO || mark.actual_basis().is_some() {
            return Ok(mark);
        }
        let time = Seconds::from_s(mark.time(reading).to_s() * gain.to_ratio())?;
        Ok(mark.with_actual(time, ActualBasis::SmallAperture))
    }
}
