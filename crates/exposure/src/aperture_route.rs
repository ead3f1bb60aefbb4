//! Reciprocity by the aperture: makers' "open the lens" corrections.
//!
//! A published aperture correction is not the time correction written in
//! stops: a longer time at the same low light suffers more failure than a wider
//! lens does. So this type knows only stops of aperture, and there is no way
//! from here to a time.
//!
//! Source of the warning: a film maker's data sheet F-4016 gives for 10 s either
//! +1/2 stop or 15 s, and 15/10 is 0.585 stop.

use crate::reciprocity_error::ReciprocityError;
use quantity::{FNumber, Seconds, Stops};

/// The exposure by the aperture route: the metered time kept and the lens opened.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct OpenedLens {
    /// The time before reciprocity, which stays.
    pub time: Seconds,
    /// By how much the lens is opened.
    pub stops: Stops,
    /// The f-number that results: N·2^(−stops/2).
    pub aperture: FNumber,
}

/// A table of metered times with the stops to open the lens.
#[derive(Clone, Debug, PartialEq)]
pub struct ApertureCorrection {
    rows: Vec<(Seconds, Stops)>,
    source: String,
}

impl ApertureCorrection {
    /// Takes rows of (metered time, stops to open) by rising time, and their source.
    ///
    /// # Errors
    /// [`ReciprocityError`] for fewer than two rows, or rows out of order.
    pub fn from_rows(
        rows: Vec<(Seconds, Stops)>,
        source: impl Into<String>,
    ) -> Result<Self, ReciprocityError> {
        if rows.len() < 2 {
            return Err(ReciprocityError::TooFewRows { found: rows.len() });
        }
        for (row, pair) in rows.windows(2).enumerate() {
            if pair[1].0 <= pair[0].0 {
                return Err(ReciprocityError::RowsOutOfOrder { row: row + 2 });
            }
        }
        Ok(Self {
            rows,
            source: source.into(),
        })
    }

    /// Gives the source of the table.
    #[must_use]
    pub fn source(&self) -> &str {
        &self.source
    }

    /// Gives the stops to open the lens, linear between rows in log time.
    ///
    /// # Errors
    /// [`ReciprocityError::OutsideRange`] outside the table.
    pub fn stops_to_open(&self, metered: Seconds) -> Result<Stops, ReciprocityError> {
        let time = metered.to_s();
        let (first, last) = (
            self.rows[0].0.to_s(),
            self.rows[self.rows.len() - 1].0.to_s(),
        );
        if time < first || time > last {
            return Err(ReciprocityError::OutsideRange {
                time_s: time,
                from_s: first,
                to_s: last,
            });
        }
        let after = self
            .rows
            .partition_point(|row| row.0.to_s() < time)
            .clamp(1, self.rows.len() - 1);
        let (low, high) = (self.rows[after - 1], self.rows[after]);
        let share = libm::log(time / low.0.to_s()) / libm::log(high.0.to_s() / low.0.to_s());
        let (from, to) = (low.1.to_stops(), high.1.to_stops());
        Ok(Stops::new(from + share * (to - from))?)
    }

    /// Gives the exposure with the lens opened instead of the time lengthened.
    ///
    /// `metered` is the time after filter and bellows.
    ///
    /// # Errors
    /// As [`Self::stops_to_open`].
    pub fn opened(
        &self,
        metered: Seconds,
        aperture: FNumber,
    ) -> Result<OpenedLens, ReciprocityError> {
        let stops = self.stops_to_open(metered)?;
        Ok(OpenedLens {
            time: metered,
            stops,
            aperture: FNumber::from_ratio(
                aperture.to_ratio() * libm::exp2(-stops.to_stops() / 2.0),
            )?,
        })
    }
}
