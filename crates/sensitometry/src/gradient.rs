//! A slope of the characteristic curve.
//!
//! One type for every gradient; which gradient it is stands in the name of the
//! field or function that gives it, because gamma, average gradient and
//! contrast index are different numbers of the same curve.

use quantity::QuantityError;

/// Density per unit of log10 H.
///
/// Invariant: finite.
#[derive(Clone, Copy, Debug, PartialEq, PartialOrd)]
pub struct Gradient(f64);

impl Gradient {
    /// Takes a slope in density per unit of log10 H.
    ///
    /// # Errors
    /// [`QuantityError::NotFinite`] for NaN and the infinities.
    pub fn from_density_per_log_h(slope: f64) -> Result<Self, QuantityError> {
        if slope.is_finite() {
            Ok(Self(slope))
        } else {
            Err(QuantityError::NotFinite {
                what: "gradient in density per log H",
                value: slope,
            })
        }
    }

    /// Takes a slope that our own arithmetic made.
    pub(crate) fn of(slope: f64) -> Self {
        assert!(slope.is_finite(), "a gradient is finite, found {slope}");
        Self(slope)
    }

    /// Gives the slope in density per unit of log10 H.
    #[must_use]
    pub fn to_density_per_log_h(self) -> f64 {
        self.0
    }

    /// Gives the slope in density per stop.
    #[must_use]
    pub fn to_density_per_stop(self) -> f64 {
        self.0 * core::f64::consts::LOG10_2
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_stop_is_log_2_of_a_gradient() {
        // Hand calculation: 0.62 × 0.301 030 = 0.186 639.
        let slope = Gradient::from_density_per_log_h(0.62).unwrap();
        assert!((slope.to_density_per_stop() - 0.186_639).abs() < 5e-7);
        assert!(Gradient::from_density_per_log_h(f64::INFINITY).is_err());
    }
}
