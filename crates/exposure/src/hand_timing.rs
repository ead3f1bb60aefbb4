//! Long times given by hand: which can be, and how well.
//!
//! A hand-timed exposure has an error of reaction, the same in seconds whatever the
//! time, and an error of the count, a share of the time (none with a watch). So short
//! times can't be given by hand and long ones are limited by the count.

use core::f64::consts::LN_2;
use quantity::{QuantityError, Seconds, Stops};

/// How well a person times an exposure by hand.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct HandTiming {
    reaction: Seconds,
    count_share: f64,
}

impl HandTiming {
    /// Takes the standard error of a hand-timed interval and that of the count as a
    /// share of the time, 0 with a watch.
    ///
    /// # Errors
    /// [`QuantityError::OutOfRange`] unless the share lies between 0 and 1.
    pub fn new(reaction: Seconds, count_share: f64) -> Result<Self, QuantityError> {
        if !(0.0..=1.0).contains(&count_share) {
            return Err(QuantityError::OutOfRange {
                what: "error of the count as a share of the time",
                value: count_share,
                low: 0.0,
                high: 1.0,
            });
        }
        Ok(Self {
            reaction,
            count_share,
        })
    }

    /// Gives the standard error of opening and closing by hand.
    #[must_use]
    pub fn reaction(self) -> Seconds {
        self.reaction
    }

    /// Gives the standard uncertainty of a hand-timed exposure in stops:
    /// √((r/t)² + c²)/ln 2.
    ///
    /// # Errors
    /// [`QuantityError`] when the number overflows.
    pub fn standard_uncertainty(self, time: Seconds) -> Result<Stops, QuantityError> {
        let reaction = self.reaction.to_s() / time.to_s();
        Stops::new(libm::sqrt(reaction * reaction + self.count_share * self.count_share) / LN_2)
    }

    /// Gives the shortest time that can be given by hand within a standard uncertainty:
    /// r/√((u·ln 2)² − c²). `None` when the count alone is worse than that.
    ///
    /// # Errors
    /// [`QuantityError`] when the number overflows.
    pub fn shortest_time(self, within: Stops) -> Result<Option<Seconds>, QuantityError> {
        let share = within.to_stops().max(0.0) * LN_2;
        let left = share * share - self.count_share * self.count_share;
        if left <= 0.0 {
            return Ok(None);
        }
        Seconds::from_s(self.reaction.to_s() / libm::sqrt(left)).map(Some)
    }
}
