//! Spectra of lamps and of standard daylight, by formula.

use libm::{exp, floor, pow};

/// Gives CIE standard illuminant A, 100 at 560 nm. Source: CIE S 014-2.
#[must_use]
pub fn illuminant_a(nm: f64) -> f64 {
    100.0 * pow(560.0 / nm, 5.0) * (exp(1.435e7 / (2848.0 * 560.0)) - 1.0)
        / (exp(1.435e7 / (2848.0 * nm)) - 1.0)
}

/// Gives Planck's law relative to 560 nm for a temperature in K; a tungsten
/// lamp comes near it. c2 = 1.4388 cm K.
#[must_use]
pub fn planck(temperature_k: f64, nm: f64) -> f64 {
    pow(560.0 / nm, 5.0) * libm::expm1(1.4388e7 / (temperature_k * 560.0))
        / libm::expm1(1.4388e7 / (temperature_k * nm))
}

/// Why there is no daylight of a temperature.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
#[error("daylight is defined from 4000 to 25000 K, not at {0} K")]
pub struct DaylightError(pub f64);

/// Gives M1 and M2 of CIE daylight by its correlated colour temperature in K.
///
/// Rounded to three decimals, as CIE 15 prescribes. D50, D55, D65 and D75 are
/// at 5000 … 7500 K times 1.4388/1.4380.
///
/// # Errors
/// [`DaylightError`] outside 4000 to 25000 K.
pub fn daylight_multipliers(cct_k: f64) -> Result<(f64, f64), DaylightError> {
    let t = cct_k;
    let x = if (4000.0..=7000.0).contains(&t) {
        -4.6070e9 / (t * t * t) + 2.9678e6 / (t * t) + 99.11 / t + 0.244063
    } else if (7000.0..=25000.0).contains(&t) {
        -2.0064e9 / (t * t * t) + 1.9018e6 / (t * t) + 247.48 / t + 0.237040
    } else {
        return Err(DaylightError(t));
    };
    let y = -3.0 * x * x + 2.870 * x - 0.275;
    let m = 0.0241 + 0.2562 * x - 0.7341 * y;
    let rounded = |v: f64| floor(v * 1000.0 + 0.5) / 1000.0;
    Ok((
        rounded((-1.3515 - 1.7703 * x + 5.9114 * y) / m),
        rounded((0.0300 - 31.4424 * x + 30.0717 * y) / m),
    ))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn illuminant_a_is_the_published_one() {
        // Source: CIE table of illuminant A (two decimals at 300, 700 and 780 nm).
        for (nm, expected) in [(300.0, 0.930483), (700.0, 198.261), (780.0, 241.675)] {
            assert!((illuminant_a(nm) / expected - 1.0).abs() < 1e-5, "{nm}");
        }
        // Planck at the temperature of A in today's scale is A.
        let t = 2848.0 * 1.4388 / 1.435;
        assert!((100.0 * planck(t, 850.0) / illuminant_a(850.0) - 1.0).abs() < 1e-9);
    }

    #[test]
    fn daylight_multipliers_are_the_published_ones() {
        // Source: CIE 15, table of M1 and M2 for D50, D55, D65, D75.
        for (t, m1, m2) in [
            (5000.0, -1.039, 0.363),
            (5500.0, -0.785, -0.198),
            (6500.0, -0.295, -0.689),
            (7500.0, 0.145, -0.760),
        ] {
            let (a, b) = daylight_multipliers(t * 1.4388 / 1.4380).unwrap();
            assert!(
                (a - m1).abs() < 1e-9 && (b - m2).abs() < 1e-9,
                "{t}: {a} {b}"
            );
        }
        assert!(daylight_multipliers(3999.0).is_err());
        assert!(daylight_multipliers(f64::NAN).is_err());
    }
}
