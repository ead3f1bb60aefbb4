//! Ratios of exposures on the scales the trade uses.
//!
//! Stops (base 2), filter factor (linear), log exposure (base 10) and exposure
//! index say the same things on different scales. Each conversion has a name,
//! so that no caller multiplies by 0.3.
//!
//! Symbols: H exposure, lux seconds; S speed or exposure index.
//! Source of the meter link H = 8/S: common practice (0.65 × 12.5 / S = 8.125/S);
//! it lives in `exposure`, not here.

use crate::error::{QuantityError, finite, positive};
use core::f64::consts::LOG10_2;

/// A ratio of two exposures on the base-2 scale; +1 is twice the light.
///
/// Invariant: finite.
#[derive(Clone, Copy, Debug, Default, PartialEq, PartialOrd)]
pub struct Stops(f64);

impl Stops {
    /// No change of exposure.
    pub const ZERO: Self = Self(0.0);

    /// Takes a signed number of stops.
    ///
    /// # Errors
    /// [`QuantityError::NotFinite`] for NaN and the infinities.
    pub fn new(stops: f64) -> Result<Self, QuantityError> {
        finite("stops", stops).map(Self)
    }

    /// Gives the signed number of stops.
    #[must_use]
    pub fn to_stops(self) -> f64 {
        self.0
    }

    /// Gives the stops a filter factor stands for: a factor of 8 is +3.
    #[must_use]
    pub fn from_factor(factor: FilterFactor) -> Self {
        Self(libm::log2(factor.to_ratio()))
    }

    /// Gives the same ratio as a difference of log10 exposure.
    #[must_use]
    pub fn to_delta_log_h(self) -> f64 {
        self.0 * LOG10_2
    }

    /// Takes a difference of log10 exposure.
    ///
    /// # Errors
    /// [`QuantityError::NotFinite`] for NaN and the infinities.
    pub fn from_delta_log_h(delta: f64) -> Result<Self, QuantityError> {
        finite("difference of log H", delta).map(|d| Self(d / LOG10_2))
    }

    /// Gives the linear ratio: +3 is 8.
    #[must_use]
    pub fn to_ratio(self) -> f64 {
        libm::exp2(self.0)
    }
}

impl core::ops::Add for Stops {
    type Output = Self;
    fn add(self, other: Self) -> Self {
        let sum = self.0 + other.0;
        debug_assert!(sum.is_finite(), "stops overflowed");
        Self(sum)
    }
}

impl core::ops::Sub for Stops {
    type Output = Self;
    fn sub(self, other: Self) -> Self {
        self + (-other)
    }
}

impl core::ops::Neg for Stops {
    type Output = Self;
    fn neg(self) -> Self {
        Self(-self.0)
    }
}

/// How many times more exposure a filter asks for; 8 is three stops.
///
/// Invariant: finite and greater than zero. Less than 1 is legal: a filter can
/// be replaced by a lighter one.
#[derive(Clone, Copy, Debug, PartialEq, PartialOrd)]
pub struct FilterFactor(f64);

impl FilterFactor {
    /// The factor of no filter.
    pub const NONE: Self = Self(1.0);

    /// Takes the factor as a linear ratio.
    ///
    /// # Errors
    /// [`QuantityError`] unless the ratio is finite and greater than zero.
    pub fn from_ratio(ratio: f64) -> Result<Self, QuantityError> {
        positive("filter factor", ratio).map(Self)
    }

    /// Gives the linear ratio.
    #[must_use]
    pub fn to_ratio(self) -> f64 {
        self.0
    }

    /// Gives the factor that a number of stops stands for.
    ///
    /// # Errors
    /// [`QuantityError`] when the ratio overflows or vanishes.
    pub fn from_stops(stops: Stops) -> Result<Self, QuantityError> {
        Self::from_ratio(stops.to_ratio())
    }

    /// Gives the density of a neutral filter that takes as much light.
    #[must_use]
    pub fn to_density(self) -> f64 {
        libm::log10(self.0)
    }

    /// Gives the factor of this filter and another in a row.
    ///
    /// # Errors
    /// [`QuantityError`] when the product overflows.
    pub fn stacked_with(self, other: Self) -> Result<Self, QuantityError> {
        Self::from_ratio(self.0 * other.0)
    }
}

/// A film speed number as set on a meter, on the arithmetic scale.
///
/// Invariant: finite and greater than zero.
#[derive(Clone, Copy, Debug, PartialEq, PartialOrd)]
pub struct ExposureIndex(f64);

