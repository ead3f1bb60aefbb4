//! Optical density and transmittance.
//!
//! Gross and net are different types: a gross [`Density`] becomes a
//! [`NetDensity`] only by naming the base+fog that is taken off.
//!
//! D = −log10 T. Source: ISO 5-1 (definition of transmission density), from memory.

use crate::error::{QuantityError, within};

/// A gross transmission density; base and fog are still in it.
///
/// Slightly negative values are legal: a densitometer nulled on a filter or a
/// noisy reading of clear light can give them.
/// Invariant: finite, −1 to 10.
#[derive(Clone, Copy, Debug, PartialEq, PartialOrd)]
pub struct Density(f64);

impl Density {
    /// Takes a gross density.
    ///
    /// # Errors
    /// [`QuantityError`] outside −1 to 10: no densitometer or film gives that.
    pub fn gross(density: f64) -> Result<Self, QuantityError> {
        within("density", density, -1.0, 10.0).map(Self)
    }

    /// Gives the number.
    #[must_use]
    pub fn to_density(self) -> f64 {
        self.0
    }

    /// Gives the density over base+fog.
    #[must_use]
    pub fn net_over(self, base_plus_fog: Self) -> NetDensity {
        NetDensity(self.0 - base_plus_fog.0)
    }

    /// Gives the transmittance.
    #[must_use]
    pub fn to_transmittance(self) -> f64 {
        libm::pow(10.0, -self.0)
    }
}

/// A density over a named base+fog, or a difference of two densities.
///
/// Invariant: finite.
#[derive(Clone, Copy, Debug, PartialEq, PartialOrd)]
pub struct NetDensity(f64);

impl NetDensity {
    /// Takes a net density.
    ///
    /// # Errors
    /// [`QuantityError`] outside −11 to 11.
    pub fn new(density: f64) -> Result<Self, QuantityError> {
        within("net density", density, -11.0, 11.0).map(Self)
    }

    /// Gives the number.
    #[must_use]
    pub fn to_density(self) -> f64 {
        self.0
    }

    /// Gives the gross density over a base+fog.
    ///
    /// # Errors
    /// [`QuantityError`] when the sum is no possible density.
    pub fn gross_over(self, base_plus_fog: Density) -> Result<Density, QuantityError> {
        Density::gross(self.0 + base_plus_fog.0)
    }
}

/// The share of light that passes.
///
/// Invariant: finite, greater than 0, at most 1.
#[derive(Clone, Copy, Debug, PartialEq, PartialOrd)]
pub struct Transmittance(f64);

impl Transmittance {
    /// Takes a share of 1.
    ///
    /// # Errors
    /// [`QuantityError`] unless 0 < share ≤ 1.
    pub fn from_share(share: f64) -> Result<Self, QuantityError> {
        crate::error::positive("transmittance", share)?;
        within("transmittance", share, 0.0, 1.0).map(Self)
    }

    /// Gives the share.
    #[must_use]
    pub fn to_share(self) -> f64 {
        self.0
    }

    /// Gives the density: −log10 T.
    #[must_use]
    pub fn to_density(self) -> f64 {
        -libm::log10(self.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_stop_is_a_density_of_log_2() {
        // Definition: one stop is log10 2.
        let half = Transmittance::from_share(0.5).unwrap();
        assert!((half.to_density() - core::f64::consts::LOG10_2).abs() < 1e-15);
    }

    #[test]
    fn net_is_gross_less_the_named_base() {
        let base = Density::gross(0.12).unwrap();
        let patch = Density::gross(0.94).unwrap();
        let net = patch.net_over(base);
        assert!((net.to_density() - 0.82).abs() < 1e-12);
        assert!((net.gross_over(base).unwrap().to_density() - 0.94).abs() < 1e-12);
        assert!(Density::gross(f64::NAN).is_err());
        assert!(Transmittance::from_share(0.0).is_err());
    }
}
