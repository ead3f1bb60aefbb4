//! Values that carry their uncertainty and flags, and intervals.

use crate::{Flag, Flags};

/// A value with its standard uncertainty, in the value's own unit, and flags.
///
/// The uncertainty is one standard deviation. It is never negative; it may be
/// zero only for a value that is exact by definition.
#[derive(Clone, Debug, PartialEq)]
pub struct Measured<Q> {
    value: Q,
    standard_uncertainty: f64,
    flags: Flags,
}

impl<Q: Copy> Measured<Q> {
    /// Joins a value, its standard uncertainty and no flags.
    ///
    /// # Panics
    /// When the uncertainty is negative or not finite: that is a bug of the caller.
    #[must_use]
    pub fn new(value: Q, standard_uncertainty: f64) -> Self {
        assert!(
            standard_uncertainty.is_finite() && standard_uncertainty >= 0.0,
            "a standard uncertainty is finite and not negative, found {standard_uncertainty}"
        );
        Self {
            value,
            standard_uncertainty,
            flags: Flags::none(),
        }
    }

    /// Gives this value with one more flag.
    #[must_use]
    pub fn flagged(mut self, flag: Flag) -> Self {
        self.flags.insert(flag);
        self
    }

    /// Gives this value with more flags.
    #[must_use]
    pub fn flagged_all(mut self, flags: &Flags) -> Self {
        self.flags.extend(flags);
        self
    }

    /// Gives the value.
    #[must_use]
    pub fn value(&self) -> Q {
        self.value
    }

    /// Gives one standard deviation, in the value's unit.
    #[must_use]
    pub fn standard_uncertainty(&self) -> f64 {
        self.standard_uncertainty
    }

    /// Gives the flags.
    #[must_use]
    pub fn flags(&self) -> &Flags {
        &self.flags
    }
}

/// A two-sided interval with the value it surrounds.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Interval<Q> {
    /// The best single value.
    pub value: Q,
    /// Lower end.
    pub low: Q,
    /// Upper end.
    pub high: Q,
    /// Share of cases in which the interval holds the truth, 0 to 1.
    pub coverage: f64,
}

impl<Q: Copy> Interval<Q> {
    /// Gives the interval with each end carried to another scale.
    pub fn map<R>(self, to: impl Fn(Q) -> R) -> Interval<R> {
        Interval {
            value: to(self.value),
            low: to(self.low),
            high: to(self.high),
            coverage: self.coverage,
        }
    }

    /// Gives the interval with each end carried to another scale that may refuse.
    ///
    /// # Errors
    /// The first error of `to`.
    pub fn try_map<R, E>(self, to: impl Fn(Q) -> Result<R, E>) -> Result<Interval<R>, E> {
        Ok(Interval {
            value: to(self.value)?,
            low: to(self.low)?,
            high: to(self.high)?,
            coverage: self.coverage,
        })
    }
}

/// Which side of a number the truth is known to lie on.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Bound {
    /// The truth is this or more.
    AtLeast,
    /// The truth is this or less.
    AtMost,
}