impl ExposureIndex {
    /// Takes an arithmetic exposure index.
    ///
    /// # Errors
    /// [`QuantityError`] unless the number is finite and greater than zero.
    pub fn from_arithmetic(ei: f64) -> Result<Self, QuantityError> {
        positive("EI", ei).map(Self)
    }

    /// Gives the arithmetic exposure index.
    #[must_use]
    pub fn to_arithmetic(self) -> f64 {
        self.0
    }

    /// Gives the exposure index that asks for `more` stops of exposure.
    ///
    /// # Errors
    /// [`QuantityError`] when the number overflows or vanishes.
    pub fn slower_by(self, more: Stops) -> Result<Self, QuantityError> {
        Self::from_arithmetic(self.0 / more.to_ratio())
    }

    /// Gives how many stops more exposure this index asks for than `other`.
    #[must_use]
    pub fn stops_below(self, other: Self) -> Stops {
        Stops(libm::log2(other.0 / self.0))
    }
}

/// The base-10 logarithm of an exposure; of lux seconds unless the scale is
/// said to be relative.
///
/// Invariant: finite.
#[derive(Clone, Copy, Debug, PartialEq, PartialOrd)]
pub struct LogExposure(f64);

impl LogExposure {
    /// Takes log10 H.
    ///
    /// # Errors
    /// [`QuantityError::NotFinite`] for NaN and the infinities.
    pub fn from_log10(log_h: f64) -> Result<Self, QuantityError> {
        finite("log H", log_h).map(Self)
    }

    /// Takes an exposure in lux seconds.
    ///
    /// # Errors
    /// [`QuantityError`] unless the exposure is finite and greater than zero.
    pub fn from_lux_seconds(h: f64) -> Result<Self, QuantityError> {
        positive("exposure in lux seconds", h).map(|h| Self(libm::log10(h)))
    }

    /// Gives log10 H.
    #[must_use]
    pub fn to_log10(self) -> f64 {
        self.0
    }

    /// Gives the exposure in lux seconds.
    #[must_use]
    pub fn to_lux_seconds(self) -> f64 {
        libm::pow(10.0, self.0)
    }

    /// Gives this exposure changed by a number of stops.
    #[must_use]
    pub fn plus(self, stops: Stops) -> Self {
        let sum = self.0 + stops.to_delta_log_h();
        debug_assert!(sum.is_finite(), "log H overflowed");
        Self(sum)
    }

    /// Gives how many stops this exposure lies above another.
    #[must_use]
    pub fn stops_above(self, other: Self) -> Stops {
        Stops((self.0 - other.0) / LOG10_2)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn factor_stops_and_density_agree_with_the_published_sheet() {
        // Source: a film maker's data sheet F-4016, page 5: factor 8 is 3 stops, 4 is 2 stops.
        for (factor, stops) in [(8.0, 3.0), (4.0, 2.0)] {
            let ours = Stops::from_factor(FilterFactor::from_ratio(factor).unwrap());
            // 1e-12: powers of two are exact up to rounding of the logarithm.
            assert!((ours.to_stops() - stops).abs() < 1e-12);
        }
        // Hand calculation: log10 8 = 0.903 090.
        let density = FilterFactor::from_ratio(8.0).unwrap().to_density();
        assert!((density - 0.903_090).abs() < 5e-7, "{density}");
    }

    #[test]
    fn ei_is_divided_by_the_factor() {
        // Common practice: EI 400 behind a factor of 4 is EI 100, never 1600.
        let ei = ExposureIndex::from_arithmetic(400.0).unwrap();
        let four = Stops::from_factor(FilterFactor::from_ratio(4.0).unwrap());
        let with = ei.slower_by(four).unwrap();
        assert!((with.to_arithmetic() - 100.0).abs() < 1e-9);
        assert!((with.stops_below(ei).to_stops() - 2.0).abs() < 1e-12);
    }

    proptest! {
        /// Two filters in a row: their factors multiply, so their stops add.
        #[test]
        fn stacked_filters_add_in_stops(a in 1.0_f64..4096.0, b in 1.0_f64..4096.0) {
            let of = |ratio| FilterFactor::from_ratio(ratio).map(Stops::from_factor);
            let stacked = of(a * b)?.to_delta_log_h();
            let summed = (of(a)? + of(b)?).to_delta_log_h();
            prop_assert!((stacked - summed).abs() < 1e-12, "{stacked} against {summed}");
        }
    }
}
