//! The normal distribution, as far as limits and intervals need it.
//!
//! Symbols: φ density, Φ distribution function of the standard normal.
//! Source: Φ(z) = erfc(−z/√2)/2, with `libm::erfc`; the quantile is found by
//! bisection and Newton's method on it.

use core::f64::consts::{PI, SQRT_2};

/// ln Φ(z), without loss of digits far out.
pub(crate) fn log_cumulative(z: f64) -> f64 {
    if z > -30.0 {
        libm::log(0.5 * libm::erfc(-z / SQRT_2))
    } else {
        // Φ(z) ≈ φ(z)/|z| · (1 − 1/z²): error below 1e-5 at z = −30.
        -0.5 * z * z - 0.5 * libm::log(2.0 * PI) - libm::log(-z) + libm::log1p(-1.0 / (z * z))
    }
}

/// φ(z)/Φ(z): the slope of [`log_cumulative`].
pub(crate) fn inverse_mills(z: f64) -> f64 {
    libm::exp(-0.5 * z * z - 0.5 * libm::log(2.0 * PI) - log_cumulative(z))
}

/// z with Φ(z) = `share`.
///
/// Precondition: 0 < share < 1.
pub(crate) fn quantile(share: f64) -> f64 {
    assert!(
        share > 0.0 && share < 1.0,
        "a share lies between 0 and 1, found {share}"
    );
    let (mut low, mut high) = (-40.0_f64, 40.0_f64);
    for _ in 0..200 {
        let middle = 0.5 * (low + high);
        if 0.5 * libm::erfc(-middle / SQRT_2) < share {
            low = middle;
        } else {
            high = middle;
        }
    }
    0.5 * (low + high)
}

/// Gives how many standard deviations a two-sided normal interval of this
/// coverage reaches to each side: 1.645 for 0.90.
///
/// # Panics
/// Unless 0 < coverage < 1.
#[must_use]
pub fn interval_half_width(coverage: f64) -> f64 {
    quantile(0.5 + 0.5 * coverage)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn quantiles_agree_with_the_printed_table() {
        // Source: table of the normal distribution (any handbook): 0.95 at 1.644854, 0.90 at 1.281552.
        assert!((quantile(0.95) - 1.644_854).abs() < 5e-7);
        assert!((quantile(0.90) - 1.281_552).abs() < 5e-7);
    }

    #[test]
    fn the_tail_joins_smoothly() {
        let (near, far) = (log_cumulative(-29.999_9), log_cumulative(-30.000_1));
        // Slope there is about 30 per unit: 0.0002 apart is 0.006.
        assert!((near - far - 0.006).abs() < 1e-4, "{near} {far}");
        // Hand calculation: φ(0)/Φ(0) = 2/√(2π) = 0.797 885.
        assert!((inverse_mills(0.0) - 0.797_885).abs() < 5e-7);
    }
}
